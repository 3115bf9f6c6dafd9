// The report of a reading: decision, next step, planes and prediction.
import { amount, fill, jointWords, make, percent, quantile, SIGNS, table, terms } from "./base.js";
import { dialPicture, fullScale } from "./dial_picture.js";

const DECISIONS = {
  conforms: ["Conforms", "pass"],
  does_not_conform: ["Does not conform", "fail"],
  not_proven: ["Not proven", "review"],
};

const RULES = {
  iso_14253_1_1998: "ISO 14253-1:1998",
  iso_14253_1_2013: "ISO 14253-1:2013",
  iso_14253_1_2017: "ISO 14253-1:2017",
};

/** Show the report of a request. */
export function showReading(box, report, request) {
  fill(
    box,
    decision(report.decision),
    make("section", { class: "next" }, make("h3", {}, "Next step"), make("p", {}, report.next_step.text)),
    planes(report, request),
    axis(report.axis),
    trial(report.trial),
    prediction(report.prediction),
    list("Notes", report.notes),
    list("Cautions", report.cautions),
  );
}

/** The decision on a reading. */
export function decision(told) {
  const [words, look] = told ? DECISIONS[told.decision] : ["No limit stated", "review"];
  const uncertainty = told?.expanded_uncertainty_um;
  return make(
    "div",
    { class: `verdict ${look}` },
    make("span", { class: "sign", "aria-hidden": "true" }, told ? SIGNS[told.decision] : "?"),
    make(
      "div",
      {},
      make("p", { class: "verdict-word" }, words),
      told
        ? make(
            "p",
            {},
            `TIR ${amount(told.tir_um, 1, "µm")}, limit ${amount(told.limit_um, 1, "µm")}` +
              (uncertainty === null
                ? ", uncertainty not stated."
                : `, expanded uncertainty ${amount(uncertainty, 1, "µm")}, guard band ${amount(told.guard_band_um, 1, "µm")} (${RULES[told.rule] ?? told.rule}).`),
          )
        : null,
      told && told.limit_um !== told.stated_limit_um
        ? make("p", {}, `The limit of ${amount(told.stated_limit_um, 1, "µm")} is for another plane and was converted by the predicted 95th percentiles.`)
        : null,
      told?.would_settle ? make("p", {}, told.would_settle) : null,
    ),
  );
}

function planes(report, request) {
  const rows = report.planes.map((one) => [
    amount(one.from_last_clamping_face_mm, 1),
    amount(one.tir_um, 1),
    amount(one.judged_tir_um, 1),
    amount(one.eccentricity_um, 1),
    one.high_point_deg === null ? "–" : amount(one.high_point_deg, 0),
    amount(one.form_um, 1),
    amount(one.at_least_um, 1),
    one.at_most_um === null ? "not known" : amount(one.at_most_um, 1),
  ]);
  const heads = [
    "distance, mm",
    "TIR, µm",
    "TIR of a turn, µm",
    "eccentricity, µm",
    "high point, °",
    "form deviation, µm",
    "runout seen, µm",
    "runout possible, µm",
  ];
  const full = fullScale(request.planes);
  const pictures = report.planes.map((one, index) => dialPicture(request.planes[index], one, full)).filter(Boolean);
  return make(
    "section",
    {},
    make("h3", {}, "Readings"),
    table("Measuring planes", heads, rows, [0, 1, 2, 3, 4, 5, 6, 7]),
    sureness(report.planes),
    pictures.length
      ? [
          make("div", { class: "dial-pictures" }, pictures),
          make("p", { class: "note" }, "Dashed: zero runout. Rings: deviation in µm, the same scale in every picture. Dots: readings. Line: direction of the high point."),
        ]
      : null,
  );
}

function sureness(told) {
  const rows = told
    .filter((one) => one.uncertainty !== null)
    .map((one) => [
      amount(one.from_last_clamping_face_mm, 1),
      ...["tir_um", "eccentricity_um", "high_point_deg", "form_um"].map((name) =>
        one.uncertainty[name] === null ? "not known" : amount(one.uncertainty[name], 2),
      ),
      one.uncertainty.parts.map((part) => `${part.cause} ${amount(part.standard_um, 2)}`).join(", "),
    ]);
  if (!rows.length) return null;
  const heads = ["distance, mm", "runout, µm", "eccentricity, µm", "high point, °", "form deviation, µm", "standard uncertainties of the eccentricity, µm"];
  return table(`Expanded uncertainty, k = ${amount(told.find((one) => one.uncertainty).uncertainty.coverage_factor)}`, heads, rows, [0, 1, 2, 3, 4]);
}

function axis(told) {
  if (told === null) return null;
  const pairs = [
    ["Offset at the face", `${amount(told.offset_um, 1, "µm")} ${toward(told.offset_deg)}`],
    ["Tilt", `${amount(told.tilt_um_per_mm, 3, "µm/mm")} ${toward(told.tilt_deg)}`],
  ];
  if (told.tip_tir_um !== null) pairs.push(["Expected at the tip", amount(told.tip_tir_um, 1, "µm")]);
  return make("section", {}, make("h3", {}, "Axis through both planes"), terms(pairs));
}

function trial(told) {
  if (told === null) return null;
  return make(
    "section",
    {},
    make("h3", {}, `Trial turn of ${jointWords(told.joint)}`),
    terms([
      ["Fixed part of the eccentricity", amount(told.before_joint_um, 1, "µm")],
      ["Part that turns with the joint", amount(told.beyond_joint_um, 1, "µm")],
      ["Turn further by", amount(told.turn_deg, 0, "°")],
      ["Remaining TIR", amount(told.leaves_tir_um, 1, "µm")],
    ]),
  );
}

function prediction(told) {
  const known = told.filter((one) => one !== null);
  if (!known.length) return null;
  const rows = known.map((one) => [
    amount(one.from_gauge_line_mm, 1),
    amount(quantile(one, "p50"), 1),
    amount(quantile(one, "p95"), 1),
    amount(quantile(one, "p99"), 1),
    percent(one.share_below, 1),
  ]);
  const heads = ["from gauge line, mm", "median, µm", "95th percentile, µm", "99th percentile, µm", "share below this reading"];
  return make("section", {}, make("h3", {}, "Comparison with the prediction"), table("Predicted TIR of this stack", heads, rows, [0, 1, 2, 3, 4]));
}

/** A titled list; nothing without lines. */
export function list(title, lines) {
  if (!lines.length) return null;
  return make("section", {}, make("h3", {}, title), make("ul", { class: "plain" }, lines.map((one) => make("li", {}, one))));
}

function toward(angle) {
  return angle === null ? "" : `toward ${amount(angle)}°`;
}
