// One operation: description, fields and a form to send it.
import { fill, make, table } from "./base.js";
import { schemaView } from "./docs_schema.js";
import { tryForm } from "./docs_try.js";
import { paragraphs, typeWords } from "./docs_words.js";

/** Show an operation. */
export function showOperation(main, operation, contract) {
  const success = Object.entries(operation.responses).find(([status]) => status.startsWith("2"));
  fill(
    main,
    make("h2", {}, operation.summary),
    make("p", { class: "request-line" }, make("strong", {}, operation.method), operation.path),
    paragraphs(operation.description),
    operation.parameters.length ? parameters(operation.parameters, contract) : null,
    tryForm(operation, contract),
    operation.body ? section("Request body", operation.body, contract) : null,
    success?.[1].content ? section("Response body", success[1].content, contract) : null,
    answers(operation.responses),
  );
}

function parameters(told, contract) {
  const rows = told.map((one) => [one.name, one.in, typeWords(one.schema, contract), one.description ?? ""]);
  return [make("h3", {}, "Parameters"), table("Path, query and header parameters", ["name", "in", "type", "meaning"], rows)];
}

function section(title, content, contract) {
  return make(
    "section",
    {},
    make("h3", {}, title),
    Object.entries(content).map(([type, told]) =>
      make("details", {}, make("summary", {}, type), told.schema ? schemaView(told.schema, contract) : null),
    ),
  );
}

function answers(responses) {
  const rows = Object.entries(responses).map(([status, told]) => [status, told.description]);
  return [make("h3", {}, "Responses"), table("By HTTP status", ["status", "meaning"], rows)];
}
