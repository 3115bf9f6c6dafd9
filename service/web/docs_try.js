// A form that sends an operation with an example or the user's own body and shows the response.
import { createEditor, fill, make, Problem, send, showProblem } from "./base.js";
import { resolved } from "./docs_operations.js";

const MAX_SHOWN = 200_000;

/** The form of an operation. */
export function tryForm(operation, contract) {
  const types = Object.keys(operation.body ?? {});
  const offered = Object.keys(Object.entries(operation.responses).find(([status]) => status.startsWith("2"))[1].content ?? {});
  const inputs = operation.parameters
    .filter((one) => one.in !== "header")
    .map((one) => [one, parameterInput(one, contract)]);
  const type = choice("try-type", types);
  const accept = choice("try-accept", offered);
  const area = make("textarea", { id: "try-body", rows: "14", spellcheck: "false", autocapitalize: "off", wrap: "off" });
  const cursor = make("p", { class: "note" });
  const editor = createEditor(area, cursor);
  const example = make("select", { id: "try-example", onchange: () => fillBody() });
  const problem = make("div", { class: "problem", role: "alert", hidden: true });
  const answer = make("div", { id: "answer" });
  const status = make("p", { role: "status" });

  function showExamples() {
    const names = Object.entries(operation.body?.[type.value]?.examples ?? {});
    fill(example, names.map(([name, told]) => make("option", { value: name }, told.summary ?? name)));
    fillBody();
  }

  function fillBody() {
    const value = operation.body?.[type.value]?.examples?.[example.value]?.value ?? "";
    editor.text = typeof value === "string" ? value : JSON.stringify(value, null, 2);
  }

  async function submit(event) {
    event.preventDefault();
    showProblem(problem, null);
    fill(answer);
    status.textContent = "Sending…";
    try {
      const options = { method: operation.method, accept: accept.value || undefined };
      if (operation.body) Object.assign(options, { body: editor.text, type: type.value });
      const { response, text } = await send(address(), options);
      status.textContent = `Status ${response.status}, ${response.headers.get("content-type") ?? "no content"}`;
      fill(answer, shown(response, text));
    } catch (error) {
      if (!(error instanceof Problem)) throw error;
      status.textContent = error.document.status ? `Status ${error.document.status}` : "";
      const json = type.value.endsWith("json");
      showProblem(problem, error.document, json ? { line: editor.goTo, pointer: editor.goToPointer } : null);
    }
  }

  function address() {
    let path = operation.path.replace(/^\//, "");
    const query = new URLSearchParams();
    for (const [one, input] of inputs) {
      if (one.in === "path") path = path.replace(`{${one.name}}`, encodeURIComponent(input.value));
      else if (one.in === "query" && input.value !== "") query.append(one.name, input.value);
    }
    return query.size ? `${path}?${query}` : path;
  }

  type.addEventListener("change", showExamples);
  showExamples();
  return make(
    "form",
    { onsubmit: submit, novalidate: true },
    make("h3", {}, "Try it out"),
    make(
      "div",
      { class: "fields choices" },
      inputs.map(([one, input]) => labelled(one.name, input)),
      types.length > 1 ? labelled("Content type", type) : null,
      offered.length > 1 ? labelled("Response type", accept) : null,
      example.length > 1 ? labelled("Example", example) : null,
    ),
    operation.body ? [make("div", { class: "field wide" }, make("label", { for: "try-body" }, "Body"), area), cursor] : null,
    make("p", { class: "actions" }, make("button", { class: "main" }, "Send"), status),
    problem,
    answer,
  );
}

function shown(response, text) {
  const type = response.headers.get("content-type") ?? "";
  const told = type.startsWith("application/json") ? JSON.stringify(JSON.parse(text), null, 2) : text;
  const cut = told.length > MAX_SHOWN;
  return [
    type.startsWith("image/svg")
      ? make("img", { alt: "Drawing in the response", src: URL.createObjectURL(new Blob([text], { type: "image/svg+xml" })) })
      : null,
    make("pre", { tabindex: "0", role: "region", "aria-label": "Response" }, cut ? told.slice(0, MAX_SHOWN) : told),
    cut ? make("p", { class: "note" }, `Only the first ${MAX_SHOWN} characters are shown.`) : null,
  ];
}

function parameterInput(one, contract) {
  const schema = parameterSchema(one.schema, contract);
  const id = `try-${one.name}`;
  const values = schema.enum ?? (schema.type === "boolean" ? ["true", "false"] : null);
  if (values) {
    const input = choice(id, one.required ? values : ["", ...values]);
    input.value = schema.default ?? input.value;
    return input;
  }
  const value = one.example ?? schema.examples?.[0] ?? (one.required ? schema.default : "") ?? "";
  return make("input", { id, autocomplete: "off", value: String(value) });
}

/** The schema of a parameter that is no alternative of null. */
function parameterSchema(schema, contract) {
  const whole = resolved(schema, contract);
  const choice = whole.anyOf?.find((one) => one.type !== "null");
  return choice ? { ...resolved(choice, contract), examples: whole.examples } : whole;
}

function choice(id, values) {
  return make("select", { id }, values.map((one) => make("option", { value: one }, one === "" ? "not given" : one)));
}

function labelled(words, input) {
  return make("div", { class: "field" }, make("label", { for: input.id }, words), input);
}
