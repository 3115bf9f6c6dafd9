// The report of a check: verdict, key figures, objections, gaps and cautions.
import { fill, make, terms } from "./elements.js";
import { figureTables } from "./report_tables.js";
import { ruleReasons } from "./rule_reasons.js";
import { amount, count, fieldWords, percent, sentence, SIGNS } from "./words.js";

const VERDICTS = {
  pass: "Pass",
  review: "Review",
  fail: "Fail",
};

/** One sentence that tells the outcome. */
export function outcome(report) {
  const { errors, warnings, advice, undecided, decided } = report.summary;
  return (
    `${count(errors, "error")}, ${count(warnings, "warning")}, ${advice} advice, ` +
    `${undecided} undecided, ${count(decided, "rule")} decided.`
  );
}

/** The verdict with its two figures that matter most, in one line. */
export function inShort(report) {
  const { runout, speed } = report;
  const plane = runout.limit_at === "tip" ? runout.tip : runout.gauge_plane;
  const read = runout.complete && plane ? amount(plane.p95_um, 1, "µm") : "runout not known";
  return `${SIGNS[report.verdict]} ${VERDICTS[report.verdict]}: ${read}, ${amount(speed.governing?.speed_rpm, 0, "rpm")}`;
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
        make("p", { class: "verdict-word" }, VERDICTS[report.verdict], " ", make("span", {}, report.stack ?? "unnamed stack")),
        make("p", {}, outcome(report)),
      ),
    ),
  );
}

/** Show the figures that are asked for most. */
export function showFigures(box, report) {
  fill(box, terms(keyFigures(report), "figures"));
}

/** Show objections and gaps; `toPlace` leads to a pointer of the request. */
export function showFindings(box, report, toPlace) {
  fill(
    box,
    part("Findings", report.findings.map((one) => findingItem(one, toPlace)), "No rule objects."),
    report.undecided.length
      ? part(
          "Undecided",
          report.undecided.map((one) => gapItem(one, toPlace)),
          "",
          "These rules concern the stack and lack a value. Nothing passes silently: state the value and they decide.",
        )
      : null,
  );
}

/** Show what there is to read in peace: tables of figures, cautions, where the answer comes from. */
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
    placeList("Where", one.at, toPlace),
    ruleReasons(one.code),
  );
}

function gapItem(one, toPlace) {
  const lacks = one.lacks.map((lack) => fieldWords(lack.fact).words.toLowerCase()).join(", ");
  const fields = [...new Set(one.lacks.flatMap((lack) => lack.fields))];
  return make(
    "li",
    { class: "finding undecided" },
    head(one, "undecided"),
    make("p", {}, `Not known: ${lacks}. If it objected, it would be ${withArticle(one.severity)}.`),
    placeList("State one of", fields, toPlace),
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

function keyFigures({ runout, speed, geometry, mass, stiffness, balance }) {
  const plane = runout.limit_at === "tip" ? runout.tip : runout.gauge_plane;
  const where = runout.limit_at === "tip" ? "tip" : "gauge plane";
  const governing = speed.governing;
  return [
    [
      `Runout, ${where}`,
      runout.complete || plane === null ? amount(plane?.p95_um, 1, "µm") : `over ${amount(plane.p95_um, 1, "µm")}`,
      runout.complete ? "95 % read less" : "not all contributors known",
      runout.limit_um === null
        ? "no limit asked"
        : `limit ${amount(runout.limit_um, 1, "µm")}` +
          (runout.complete && plane ? `, kept by ${percent(plane.probability_within_limit)}` : ""),
    ],
    [
      "Highest speed",
      amount(governing?.speed_rpm, 0, "rpm"),
      governing ? `by ${governing.component ?? sentence(governing.cause).toLowerCase()}` : "no limit known",
      speed.asked_rpm === null ? "no speed asked" : `asked ${amount(speed.asked_rpm, 0, "rpm")}`,
    ],
    ["Tip from gauge line", amount(geometry.tip_mm, 1, "mm"), `gauge plane ${amount(geometry.gauge_plane_mm, 1, "mm")}`],
    ["Stiffness at tip", amount(stiffness.tip_stiffness_n_per_um, 2, "N/µm"), `critical ${amount(stiffness.critical_speed_rpm, 0, "rpm")}`],
    [
      "Unbalance",
      amount(balance.unbalance_p95_gmm, 2, "g·mm"),
      balance.grade ? `${balance.grade} permits ${amount(balance.permissible_gmm, 1, "g·mm")}` : "no grade asked",
    ],
    ["Mass", amount(mass.total_kg, 2, "kg"), `tilting ${amount(mass.tilting_moment_n_m, 2, "N·m")}`],
  ];
}

function provenance(told) {
  return (
    `${told.service} ${told.version}, rules ${told.rulebook_sha256.slice(0, 12)}, ` +
    `request ${told.request_sha256.slice(0, 12)}. The same request gives the same answer.`
  );
}

function withArticle(severity) {
  return severity === "advice" ? "advice" : `${severity === "error" ? "an" : "a"} ${severity}`;
}
