// Shows a problem, with a button for each fault that jumps to its place.
import { fill, make } from "./elements.js";

/**
 * Show a problem, or nothing for null.
 *
 * `places` has `line(line, column)` and `pointer(pointer)`, which jump to the place of a fault.
 */
export function showProblem(box, problem, places = null) {
  box.hidden = problem === null;
  if (problem === null) {
    fill(box);
    return;
  }
  fill(
    box,
    make("p", { class: "problem-title" }, make("span", { class: "sign", "aria-hidden": "true" }, "✕"), problem.title),
    make("p", {}, problem.detail),
    problem.errors?.length ? make("ul", { class: "faults" }, problem.errors.map((fault) => faultItem(fault, places))) : null,
  );
}

/** Go to the first fault with a place. */
export function goToFirst(problem, places) {
  const fault = problem.errors?.find((one) => one.line || one.at?.length);
  if (fault) goTo(fault, places);
}

function faultItem(fault, places) {
  const words = fault.line ? `line ${fault.line}, column ${fault.column}` : (fault.place ?? shownPointer(fault.at));
  const place =
    words && places ? make("button", { type: "button", class: "place", onclick: () => goTo(fault, places) }, words) : words;
  return make("li", {}, place, place ? ": " : null, fault.detail);
}

function goTo(fault, places) {
  if (fault.line) places.line(fault.line, fault.column, fault);
  else places.pointer(fault.at[0]);
}

function shownPointer(at) {
  if (!at?.length) return null;
  return at[0] || "the whole request";
}
