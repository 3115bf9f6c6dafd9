// The start page: five views and the access token field.
import { Problem } from "./api.js";
import { createBuildView } from "./build_view.js";
import { createCalibrationView } from "./calibration_view.js";
import { createCheckView } from "./check_view.js";
import { createComparisonView } from "./comparison_view.js";
import { createReadingView } from "./reading_view.js";
import { showProblem } from "./problem_view.js";
import { createTokenField } from "./token_field.js";
import { followAddress } from "./views.js";

const part = (id) => document.getElementById(id);

const check = createCheckView(part("check"));
const checkedText = () => check.text;
const views = {
  check,
  reading: createReadingView(part("reading"), checkedText),
  build: createBuildView(part("build"), checkedText),
  calibration: createCalibrationView(part("calibration")),
  comparison: createComparisonView(part("comparison"), checkedText),
};

let started = false;

async function start() {
  try {
    await check.start();
    const { reading, build, calibration, comparison } = views;
    await Promise.all([reading, build, calibration, comparison].map((view) => view.start()));
    started = true;
    showProblem(part("start-problem"), null);
  } catch (error) {
    if (!(error instanceof Problem)) throw error;
    showProblem(part("start-problem"), error.document);
  }
}

// Keep what the user has typed meanwhile.
createTokenField(part("token"), () => (started ? check.again() : start()));
followAddress([...document.querySelectorAll("[data-view]")], [...document.querySelectorAll("nav a[href^='#']")]);
start();
