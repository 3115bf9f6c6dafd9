// A schema as text: type and bounds in one line, description as paragraphs.
import { make } from "./base.js";

const BOUNDS = [
  ["minimum", "at least "],
  ["exclusiveMinimum", "above "],
  ["maximum", "at most "],
  ["exclusiveMaximum", "below "],
  ["minLength", "min. length "],
  ["maxLength", "max. length "],
  ["minItems", "min. entries "],
  ["maxItems", "max. entries "],
];
const TYPES = { string: "text", integer: "whole number", boolean: "true or false", array: "list" };

/** Type and bounds in words; objects by their names. */
export function typeWords(schema, contract) {
  if (schema.const !== undefined) return JSON.stringify(schema.const);
  if (schema.enum) return `one of ${schema.enum.map((one) => JSON.stringify(one)).join(", ")}`;
  const choices = schema.anyOf ?? schema.oneOf;
  if (choices) return [...new Set(choices.map((one) => typeWords(one, contract)))].join(" or ");
  if (schema.$ref) {
    const name = schema.$ref.slice(schema.$ref.lastIndexOf("/") + 1);
    const told = contract.components.schemas[name];
    return told.properties || told.oneOf ? name : typeWords(told, contract);
  }
  if (schema.type === "array") return [`list of ${typeWords(schema.items ?? {}, contract)}`, ...bounds(schema)].join(", ");
  return [TYPES[schema.type] ?? schema.type ?? "any value", ...bounds(schema)].join(", ");
}

/** Paragraphs of a text, which blank lines separate. */
export function paragraphs(text) {
  return text.split(/\n\s*\n/).filter(Boolean).map((one) => make("p", {}, one));
}

function bounds(schema) {
  const told = BOUNDS.filter(([name]) => schema[name] !== undefined).map(([name, words]) => words + schema[name]);
  return schema.pattern ? [...told, `pattern ${schema.pattern}`] : told;
}
