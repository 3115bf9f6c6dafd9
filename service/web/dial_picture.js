// Polar picture of the readings in one plane: true circle, measured circle, high point and a scale in µm.
import { amount } from "./base.js";

const SVG = "http://www.w3.org/2000/svg";
const [SIZE, CIRCLE, SWING] = [300, 74, 46];

/** The µm at the end of a scale that all these planes fit: 1, 2 or 5 times a power of ten; pictures of one report share it. */
export function fullScale(planes) {
  const most = Math.max(0, ...planes.map(pointsOf).filter(Boolean).flatMap((points) => points.map((one) => Math.abs(one.reading - meanOf(points)))));
  if (!(most > 0) || !Number.isFinite(most)) return 1;
  const decade = 10 ** Math.floor(Math.log10(most));
  return [1, 2, 5, 10].map((one) => one * decade).find((one) => most <= one * (1 + 1e-9)) ?? 10 * decade;
}

/** The picture of one plane of request and report; null where the readings have no angles. */
export function dialPicture(plane, result, full = fullScale([plane])) {
  const points = pointsOf(plane);
  if (points === null) return null;
  const mean = meanOf(points);
  const scale = SWING / full;
  const placed = points.map((one) => at(one.angle, CIRCLE + scale * (one.reading - mean)));
  const high = result.high_point_deg;
  return element(
    "svg",
    { viewBox: `0 0 ${SIZE} ${SIZE}`, role: "img", "aria-label": description(points, high, result.from_last_clamping_face_mm), class: "dial-picture" },
    ...rings(full),
    element("circle", { cx: SIZE / 2, cy: SIZE / 2, r: CIRCLE, class: "true" }),
    ...[0, 90, 180, 270].map((angle) => label(angle, `${angle}°`, CIRCLE + SWING + 12)),
    ...(high === null ? [] : shifted(high, scale * result.eccentricity_um)),
    ...placed.map(([cx, cy]) => element("circle", { cx, cy, r: 3, class: "point" })),
    words(2, 14, `TIR ${amount(result.judged_tir_um ?? result.tir_um, 1)} µm`),
    words(2, 30, `at ${amount(result.from_last_clamping_face_mm, 1)} mm`),
  );
}

/** Rings of the scale, outward and inward of the true circle, with their deviation from it. */
function rings(full) {
  return [1, 0.5, -0.5, -1].flatMap((share) => {
    const radius = CIRCLE + SWING * share;
    const circle = element("circle", { cx: SIZE / 2, cy: SIZE / 2, r: radius, class: "ring" });
    return [circle, label(45, `${share > 0 ? "+" : "−"}${amount(Math.abs(share) * full, 6)}`, radius)];
  });
}

function meanOf(points) {
  return points.reduce((sum, one) => sum + one.reading, 0) / points.length;
}

function pointsOf(plane) {
  if (plane.kind === "dial") return plane.points.map((one) => ({ angle: one.angle_deg, reading: one.reading_um }));
  if (plane.kind !== "equal_steps") return null;
  const step = 360 / plane.readings_um.length;
  return plane.readings_um.map((reading, index) => ({ angle: index * step, reading }));
}

function description(points, high, distance) {
  const read = points.map((one) => `${amount(one.reading, 1, "µm")} at ${amount(one.angle, 1)}°`).join(", ");
  const peak = high === null ? "No high point." : `High point at ${amount(high)}°.`;
  return `Readings at ${amount(distance, 1, "mm")}: ${read}. ${peak}`;
}

/** Angles count clockwise from the top, as on a dial. */
function at(angle, radius) {
  const turned = (angle * Math.PI) / 180;
  return [SIZE / 2 + radius * Math.sin(turned), SIZE / 2 - radius * Math.cos(turned)].map((one) => Number(one.toFixed(2)));
}

function label(angle, text, radius) {
  const [x, y] = at(angle, radius);
  return words(x, y + 4, text, "middle");
}

function words(x, y, text, anchor = "start") {
  const made = element("text", { x, y, "text-anchor": anchor });
  made.textContent = text;
  return made;
}

/** The measured circle, shifted toward its high point. */
function shifted(high, distance) {
  const [cx, cy] = at(high, distance);
  return [element("circle", { cx, cy, r: CIRCLE, class: "read" }), line(at(high, 0), at(high, CIRCLE + distance), "high")];
}

function line([x1, y1], [x2, y2], name) {
  return element("line", { x1, y1, x2, y2, class: name });
}

function element(tag, attributes, ...children) {
  const made = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  made.append(...children.filter((child) => child !== null));
  return made;
}
