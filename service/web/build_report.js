// The report of a build: each stage with what to do next, then the finished stack.
import { amount, fill, jointWords, make, SIGNS, table, terms } from "./base.js";
import { dialPicture, fullScale } from "./dial_picture.js";
import { decision, list } from "./reading_report.js";

const ACTIONS = {
  go_on: ["Go on", "pass"],
  turn: ["Turn the joint", "review"],
  reseat: ["Reseat the part", "review"],
  replace: ["Replace the part", "fail"],
  read_again: ["Read again", "review"],
  compare: ["Compare", "review"],
};

const CAUSES = { part: "the part itself", seat: "its seat" };

/** Show the report of a request. */
export function showBuild(box, report, request) {
  const full = fullScale(request.stages.flatMap((stage) => stage.planes));
  fill(
    box,
    latest(report),
    report.stages.map((stage, index) => stageSection(stage, index, request.stages[index], full)),
    finished(report.finished),
    list("Missing for a prediction", report.not_stated.map((one) => one.quantity.replaceAll("_", " "))),
    list("Notes", report.notes),
    list("Cautions", report.cautions),
  );
}

/** What to do after the last stage that was read. */
function latest(report) {
  const stage = report.stages.at(-1);
  const [words, look] = ACTIONS[stage.action] ?? [stage.action, "review"];
  return make(
    "div",
    { class: `verdict ${look}` },
    make("span", { class: "sign", "aria-hidden": "true" }, SIGNS[look]),
    make("div", {}, make("p", { class: "verdict-word" }, words), make("p", {}, stage.text)),
  );
}

function stageSection(stage, index, asked, full) {
  const rows = stage.planes.map((one, place) => [
    amount(one.from_last_clamping_face_mm, 1),
    amount(one.judged_tir_um, 1),
    amount(one.eccentricity_um, 1),
    one.high_point_deg === null ? "–" : amount(one.high_point_deg, 0),
    amount(one.uncertainty?.eccentricity_um, 2),
    amount(stage.own[place]?.eccentricity_um, 1),
    stage.own[place]?.direction_deg == null ? "–" : amount(stage.own[place].direction_deg, 0),
  ]);
  const heads = [
    "distance, mm",
    "TIR of a turn, µm",
    "eccentricity, µm",
    "high point, °",
    "its U, µm",
    "own error of the part, µm",
    "its direction, °",
  ];
  const told = [["95th percentile of the finished stack", amount(stage.p95_um, 1, "µm")]];
  if (stage.cause) told.push(["Cause, by the repeats", CAUSES[stage.cause] ?? stage.cause]);
  if (stage.best_turn) told.push(["Best turn", turnWords(stage.best_turn)]);
  const pictures = stage.planes.map((one, place) => dialPicture(asked.planes[place], one, full)).filter(Boolean);
  return make(
    "section",
    {},
    make("h3", {}, `Stage ${index + 1}: ${stage.part}`),
    make("p", {}, stage.text),
    terms(told),
    table(`Readings of stage ${index + 1}`, heads, rows, [0, 1, 2, 3, 4, 5, 6]),
    pictures.length ? make("div", { class: "dial-pictures" }, pictures) : null,
    stage.statement
      ? make(
          "details",
          {},
          make("summary", {}, `Runout of ${stage.part} as its data take it`),
          make("pre", { tabindex: "0" }, JSON.stringify({ runout: stage.statement }, null, 2)),
        )
      : null,
  );
}

function turnWords(turn) {
  const within = turn.tolerance_deg === null ? "" : ` ± ${amount(turn.tolerance_deg)}°`;
  const heat = turn.needs_heat ? "; the joint has to be heated" : "";
  return `${jointWords(turn.joint)} by ${amount(turn.turn_deg)}°${within}, which leaves ${amount(turn.leaves_tir_um, 1, "µm")}${heat}`;
}

function finished(told) {
  const enough = { true: "enough", false: "too short" }[told.grip_is_enough] ?? "not known whether enough";
  const pairs = [
    ["Length, measured", told.length_mm, (value) => amount(value, 3, "mm")],
    ["Length, planned", told.planned_length_mm, (value) => amount(value, 3, "mm")],
    ["Grip that the length implies", told.implied_grip_mm, (value) => `${amount(value, 2, "mm")}, ${enough}`],
    ["Swing diameter", told.swing_diameter_mm, (value) => amount(value, 3, "mm")],
    ["Radius offset", told.radius_offset_mm, (value) => amount(value, 4, "mm")],
  ].filter(([, value]) => value !== null);
  if (!pairs.length && told.decision === null) return null;
  return make(
    "section",
    {},
    make("h3", {}, "Finished stack"),
    told.decision === null ? null : decision(told.decision),
    terms(pairs.map(([name, value, words]) => [name, words(value)])),
  );
}
