// The report of a check: verdict, key figures, findings, undecided rules and cautions.
import {
  amount, count, fill, get, jointWords, make, percent, planeOf, quantile, sentence, shownSentence, SIGNS, table,
  terms,
} from "./base.js";

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
  const all = one.lacks ? one.lacks.flatMap((lack) => lack.at) : one.at;
  // A joint or an operation is set today; parts are what they are.
  const at = all.find((each) => !each.startsWith("/stack/components/")) ?? all[0];
  const go = at === undefined ? null : make("button", { type: "button", class: "place", onclick: () => toPlace(at) }, placeWords(at));
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

// --- The figures of a report as tables ---------------------------------------------------------------

/** Sections with the figures, each in a collapsible box; empty ones are left out. */
function figureTables(report) {
  return make(
    "section",
    {},
    make("h3", {}, "Figures"),
    box("Assumed values", assumed(report)),
    box("Runout budget", runout(report.runout)),
    box("Speed", speed(report.speed)),
    box("Balance and mass", balance(report)),
    box("Grip", grip(report.grip)),
    box("Stiffness", stiffness(report.stiffness)),
    report.operations.map((one) => box(`Operation ${one.id}: ${one.verdict}`, operation(one))),
  );
}

function box(title, content) {
  return content.length ? make("details", { class: "figures-box" }, make("summary", {}, title), content) : null;
}

function assumed(report) {
  if (!report.if_assumptions_hold) return [];
  const named = (one) => sentence(one.quantity.replace("_tir", ""));
  const inUnit = (value, unit) => (typeof value === "number" ? `${short(value)} ${unitSign(unit)}`.trim() : sentence(String(value ?? "–")));
  const results = report.ranges.map((one) => [
    [named(one), one.plane?.replaceAll("_", " "), jointWords(one.joint), one.operation && `operation ${one.operation}`].filter(Boolean).join(", "),
    inUnit(one.typical, one.unit),
    inUnit(one.cautious, one.unit),
    inUnit(one.limit, one.unit),
  ]);
  const values = report.assumptions
    .filter((one) => one.quantity !== "joint_stiffness")
    .map((one) => [
      `${named(one)} of ${one.subject}`,
      inUnit(one.value, one.unit),
      one.low !== null && one.low !== one.high ? `${short(one.low)} to ${short(one.high)}` : "–",
      one.dependence > 1 ? "decides" : one.dependence >= 0.3 ? "matters" : "hardly",
      one.source,
    ]);
  return [
    results.length ? table("Results with typical and with cautious values", ["result", "typical", "cautious", "against"], results, [1, 2, 3]) : null,
    table("Assumed values, those first on which the results depend most", ["assumed", "value", "range", "effect", "source"], values),
  ].filter(Boolean);
}

/** A number with three significant figures. */
function short(value) {
  return String(Number(value.toPrecision(3)));
}

const UNIT_SIGNS = { um: "µm", "N.m": "N·m", "g.mm": "g·mm", "/min": "rpm", "N/um": "N/µm", deg: "°", 1: "" };

function unitSign(unit) {
  return UNIT_SIGNS[unit] ?? unit ?? "";
}

function runout(told) {
  const parts = told.contributors.map((one) => [
    one.text,
    amount(one.tir_um.gauge_plane, 1),
    amount(one.tir_um.tip, 1),
    percent(one.share.gauge_plane),
  ]);
  return [
    told.complete ? null : make("p", {}, "Some contributors are not known, so the true readings are larger."),
    told.planes.length
      ? table(
          "Total indicator reading, µm",
          ["plane", "from gauge line, mm", "median", "95th percentile", "95 % at limits", "lowest by clocking", "worst case"],
          told.planes.map((plane) => [
            plane.plane === "reading_plane" ? "plain shank" : plane.plane.replaceAll("_", " "),
            amount(plane.from_gauge_line_mm, 2),
            amount(quantile(plane, "p50"), 1),
            amount(quantile(plane, "p95"), 1),
            amount(quantile(plane, "p95", "parts_at_limits"), 1),
            amount(quantile(plane, "p0", "best_clocking"), 1),
            amount(quantile(plane, "p100", "worst_case"), 1),
          ]),
          [1, 2, 3, 4, 5, 6],
        )
      : null,
    parts.length ? table("Contributors, TIR in µm", ["contributor", "gauge plane", "tip", "share"], parts, [1, 2, 3]) : null,
  ].filter(Boolean);
}

function speed(told, caption = "Speed limits; the lowest governs") {
  if (!told.limits.length) return [];
  const rows = told.limits.map((one) => [sentence(one.cause), one.component ?? jointWords(one.joint) ?? "–", amount(one.speed_rpm)]);
  return [
    table(caption, ["limited by", "part or joint", "rpm"], rows, [2]),
    told.complete ? null : make("p", {}, "At least one applicable limit is not known."),
  ].filter(Boolean);
}

