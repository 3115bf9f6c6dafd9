// Every field of a part, the machine or an operation, made from the JSON Schema of the request.
import { fieldWords, fill, get, make, sentence, valueAt } from "./base.js";

const ADDRESS = "v1/schemas/check-request.json";
const NAMED = { __proto__: null, machine: "Machine", operation: "Operation", reference: "Overlay" };
// Names, lists and what the short form has beside them are not fields of this form.
const LEFT_OUT = new Set(["kind", "id", "of", "with", "labels", "runout_um", "runout_limit_um", "part_number", "description"]);
const OF_JOINT = new Set(["projection_mm", "grip_length_mm", "clocking_deg"]);
const MOST_NESTED = 3;

let loading = null;

/** Fill a box with the fields of what has this kind at `base`, but those that `fields` has already. */
export async function showAllFields(box, { base, kind, fields, request, choose }) {
  loading ??= get(ADDRESS);
  let schema;
  try {
    schema = await loading;
  } catch (error) {
    loading = null;
    throw error;
  }
  if (!box.isConnected) return;
  const definitions = schema.$defs;
  const resolved = (one) => (one.$ref ? definitions[one.$ref.split("/").at(-1)] : one);
  const byKind = Object.values(definitions).find((one) => matches(one.properties?.kind, kind));
  const component = byKind !== undefined && !(kind in NAMED);
  const lists = [];
  fill(box, ...groups(kind in NAMED ? definitions[NAMED[kind]] : byKind ?? definitions.Overlay, base, 0));
  if (lists.length) box.append(make("p", { class: "note" }, `Lists are stated in the JSON: ${lists.join(", ")}.`));

  function groups(definition, at, depth) {
    const plain = [];
    const nested = [];
    for (const [name, given] of Object.entries(definition?.properties ?? {})) {
      const key = `${at}/${name}`;
      if ((depth === 0 && LEFT_OUT.has(name)) || (component && depth === 0 && OF_JOINT.has(name))) continue;
      if (name === "kind" || name === "coupling" || fields.has(key) && !isEnd(key)) continue;
      const options = choices(given).filter((one) => one.type !== "null");
      const objects = options.map(resolved).filter((one) => one?.type === "object" && one.properties);
      const about = given.description ?? null;
      if (options.some((one) => one.type === "array")) lists.push(fieldWords(name).words.toLowerCase());
      else if (objects.length) nested.push(depth < MOST_NESTED ? group(key, name, objects, depth) : null);
      else plain.push(fields.labelled({ key, about, ...control(name, options) }));
    }
    return [plain.length ? make("div", { class: "fields" }, plain) : null, ...nested].filter(Boolean);
  }

  function group(key, name, objects, depth) {
    const value = valueAt(request, key);
    const title = sentence(name);
    if (objects.length === 1) {
      const inner = groups(objects[0], key, depth + 1);
      return inner.length ? make("fieldset", {}, make("legend", {}, title), inner) : null;
    }
    const tag = objects[0].properties.coupling ? "coupling" : "kind";
    const chosen = objects.find((one) => matches(one.properties[tag], value?.[tag]));
    if (tag === "coupling") {
      if (!chosen || value.coupling === "designated") return null;
      return make("fieldset", {}, make("legend", {}, title), groups(chosen, key, depth + 1));
    }
    const kinds = objects.flatMap((one) => one.properties.kind?.enum ?? [one.properties.kind?.const]).filter(Boolean);
    const id = `kind${key.replaceAll("/", "-")}`;
    return make(
      "fieldset",
      {},
      make("legend", {}, title),
      make(
        "div",
        { class: "field" },
        make("label", { for: id }, "Kind"),
        make(
          "select",
          { id, onchange: (event) => choose(key, event.target.value ? { kind: event.target.value } : undefined) },
          make("option", { value: "" }, "not stated"),
          kinds.map((one) => make("option", { value: one, selected: one === value?.kind }, sentence(one))),
        ),
      ),
      chosen ? groups(chosen, key, depth + 1) : null,
    );
  }
}

const isEnd = (key) => /\/(machine_side|workpiece_side|spindle)$/.test(key);

function matches(schema, value) {
  return value !== undefined && (schema?.const === value || schema?.enum?.includes(value) === true);
}

function choices(schema) {
  return schema.anyOf ? schema.anyOf.flatMap(choices) : [schema];
}

function control(name, options) {
  const listed = options.flatMap((one) => one.enum ?? []);
  if (listed.length) return { choices: listed };
  if (options.some((one) => one.type === "boolean")) return { kind: "boolean" };
  if (options.some((one) => one.type === "number" || one.type === "integer")) return { kind: "number" };
  return { kind: "text" };
}
