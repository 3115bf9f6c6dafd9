// The view that checks a stack: builder, quick fields and JSON of one request; answer, drawing and chart.
import { get, Problem, send } from "./api.js";
import { createBuilder, createLists } from "./builder.js";
import { createEditor } from "./editor.js";
import { make } from "./elements.js";
import { jsonFault, valueAt, withoutValue, withValue } from "./json_edit.js";
import { createPicture } from "./pictures.js";
import { showProblem } from "./problem_view.js";
import { createQuickForm } from "./quick_form.js";
import { headline, outcome, showAnswer, showDetails, showFigures, showFindings } from "./report_view.js";
import { openPage } from "./open_page.js";
import { createHistory, fragmentOf, textIn } from "./session.js";
import { partsOf } from "./stack_edit.js";
import { placeWords, showUnits } from "./words.js";

const PAUSE_MS = 400;
const EMPTY = { stack: { components: [] }, policy: { unstated: "typical" } };

/** Set up the view. Returns the editor's text and functions to start and to repeat the check. */
export function createCheckView(element) {
  const find = (name) => element.querySelector(`[data-part="${name}"]`);
  const editor = createEditor(find("json"), find("cursor"));
  const lists = createLists(() => builder.show(request(), report));
  const quick = createQuickForm(find("quick"), set, more);
  const builder = createBuilder(find("builder"), { set, replace, lists, more });
  const [drawing, chart] = [createPicture(find("drawing")), createPicture(find("chart"))];
  const history = createHistory(() => {
    find("undo").disabled = !history.can(-1);
    find("redo").disabled = !history.can(1);
  });
  const places = { line: toLine, pointer: toPlace };
  let examples = [];
  let report = null;
  let inch = false;
  let timer = 0;
  let running = null;
  let wanted = null;

  // --- the request ---------------------------------------------------------------------------------------------

  /** The request in the editor; undefined while it is not JSON. */
  function request() {
    try {
      return JSON.parse(editor.text);
    } catch {
      return undefined;
    }
  }

  function set(pointer, value) {
    // A runout limit without its value is no limit.
    const gone = pointer.endsWith("/runout/tir_um") ? pointer.slice(0, pointer.lastIndexOf("/")) : pointer;
    const now = request();
    // Not JSON at the moment; the next check reports where.
    if (now === undefined) return soon();
    let text = editor.text;
    if (value === undefined) text = withoutValue(text, gone);
    else {
      const first = "/operations/0";
      if (pointer.startsWith(`${first}/`) && valueAt(now, first) === undefined) text = withValue(text, `${first}/id`, "10");
      if (pointer.startsWith("/machine/") && now.machine === undefined) text = withValue(text, "/machine/kind", "stated");
      text = withValue(text, pointer, value);
    }
    editor.text = text;
    edited();
  }

  function replace(made) {
    editor.text = valueAt(request() ?? {}, "/stack") === undefined ? JSON.stringify(made, null, 2) : withValue(editor.text, "/stack", made.stack);
    builder.show(made, report);
    edited();
  }

  /** Load the form of all fields; another kind of cut has other fields. */
  async function more(box, asked) {
    const { showAllFields } = await import("./schema_form.js");
    const choose = (key, value) => {
      set(key, value);
      builder.again();
      quick.again();
    };
    await showAllFields(box, { ...asked, choose });
  }

  function edited() {
    find("example").value = "";
    const now = request();
    if (now !== undefined) {
      builder.show(now, report);
      quick.show(now);
    }
    soon();
  }

  function soon() {
    clearTimeout(timer);
    timer = setTimeout(check, PAUSE_MS);
  }

  function load(text) {
    editor.text = text;
    report = null;
    const now = request();
    builder.show(now, report);
    quick.show(now ?? {});
    return check();
  }

  /** Note the text for undo, and put it into the address, which can be shared and survives a reload. */
  async function keep(text) {
    history.note(text);
    const fragment = await fragmentOf(element.id, text);
    if (editor.text === text && !element.hidden) window.history.replaceState(null, "", fragment);
  }

  function step(by) {
    const text = history.go(by);
    if (text === undefined) return;
    find("example").value = "";
    load(text);
  }

  // --- the answer ----------------------------------------------------------------------------------------------

  /** Check the text in the editor. One request is under way at a time; what was typed meanwhile follows it. */
  function check({ byUser = false } = {}) {
    clearTimeout(timer);
    wanted = { byUser: byUser || wanted?.byUser === true };
    running ??= (async () => {
      element.setAttribute("aria-busy", "true");
      try {
        while (wanted) {
          const next = wanted;
          wanted = null;
          await checkOnce(next);
        }
      } finally {
        running = null;
        element.removeAttribute("aria-busy");
      }
    })();
    return running;
  }

  async function checkOnce({ byUser }) {
    const body = editor.text;
    keep(body);
    const fault = jsonFault(body);
    if (fault) return refuse({ title: "The JSON cannot be read", detail: "", errors: [fault] }, byUser);
    if (Array.isArray(request()?.stack?.components) && partsOf(request()).length === 0) return showEmpty();
    try {
      const { text } = await send("v1/checks", { method: "POST", body });
      if (body !== editor.text) return undefined;
      showReport(JSON.parse(text));
      await drawAll(body);
    } catch (error) {
      if (!(error instanceof Problem)) throw error;
      if (body === editor.text) refuse(error.document, byUser);
    }
    return undefined;
  }

  function showEmpty() {
    report = null;
    showProblem(find("problem"), null);
    find("report").hidden = true;
    find("verdict").replaceChildren();
    find("empty").hidden = false;
    builder.mark([]);
    quick.mark([]);
    announce("No parts yet");
  }

  /** Mark the fields at fault, list what has no field, and keep the last answer in grey. */
  function refuse(problem, byUser) {
    const now = request();
    const faults = (problem.errors ?? []).map((one) => ({ ...one, key: one.at?.[0] ?? "" }));
    const unplaced = new Set(quick.mark(builder.mark(faults)));
    const told = faults.map((one) => ({ ...one, place: one.line ? null : placeWords(one.key, now), marked: !unplaced.has(one) }));
    find("empty").hidden = true;
    for (const one of ["verdict", "report"]) find(one).classList.toggle("stale", report !== null);
    find("stale").hidden = report === null;
    announce(`✕ ${problem.title}`);
    showProblem(find("problem"), { ...problem, errors: told }, places);
    if (byUser && told.length) goTo(told[0]);
  }

  function goTo(fault) {
    if (fault.line) toLine(fault.line, fault.column);
    else toPlace(fault.key);
  }

  function toLine(line, column) {
    find("json-box").open = true;
    editor.goTo(line, column);
  }

  /** Go to the field at a pointer, else to its place in the JSON. */
  function toPlace(pointer) {
    if (builder.focus(pointer) || quick.focus(pointer)) return;
    find("json-box").open = true;
    editor.goToPointer(pointer);
  }

  function showReport(given) {
    report = given;
    builder.mark([]);
    quick.mark([]);
    showProblem(find("problem"), null);
    find("empty").hidden = find("stale").hidden = true;
    find("report").hidden = false;
    for (const one of ["verdict", "report"]) find(one).classList.remove("stale");
    showWords();
    announce(headline(report), outcome(report));
    const now = request();
    builder.show(now, report);
    quick.show(now);
  }

  function showWords() {
    const words = (pointer) => placeWords(pointer, request());
    showAnswer(find("verdict"), report, toPlace, words);
    showFigures(find("figures"), report);
    showFindings(find("findings"), report, toPlace, words);
    showDetails(find("details"), report);
  }

  /** Fill the strip, which is there while the answer is out of view, and announce the status to screen readers. */
  function announce(short, more = "") {
    find("strip").textContent = short;
    if (more) find("status").textContent = `${short}. ${more}`;
  }

  const unit = () => (inch ? { unit: "inch" } : {});

  async function drawAll(body) {
    const bent = find("bent").checked;
    await Promise.all([
      draw(drawing, { picture: "stack", bent, ...unit() }, body),
      find("charts").open ? draw(chart, { picture: element.querySelector('[name="chart"]:checked').value, ...unit() }, body) : null,
    ]);
  }

  async function draw(picture, query, body) {
    try {
      await picture.show(query, body);
    } catch (error) {
      if (!(error instanceof Problem)) throw error;
      picture.showMissing(error.document.detail);
    }
  }

  // --- controls ------------------------------------------------------------------------------------------------

  function choose() {
    const chosen = examples.find((one) => one.name === find("example").value);
    return chosen ? load(JSON.stringify(chosen.request, null, 2)) : check();
  }

  async function open(file) {
    find("example").value = "";
    await load(await file.text());
    if (jsonFault(editor.text)) find("json-box").open = true;
  }

  async function switchUnits() {
    inch = find("units").value === "inch";
    try {
      showUnits(inch ? (await get("static/choices.json")).inch : null);
    } catch (error) {
      if (!(error instanceof Problem)) throw error;
      return refuse(error.document, false);
    }
    builder.again();
    quick.again();
    if (report) showWords();
    return check();
  }

  function save(text, name, type) {
    const address = URL.createObjectURL(new Blob([text], { type }));
    make("a", { href: address, download: name }).click();
    setTimeout(() => URL.revokeObjectURL(address), 0);
  }

  const fileName = () => String(request()?.stack?.id ?? "stack").replaceAll(/[^\w.-]/g, "-");

  async function share() {
    const address = new URL(await fragmentOf(element.id, editor.text), location.href).href;
    let said = "The link is in the address bar.";
    try {
      await navigator.clipboard.writeText(address);
      said = "Link copied. The stack is in the link itself; nothing is stored.";
    } catch {
      // No permission, or no secure connection; the address has the link already.
    }
    find("said").textContent = said;
  }

  find("example").addEventListener("change", choose);
  find("json").addEventListener("input", edited);
  find("json").addEventListener("keydown", (event) => {
    if (event.key === "Enter" && (event.ctrlKey || event.metaKey)) check({ byUser: true });
  });
  element.addEventListener("keydown", (event) => {
    // In a text field the browser's own undo applies.
    if (!(event.ctrlKey || event.metaKey) || event.target.matches("input, textarea")) return;
    const wanted = { z: event.shiftKey ? 1 : -1, y: 1 }[event.key.toLowerCase()];
    if (!wanted) return;
    event.preventDefault();
    step(wanted);
  });
  find("check").addEventListener("click", () => check({ byUser: true }));
  find("new").addEventListener("click", () => {
    find("example").value = "";
    load(JSON.stringify(EMPTY, null, 2));
    builder.add();
  });
  find("undo").addEventListener("click", () => step(-1));
  find("redo").addEventListener("click", () => step(1));
  find("share").addEventListener("click", share);
  find("units").addEventListener("change", switchUnits);
  find("save-request").addEventListener("click", () => save(editor.text, `${fileName()}.json`, "application/json"));
  find("save-report").addEventListener("click", () => report && save(JSON.stringify(report, null, 2), `${fileName()}-report.json`, "application/json"));
  find("file").addEventListener("change", (event) => event.target.files[0] && open(event.target.files[0]));
  element.addEventListener("dragover", (event) => {
    if (event.dataTransfer.types.includes("Files")) event.preventDefault();
  });
  element.addEventListener("drop", (event) => {
    const [file] = event.dataTransfer.files;
    if (!file) return;
    event.preventDefault();
    open(file);
  });
  find("strip").addEventListener("click", () => {
    find("lead").scrollIntoView();
    find("lead").focus({ preventScroll: true });
  });
  new IntersectionObserver(([{ isIntersecting }]) => {
    find("strip").hidden = isIntersecting || element.hidden;
  }).observe(find("lead"));
  const query = () => new URLSearchParams(unit()).toString();
  find("page").addEventListener("click", () => openPage(`v1/checks?${query()}`, editor.text, find("page-note")));
  find("sheet").addEventListener("click", () => openPage(`v1/checks?page=sheet&${query()}`, editor.text, find("page-note")));
  for (const control of element.querySelectorAll('[name="chart"], [data-part="bent"]')) control.addEventListener("change", () => check());
  find("charts").addEventListener("toggle", () => find("charts").open && report && check());
  addEventListener("hashchange", fromAddress);
  // The address shows the stack again after another view.
  element.addEventListener("shown", () => editor.text && !location.hash.startsWith(`#${element.id}=`) && keep(editor.text));

  /** Load the request that the address holds; false if it holds none. */
  async function fromAddress() {
    if (!location.hash.startsWith(`#${element.id}=`)) return false;
    try {
      const text = await textIn(element.id, location.hash);
      if (text === editor.text) return true;
      find("example").value = "";
      await load(text);
    } catch {
      load(JSON.stringify(EMPTY, null, 2));
      refuse({ title: "This link cannot be read", detail: "It was cut off or changed. Ask for the link again, or start a new stack." }, false);
    }
    return true;
  }

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
        make("option", { value: "" }, "Your own stack"),
      );
      if (!(await fromAddress())) await choose();
    },
  };
}
