// The figures of a report as tables.
import { make, table } from "./elements.js";
import { quantile } from "./runout.js";
import { amount, jointWords, percent, sentence } from "./words.js";

/** Sections with the figures, each in a collapsible box; empty ones are left out. */
export function figureTables(report) {
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
