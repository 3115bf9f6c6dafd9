// The view that turns a shop's readings into its own assumed values.
import { amount, count, fill, make, percent, placeWords, SIGNS, table } from "./base.js";
import { createQuestionView } from "./question_view.js";
import { list } from "./reading_report.js";

/** Set up the view. */
export async function createView(element) {
  await createQuestionView(element, {
    examples: "calibrations",
    button: "Calibrate",
    label: "Assemblies and readings, JSON",
    printed: "Print report",
    answer: {
      path: "v1/calibrations",
      show: showCalibration,
      empty: "Nothing calibrated yet. State stacks as built and the readings of each.",
    },
  });
}

function showCalibration(box, report) {
  const learnt = report.classes.length > 0;
  const look = learnt && !report.outliers.length ? "pass" : "review";
  const words = learnt ? `${count(report.classes.length, "class", "classes")} calibrated` : "Nothing calibrated";
  fill(
    box,
    make(
      "div",
      { class: `verdict ${look}` },
      make("span", { class: "sign", "aria-hidden": "true" }, SIGNS[look]),
      make(
        "div",
        {},
        make("p", { class: "verdict-word" }, words),
        make("p", {}, `${count(report.used, "assembly", "assemblies")} used, ${report.not_used.length} not used, ${count(report.outliers.length, "outlier")}.`),
      ),
    ),
    learnt ? classes(report) : null,
    saved(report.assumption_set),
    list("Warnings", report.warnings.map((one) => one.text ?? one)),
    list("Outliers", report.outliers.map((one) => `${placeWords(one.at)}: ${amount(one.tir_um, 1, "µm")}. ${one.reason}`)),
    list("Not used", report.not_used.map((one) => `${placeWords(one.at)}: ${one.reason}`)),
    list("Notes", report.notes),
  );
}

function classes(report) {
  const kept = ({ quantity, category }) =>
    report.assumption_set?.classes.find((one) => one.quantity === quantity && one.category === category)?.cautious;
  const rows = report.classes.map((one) => [
    `${one.quantity.replace(/_um$/, "").replaceAll("_", " ")}, ${one.category.replaceAll("_", " ")}`,
    amount(one.table_typical_um, 1),
    amount(one.table_cautious_um, 1),
    `${amount(one.median_um, 1)} (${amount(one.low_um, 1)} to ${amount(one.high_um, 1)})`,
    amount(one.typical_um, 1),
    amount(kept(one), 1),
    amount(one.telling),
    percent(one.data_share),
  ]);
  const heads = [
    "class",
    "table, typical, µm",
    "table, cautious, µm",
    "posterior median (interval), µm",
    "own, typical, µm",
    "own, cautious, µm",
    "assemblies that tell",
    "share of the data",
  ];
  return make("section", {}, make("h3", {}, "Own values"), table("Runout by class", heads, rows, [1, 2, 3, 4, 5, 6, 7]));
}

/** The set as a file, which a check takes back. */
function saved(set) {
  if (!set) return null;
  const address = URL.createObjectURL(new Blob([JSON.stringify(set, null, 2)], { type: "application/json" }));
  return make(
    "section",
    {},
    make("h3", {}, "Set for later checks"),
    make("p", {}, "State it as policy.assumption_set; its digest is ", make("code", { class: "digest" }, set.sha256), "."),
    make("p", {}, make("a", { href: address, download: `${set.name}.json` }, "Save the set")),
  );
}
