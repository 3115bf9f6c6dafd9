// The fields of a schema; nested fields are built when opened.
import { make } from "./base.js";
import { resolved } from "./docs_operations.js";
import { typeWords } from "./docs_words.js";

/** The fields of a schema, or its type where it has none. */
export function schemaView(schema, contract) {
  const whole = resolved(schema, contract);
  const deeper = branches(whole, contract);
  if (whole.properties) return fields(whole, contract);
  if (deeper.length) return make("div", {}, deeper.map((one) => opener(one, contract)));
  return make("p", { class: "type" }, typeWords(whole, contract));
}

function fields(schema, contract) {
  const required = new Set(schema.required ?? []);
  return make(
    "dl",
    { class: "schema" },
    Object.entries(schema.properties).map(([name, one]) =>
      make(
        "div",
        {},
        make(
          "dt",
          {},
          make("code", {}, name),
          " ",
          make("span", { class: "type" }, typeWords(one, contract)),
          required.has(name) ? make("span", { class: "required" }, " required") : null,
        ),
        make(
          "dd",
          {},
          one.description ? make("p", {}, one.description) : null,
          one.examples?.length ? make("p", { class: "type" }, "e.g. ", make("code", {}, JSON.stringify(one.examples[0]))) : null,
          branches(one, contract).map((branch) => opener(branch, contract)),
        ),
      ),
    ),
  );
}

/** The object schemas that a value may have. */
function branches(schema, contract) {
  const choices = schema.anyOf ?? schema.oneOf ?? [];
  const inside = [
    ...choices,
    ...(schema.items ? [schema.items] : []),
    ...Object.values(schema.patternProperties ?? {}),
    ...(typeof schema.additionalProperties === "object" ? [schema.additionalProperties] : []),
    ...(schema.$ref ? [schema] : []),
  ];
  return inside.flatMap((one) => {
    const whole = resolved(one, contract);
    if (whole.properties) return [whole];
    return one.$ref && !(whole.anyOf ?? whole.oneOf) ? [] : branches(one.$ref ? whole : one, contract);
  });
}

function opener(schema, contract) {
  const content = make("div", {});
  const open = (event) => {
    if (event.target === box && box.open && !content.hasChildNodes()) content.append(...inner(schema, contract));
  };
  const box = make("details", { ontoggle: open }, make("summary", {}, `Fields of ${schema.name ?? "the object"}`), content);
  return box;
}

function inner(schema, contract) {
  return [schema.description ? make("p", {}, schema.description) : null, fields(schema, contract)].filter(Boolean);
}
