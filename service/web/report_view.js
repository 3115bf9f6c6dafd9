// The report of a check: verdict, key figures, findings, undecided rules and cautions.
import { fill, make, terms } from "./elements.js";
import { figureTables } from "./report_tables.js";
import { planeOf, quantile } from "./runout.js";
import { ruleReasons } from "./rule_reasons.js";
import { amount, count, jointWords, percent, sentence, shownSentence, SIGNS } from "./words.js";

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
  const speed = lowestLimit(report)?.speed_rpm;
  return `${SIGNS[report.verdict]} ${VERDICTS[report.verdict]}: ${read}, ${speed ? amount(speed, 0, "rpm") : "speed limit not known"}`;
}

/** Show the answer in one box: verdict, the reason that matters most with its remedy, runout, governing speed. */
export function showAnswer(box, report, toPlace, placeWords) {
  const reason = mainReason(report);
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
        make("p", { class: "counts" }, outcome(report)),
        reason ? reasonWords(reason, toPlace, placeWords) : null,
        assumedWords(report).map((words) => make("p", { class: "assumed" }, words)),
      ),
      terms(keyFigures(report).slice(0, 2), "figures lead"),
    ),
  );
}

/** The finding or undecided rule that decides the verdict; null if nothing stands against the stack. */
function mainReason({ findings, undecided }) {
  return (
    findings.find((one) => one.severity === "error") ??
    undecided.find((one) => one.severity === "error") ??
    findings.find((one) => one.severity === "warning") ??
    undecided[0] ??
    null
  );
}

function reasonWords(one, toPlace, placeWords) {
  const at = one.lacks ? one.lacks.flatMap((lack) => lack.at) : one.at;
  const go = at.length ? make("button", { type: "button", class: "place", onclick: () => toPlace(at[0]) }, placeWords(at[0])) : null;
  return one.lacks
    ? make("p", { class: "reason" }, make("strong", {}, `${one.title}: `), `not decided, ${lackWords(one)} not stated. `, "State it: ", go)
    : [make("p", { class: "reason" }, make("strong", {}, `${one.title}. `), shownSentence(one.message)), make("p", { class: "reason" }, make("strong", {}, "Remedy: "), shownSentence(one.remedy), " ", go)];
}

function lackWords(one) {
  return one.lacks.map((lack) => lack.quantity.replaceAll("_", " ")).join(", ");
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

/** Show the key figures beside runout and speed. */
export function showFigures(box, report) {
  fill(box, terms(keyFigures(report).slice(2), "figures"));
}

/** Show findings and undecided rules; `toPlace` jumps to a pointer in the request, `placeWords` names it. */
export function showFindings(box, report, toPlace, placeWords) {
  fill(
    box,
    part("Findings", report.findings.map((one) => findingItem(one, toPlace, placeWords)), "No findings."),
    report.undecided.length
      ? part(
          "Undecided",
          report.undecided.map((one) => gapItem(one, toPlace, placeWords)),
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

function findingItem(one, toPlace, placeWords) {
  return make(
    "li",
    { class: `finding ${one.severity}` },
    head(one, one.severity),
    make("p", {}, shownSentence(one.message)),
    make("p", {}, make("strong", {}, "Remedy: "), shownSentence(one.remedy)),
    placeList("Where", one.at, toPlace, placeWords),
    ruleReasons(one.code),
  );
}

function gapItem(one, toPlace, placeWords) {
  const fields = [...new Set(one.lacks.flatMap((lack) => lack.at))];
  return make(
    "li",
    { class: "finding undecided" },
    head(one, "undecided"),
    make("p", {}, `Missing: ${lackWords(one)}. Severity if violated: ${one.severity}.`),
    placeList("State one of", fields, toPlace, placeWords),
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

function placeList(words, pointers, toPlace, placeWords) {
  if (!pointers.length) return null;
  const places = pointers.map((at) => [
    " ",
    make("button", { type: "button", class: "place", onclick: () => toPlace(at) }, placeWords(at)),
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
      ...spread(report, name),
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

/** What lies around the 95th percentile: half and 99 % of assemblies, and cautious values of what is assumed. */
function spread(report, name) {
  const plane = planeOf(report.runout, name);
  const [half, most] = ["p50", "p99"].map((one) => quantile(plane, one));
  const range = report.ranges?.find((one) => one.quantity === "runout_tir" && one.plane === name);
  return [
    half === undefined || half === null ? null : `half within ${amount(half, 1, "µm")}, 99 % within ${amount(most, 1, "µm")}`,
    range && typeof range.cautious === "number" ? `assumed values cautious: ${amount(range.cautious, 1, "µm")}` : null,
  ].filter(Boolean);
}

function provenance(told) {
  return (
    `${told.service} ${told.version}, rules ${told.rulebook_sha256.slice(0, 12)}, ` +
    `request ${told.request_sha256.slice(0, 12)}. Identical requests give identical reports.`
  );
}

