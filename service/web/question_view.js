// What a view of one route consists of: an example or a file, the request in JSON, buttons, and the answer beside it.
import { createAnswerBox } from "./answer_box.js";
import { createEditor, get, make, openPage, Problem, takePastedYaml, textOfFile } from "./base.js";

/**
 * Fill a section with the view of a route and return its parts.
 *
 * `examples` is the list in the examples file; `button` names the action, `label` the text area. `answer` holds the
 * options of the answer box. `pieces` stand between the example and the text; `changed` hears each new text. `yaml` is
 * the form in which YAML becomes the request, `joined` makes one request of the texts of several files, and `printed`
 * names the button of an answer that has a page of its own for printing.
 */
export async function createQuestionView(element, { examples, button, label, answer: options, pieces = [], changed = () => {}, yaml = "plain", joined = null, printed = null }) {
  const id = (part) => `${element.id}-${part}`;
  const known = (await get("static/examples.json"))[examples];
  const written = (one) => (typeof one.request === "string" ? one.request : JSON.stringify(one.request, null, 2));
  const choice = make("select", { id: id("example"), onchange: choose },
    known.map((one) => make("option", { value: one.name }, one.summary)),
    make("option", { value: "" }, "Your own"),
  );
  const area = make("textarea", { id: id("json"), "data-request": true, rows: "20", spellcheck: "false", autocapitalize: "off", autocomplete: "off", wrap: "off", oninput: own });
  const file = make("input", { type: "file", multiple: joined !== null, accept: ".json,.ndjson,.jsonl,.yaml,.yml", onchange: () => open(file.files) });
  const cursor = make("p", { class: "note" });
  const note = make("span", { role: "status" });
  const print = () => (printed ? openPage(options.path, editor.text, note) : window.print());
  const form = make("form", { class: "ask", novalidate: true, onsubmit: (event) => { event.preventDefault(); ask(); } },
    make("div", { class: "field wide" }, make("label", { for: choice.id }, "Start from"), choice),
    pieces,
    make("div", { class: "field wide" }, make("label", { for: area.id }, label), area, cursor),
    make("p", { class: "actions" }, make("button", { class: "main" }, button), make("button", { type: "button", onclick: print }, printed ?? "Print answer"), note, make("label", { class: "file" }, "Open or drop file", file)),
  );
  element.append(
    make("div", { class: "columns" }, form,
      make("div", { class: "answer", "data-part": "result" },
        make("p", { class: "unseen", role: "status", "data-part": "status" }),
        make("div", { "data-part": "state", "aria-live": "polite" }),
        make("div", { class: "problem", role: "alert", "data-part": "problem", hidden: true }),
        make("div", { "data-part": "report", hidden: true }),
      ),
    ),
  );
  const editor = createEditor(area, cursor);
  const answer = createAnswerBox(element, { places: { line: editor.goTo, pointer: editor.goToPointer }, ...options });

  function ask() {
    return answer.ask(() => {
      if (editor.text.trim()) return editor.text;
      throw new Problem({ title: "Nothing to send", detail: "Start from the example, or open a file of your own." });
    });
  }

  function show(text) {
    editor.text = text;
    answer.clear();
    changed(text);
  }

  function choose() {
    const chosen = known.find((one) => one.name === choice.value);
    show(chosen ? written(chosen) : "");
  }

  function own() {
    choice.value = "";
    changed(editor.text);
  }

  async function open(files) {
    if (!files.length) return;
    choice.value = "";
    try {
      if (files.length > 1 && !joined) throw new Problem({ title: "Several files", detail: "Open one file at a time." });
      const texts = await Promise.all([...files].map((one) => textOfFile(one, yaml)));
      show(texts.length === 1 ? texts[0] : joined(texts));
    } catch (error) {
      return refuse(error);
    }
    return ask();
  }

  /** Show why a file or a pasted text cannot be read. */
  function refuse(error) {
    return answer.ask(() => {
      throw error;
    });
  }

  form.addEventListener("dragover", (event) => event.preventDefault());
  form.addEventListener("drop", (event) => {
    if (!event.dataTransfer.files.length) return;
    event.preventDefault();
    open(event.dataTransfer.files);
  });
  takePastedYaml(area, yaml, show, refuse);
  choose();
  return { ask, editor, answer, own };
}

/** The answer's head: sign, one word or sentence, and what it rests on. */
export function head(look, sign, words, ...lines) {
  return make(
    "div",
    { class: `verdict ${look}` },
    make("span", { class: "sign", "aria-hidden": "true" }, sign),
    make("div", {}, make("p", { class: "verdict-word" }, words), lines.filter(Boolean).map((one) => make("p", {}, one))),
  );
}
