// Shows a problem: what is wrong, and for each fault a button that leads to it.
import { fill, make } from "./elements.js";
import { pointerOfFragment } from "./json_places.js";

/**
 * Show a problem, or nothing for null.
 *
 * `places` has `line(line, column)` and `pointer(pointer)`, which lead to the place of a fault.
 */
export function showProblem(box, told, places = null) {
  box.hidden = told === null;
  if (told === null) {
    fill(box);
    return;
  }
  fill(
    box,
    make("p", { class: "problem-title" }, make("span", { class: "sign", "aria-hidden": "true" }, "✕"), told.title),
    make("p", {}, told.detail),
    told.errors?.length ? make("ul", { class: "faults" }, told.errors.map((fault) => faultItem(fault, places))) : null,
  );
}

/** Lead to the first fault that has a place. */
export function leadToFirst(told, places) {
  const fault = told.errors?.find((one) => one.line || one.pointer !== undefined);
  if (fault) lead(fault, places);
}

function faultItem(fault, places) {
  const words = fault.line ? `line ${fault.line}, column ${fault.column}` : shownPointer(fault.pointer);
  const place =
    words && places ? make("button", { type: "button", class: "place", onclick: () => lead(fault, places) }, words) : words;
  return make("li", {}, place, place ? " " : null, fault.detail);
}

function lead(fault, places) {
  if (fault.line) places.line(fault.line, fault.column, fault);
  else places.pointer(pointerOfFragment(fault.pointer));
}

function shownPointer(fragment) {
  if (fragment === undefined) return null;
  return pointerOfFragment(fragment) || "the whole request";
}
