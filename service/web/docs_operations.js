// The operations of an OpenAPI document as a list in the order of its tags.

/** Each with id, method, path, tag, summary, description, parameters, body and responses. */
export function operationsOf(contract) {
  const order = contract.tags.map((tag) => tag.name);
  return Object.entries(contract.paths)
    .flatMap(([path, methods]) => Object.entries(methods).map(([method, told]) => operation(method, path, told)))
    .sort((one, other) => order.indexOf(one.tag) - order.indexOf(other.tag));
}

/** The schema that a reference points to; any other schema unchanged. */
export function resolved(schema, contract) {
  if (!schema?.$ref) return schema ?? {};
  const name = schema.$ref.slice(schema.$ref.lastIndexOf("/") + 1);
  const { $ref, ...beside } = schema;
  return { title: name, ...contract.components.schemas[name], ...beside };
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
