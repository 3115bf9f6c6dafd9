// The report of a check: verdict, key figures, findings, undecided rules and cautions.
import { fill, make, terms } from "./elements.js";
import { figureTables } from "./report_tables.js";
import { planeOf, quantile } from "./runout.js";
import { ruleReasons } from "./rule_reasons.js";
import { amount, count, jointWords, percent, sentence, SIGNS } from "./words.js";

const VERDICTS = {
  pass: "Pass",
  review: "Review",
  fail: "Fail",
};

/** The counts of findings in one sentence. */
export function outcome(report) {
  const { errors, warnings, advice, undecided, decided } = report.summary;
  return (
    `${count(errors, "error")}, ${count(warnings, "warning")}, ${advice} advice, ` +
    `${undecided} undecided, ${count(decided, "rule")} decided.`
  );
}

/** Verdict, runout and highest speed in one line. */
export function headline(report) {
  const p95 = quantile(planeOf(report.runout, limitOf(report)?.plane ?? "gauge_plane"), "p95");
  const read = p95 === undefined ? "runout not known" : amount(p95, 1, "µm");
  return `${SIGNS[report.verdict]} ${VERDICTS[report.verdict]}: ${read}, ${amount(lowestLimit(report)?.speed_rpm, 0, "rpm")}`;
}

/** Show the verdict. */
export function showVerdict(box, report) {
  fill(
    box,
    make(
      "div",
      { class: `verdict ${report.verdict}` },
      make("span", { class: "sign", "aria-hidden": "true" }, SIGNS[report.verdict]),
      make(
        "div",
        {},
        make("p", { class: "verdict-word" }, VERDICTS[report.verdict], " ", make("span", {}, report.stack_id ?? "unnamed stack")),
        make("p", {}, outcome(report)),
        assumedWords(report).map((words) => make("p", { class: "assumed" }, words)),
      ),
    ),
  );
}

const MEASURE_FROM = 0.3;

/** What the verdict would be if the assumed values hold, and what to measure first; empty with nothing assumed. */
function assumedWords(report) {
  if (!report.if_assumptions_hold) return [];
  const first = report.assumptions.filter((one) => one.dependence >= MEASURE_FROM).slice(0, 3);
  const names = first.map((one) => `${sentence(one.quantity.replace("_tir", "")).toLowerCase()} of ${one.subject}`);
  return [
    `Values that are not stated are assumed: an estimate, not a release. If they hold, the verdict is ${report.if_assumptions_hold}.`,
    ...(names.length ? [`Measure or look up first: ${names.join("; ")}.`] : []),
  ];
}

/** Show the key figures. */
export function showFigures(box, report) {
  fill(box, terms(keyFigures(report), "figures"));
}

/** Show findings and undecided rules; `toPlace` jumps to a pointer in the request. */
export function showFindings(box, report, toPlace) {
  fill(
    box,
    part("Findings", report.findings.map((one) => findingItem(one, toPlace)), "No findings."),
    report.undecided.length
      ? part(
          "Undecided",
          report.undecided.map((one) => gapItem(one, toPlace)),
          "",
          "These rules apply to the stack but lack data. Add the missing values to get a verdict.",
        )
      : null,
  );
}

/** Show tables of figures, cautions and provenance. */
export function showDetails(box, report) {
  fill(
    box,
    figureTables(report),
    make("section", {}, make("h3", {}, "Cautions"), make("ul", { class: "plain" }, report.cautions.map((one) => make("li", {}, one)))),
    make("p", { class: "note provenance" }, provenance(report.provenance)),
  );
}

function part(title, items, none, note = null) {
  return make(
    "section",
    {},
    make("h3", {}, title),
    note ? make("p", { class: "note" }, note) : null,
    items.length ? make("ul", { class: "findings" }, items) : make("p", {}, none),
  );
}

