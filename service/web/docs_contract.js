// The OpenAPI document as data: operations, schemas in words, the index of the search, programs that send a request.

/** The operations in the order of the tags, each with id, method, path, tag, summary, description, parameters, body and responses. */
export function operationsOf(contract) {
  const order = contract.tags.map((tag) => tag.name);
  return Object.entries(contract.paths)
    .flatMap(([path, methods]) => Object.entries(methods).map(([method, told]) => operation(method, path, placed(told, contract))))
    .sort((one, other) => order.indexOf(one.tag) - order.indexOf(other.tag));
}

/** The schema that a reference points to, under its name; any other schema unchanged. */
export function resolved(schema, contract) {
  if (!schema?.$ref) return schema ?? {};
  const name = schema.$ref.slice(schema.$ref.lastIndexOf("/") + 1);
  const { $ref, ...beside } = schema;
  return { name, ...contract.components.schemas[name], ...beside };
}

/** A part of the contract with its shared parameters, responses and examples in place; references to schemas stay. */
function placed(part, contract) {
  if (Array.isArray(part)) return part.map((one) => placed(one, contract));
  if (part === null || typeof part !== "object") return part;
  if (part.$ref && !part.$ref.startsWith("#/components/schemas/")) {
    const steps = part.$ref.slice(2).split("/");
    return placed(steps.reduce((node, step) => node[step], contract), contract);
  }
  return Object.fromEntries(Object.entries(part).map(([key, one]) => [key, placed(one, contract)]));
}

function operation(method, path, told) {
  const success = Object.entries(told.responses).find(([status]) => status.startsWith("2"));
  return {
    id: told.operationId,
    method: method.toUpperCase(),
    path,
    tag: told.tags?.[0] ?? "",
    summary: told.summary,
    description: told.description ?? "",
    parameters: told.parameters ?? [],
    body: told.requestBody?.content ?? null,
    responses: told.responses,
    answer: success?.[1].content ?? {},
  };
}

