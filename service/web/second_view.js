// The request as text beside the builder: JSON, or YAML that the service reads and writes.
import { createEditor, jsonFault, jsonOfYaml, looksLikeYaml, Problem, send, YAML, yamlOfJson } from "./base.js";

/**
 * The second view on a text area. Its `text` is the request in JSON, whichever notation is shown.
 *
 * `switches` are the radio buttons of the notations, `label` the label of the text, whose last child names the one shown;
 * `cursor` and `about` show where the cursor is and what stands there; `edited()` is called when somebody typed.
 */
export function createSecondView({ area, cursor, about, switches, label, edited }) {
  let editor = createEditor(area, cursor);
  let improved = null;
  let notation = "json";
  // Of the YAML that is shown: the request in it, whether it has been read since it was typed, and why it cannot be.
  let json = "";
  let read = true;
  let problem = null;
  let lines = new Map();
  let turn = 0;

  function name(wanted) {
    notation = wanted;
    label.lastElementChild.textContent = wanted === "json" ? "JSON" : "YAML";
    editor.notate?.(wanted);
    for (const one of switches) one.checked = one.value === wanted;
    lines = new Map();
  }

  function showJson(text) {
    turn += 1;
    problem = null;
    read = true;
    name("json");
    editor.text = text;
  }

  /** Show the request in YAML; what cannot be written so stays JSON. */
  async function showYaml(text) {
    turn += 1;
    const mine = turn;
    json = text;
    problem = null;
    read = true;
    try {
      const written = await yamlOfJson(text);
      if (mine !== turn) return;
      name("yaml");
      editor.text = written;
    } catch (error) {
      if (!(error instanceof Problem)) throw error;
      if (mine === turn) showJson(text);
    }
  }

  /** Take over a YAML as it was written, with its comments. */
  function takeYaml(text) {
    turn += 1;
    json = "";
    problem = null;
    read = false;
    name("yaml");
    editor.text = text;
  }

  function typed({ pasted }) {
    turn += 1;
    if (pasted && notation === "json" && looksLikeYaml(editor.text)) takeYaml(editor.text);
    else if (pasted && notation === "yaml" && jsonFault(editor.text) === null) showJson(editor.text);
    else if (notation === "yaml") read = false;
    edited();
  }

  area.addEventListener("input", (event) => typed({ pasted: event.inputType === "insertFromPaste" }));
  for (const one of switches) {
    one.addEventListener("change", async () => {
      if (one.value === notation) return;
      if (one.value === "yaml") await showYaml(editor.text);
      else {
        await view.read();
        // What cannot be read stays, for somebody to mend.
        if (problem) name("yaml");
        else showJson(json);
      }
      if (notation !== one.value) edited();
    });
  }

  /** Put the editor that completes names in place of the text area, once it is loaded. */
  async function improve() {
    const { createTextEditor } = await import("./text_editor.js");
    const made = await createTextEditor(area, {
      label: () => label.textContent,
      typed,
      told(line, column, known) {
        cursor.textContent = `Line ${line}, column ${column}`;
        about.textContent = known ? [`${known.name}:`, known.description, known.type && `(${known.type})`].filter(Boolean).join(" ") : "";
      },
    });
    editor = made;
    editor.notate(notation);
    label.removeAttribute("for");
    label.addEventListener("click", () => editor.focus());
    if (area.hasAttribute("aria-invalid")) editor.mark("faulty");
  }

  const view = {
    /** Load the editor that completes names; without a network the text area stays. */
    improve() {
      improved ??= improve().catch((error) => {
        improved = null;
        if (!(error instanceof Problem || error instanceof TypeError)) throw error;
      });
    },
    /** Mark the text as faulty; no words for a text that can be read. */
    mark(words) {
      if (words) area.setAttribute("aria-invalid", "true");
      else area.removeAttribute("aria-invalid");
      editor.mark?.(words);
    },
    /** The request in JSON; empty while the YAML of a file cannot be read. */
    get text() {
      return notation === "json" ? editor.text : json;
    },
    set text(value) {
      if (notation === "json") editor.text = value;
      else showYaml(value);
    },
    /** The text as it is shown. */
    get shown() {
      return { text: editor.text, notation };
    },
    /** Whether YAML was typed that has not been read. */
    get unread() {
      return !read;
    },
    /** Why the YAML cannot be read; null if it can. */
    get problem() {
      return problem;
    },
    /** Read the YAML that is shown; its faults beyond its syntax are left to the check. */
    async read() {
      if (read) return;
      const mine = turn;
      try {
        const found = await jsonOfYaml(editor.text, "draft");
        if (mine === turn) [json, problem, read] = [found, null, true];
      } catch (error) {
        if (!(error instanceof Problem)) throw error;
        if (mine === turn) [problem, read] = [unreadable(error.document), true];
      }
    },
    /** Show a text of a file or a link, in its own notation. */
    take(text, isYaml) {
      if (isYaml) takeYaml(text);
      else showJson(text);
    },
    /** The problem of a check with the lines of the YAML that is shown. */
    async placed(given) {
      lines = new Map();
      if (notation === "json" || !given.errors?.length) return given;
      try {
        await send("v1/requests", { method: "POST", body: editor.text, type: YAML });
        return given;
      } catch (error) {
        if (!(error instanceof Problem)) throw error;
        const { errors } = error.document;
        for (const one of errors ?? []) if (one.at?.length && one.line) lines.set(one.at[0], one);
        return errors ? error.document : given;
      }
    },
    /** The line of the fault at a pointer in the YAML that is shown. */
    lineOf: (pointer) => lines.get(pointer),
    goTo: (line, column) => editor.goTo(line, column),
    /** Go to the value at a pointer: in YAML where it has a fault, else in JSON. */
    goToPointer(pointer) {
      const place = lines.get(pointer);
      if (notation === "yaml" && place) return editor.goTo(place.line, place.column);
      if (notation === "yaml") showJson(json);
      return editor.goToPointer(pointer);
    },
  };
  return view;
}

/** A problem of the text itself, told once: by its place. */
function unreadable(problem) {
  return problem.errors?.some((one) => one.line) ? { ...problem, title: "The YAML cannot be read", detail: "" } : problem;
}
