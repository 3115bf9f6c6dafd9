// The page that tries a rule on a stack.
import { createEditor, createTokenField, fill, get, make, post, Problem, showProblem, table, takePastedYaml, terms, textOfFile } from "./base.js";

const part = (id) => document.getElementById(id);

const OUTCOMES = {
  fires: { word: "Fires", sign: "✕", verdict: "fail" },
  undecided: { word: "Not decided", sign: "?", verdict: "review" },
  holds: { word: "Holds", sign: "✓", verdict: "pass" },
  not_concerned: { word: "Not concerned", sign: "–", verdict: "" },
};

const ORDER = Object.keys(OUTCOMES);

const UNITS = { 1: "", um: "µm", Cel: "°C", deg: "°", "N.m": "N·m", "g.mm": "g·mm", "/min": "rpm", "N/um": "N/µm" };

const editor = createEditor(part("request"), part("cursor"));
const places = { line: (line, column) => editor.goTo(line, column), pointer: (pointer) => editor.goToPointer(pointer) };

let examples = [];
let asked = null;

async function start() {
  try {
    const [rules, given] = await Promise.all([get("../v1/rules"), get("../static/examples.json")]);
    examples = given.checks;
    const wanted = decodeURIComponent(location.hash.slice(1));
    fill(
      part("rule"),
      rules.items.map((rule) =>
        make("option", { value: rule.code, selected: rule.code === wanted }, `${rule.code}: ${rule.title}`),
      ),
    );
    fill(part("example"), examples.map((one) => make("option", { value: one.name }, `${one.name}: ${one.summary}`)));
    if (!editor.text) choose();
    showProblem(part("problem"), null);
  } catch (error) {
    show(error);
  }
}

function choose() {
  const { request } = examples.find((one) => one.name === part("example").value);
  editor.text = JSON.stringify(request, null, 2);
  explain();
}

function take(text) {
  editor.text = text;
  return explain();
}

async function open(file) {
  try {
    await take(await textOfFile(file, "draft"));
  } catch (error) {
    show(error);
  }
}

/** The text of the request with the code of the rule; a fault of the JSON keeps its line for the service to report. */
function body() {
  const code = part("rule").value;
  try {
    const request = JSON.parse(editor.text);
    delete request.include;
    return JSON.stringify({ ...request, code });
  } catch {
    return editor.text;
  }
}

async function explain() {
  asked?.abort();
  asked = new AbortController();
  const { signal } = asked;
  part("status").textContent = "Explaining";
  try {
    const report = await post("../v1/explanations", body(), { signal });
    if (signal.aborted) return;
    showProblem(part("problem"), null);
    fill(part("explanation"), explained(report));
    part("status").textContent = `${report.code} explained`;
  } catch (error) {
    if (error.name !== "AbortError") show(error);
  }
}

function show(error) {
  if (!(error instanceof Problem)) throw error;
  fill(part("explanation"));
  part("status").textContent = "";
  showProblem(part("problem"), error.document, places);
}

function explained(report) {
  return [
    make("h3", {}, `${report.code}: ${report.title}`),
    terms([
      ["Where", report.where ? condition(report.where) : "every subject"],
      ["Require", condition(report.require)],
    ]),
    report.not_judged ? make("p", {}, report.not_judged) : null,
    ...ORDER.flatMap((outcome) => report.subjects.filter((one) => one.outcome === outcome).map(subject)),
  ];
}

function condition(one) {
  return make("span", {}, one.words, make("br"), make("code", {}, one.text));
}

function subject(one) {
  const outcome = OUTCOMES[one.outcome] ?? { word: one.outcome, sign: "", verdict: "" };
  const name = one.operation === null ? one.subject : `${one.subject}, operation ${one.operation}`;
  const limits = Object.entries(one.thresholds).map(([limit, value]) => `${limit} = ${value}`);
  const details = [
    one.to_pass.length
      ? [make("p", {}, one.outcome === "fires" ? "To pass:" : "To decide:"), make("ul", {}, one.to_pass.map((line) => make("li", {}, line)))]
      : null,
    table(`Values on ${name}`, ["Name", "Value", "Place"], one.values.map(row)),
    limits.length ? make("p", { class: "note" }, `Thresholds in force: ${limits.join(", ")}`) : null,
  ];
  const head = make(
    "div",
    { class: `verdict ${outcome.verdict}` },
    make("span", { class: "sign", "aria-hidden": "true" }, outcome.sign),
    make("div", {}, make("p", { class: "verdict-word" }, outcome.word, make("span", {}, ` ${severity(one)}`)), make("p", {}, name)),
  );
  return one.outcome === "not_concerned"
    ? make("details", {}, make("summary", {}, `Not concerned: ${name}`), details)
    : make("section", { "aria-label": name }, head, details);
}

function severity(one) {
  return one.outcome === "fires" || one.outcome === "undecided" ? (one.severity ?? "") : "";
}

function row(value) {
  const jumps = value.at.map((pointer) =>
    make("button", { type: "button", class: "place", onclick: () => editor.goToPointer(pointer) }, pointer || "the whole request"),
  );
  return [
    make("span", {}, value.name, make("br"), make("span", { class: "note" }, value.meaning)),
    shown(value),
    make("span", {}, value.state === "computed" ? "computed for " : null, ...jumps),
  ];
}

function shown(value) {
  if (value.state === "missing") return "missing";
  if (value.state === "not_applicable") return "does not apply";
  if (typeof value.value === "boolean") return value.value ? "yes" : "no";
  if (typeof value.value !== "number") return value.value;
  return `${Number(value.value.toPrecision(6))} ${UNITS[value.unit] ?? value.unit}`.trim().replace(" ", "\u00a0");
}

part("ask").addEventListener("submit", (event) => {
  event.preventDefault();
  explain();
});
part("rule").addEventListener("change", explain);
part("file").addEventListener("change", (event) => event.target.files[0] && open(event.target.files[0]));
part("ask").addEventListener("dragover", (event) => event.preventDefault());
part("ask").addEventListener("drop", (event) => {
  if (!event.dataTransfer.files.length) return;
  event.preventDefault();
  open(event.dataTransfer.files[0]);
});
takePastedYaml(part("request"), "draft", take, show);
part("example").addEventListener("change", choose);
createTokenField(part("token"), () => (examples.length ? explain() : start()));
start();
