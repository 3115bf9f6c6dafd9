// The view that turns a shop's readings into its own assumed values.
import { createAnswerBox } from "./answer_box.js";
import {
  amount, count, createEditor, fill, get, make, openPage, percent, placeWords, Problem, SIGNS, table, takePastedYaml, textOfFile,
} from "./base.js";
import { list } from "./reading_report.js";

/** Set up the view. */
export function createCalibrationView(element) {
  const find = (name) => element.querySelector(`[data-part="${name}"]`);
  const editor = createEditor(find("json"), find("cursor"));
  const answer = createAnswerBox(element, {
    path: "v1/calibrations",
    show: showCalibration,
    places: { line: editor.goTo, pointer: editor.goToPointer },
    empty: "Nothing calibrated yet. State stacks as built and the readings of each.",
  });
  let examples = [];

  function bodyText() {
    if (editor.text.trim()) return editor.text;
    throw new Problem({ title: "No readings", detail: "Start from the example, or open a file with your own." });
  }

  function own() {
    find("example").value = "";
  }

  /** Show why a file or a pasted text cannot be read. */
  function refuse(error) {
    return answer.ask(() => {
      throw error;
    });
  }

  find("form").addEventListener("submit", (event) => {
    event.preventDefault();
    answer.ask(bodyText);
  });
  find("json").addEventListener("input", own);
  find("file").addEventListener("change", async (event) => {
    const [file] = event.target.files;
    if (!file) return;
    own();
    try {
      editor.text = await textOfFile(file, "plain");
    } catch (error) {
      return refuse(error);
    }
    return answer.ask(bodyText);
  });
  takePastedYaml(find("json"), "plain", (json) => (editor.text = json), refuse);
  find("print").addEventListener("click", () => openPage("v1/calibrations", editor.text, find("print-note")));
  find("example").addEventListener("change", () => {
    const chosen = examples.find((one) => one.name === find("example").value);
    editor.text = chosen ? JSON.stringify(chosen.request, null, 2) : "";
    answer.clear();
  });

  return {
    async start() {
      examples = (await get("static/examples.json")).calibrations;
      find("example").replaceChildren(
        ...examples.map((one) => make("option", { value: one.name }, one.summary)),
        make("option", { value: "" }, "Your own readings"),
      );
      editor.text = JSON.stringify(examples[0].request, null, 2);
    },
  };
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
