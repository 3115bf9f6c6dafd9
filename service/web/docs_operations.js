// The operations of an OpenAPI document as a list in the order of its tags.

/** Each with id, method, path, tag, summary, description, parameters, body and responses. */
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
  };
}
