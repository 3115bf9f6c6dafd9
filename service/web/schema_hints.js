// What a JSON Schema says at a place of a text in JSON or YAML: names that may stand there, values, descriptions.

/**
 * The place in a text: `path`, the containers around it from the outermost, each `{fields, list, via}`; `key`, whose value
 * is written there, null where a name is; `from`, where the word begins. `via` is the name that led into a container,
 * `fields` its names with their scalar values.
 */
export function placeIn(text, offset, notation) {
  return notation === "yaml" && !/^\s*[[{]/.test(text) ? placeInYaml(text, offset) : (placeInFlow(text, offset, [], 0).place ?? { path: [], key: null, from: offset });
}

const container = (via, list = false) => ({ via, list, fields: new Map() });
const TOKEN = /"(?:[^"\\\n]|\\.)*"?|'[^'\n]*'?|[{}[\],:]|[^\s{}[\],:"'#][^{}[\],:\n]*|#.*/gy;
const unquoted = (word) => word.replace(/^["']|["']$/g, "").trim();

/** JSON, or the brackets of YAML, from an offset until all brackets are closed. */
function placeInFlow(text, offset, stack, start) {
  let place = null;
  let name = null;
  let key = null;
  let depth = 0;
  const here = (from) => ({ path: [...stack], key, from });
  let index = start;
  while (index < text.length) {
    TOKEN.lastIndex = index;
    const found = TOKEN.exec(text);
    if (!found) {
      index += 1;
      if (index > offset) place ??= here(offset);
      continue;
    }
    const [word] = found;
    const end = index + word.length;
    const scalar = !/^[{}[\],:]$/.test(word);
    if (!place && (scalar ? offset <= end : offset < end)) place = here(scalar && offset > index ? index : offset);
    if (word === "{" || word === "[") {
      const inner = container(key, word === "[");
      stack.push(inner);
      depth += 1;
      key = inner.list ? "0" : null;
    } else if (word === "}" || word === "]") {
      stack.pop();
      depth -= 1;
      if (depth <= 0) return { place: place ?? (offset <= end ? here(offset) : null), end };
      key = stack.at(-1)?.list ? "0" : null;
    } else if (word === ",") key = stack.at(-1)?.list ? "0" : null;
    else if (word === ":") key = stack.at(-1)?.list ? "0" : name;
    else if (!word.startsWith("#")) {
      if (key === null) name = unquoted(word);
      stack.at(-1)?.fields.set(key ?? name, key === null ? undefined : unquoted(word));
    }
    index = end;
  }
  return { place: place ?? here(offset), end: index };
}

const LINE = /^( *)((?:- +)*)(-$)?(?:("[^"]*"|'[^']*'|[^\s"'{}[\],#&*!|>%@`-][^:#]*?|\$\w+)\s*:(?= |$))?\s*(.*)$/;

/** YAML in block style; brackets within it are read as flow. */
function placeInYaml(text, offset) {
  const root = { indent: -1, ...container(null) };
  let stack = [root];
  let place = null;
  let start = 0;
  // A container belongs to the indentation at which its names stand.
  const at = (indent, list) => {
    while (stack.length > 1 && stack.at(-1).indent > indent) stack.pop();
    const top = stack.at(-1);
    if (top.indent === indent && top.list === list) return top;
    // A list may stand as deep as the name that holds it.
    if (top.indent === indent && top.list && !list) stack.pop();
    const above = stack.at(-1);
    if (above === root && !list && root.indent < 0 && !root.fields.size && !root.list) {
      root.indent = indent;
      return root;
    }
    const inner = { indent, ...container(above.list ? "0" : (above.open ?? null), list) };
    stack.push(inner);
    return inner;
  };
  while (start <= text.length) {
    const end = text.indexOf("\n", start) < 0 ? text.length : text.indexOf("\n", start);
    const line = text.slice(start, end);
    const inside = !place && offset <= end;
    const [, spaces, dashes, lone, name, rest] = LINE.exec(line) ?? [null, "", "", undefined, undefined, line];
    let indent = spaces.length;
    let next = end + 1;
    if (line.trim() === "" || line.trim().startsWith("#")) {
      if (inside) {
        const kept = stack;
        stack = [...stack];
        const found = at(offset - start, false);
        place = { path: [...stack], key: null, from: offset };
        if (!kept.includes(found)) found.fields.clear();
        stack = kept;
      }
      start = next;
      continue;
    }
    for (const dash of (dashes + (lone ?? "")).match(/- */g) ?? []) {
      at(indent, true);
      indent += dash.length;
    }
    if (name !== undefined) {
      const own = at(indent, false);
      own.open = unquoted(name);
      const flow = /^[[{]/.test(rest);
      own.fields.set(own.open, rest && !flow ? unquoted(rest.replace(/\s#.*$/, "")) : undefined);
      const value = end - rest.length;
      if (inside && offset <= start + indent + name.length) place = { path: [...stack], key: null, from: start + indent };
      else if (flow) {
        const found = flowIn(text, offset, stack, value, own.open);
        place ??= found.place;
        next = Math.max(next, found.end);
        if (found.end > end) next = text.indexOf("\n", found.end) < 0 ? text.length + 1 : text.indexOf("\n", found.end) + 1;
      } else if (inside) place = { path: [...stack], key: own.open, from: Math.min(value, offset) };
    } else {
      const value = start + line.length - line.trimStart().length;
      const word = line.slice(indent);
      if (/^[[{]/.test(word)) {
        const found = flowIn(text, offset, stack, start + indent, "0");
        place ??= found.place;
        if (found.end > end) next = text.indexOf("\n", found.end) < 0 ? text.length + 1 : text.indexOf("\n", found.end) + 1;
      } else if (inside) {
        // A word without a colon may become a name, or an entry of the list.
        const own = dashes || lone ? null : at(indent, false);
        place = own ? { path: [...stack], key: null, from: Math.max(value, start + indent) } : { path: [...stack, { indent, ...container("0") }], key: null, from: start + indent, entry: true };
        if (place.from > offset) place.from = offset;
      }
    }
    start = next;
  }
  return place ?? { path: [...stack], key: null, from: offset };
}

function flowIn(text, offset, stack, start, via) {
  const holder = { ...container(via), list: false };
  const inner = [...stack, holder];
  const found = placeInFlow(text, offset >= start ? offset : -1, inner, start);
  // The first bracket opens what the name holds.
  const path = found.place?.path.filter((one) => one !== holder).map((one, index, all) => (index === stack.length && all[index].via === null ? { ...one, via } : one));
  const inside = offset > start && offset <= found.end && found.place !== null && path.length > stack.length;
  return { place: inside ? { ...found.place, path } : null, end: found.end };
}

// --- the schema ------------------------------------------------------------------------------------------------

const WORDS = { __proto__: null, array: "list", string: "text", integer: "whole number", boolean: "" };
const TELLING = ["kind", "part", "coupling"];

/** Answers about a schema, draft 2020-12. */
export function createHints(schema) {
  const resolved = (one) => (one?.$ref ? { ...schema.$defs[one.$ref.split("/").at(-1)], ...(one.description ? { description: one.description } : {}) } : one);

  /** The plain alternatives of a schema. */
  function choices(one) {
    const whole = resolved(one);
    if (whole === undefined || whole === false || whole === true) return [];
    const inner = whole.anyOf ?? whole.oneOf;
    if (!inner) return [whole];
    const told = whole.description ? { description: whole.description } : {};
    return inner.flatMap(choices).filter((each) => each.type !== "null").map((each) => ({ ...told, ...each, own: each.description }));
  }

  /** Whether an alternative agrees with what an object states of its kind. */
  function agrees(one, { fields }) {
    if (one.properties && TELLING.some((name) => fields.has(name) && !(name in one.properties))) return false;
    return Object.entries(one.properties ?? {}).every(([name, field]) => {
      const value = fields.get(name);
      if (value === undefined || !TELLING.includes(name)) return true;
      const known = valuesOf(choices(field));
      return known.length === 0 || known.some((each) => String(each) === value);
    });
  }

  /** The schemas of the innermost container of a path. */
  function within(path) {
    let found = choices(schema);
    path.forEach((one, index) => {
      if (index > 0) found = found.flatMap((each) => below(each, one.via));
      found = found.filter((each) => (one.list ? each.items !== undefined : each.items === undefined && each.type !== "string" && agrees(each, one)));
    });
    return found;
  }

  function below(one, name) {
    if (one.items !== undefined) return choices(one.items);
    const field = one.properties?.[name] ?? (typeof one.additionalProperties === "object" ? one.additionalProperties : undefined);
    return field === undefined ? [] : choices(field);
  }

  const typeOf = (each) => [...new Set(each.map((one) => (one.const !== undefined || one.enum ? "" : WORDS[one.type] ?? one.type ?? "")))].filter(Boolean).join(" or ");

  /** What a name stands for: description and type; null for a name that is not known there. */
  function about(path, name) {
    const fields = within(path).map((one) => one.properties?.[name]).filter((one) => one !== undefined);
    if (!fields.length) return null;
    const all = fields.flatMap(choices);
    const description = fields.map((one) => one.description ?? resolved(one)?.description).find(Boolean) ?? all.find((one) => one.description)?.description ?? "";
    return { name, description, type: typeOf(all), values: valuesOf(all) };
  }

  function valuesOf(all) {
    return [...new Set(all.flatMap((one) => (one.const !== undefined ? [one.const] : one.enum ?? (one.type === "boolean" ? [true, false] : []))))];
  }

  return {
    about,
    /** The names that may still be stated in the innermost container. */
    names(path) {
      const stated = path.at(-1).fields;
      const known = [...new Set(within(path).flatMap((one) => Object.keys(one.properties ?? {})))];
      const required = new Set(within(path).flatMap((one) => one.required ?? []));
      return known.filter((name) => !stated.has(name)).map((name) => ({ ...about(path, name), required: required.has(name) }));
    },
    /** The values that a name takes, where they are few. */
    values(path, name) {
      // What is being written there says nothing yet.
      const last = { ...path.at(-1), fields: new Map([...path.at(-1).fields].filter(([one]) => one !== name)) };
      return valuesOf(within([...path.slice(0, -1), last]).flatMap((one) => below(one, name)));
    },
  };
}
