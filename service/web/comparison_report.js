// The report of a comparison: the criteria and the better stack on each.
import { amount, fill, make, percent, sentence, SIGNS, table } from "./base.js";

const UNITS = { um: "µm", "N/um": "N/µm", "/min": "rpm" };

/** Show the report. */
export function showComparison(box, report) {
  const names = report.alternatives.map((one) => one.name);
  fill(
    box,
    make("p", { class: "outcome" }, outcome(report)),
    make("div", { class: "sides" }, report.alternatives.map(alternative)),
    table("Criteria, best marked where every value is known", ["criterion", ...names], report.criteria.map((one) => line(one, names))),
    pairs(report.reads_less),
    list("Notes", report.notes),
    list("Cautions", report.cautions),
  );
}

function outcome(report) {
  const best = report.non_dominated;
  const gaps = report.criteria.some((one) => one.values.includes(null));
  if (gaps) return `Not decided: some values are not known. Not surpassed in what is known: ${best.join(", ")}.`;
  return best.length === 1
    ? `${best[0]} is at least as good on every criterion and better on one or more.`
    : "No clear winner; each is better on some criteria.";
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
  const title = `${sentence(one.criterion).replace("p95", "(95th percentile)")}${unit}, ${one.better} is better`;
  const known = one.values.every((number) => number !== null);
  const value = (number, index) => [
    amount(number, 2),
    known && one.best.includes(names[index]) && one.best.length < names.length ? make("strong", { class: "best" }, " best") : null,
  ];
  return [title, ...one.values.map((number, index) => make("span", {}, ...value(number, index).filter(Boolean)))];
}

function pairs(comparisons) {
  const lines = comparisons.map((one) => {
    if (one.equal) return `${one.first} and ${one.second} have the same runout.`;
    if (one.probability === null) return `Cannot tell which of ${one.first} and ${one.second} has less runout.`;
    return `${one.first} has less runout than ${one.second} in ${percent(one.probability, 1)} of pairs.`;
  });
  return list("Runout with random clocking", lines);
}

function list(title, lines) {
  if (!lines.length) return null;
  return make("section", {}, make("h3", {}, title), make("ul", { class: "plain" }, lines.map((one) => make("li", {}, one))));
}
