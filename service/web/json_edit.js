// Changes one value in a JSON text and keeps the rest unchanged.
import { escapeStep, NotJson, placesOf } from "./json_places.js";

const INDENT = 2;

/** The text with this value at this pointer; missing parent objects are added, in lines if the text has lines. */
export function withValue(text, pointer, value) {
  const places = placesOf(text);
  const here = places.get(pointer);
  const depth = pointer.split("/").length - 1;
  if (here) return splice(text, here.value, written(text, value, depth));
  const cut = pointer.lastIndexOf("/");
  const [above, step] = [pointer.slice(0, cut), pointer.slice(cut + 1)];
  const key = JSON.stringify(step.replaceAll("~1", "/").replaceAll("~0", "~"));
  const holder = places.get(above);
  if (!holder || text[holder.value[0]] !== "{") {
    return withValue(text, above, /^\d+$/.test(step) ? [value] : { [JSON.parse(key)]: value });
  }
  const inside = membersOf(places, above);
  if (inside.length === 0) return splice(text, holder.value, written(text, { [JSON.parse(key)]: value }, depth - 1));
  const gap = text.slice(holder.value[0] + 1, inside[0].key[0]);
  const end = inside.at(-1).value[1];
  return splice(text, [end, end], `,${gap || " "}${key}: ${written(text, value, depth)}`);
}

function written(text, value, depth) {
  if (!text.includes("\n")) return JSON.stringify(value);
  return JSON.stringify(value, null, INDENT).replaceAll("\n", `\n${" ".repeat(INDENT * depth)}`);
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

/** The fault of a text that is not JSON, with line, column and words for people; null for JSON. */
export function jsonFault(text) {
  try {
    placesOf(text);
    return null;
  } catch (error) {
    if (!(error instanceof NotJson)) throw error;
    const before = text.slice(0, error.offset).split("\n");
    return { line: before.length, column: [...before.at(-1)].length + 1, detail: faultWords(text, error) };
  }
}

function faultWords(text, { message, offset }) {
  const there = text.slice(offset, offset + 1);
  const last = text.slice(0, offset).trimEnd().slice(-1);
  if (text.trim() === "") return "The text is empty. Start with { or choose an example.";
  if (there === "") return "The text ends too soon: a closing } or ] or a quotation mark is missing.";
  if (last === "," && "}]".includes(there)) return `Remove the comma before ${there}.`;
  if (there === "'" || "“”‘’".includes(there)) return 'Use straight double quotation marks: "…".';
  if (there === '"' && message.startsWith("expected a")) return "This text has no closing quotation mark in its line.";
  if (last === ":" && "},]".includes(there)) return "A value is missing after the colon.";
  if (message.startsWith("expected a key")) return 'A name in double quotation marks is expected here, such as "stack".';
  if (message.startsWith("expected a value")) return 'A value is expected here: a number with a decimal point, a text in double quotation marks, true, false, null, { or [.';
  if (message === "expected ':'") return "A colon is missing between the name and its value.";
  if (message === "expected '}'") return "A comma is missing before this, or a closing }.";
  if (message === "expected ']'") return "A comma is missing before this, or a closing ].";
  return "Nothing may follow the last }.";
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