function balance({ balance: told, mass }) {
  const rows = [
    ["unbalance, 95th percentile", amount(told.unbalance_p95_g_mm, 2, "g·mm")],
    ["unbalance, worst case", amount(told.unbalance_worst_g_mm, 2, "g·mm")],
    ["mass", amount(mass.total_kg, 3, "kg")],
    ["centre of mass from gauge line", amount(mass.centre_of_mass_from_gauge_line_mm, 1, "mm")],
    ["tilting moment", amount(mass.tilting_moment_n_m, 2, "N·m")],
  ].filter(([, value]) => value !== "not known");
  return rows.length ? [table("Balance and mass", ["quantity", "value"], rows, [1])] : [];
}

function grip(joints) {
  if (!joints.length) return [];
  const rows = joints.map((one) => [
    jointWords(one.joint),
    amount(one.grip_length_mm, 2),
    amount(one.minimum_grip_mm, 2),
    amount(one.projection_mm, 2),
    amount(one.torque_capacity_n_m, 1),
  ]);
  const heads = ["joint", "grip length, mm", "minimum, mm", "projection, mm", "torque capacity at rest, N·m"];
  return [table("Grip on straight shanks", heads, rows, [1, 2, 3, 4])];
}

/** What depends on an operation. */
function operation(told) {
  const { runout: limit, speed: turning, balance: quality, bending } = told;
  const within = limit?.probability_within_limit.assemblies;
  const rows = [
    [`runout limit${limit ? `, ${limit.plane.replaceAll("_", " ")}` : ""}`, amount(limit?.limit_um, 1, "µm")],
    ["share of assemblies within the limit", percent(within, 1)],
    ["programmed speed", amount(turning.programmed_rpm, 0, "rpm")],
    ["margin to the lowest limit", amount(turning.margin_rpm, 0, "rpm")],
    [`permissible unbalance${quality.grade ? ` for ${quality.grade}` : ""}`, amount(quality.permissible_g_mm, 2, "g·mm")],
    ["finest grade met", quality.best_grade ?? "not known"],
    ["rotating force", amount(quality.rotating_force_n, 2, "N")],
    ["radial force at the tip", amount(bending.radial_force_n, 0, "N")],
    ["deflection of the tip", amount(bending.deflection_um, 1, "µm")],
    ["permissible deflection", amount(bending.deflection_limit_um, 1, "µm")],
  ].filter(([, value]) => value !== "not known");
  const held = told.grip.map((one) => [
    jointWords(one.joint),
    amount(one.torque_capacity_n_m, 1),
    amount(one.axial_capacity_n, 0),
    amount(one.safety_factor, 2),
  ]);
  const heads = ["joint", "torque capacity, N·m", "axial capacity, N", "safety factor against slip"];
  return [
    rows.length ? table(`Figures of operation ${told.id}`, ["quantity", "value"], rows, [1]) : null,
    ...speed(turning, `Speed limits in operation ${told.id}`),
    held.length ? table(`Grip at the programmed speed, operation ${told.id}`, heads, held, [1, 2, 3]) : null,
    ...load(told.load, told.id),
  ].filter(Boolean);
}

function stiffness(told) {
  if (told.tip_compliance_um_per_n === null) return [];
  const shares = told.shares.map((one) => [one.component ?? jointWords(one.joint) ?? one.kind, one.kind, percent(one.share)]);
  return [
    table("Share of the deflection at the tip", ["part", "kind", "share"], shares, [2]),
    make("p", {}, `Natural frequencies in bending: ${told.bending_frequencies_hz.map((one) => amount(one)).join(", ")} Hz.`),
    make("ul", { class: "plain" }, told.notes.map((one) => make("li", {}, one))),
  ].filter(Boolean);
}

function load(told, id) {
  if (told.source === null) return [];
  const rows = [
    ["torque", amount(told.torque_n_m, 2, "N·m")],
    ["pull-out force", amount(told.axial_pull_n, 0, "N")],
    ["radial force", amount(told.radial_force_n, 0, "N")],
    ["spindle power", amount(told.power_kw, 2, "kW")],
  ].filter(([, value]) => value !== "not known");
  const caption = `Cutting load, ${told.source === "stated" ? "stated in the request" : "computed from the cut"}, operation ${id}`;
  return [table(caption, ["quantity", "value"], rows, [1])];
}

// --- The reason for a rule, loaded from the rule catalogue on demand ---------------------------------

/** A collapsed box; its content is loaded when opened. */
function ruleReasons(code) {
  const content = make("div", { "aria-live": "polite" });
  let requested = false;
  async function open(event) {
    if (requested || !event.target.open) return;
    requested = true;
    try {
      const rule = await get(`v1/rules/${encodeURIComponent(code)}`);
      fill(
        content,
        make("p", {}, rule.why),
        make("p", {}, make("strong", {}, "Known limits: "), rule.known_limits),
        make("p", {}, make("strong", {}, "Source: "), rule.source),
      );
    } catch (problem) {
      requested = false;
      fill(content, make("p", {}, problem.message));
    }
  }
  return make("details", { class: "reasons", ontoggle: open }, make("summary", {}, `About rule ${code}`), content);
}
