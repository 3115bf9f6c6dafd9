// One operation: what it does, its fields beside an example to send, programs that send it, its response.
import { createEditor, fill, get, make, Problem, send, showProblem, table, takePastedYaml } from "./base.js";
import { branches, programs, resolved, typeWords } from "./docs_contract.js";

const MAX_SHOWN = 200_000;
let language = "curl";
let tokenRequired = false;
document.addEventListener("tokenrequired", () => {
  tokenRequired = true;
});

/** Show an operation; `field` is an entry of the index whose place to open. */
export function showOperation(main, operation, contract, field = null) {
  const [request, response] = [operation.body ?? {}, operation.answer].map((content) => schemaBoxes(content, contract));
  fill(
    main,
    make("h2", {}, operation.summary),
    make("p", { class: "request-line" }, make("strong", {}, operation.method), operation.path),
    paragraphs(operation.description),
    operation.parameters.length ? parameters(operation.parameters, contract) : null,
    beside("Request", Object.values(request), tryForm(operation, contract)),
    beside("Response", Object.values(response), answerExamples(operation)),
    statuses(operation.responses),
  );
  const boxes = field?.part === "response" ? response : request;
  const box = boxes[field?.type] ?? request["application/json"] ?? Object.values(response)[0];
  if (box) box.open = true;
  if (field && box) reveal(box, field.steps);
}

/** Paragraphs of a text, which blank lines separate. */
export function paragraphs(text) {
  return text.split(/\n\s*\n/).filter(Boolean).map((one) => make("p", {}, one));
}

/** Programs that send a request, one shown at a time, with a button that copies it; returned with what updates them. */
export function createPrograms(asked, name = "Program that sends this request") {
  const code = make("pre", { tabindex: "0", role: "region", "aria-label": name });
  const told = make("span", { "aria-live": "polite" });
  const buttons = programs(asked()).map(([one]) => make("button", { type: "button", onclick: () => choose(one) }, one));
  const copyButton = make("button", { type: "button", class: "copy", onclick: copy }, "Copy");

  function showAgain() {
    if (element.isConnected) show();
    else document.removeEventListener("languagechosen", showAgain);
  }

  function show() {
    const [, text] = programs({ ...asked(), token: tokenRequired }).find(([one]) => one === language);
    code.textContent = text;
    told.textContent = "";
    for (const button of buttons) button.setAttribute("aria-pressed", String(button.textContent === language));
  }

  function choose(one) {
    language = one;
    document.dispatchEvent(new CustomEvent("languagechosen"));
  }

  async function copy() {
    told.textContent = (await copied(code)) ? "Copied" : "Selected: copy with Ctrl+C";
  }

  const element = make("div", { class: "programs" }, make("p", { class: "actions" }, buttons, copyButton, told), code);
  document.addEventListener("languagechosen", showAgain);
  show();
  return { element, show };
}

/** Copy the text of an element; false if the browser allows no more than selecting it. */
async function copied(element) {
  try {
    // Absent where the page comes over plain HTTP from another machine.
    await navigator.clipboard.writeText(element.textContent);
    return true;
  } catch {
    getSelection().selectAllChildren(element);
    return false;
  }
}

function beside(title, schemas, example) {
  if (!schemas.length && !example) return null;
  return make("section", {}, make("h3", {}, title), make("div", { class: "beside" }, make("div", {}, schemas), make("div", {}, example)));
}

function parameters(told, contract) {
  const rows = told.map((one) => [one.name, one.in, typeWords(one.schema, contract), one.description ?? ""]);
  return [make("h3", {}, "Parameters"), table("Path, query and header parameters", ["name", "in", "type", "meaning"], rows)];
}

function statuses(responses) {
  const rows = Object.entries(responses).map(([status, told]) => [status, told.description]);
  return table("Responses by HTTP status", ["status", "meaning"], rows);
}

/** A box of fields for each content type; types that share a schema share the box of the first. */
function schemaBoxes(content, contract) {
  const boxes = {};
  const names = new Map();
  for (const [type, { schema }] of Object.entries(content)) {
    if (!schema) continue;
    const key = JSON.stringify(schema);
    if (names.has(key)) {
      const first = names.get(key);
      boxes[first].firstChild.append(`, ${type}`);
    } else {
      names.set(key, type);
      boxes[type] = filledWhenOpened(type, () => [schemaView(schema, contract)]);
    }
  }
  return boxes;
}

