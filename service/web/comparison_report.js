// The answer to a comparison: who wins on what, and why.
import { fill, make, table } from "./elements.js";
import { amount, percent, sentence, SIGNS } from "./words.js";

const UNITS = { um: "µm", "N/um": "N/µm" };

/** Show the answer. */
export function showComparison(box, report) {
  const names = report.alternatives.map((one) => one.name);
  fill(
    box,
    make("p", { class: "outcome" }, outcome(report)),
    make("div", { class: "sides" }, report.alternatives.map(alternative)),
    table("Criterion by criterion; the best known value is marked", ["criterion", ...names], report.criteria.map((one) => line(one, names))),
    pairs(report.reads_less),
    list("Notes", report.notes),
    list("Cautions", report.cautions),
  );
}

function outcome(report) {
  const best = report.non_dominated;
  return best.length === 1
    ? `${best[0]} is no worse in anything and better in something.`
    : "Each is better in something: weigh what matters for the job.";
}

function alternative(one) {
  return make(
    "section",
    { class: `verdict ${one.verdict}` },
    make("span", { class: "sign", "aria-hidden": "true" }, SIGNS[one.verdict]),
    make(
      "div",
      {},
      make("h3", {}, `${one.name}: ${one.verdict}`),
      make("p", {}, one.because),
      one.findings.length
        ? make("ul", { class: "plain" }, one.findings.map((found) => make("li", {}, `${found.severity} ${found.code}: ${found.title}`)))
        : null,
    ),
  );
}

function line(one, names) {
  const unit = one.unit ? `, ${UNITS[one.unit] ?? one.unit}` : "";
  const title = `${sentence(one.criterion).replace("p95", "(95 % below)")}${unit}, ${one.better} is better`;
  const value = (number, index) => [
    amount(number, 2),
    one.best.includes(names[index]) && one.best.length < names.length ? make("strong", { class: "best" }, " best") : null,
  ];
  return [title, ...one.values.map((number, index) => make("span", {}, ...value(number, index).filter(Boolean)))];
}

function pairs(told) {
  const lines = told.map((one) => {
    if (one.equal) return `${one.first} and ${one.second} always read the same.`;
    if (one.probability === null) return `Which of ${one.first} and ${one.second} reads less is not known.`;
    return `${one.first} reads less than ${one.second} in ${percent(one.probability, 1)} of pairs.`;
  });
  return list("Which reads less, built and clocked at random", lines);
}

function list(title, lines) {
  if (!lines.length) return null;
  return make("section", {}, make("h3", {}, title), make("ul", { class: "plain" }, lines.map((one) => make("li", {}, one))));
}
