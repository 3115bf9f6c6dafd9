// The view that checks a stack: request editor, quick fields, report, drawing and chart.
import { get, Problem, send } from "./api.js";
import { createEditor } from "./editor.js";
import { make } from "./elements.js";
import { valueAt, withoutValue, withValue } from "./json_edit.js";
import { createPicture } from "./pictures.js";
import { goToFirst, showProblem } from "./problem_view.js";
import { createQuickForm } from "./quick_form.js";
import { headline, outcome, showDetails, showFigures, showFindings, showVerdict } from "./report_view.js";
import { openPage } from "./open_page.js";

const PAUSE_MS = 400;

/** Set up the view. Returns the editor's text and functions to start and to repeat the check. */
export function createCheckView(element) {
  const find = (name) => element.querySelector(`[data-part="${name}"]`);
  const editor = createEditor(find("json"), find("cursor"));
  const quick = createQuickForm(find("quick"), change);
  const [drawing, chart] = [createPicture(find("drawing")), createPicture(find("chart"))];
  const places = { line: editor.goTo, pointer: editor.goToPointer };
  let examples = [];
  let own = "";
  let timer = 0;
  let running = new AbortController();

  function change(pointer, value) {
    // A runout limit without its value is no limit.
    const gone = pointer.endsWith("/runout/tir_um") ? pointer.slice(0, pointer.lastIndexOf("/")) : pointer;
    try {
      let text = editor.text;
      const first = "/operations/0";
      if (value !== undefined && pointer.startsWith(`${first}/`) && valueAt(JSON.parse(text), first) === undefined)
        text = withValue(text, `${first}/id`, "10");
      editor.text = value === undefined ? withoutValue(text, gone) : withValue(text, pointer, value);
    } catch {
      // Not JSON at the moment; the next check reports where.
    }
    edited();
  }

  /** Keep the edited text as the user's own JSON, so that looking at an example does not lose it. */
  function edited() {
    own = editor.text;
    find("example").value = "";
    soon();
  }

  function soon() {
    clearTimeout(timer);
    timer = setTimeout(check, PAUSE_MS);
  }

  async function check({ byUser = false } = {}) {
    clearTimeout(timer);
    running.abort();
    running = new AbortController();
    const { signal } = running;
    const body = editor.text;
    find("result").setAttribute("aria-busy", "true");
    try {
      const { text } = await send("v1/checks", { method: "POST", body, signal });
      showReport(JSON.parse(text));
      quick.show(JSON.parse(body));
      await drawAll(body, signal);
    } catch (error) {
      if (error.name === "AbortError") return;
      if (!(error instanceof Problem)) throw error;
      find("report").hidden = true;
      announce(`✕ ${error.document.title}`);
      showProblem(find("problem"), error.document, places);
      if (byUser) goToFirst(error.document, places);
    } finally {
      if (!signal.aborted) find("result").removeAttribute("aria-busy");
    }
  }

  function showReport(report) {
    showProblem(find("problem"), null);
    find("report").hidden = false;
    showVerdict(find("verdict"), report);
    showFigures(find("figures"), report);
    announce(headline(report), outcome(report));
    showFindings(find("findings"), report, editor.goToPointer);
    showDetails(find("details"), report);
  }

  /** Show the strip (narrow screens) and announce the status to screen readers. */
  function announce(short, more = "") {
    find("strip").hidden = false;
    find("strip").textContent = short;
    if (more) find("status").textContent = `${short}. ${more}`;
  }

  async function drawAll(body, signal) {
    const picture = element.querySelector('[name="chart"]:checked').value;
    const bent = find("bent").checked;
    await Promise.all([
      draw(drawing, { picture: "stack", bent }, body, signal),
      draw(chart, { picture }, body, signal),
    ]);
  }

  async function draw(picture, query, body, signal) {
    try {
      await picture.show(query, body, signal);
    } catch (error) {
      if (error.name === "AbortError") return;
      if (!(error instanceof Problem)) throw error;
      picture.showMissing(error.document.detail);
    }
  }

  function load(request) {
    editor.text = JSON.stringify(request, null, 2);
    quick.show(request);
    return check();
  }

  function choose() {
    const chosen = examples.find((one) => one.name === find("example").value);
    if (chosen) return load(chosen.request);
    if (own) editor.text = own;
    return check();
  }

  find("example").addEventListener("change", choose);
  find("json").addEventListener("input", edited);
  find("json").addEventListener("keydown", (event) => {
    if (event.key === "Enter" && (event.ctrlKey || event.metaKey)) check({ byUser: true });
  });
  find("check").addEventListener("click", () => check({ byUser: true }));
  find("file").addEventListener("change", async (event) => {
    const [file] = event.target.files;
    if (!file) return;
    editor.text = await file.text();
    edited();
    check({ byUser: true });
  });
  find("strip").addEventListener("click", () => {
    const shown = find("report").hidden ? find("problem") : find("report");
    shown.scrollIntoView();
    shown.focus({ preventScroll: true });
  });
  find("page").addEventListener("click", () => openPage("v1/checks", editor.text, find("page-note")));
  for (const [button, page] of [["details-page", "details"], ["instruction", "instruction"], ["sheet", "sheet"]])
    find(button).addEventListener("click", () => openPage(`v1/checks?page=${page}`, editor.text, find("page-note")));
  for (const control of element.querySelectorAll('[name="chart"], [data-part="bent"]'))
    control.addEventListener("change", () => check());

  return {
    get text() {
      return editor.text;
    },
    /** Repeat the check. */
    again: () => check(),
    async start() {
      examples = (await get("static/examples.json")).checks;
      find("example").replaceChildren(
        ...examples.map((one) => make("option", { value: one.name }, `${one.name}: ${one.summary}`)),
        make("option", { value: "" }, "Your own JSON"),
      );
      await load(examples[0].request);
    },
  };
}