/** The fields of a schema, or its type where it has none. */
function schemaView(schema, contract) {
  const whole = resolved(schema, contract);
  const deeper = branches(whole, contract);
  if (whole.properties) return fields(whole, contract);
  if (deeper.length) return make("div", {}, deeper.map((one) => opener(one, contract)));
  return make("p", { class: "type" }, [typeWords(whole, contract), whole.description].filter(Boolean).join(". "));
}

function fields(schema, contract) {
  const required = new Set(schema.required ?? []);
  return make(
    "dl",
    { class: "schema" },
    Object.entries(schema.properties).map(([name, one]) =>
      make(
        "div",
        { "data-field": name },
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

function opener(schema, contract) {
  const box = filledWhenOpened(`Fields of ${schema.name ?? "the object"}`, () =>
    [schema.description ? make("p", {}, schema.description) : null, fields(schema, contract)].filter(Boolean),
  );
  box.dataset.schema = schema.name ?? "";
  return box;
}

function filledWhenOpened(words, content) {
  const inside = make("div", {});
  const box = make("details", {}, make("summary", {}, words), inside);
  const fillOnce = () => {
    if (!inside.hasChildNodes()) inside.append(...content());
  };
  box.addEventListener("toggle", () => box.open && fillOnce());
  box.fillNow = fillOnce;
  return box;
}

/** Open the boxes on the way to a field, and go there. */
function reveal(box, steps) {
  box.fillNow();
  let here = box;
  for (const [schema, name] of steps) {
    const inner = [...here.querySelectorAll("details")].find((one) => one.dataset.schema === (schema ?? ""));
    if (inner) {
      inner.open = true;
      inner.fillNow();
      here = inner;
    }
    here = here.querySelector(`[data-field="${CSS.escape(name)}"]`);
  }
  here.classList.add("found");
  here.tabIndex = -1;
  here.scrollIntoView({ block: "center" });
  here.focus({ preventScroll: true });
}

/** The response that the contract shows, with a choice where there are several. */
function answerExamples(operation) {
  const told = Object.entries(operation.answer).flatMap(([type, content]) =>
    Object.entries(content.examples ?? {}).map(([name, example]) => ({ type, name, ...example })),
  );
  if (!told.length) return null;
  const box = make("pre", { tabindex: "0", role: "region", "aria-label": "Example of the response" });
  const choose = make(
    "select",
    { id: "answer-example", onchange: show },
    told.map((one, index) => make("option", { value: index }, `${one.type}: ${one.summary ?? one.name}`)),
  );

  async function show() {
    const one = told[choose.value];
    let value = one.value;
    if (one.externalValue) {
      try {
        value = await get(one.externalValue);
      } catch (error) {
        if (!(error instanceof Problem)) throw error;
        value = error.document.detail;
      }
    }
    if (told[choose.value] === one) box.textContent = cut(typeof value === "string" ? value : JSON.stringify(value, null, 2));
  }

  show();
  return [make("div", { class: "field wide" }, make("label", { for: "answer-example" }, "Example of the response"), choose), box];
}

/** The form of an operation, which sends an example or the user's own body and shows the response. */
function tryForm(operation, contract) {
  const types = Object.keys(operation.body ?? {});
  const offered = Object.keys(operation.answer);
  const inputs = operation.parameters
    .filter((one) => one.in !== "header")
    .map((one) => [one, parameterInput(one, contract)]);
  const type = choice("try-type", types);
  const accept = choice("try-accept", offered);
  const area = make("textarea", { id: "try-body", rows: "14", spellcheck: "false", autocapitalize: "off", wrap: "off" });
  const cursor = make("p", { class: "note" });
  const editor = createEditor(area, cursor);
  const example = make("select", { id: "try-example" });
  const file = make("input", { id: "try-file", type: "file" });
  const [bodyField, fileField, exampleField] = [
    make("div", { class: "field wide" }, make("label", { for: "try-body" }, "Body"), area, cursor),
    make("div", { class: "field wide" }, make("label", { for: "try-file" }, "File to send"), file),
    labelled("Example", example),
  ];
  const partFields = make("div", { class: "fields choices" });
  const problem = make("div", { class: "problem", role: "alert", hidden: true });
  const answer = make("div", { id: "answer" });
  const status = make("p", { role: "status" });
  const chosen = () => operation.body?.[type.value];
  const isFile = () => chosen()?.schema?.format === "binary";
  const partNames = () => (type.value === "multipart/form-data" ? Object.keys(chosen().schema.properties) : null);
  const shownPrograms = createPrograms(asked);

  function asked() {
    const parts = operation.body ? partNames() : null;
    const given = { method: operation.method, url: new URL(address(), document.baseURI).href };
    if (accept.value && accept.value !== offered[0]) given.accept = accept.value;
    if (parts) return { ...given, parts: Object.fromEntries(parts.map((name) => [name, ""])) };
    if (operation.body) Object.assign(given, { type: type.value }, isFile() ? { file: "package.zip" } : { body: editor.text });
    return given;
  }

  function showType() {
    const names = Object.entries(chosen()?.examples ?? {});
    fill(example, names.map(([name, told]) => make("option", { value: name }, told.summary ?? name)));
    const parts = partNames();
    bodyField.hidden = isFile() || parts !== null;
    fileField.hidden = !isFile();
    exampleField.hidden = names.length < 2 || parts !== null;
    fill(partFields, (parts ?? []).map((name) => labelled(name, make("input", { id: `try-part-${name}`, type: "file" }))));
    fillBody();
  }

  function fillBody() {
    const value = chosen()?.examples?.[example.value]?.value ?? "";
    editor.text = typeof value === "string" ? value : JSON.stringify(value, null, 2);
    shownPrograms.show();
  }

  async function body() {
    if (partNames()) {
      const form = new FormData();
      for (const input of partFields.querySelectorAll("input")) {
        if (input.files[0]) form.append(input.id.replace("try-part-", ""), input.files[0]);
      }
      // The browser writes the form, so it knows its boundary.
      const written = new Response(form);
      return { body: await written.blob(), type: written.headers.get("content-type") };
    }
    return { body: isFile() ? (file.files[0] ?? "") : editor.text, type: type.value };
  }

  async function submit(event) {
    event.preventDefault();
    showProblem(problem, null);
    fill(answer);
    status.textContent = "Sending…";
    try {
      const options = { method: operation.method, accept: accept.value || undefined };
      if (operation.body) Object.assign(options, await body());
      const { response, text } = await send(address(), options);
      status.textContent = `Status ${response.status}, ${response.headers.get("content-type") ?? "no content"}`;
      fill(answer, shown(response, text));
    } catch (error) {
      if (!(error instanceof Problem)) throw error;
      status.textContent = error.document.status ? `Status ${error.document.status}` : "";
      const json = type.value.endsWith("json");
      // Who programs against the service reads pointers.
      const errors = error.document.errors?.map((one) => ({ ...one, place: one.at?.[0] || null }));
      showProblem(problem, { ...error.document, errors }, json ? { line: editor.goTo, pointer: editor.goToPointer } : null);
      shownPrograms.show();
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

  type.addEventListener("change", showType);
  example.addEventListener("change", fillBody);
  area.addEventListener("input", shownPrograms.show);
  takePastedYaml(
    area,
    operation.body?.["application/yaml"] ? "draft" : "plain",
    (json) => {
      if (type.value !== "application/json") return;
      editor.text = json;
      shownPrograms.show();
    },
    (error) => type.value === "application/json" && showProblem(problem, error.document, null),
  );
  if (operation.body) showType();
  return make(
    "form",
    { onsubmit: submit, onchange: shownPrograms.show, novalidate: true },
    make(
      "div",
      { class: "fields choices" },
      inputs.map(([one, input]) => labelled(one.name, input)),
      types.length > 1 ? labelled("Content type", type) : null,
      offered.length > 1 ? labelled("Response type", accept) : null,
      operation.body ? exampleField : null,
    ),
    operation.body ? [bodyField, fileField, partFields] : null,
    make("p", { class: "actions" }, make("button", { class: "main" }, "Send"), status),
    problem,
    answer,
    shownPrograms.element,
  );
}

function shown(response, text) {
  const type = response.headers.get("content-type") ?? "";
  const told = type.startsWith("application/json") ? JSON.stringify(JSON.parse(text), null, 2) : text;
  return [
    type.startsWith("image/svg")
      ? make("img", { alt: "Drawing in the response", src: URL.createObjectURL(new Blob([text], { type: "image/svg+xml" })) })
      : null,
    make("pre", { tabindex: "0", role: "region", "aria-label": "Response" }, cut(told)),
    told.length > MAX_SHOWN ? make("p", { class: "note" }, `Only the first ${MAX_SHOWN} characters are shown.`) : null,
  ];
}

function cut(text) {
  return text.length > MAX_SHOWN ? text.slice(0, MAX_SHOWN) : text;
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
