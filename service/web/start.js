// The start page: the check, the other views when they are first opened, and the access token field.
import { Problem } from "./api.js";
import { createCheckView } from "./check_view.js";
import { showProblem } from "./problem_view.js";
import { createTokenField } from "./token_field.js";
import { followAddress } from "./views.js";

const part = (id) => document.getElementById(id);

const check = createCheckView(part("check"));
const checkedText = () => check.text;
const later = {
  reading: async (box) => (await import("./reading_view.js")).createReadingView(box, checkedText).start(),
  build: async (box) => (await import("./build_view.js")).createBuildView(box, checkedText).start(),
  calibration: async (box) => (await import("./calibration_view.js")).createCalibrationView(box).start(),
  async comparison(box) {
    // It starts from the stack under check.
    await checking;
    await (await import("./comparison_view.js")).createComparisonView(box, checkedText).start();
  },
  search: async (box) => (await import("./search_view.js")).createView(box),
  budget: async (box) => (await import("./budget_view.js")).createView(box),
  gate: async (box) => (await import("./gate_view.js")).createView(box),
  audit: async (box) => (await import("./audit_view.js")).createView(box),
};
const opened = new Set();

let started = false;

/** Set up a view when it is first shown; after a failure, when it is shown again. */
async function open(name) {
  if (opened.has(name) || !later[name]) return;
  opened.add(name);
  try {
    await later[name](part(name));
  } catch (error) {
    opened.delete(name);
    if (!(error instanceof Problem)) throw error;
    showProblem(part("start-problem"), error.document);
  }
}

async function start() {
  try {
    await check.start();
    started = true;
    showProblem(part("start-problem"), null);
  } catch (error) {
    if (!(error instanceof Problem)) throw error;
    showProblem(part("start-problem"), error.document);
  }
}

// Keep what the user has typed meanwhile.
createTokenField(part("token"), () => (started ? check.again() : start()));
const checking = start();
for (const name of Object.keys(later)) part(name).addEventListener("shown", () => open(name));
followAddress([...document.querySelectorAll("[data-view]")], [...document.querySelectorAll("nav a[href^='#']")]);
