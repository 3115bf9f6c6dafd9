// The start page: three views and the access token field.
import { Problem } from "./api.js";
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
  comparison: createComparisonView(part("comparison"), checkedText),
};

let started = false;

async function start() {
  try {
    await check.start();
    await Promise.all([views.reading.start(), views.comparison.start()]);
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
