// The figures of a report as tables: runout budget, speed, grip, stiffness.
import { make, table } from "./elements.js";
import { amount, percent, sentence } from "./words.js";

/** Sections with the figures, each a box to open; empty ones are left out. */
export function figureTables(report) {
  return make(
    "section",
    {},
    make("h3", {}, "Figures"),
    box("Runout budget", runout(report.runout)),
    box("Speed", speed(report.speed)),
    box("Balance and mass", balance(report)),
    box("Grip", grip(report.grip)),
    box("Stiffness", stiffness(report.stiffness)),
    box("Load of the cut", load(report.load)),
  );
}

function box(title, content) {
  return content.length ? make("details", { class: "figures-box" }, make("summary", {}, title), content) : null;
}

function runout(told) {
  const planes = [
    ["gauge plane", told.gauge_plane],
    ["tip", told.tip],
  ].filter(([, plane]) => plane !== null);
  const parts = told.contributors.map((one) => [
    one.name,
    amount(one.gauge_plane_tir_um, 1),
    amount(one.tip_tir_um, 1),
    percent(one.gauge_plane_share),
  ]);
  return [
    told.complete ? null : make("p", {}, "Not every contributor is known, so these figures are too small."),
    planes.length
      ? table(
          "Total indicator reading, µm",
          ["plane", "from gauge line, mm", "half below", "95 % below", "best", "worst", "within limit"],
          planes.map(([name, plane]) => [
            name,
            amount(plane.z_mm, 2),
            amount(plane.p50_um, 1),
            amount(plane.p95_um, 1),
            amount(plane.best_clocking_um, 1),
            amount(plane.worst_case_um, 1),
            percent(plane.probability_within_limit, 1),
          ]),
          [1, 2, 3, 4, 5, 6],
        )
      : null,
    parts.length ? table("Contributors, TIR in µm", ["contributor", "gauge plane", "tip", "share"], parts, [1, 2, 3]) : null,
  ].filter(Boolean);
}

function speed(told) {
  if (!told.limits.length) return [];
  const rows = told.limits.map((one) => [sentence(one.cause), one.component ?? "–", amount(one.speed_rpm)]);
  return [
    table("Limits of the speed, the lowest governs", ["limit by", "part", "rpm"], rows, [2]),
    told.complete ? null : make("p", {}, "A limit that applies is not known."),
  ].filter(Boolean);
}

function balance({ balance: told, mass }) {
  const rows = [
    ["unbalance, 95 % have less", amount(told.unbalance_p95_gmm, 2, "g·mm")],
    ["unbalance, worst", amount(told.unbalance_worst_gmm, 2, "g·mm")],
    [`permissible${told.grade ? ` for ${told.grade}` : ""}`, amount(told.permissible_gmm, 2, "g·mm")],
    ["finest grade kept", told.best_grade ?? "not known"],
    ["rotating force", amount(told.rotating_force_n, 2, "N")],
    ["mass", amount(mass.total_kg, 3, "kg")],
    ["centre of mass from gauge line", amount(mass.centre_of_mass_mm, 1, "mm")],
    ["tilting moment", amount(mass.tilting_moment_n_m, 2, "N·m")],
  ].filter(([, value]) => value !== "not known");
  return rows.length ? [table("Balance and mass", ["quantity", "value"], rows, [1])] : [];
}

function grip(joints) {
  if (!joints.length) return [];
  const rows = joints.map((one) => [
    one.joint,
    amount(one.grip_length_mm, 2),
    amount(one.minimum_grip_mm, 2),
    amount(one.projection_mm, 2),
    amount(one.torque_capacity_n_m, 1),
    amount(one.safety_factor, 2),
  ]);
  const heads = ["joint", "held, mm", "at least, mm", "sticks out, mm", "holds, N·m", "safety"];
  return [table("Straight shanks and what holds them", heads, rows, [1, 2, 3, 4, 5])];
}

function stiffness(told) {
  if (told.tip_compliance_um_per_n === null) return [];
  const shares = told.shares.map((one) => [one.name, one.kind, percent(one.share)]);
  return [
    table("Where the deflection of the tip comes from", ["part", "kind", "share"], shares, [2]),
    make("p", {}, `Bending frequencies: ${told.bending_frequencies_hz.map((one) => amount(one)).join(", ")} Hz.`),
    told.deflection_um === null
      ? null
      : make("p", {}, `${amount(told.radial_force_n, 0, "N")} moves the tip by ${amount(told.deflection_um, 1, "µm")}.`),
    make("ul", { class: "plain" }, told.notes.map((one) => make("li", {}, one))),
  ].filter(Boolean);
}

function load(told) {
  if (told.source === null) return [];
  const rows = [
    ["torque", amount(told.torque_n_m, 2, "N·m")],
    ["pull out of the clamp", amount(told.axial_pull_n, 0, "N")],
    ["radial force", amount(told.radial_force_n, 0, "N")],
    ["power at the spindle", amount(told.power_kw, 2, "kW")],
  ].filter(([, value]) => value !== "not known");
  return [table(`Load, ${told.source}`, ["quantity", "value"], rows, [1])];
}