function findingItem(one, toPlace) {
  return make(
    "li",
    { class: `finding ${one.severity}` },
    head(one, one.severity),
    make("p", {}, one.message),
    make("p", {}, make("strong", {}, "Remedy: "), one.remedy),
    placeList("In the request", one.at, toPlace),
    ruleReasons(one.code),
  );
}

function gapItem(one, toPlace) {
  const lacks = one.lacks.map((lack) => lack.quantity.replaceAll("_", " ")).join(", ");
  const fields = [...new Set(one.lacks.flatMap((lack) => lack.at))];
  return make(
    "li",
    { class: "finding undecided" },
    head(one, "undecided"),
    make("p", {}, `Missing: ${lacks}. Severity if violated: ${one.severity}.`),
    placeList("Add one of", fields, toPlace),
    ruleReasons(one.code),
  );
}

function head(one, state) {
  return make(
    "h4",
    {},
    make("span", { class: "tag" }, make("span", { class: "sign", "aria-hidden": "true" }, SIGNS[state]), state),
    " ",
    one.title,
    " ",
    make("span", { class: "code" }, one.code),
  );
}

function placeList(words, pointers, toPlace) {
  if (!pointers.length) return null;
  const places = pointers.map((at) => [
    " ",
    make("button", { type: "button", class: "place", onclick: () => toPlace(at) }, at || "the whole request"),
  ]);
  return make("p", { class: "places" }, `${words}:`, places);
}

/** The runout limit of the first operation. */
function limitOf(report) {
  return report.operations[0]?.runout ?? null;
}

/** The lowest speed limit of stack and operations. */
function lowestLimit(report) {
  const found = [report, ...report.operations].map((one) => one.speed.governing).filter(Boolean);
  return found.sort((one, other) => one.speed_rpm.value - other.speed_rpm.value)[0];
}

function keyFigures(report) {
  const { runout, geometry, mass, stiffness, balance } = report;
  const operation = report.operations[0] ?? null;
  const limit = limitOf(report);
  const name = limit?.plane ?? "gauge_plane";
  const within = limit?.probability_within_limit.assemblies;
  const governing = lowestLimit(report);
  const programmed = operation?.speed.programmed_rpm ?? null;
  const quality = operation?.balance;
  return [
    [
      `Runout, ${name.replaceAll("_", " ")}`,
      amount(quantile(planeOf(runout, name), "p95"), 1, "µm"),
      runout.complete ? "95 % of assemblies" : "some contributors not known",
      limit === null
        ? "no limit stated"
        : `limit ${amount(limit.limit_um, 1, "µm")}` +
          (typeof within === "number" ? `, ${percent(within)} within` : ""),
    ],
    [
      "Highest speed",
      amount(governing?.speed_rpm, 0, "rpm"),
      governing ? `by ${governing.component ?? jointWords(governing.joint) ?? sentence(governing.cause).toLowerCase()}` : "no limit known",
      programmed === null ? "no speed programmed" : `programmed ${amount(programmed, 0, "rpm")}`,
    ],
    ["Projection from the gauge line", amount(geometry.tip_mm, 1, "mm"), `from the last clamping face ${amount(geometry.tip_from_last_clamping_face_mm, 1, "mm")}`],
    ["Stiffness at tip", amount(stiffness.tip_stiffness_n_per_um, 2, "N/µm"), `critical speed ${amount(stiffness.critical_speed_rpm, 0, "rpm")}`],
    [
      "Unbalance",
      amount(balance.unbalance_p95_g_mm, 2, "g·mm"),
      quality?.grade ? `${quality.grade}: permissible ${amount(quality.permissible_g_mm, 1, "g·mm")}` : "no grade required",
    ],
    ["Mass", amount(mass.total_kg, 2, "kg"), `tilting moment ${amount(mass.tilting_moment_n_m, 2, "N·m")}`],
  ];
}

function provenance(told) {
  return (
    `${told.service} ${told.version}, rules ${told.rulebook_sha256.slice(0, 12)}, ` +
    `request ${told.request_sha256.slice(0, 12)}. Identical requests give identical reports.`
  );
}

