// Changes one value in a JSON text and keeps the rest unchanged.
import { escapeStep, placesOf } from "./json_places.js";

/** The text with this value at this pointer; missing parent objects are added. */
export function withValue(text, pointer, value) {
  const places = placesOf(text);
  const here = places.get(pointer);
  const written = JSON.stringify(value);
  if (here) return splice(text, here.value, written);
  const cut = pointer.lastIndexOf("/");
  const [above, step] = [pointer.slice(0, cut), pointer.slice(cut + 1)];
  const key = JSON.stringify(step.replaceAll("~1", "/").replaceAll("~0", "~"));
  const holder = places.get(above);
  if (!holder || text[holder.value[0]] !== "{") {
    return withValue(text, above, /^\d+$/.test(step) ? [value] : JSON.parse(`{${key}: ${written}}`));
  }
  const inside = membersOf(places, above);
  if (inside.length === 0) return splice(text, holder.value, `{${key}: ${written}}`);
  const gap = text.slice(holder.value[0] + 1, inside[0].key[0]);
  const end = inside.at(-1).value[1];
  return splice(text, [end, end], `,${gap || " "}${key}: ${written}`);
}

/** The text without the member of an object at this pointer. */
export function withoutValue(text, pointer) {
  const places = placesOf(text);
  const here = places.get(pointer);
  if (!here || here.key === null) return text;
  const inside = membersOf(places, pointer.slice(0, pointer.lastIndexOf("/")));
  const number = inside.indexOf(here);
  if (number > 0) return splice(text, [inside[number - 1].value[1], here.value[1]], "");
  const next = inside[1];
  return splice(text, [here.key[0], next ? next.key[0] : here.value[1]], "");
}

/** The value at a pointer, undefined where there is none. */
export function valueAt(data, pointer) {
  let at = data;
  for (const step of pointer.split("/").slice(1)) {
    if (at === null || typeof at !== "object") return undefined;
    const key = Object.keys(at).find((name) => escapeStep(name) === step);
    at = key === undefined ? undefined : at[key];
  }
  return at;
}

function membersOf(places, pointer) {
  const start = `${pointer}/`;
  return [...places].filter(([at]) => at.startsWith(start) && !at.slice(start.length).includes("/")).map(([, p]) => p);
}

function splice(text, [from, to], put) {
  return text.slice(0, from) + put + text.slice(to);
}