/** The object schemas that a value may have. */
export function branches(schema, contract) {
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

function bounds(schema) {
  const told = BOUNDS.filter(([name]) => schema[name] !== undefined).map(([name, words]) => words + schema[name]);
  return schema.pattern ? [...told, `pattern ${schema.pattern}`] : told;
}

/**
 * Every field of every operation once, as `{ operation, part, type, steps, name, words }`.
 *
 * `part` is "request" or "response"; `steps` lead to the field: the schema's name and the field in it, level by level.
 */
export function fieldsOf(operations, contract) {
  const found = [];
  for (const one of operations) {
    const parts = { request: one.body ?? {}, response: one.answer };
    for (const [part, content] of Object.entries(parts)) {
      for (const [type, told] of Object.entries(content)) {
        if (type.endsWith("json") && told.schema) walk(told.schema, { operation: one, part, type }, found, contract);
      }
    }
  }
  return found;
}

/** Breadth first, each schema once, so that a field is found where it lies least deep. */
function walk(schema, where, found, contract) {
  const top = resolved(schema, contract);
  const seen = new Set();
  let level = (top.properties ? [top] : branches(top, contract)).map((one) => [one, []]);
  while (level.length) {
    const next = [];
    for (const [one, steps] of level) {
      const mark = one.name ?? one;
      if (seen.has(mark)) continue;
      seen.add(mark);
      for (const [name, field] of Object.entries(one.properties)) {
        const here = [...steps, [one.name, name]];
        found.push({ ...where, steps: here, name, words: field.description ?? "" });
        next.push(...branches(field, contract).map((inner) => [inner, here]));
      }
    }
    level = next;
  }
}

/**
 * Programs that send a request, as `[language, text]`.
 *
 * `asked` has method, url, type (of the body), accept, body, file (a name in place of the body), parts (names and texts of
 * a form) and token (whether the service requires one).
 */
export function programs(asked) {
  return [
    ["curl", curl(asked)],
    ["Python", python(asked)],
    ["JavaScript", javascript(asked)],
  ];
}

function curl({ method, url, type, accept, body, file, parts, token }) {
  const quoted = (text) => `'${text.replaceAll("'", "'\\''")}'`;
  const words = [`curl -s ${quoted(url)}`];
  if (method !== "GET" && body === undefined && !file && !parts) words.push(`-X ${method}`);
  if (token) words.push('-H "Authorization: Bearer $TOKEN"');
  if (accept) words.push(`-H ${quoted(`Accept: ${accept}`)}`);
  if (parts) return [...words, ...Object.keys(parts).map((name) => `-F ${quoted(`${name}=@${name}.txt`)}`)].join(" \\\n  ");
  if (type) words.push(`-H ${quoted(`Content-Type: ${type}`)}`);
  if (file) return [...words, `--data-binary ${quoted(`@${file}`)}`].join(" \\\n  ");
  if (body === undefined) return words.join(" \\\n  ");
  let end = "BODY";
  while (body.split("\n").includes(end)) end += "_";
  return `${[...words, `--data-binary @- <<'${end}'`].join(" \\\n  ")}\n${body.replace(/\n$/, "")}\n${end}`;
}

function python({ method, url, type, accept, body, file, parts, token }) {
  const json = isJson(type, body);
  const imports = [...(token ? ["import os"] : []), ...(file || parts ? ["from pathlib import Path"] : []), "import httpx"];
  const headers = [
    ...(token ? [['"Authorization"', 'f"Bearer {os.environ[\'TOKEN\']}"']] : []),
    ...(accept ? [['"Accept"', JSON.stringify(accept)]] : []),
    ...(type && !json && !parts ? [['"Content-Type"', JSON.stringify(type)]] : []),
  ];
  const given = [JSON.stringify(url)];
  if (headers.length) given.push(`headers={${headers.map((pair) => pair.join(": ")).join(", ")}}`);
  const lines = [];
  if (parts) given.push(`files={${Object.keys(parts).map((name) => `"${name}": Path("${name}.txt").read_bytes()`).join(", ")}}`);
  else if (file) given.push(`content=Path("${file}").read_bytes()`);
  else if (body !== undefined) {
    lines.push(`body = ${json ? pythonLiteral(body) : `"""\\\n${pythonText(body)}"""`}`);
    given.push(json ? "json=body" : "content=body");
  }
  const heads = imports.length > 1 ? [...imports.slice(0, -1), "", imports.at(-1)] : imports;
  return [...heads, "", ...lines, `response = httpx.${method.toLowerCase()}(`, ...given.map((one) => `    ${one},`), ")", "print(response.status_code, response.text)"].join("\n");
}

function javascript({ method, url, type, accept, body, file, parts, token }) {
  const headers = [
    ...(token ? ["Authorization: `Bearer ${process.env.TOKEN}`"] : []),
    ...(accept ? [`Accept: ${JSON.stringify(accept)}`] : []),
    ...(type && !parts ? [`"Content-Type": ${JSON.stringify(type)}`] : []),
  ];
  const lines = file || parts ? ['import { readFile } from "node:fs/promises";', ""] : [];
  const options = method === "GET" ? [] : [`method: "${method}"`];
  if (headers.length) options.push(`headers: { ${headers.join(", ")} }`);
  if (parts) {
    lines.push("const body = new FormData();");
    for (const name of Object.keys(parts)) lines.push(`body.append("${name}", new Blob([await readFile("${name}.txt")]), "${name}.txt");`);
    options.push("body");
  } else if (file) options.push(`body: await readFile("${file}")`);
  else if (body !== undefined) {
    lines.push(isJson(type, body) ? `const body = ${body.trim()};` : `const body = \`${body.replace(/[\\`]|\$(?=\{)/g, "\\$&")}\`;`);
    options.push(isJson(type, body) ? "body: JSON.stringify(body)" : "body");
  }
  const call = options.length ? `fetch(${JSON.stringify(url)}, {\n${options.map((one) => `  ${one},\n`).join("")}})` : `fetch(${JSON.stringify(url)})`;
  return [...lines, `const response = await ${call};`, "console.log(response.status, await response.text());"].join("\n");
}

function isJson(type, body) {
  if (!type?.endsWith("/json") || body === undefined) return false;
  try {
    JSON.parse(body);
    return true;
  } catch {
    return false;
  }
}

const PYTHON_WORDS = { true: "True", false: "False", null: "None" };

/** JSON as Python writes it, with the spaces and the digits of the original. */
function pythonLiteral(json) {
  return json.trim().replace(/"(?:[^"\\]|\\.)*"|\b(?:true|false|null)\b/g, (token) => {
    if (token[0] !== '"') return PYTHON_WORDS[token];
    // Python knows neither \/ nor pairs of \u; a character itself is the same in both.
    return /\\[/u]/.test(token) ? JSON.stringify(JSON.parse(token)) : token;
  });
}

function pythonText(text) {
  return text.replaceAll("\\", "\\\\").replaceAll('"""', '\\"\\"\\"').replace(/"$/, '\\"');
}
