// The fields of one measuring plane: method, distance and readings.
import { fill, make } from "./base.js";

const KINDS = {
  equal_steps: "at equal angles",
  dial: "at chosen angles",
  range: "TIR only",
};

/** Fields in a box; `at` is the JSON Pointer of the plane in the request, `words` name its distance. */
export function createPlaneFields(box, at, words = { distance: "Distance from the last clamping face" }) {
  const id = (name) => `plane${at.replaceAll("/", "-")}-${name}`;
  const kind = make(
    "select",
    { id: id("kind"), "data-at": `${at}/kind`, onchange: () => build() },
    Object.entries(KINDS).map(([value, words]) => make("option", { value }, words)),
  );
  const distance = figure(`${at}/distance_mm`, { id: id("distance"), value: "24" });
  const steps = make("input", {
    id: id("steps"),
    type: "number",
    min: "3",
    max: "36",
    value: "4",
    onchange: () => build(readings()),
  });
  const rows = make("div", { class: "dial" });
  const stepsField = labelled("Number of readings", steps);
  box.classList.add("plane");
  fill(
    box,
    make(
      "div",
      { class: "fields" },
      labelled("Method", kind),
      labelled(words.distance, distance, "mm"),
      stepsField,
    ),
    rows,
  );
  build();

  function build(values = []) {
    stepsField.hidden = kind.value === "range";
    if (kind.value === "range") {
      fill(rows, labelled("Total indicator reading", figure(`${at}/tir_um`, { id: id("tir"), value: values[0] ?? "" }), "µm"));
      return;
    }
    const number = Math.min(36, Math.max(3, Math.round(Number(steps.value)) || 4));
    steps.value = number;
    fill(rows, Array.from({ length: number }, (_, index) => row(index, (360 * index) / number, values[index])));
  }

  function row(index, angle, value = "") {
    const degrees = String(Number(angle.toFixed(1)));
    const pointer = kind.value === "dial" ? `${at}/points/${index}/reading_um` : `${at}/readings_um/${index}`;
    const reading = figure(pointer, { id: id(`reading-${index}`), value, "data-reading": true });
    if (kind.value !== "dial") return labelled(`${degrees}°`, reading, "µm");
    const turned = figure(`${at}/points/${index}/angle_deg`, { id: id(`angle-${index}`), value: degrees, "data-angle": true });
    return make("div", { class: "pair" }, labelled("angle", turned, "°"), labelled("reading", reading, "µm"));
  }

  function readings() {
    return [...rows.querySelectorAll("[data-reading]")].map((input) => input.value);
  }

  return {
    /** The plane in the form of the request. */
    get value() {
      const start = { kind: kind.value, distance_mm: numberOf(distance.value) };
      if (kind.value === "range") return { ...start, tir_um: numberOf(rows.querySelector("input").value) };
      const read = readings().map(numberOf);
      if (kind.value === "equal_steps") return { ...start, readings_um: read };
      const angles = [...rows.querySelectorAll("[data-angle]")].map((input) => numberOf(input.value));
      return { ...start, points: read.map((reading_um, index) => ({ angle_deg: angles[index], reading_um })) };
    },
    /** Show a plane of a request. */
    set value(plane) {
      kind.value = plane.kind;
      distance.value = plane.distance_mm;
      const read = plane.readings_um ?? plane.points?.map((one) => one.reading_um) ?? [plane.tir_um];
      if (plane.kind !== "range") steps.value = read.length;
      build(read);
      const angles = rows.querySelectorAll("[data-angle]");
      angles.forEach((input, index) => (input.value = plane.points[index].angle_deg));
    },
  };
}

/** The number in a text (decimal point or comma), null if empty; any other text as it is, which the service rejects. */
export function numberOf(text) {
  const plain = text.trim().replace(",", ".").replace("−", "-");
  if (plain === "") return null;
  const number = Number(plain);
  return Number.isFinite(number) ? number : plain;
}

function figure(pointer, attributes) {
  return make("input", { type: "text", inputmode: "text", autocomplete: "off", "data-at": pointer, ...attributes });
}

function labelled(words, input, unit = "") {
  const shown = unit ? make("span", { class: "unit" }, ` ${unit}`) : null;
  return make("div", { class: "field" }, make("label", { for: input.id }, words, shown), input);
}
