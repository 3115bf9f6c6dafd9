// The view that audits a library from a file: every stack of it judged, the worst first. The file goes to the batch
// route of this service and nowhere else.
import { amount, count, fill, make, placeWords, send, SIGNS, table } from "./base.js";
import { createQuestionView, head } from "./question_view.js";

const LINES = "application/x-ndjson";
const MOST_ROWS = 200;
const ORDER = ["problem", "fail", "review", "pass"];

/** Set up the view. */
export async function createView(element) {
  await createQuestionView(element, {
    yaml: "draft",
    joined: (texts) => `{"stacks": [${texts.join(",\n")}]}`,
    examples: "audits",
    button: "Audit",
    label: "Library: one check request a line, or a document with stacks",
    answer: {
      path: "v1/check-batches?brief=true",
      show,
      answerOf,
      read: (text) => text,
      empty: "Nothing audited yet. Open or drop a file with a check request on each line, or a document with stacks.",
    },
  });
}

/** A document or a list goes as JSON, anything else as lines. */
async function answerOf(path, text, options) {
  const document = asDocument(text);
  if (document !== null) return JSON.parse((await send(path, { ...options, method: "POST", body: document })).text);
  const { text: answered } = await send(path, { ...options, method: "POST", body: text, type: LINES, accept: `${LINES}, application/problem+json` });
  const results = answered.split("\n").filter(Boolean).map((line) => JSON.parse(line));
  const end = results.find((one) => one.type === "end");
  return { results: results.filter((one) => one.type !== "end"), summary: end?.summary ?? null };
}

function asDocument(text) {
  let value;
  try {
    value = JSON.parse(text);
  } catch {
    // Lines, or a fault that the service names by its line.
    return null;
  }
  if (Array.isArray(value)) return `{"stacks": ${text}}`;
  return value?.stacks === undefined && value?.stack !== undefined ? `{"stacks": [${text}]}` : text;
}

function show(box, { results, summary }, text) {
  if (summary === null) return fill(box, head("review", "?", "The answer broke off", "The results are not complete."));
  const { verdicts } = summary;
  const whole = summary.complete !== false;
  const look = verdicts.fail || summary.problems ? "fail" : verdicts.review || !whole || !summary.stacks ? "review" : "pass";
  return fill(
    box,
    head(
      look,
      SIGNS[look],
      `${count(summary.stacks, "stack")}: ${verdicts.pass} pass, ${verdicts.review} review, ${verdicts.fail} fail`,
      `${count(summary.problems, "line")} with a problem, not judged.`,
      whole ? null : "Lines were left unread.",
    ),
    counted("Findings by rule", summary.codes),
    counted("Undecided by rule", summary.undecided),
    stacks(results, requestsIn(text)),
  );
}

function counted(title, codes) {
  const rows = Object.entries(codes).sort(([, one], [, other]) => other - one);
  return rows.length ? make("section", {}, make("h3", {}, title), table(title, ["rule", "stacks"], rows.map(([code, number]) => [code, String(number)]), [1])) : null;
}

function stacks(results, requests) {
  const state = (one) => (one.type === "problem" ? "problem" : (one.verdict ?? one.report.verdict));
  const sorted = [...results].sort((one, other) => ORDER.indexOf(state(one)) - ORDER.indexOf(state(other)) || one.line - other.line);
  const rows = sorted.slice(0, MOST_ROWS).map((one) => [
    `${one.line}. ${one.id ?? "not named"}`,
    `${SIGNS[state(one)] ?? "✕"} ${state(one)}`,
    one.type === "problem" ? "not judged" : amount(one.gauge_plane_p95_um, 1),
    told(one, requests(one.line)),
  ]);
  const more = sorted.length - rows.length;
  return make(
    "section",
    {},
    make("h3", {}, "Stacks, worst first"),
    table("Line and name of each stack", ["stack", "verdict", "runout, 95th percentile, µm", "findings and problems"], rows, [2]),
    more > 0 ? make("p", { class: "note" }, `${count(more, "further stack")} not shown.`) : null,
  );
}

function told(one, request) {
  if (one.type !== "problem") return [...(one.codes ?? []), ...(one.undecided ?? []).map((code) => `${code} undecided`)].join(", ") || "none";
  const faults = (one.problem.errors ?? []).map((fault) => `${fault.at?.length ? `${placeWords(fault.at[0], request)}: ` : ""}${fault.detail}`);
  return `${one.problem.title}. ${faults.join("; ") || one.problem.detail}`;
}

/** The request of a line, undefined where it is none. */
function requestsIn(text) {
  const document = asDocument(text);
  const lines = document === null ? text.split("\n") : JSON.parse(document).stacks;
  return (line) => {
    const one = lines?.[line - 1];
    try {
      return typeof one === "string" ? JSON.parse(one) : one;
    } catch {
      return undefined;
    }
  };
}
