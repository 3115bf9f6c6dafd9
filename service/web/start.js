// The start page: its views and the access token field.
import {
  createEditor, createPicture, createTokenField, fill, get, isYamlFile, jsonFault, jsonOfYaml, looksLikeYaml, make, NO_RESPONSE,
  openPage, placeWords, Problem, send, showProblem, showUnits, valueAt, withoutValue, withValue, YAML, yamlOfJson,
} from "./base.js";
import { createBuilder, createDimensions, createFields, createLists, partsOf } from "./builder.js";
import { headline, outcome, showAnswer, showDetails, showFigures, showFindings } from "./report_view.js";

// --- Shows one view at a time, by the fragment of the address up to its content, and fires its event "shown" 

/** Follow the address; without a known fragment, show the first view. */
function followAddress(views, links) {
  function show() {
    const wanted = views.find((view) => `#${view.id}` === location.hash.split("=")[0]) ?? views[0];
    for (const view of views) view.hidden = view !== wanted;
    wanted.dispatchEvent(new Event("shown"));
    for (const link of links) {
      if (link.hash === `#${wanted.id}`) link.setAttribute("aria-current", "page");
      else link.removeAttribute("aria-current");
    }
  }
  addEventListener("hashchange", () => {
    show();
    views.find((view) => !view.hidden).querySelector("h2").focus();
  });
  show();
}

// --- The view that checks a stack: builder, quick fields and JSON of one request; answer, drawing and chart 

const asSentence = (text) => `${text.charAt(0).toUpperCase()}${text.slice(1)}${/[.!?…]$/.test(text) ? "" : "."}`;

const PAUSE_MS = 400;
const EMPTY = { stack: { components: [] }, policy: { unstated: "typical" } };

/** Set up the view. Returns the editor's text and functions to start and to repeat the check. */
function createCheckView(element) {
  const find = (name) => element.querySelector(`[data-part="${name}"]`);
  const editor = createSecondView({
    area: find("json"),
    cursor: find("cursor"),
    about: find("about"),
    label: find("notation"),
    switches: element.querySelectorAll('[name="notation"]'),
    edited,
  });
  const lists = createLists(() => builder.show(request(), report));
  const quick = createQuickForm(find("quick"), set, more);
  const builder = createBuilder(find("builder"), { set, replace, lists, more });
  const drawing = createPicture(find("drawing"), createDimensions(find("dimensions"), builder));
  const chart = createPicture(find("chart"));
  const history = createHistory(() => {
    find("undo").disabled = !history.can(-1);
    find("redo").disabled = !history.can(1);
  });
  const places = { line: toLine, pointer: toPlace };
  let examples = [];
  let own = "";
  let report = null;
  let inch = false;
  let timer = 0;
  let running = null;
  let wanted = null;

  // --- the request ---------------------------------------------------------------------------------------------

  /** The request; undefined while it cannot be read. */
  function request() {
    try {
      return JSON.parse(editor.text);
    } catch {
      return undefined;
    }
  }

  function set(pointer, value) {
    if (editor.unread) return readTyped().then(() => set(pointer, value));
    if (editor.problem) return soon();
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
    return edited();
  }

  /** Read what was typed in YAML, and show it. */
  async function readTyped() {
    if (!editor.unread) return;
    await editor.read();
    own = editor.text;
    const now = request();
    if (now === undefined) return;
    builder.show(now, report);
    quick.show(now);
  }

  function replace(made) {
    editor.text = valueAt(request() ?? {}, "/stack") === undefined ? JSON.stringify(made, null, 2) : withValue(editor.text, "/stack", made.stack);
    builder.show(made, report);
    edited();
  }

  /** Load the form of all fields; another kind of cut has other fields. */
  async function more(box, asked) {
    const { showAllFields } = await import("./schema_form.js");
    // A form that was built again meanwhile has a box of its own.
    if (box.isConnected) await showAllFields(box, { ...asked, choose: set });
  }

  /** Keep the edited text as the user's own, so that looking at an example does not lose it. */
  function edited() {
    own = editor.text;
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
    return show();
  }

  async function show() {
    await readTyped();
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
    own = text;
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
    await readTyped();
    if (editor.problem) return refuse(editor.problem, byUser);
    const body = editor.text;
    keep(body);
    const fault = jsonFault(body);
    if (fault) return refuse({ title: "The JSON cannot be read", detail: "", errors: [fault] }, byUser);
    if (Array.isArray(request()?.stack?.components) && partsOf(request()).length === 0) return showEmpty();
    find("empty").hidden = true;
    find("waiting").hidden = report !== null;
    try {
      const { text } = await send("v1/checks", { method: "POST", body });
      if (body !== editor.text) return undefined;
      showReport(JSON.parse(text));
      await drawAll(body);
    } catch (error) {
      if (!(error instanceof Problem)) throw error;
      const placed = await editor.placed(error.document);
      if (body === editor.text) refuse(placed, byUser);
    }
    return undefined;
  }

  function showEmpty() {
    report = null;
    showProblem(find("problem"), null);
    find("report").hidden = true;
    find("verdict").replaceChildren();
    find("empty").hidden = false;
    find("waiting").hidden = true;
    builder.mark([]);
    quick.mark([]);
    markText("");
    announce("No parts yet", "Add a spindle holder first.");
  }

  /** Mark the fields at fault, list what has no field, and keep the last answer in grey. */
  function refuse(problem, byUser) {
    const now = request();
    const faults = (problem.errors ?? []).map((one) => ({ ...one, key: one.at?.[0] ?? "", detail: asSentence(one.detail) }));
    quick.mark(builder.mark(faults));
    // A fault of a value has a place in the form; one of the text itself has a line only.
    const told = faults.map((one) => (one.line && !one.at?.length ? { ...one, place: null } : { ...one, line: null, place: placeWords(one.key, now) }));
    find("empty").hidden = find("waiting").hidden = true;
    for (const one of ["verdict", "report"]) find(one).classList.toggle("stale", report !== null);
    find("stale").hidden = report === null;
    const [first] = told;
    const [{ line, column, detail } = {}] = faults;
    const byLine = line ? `Line ${line}, column ${column}: ${detail}` : "";
    announce(`✕ ${problem.title}${first ? `: ${first.place ?? byLine}` : ""}`);
    markText(byLine);
    showProblem(find("problem"), { ...problem, errors: told }, places);
    if (byUser && told.length) goTo(told[0]);
  }

  /** Mark the text area with what is wrong in it; nothing for a text that can be read. */
  function markText(words) {
    find("json-fault").hidden = words === "";
    find("json-fault").textContent = words;
    editor.mark(words);
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
    markText("");
    showProblem(find("problem"), null);
    for (const one of ["empty", "waiting", "stale"]) find(one).hidden = true;
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
    if (chosen) return load(JSON.stringify(chosen.request, null, 2));
    return own ? load(own) : check();
  }

  async function open(file) {
    find("example").value = "";
    const text = await file.text();
    editor.take(text, isYamlFile(file) || (looksLikeYaml(text) && !/\.json$/i.test(file.name)));
    await show();
    if (editor.problem || jsonFault(editor.text)) find("json-box").open = true;
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
  // Before the editor makes it a line.
  const submit = (event) => {
    if (event.key !== "Enter" || !(event.ctrlKey || event.metaKey)) return;
    event.preventDefault();
    event.stopPropagation();
    check({ byUser: true });
  };
  find("json-box").addEventListener("keydown", submit, { capture: true });
  find("json-box").addEventListener("toggle", () => editor.improve());
  element.addEventListener("keydown", (event) => {
    // In a text field the browser's own undo applies.
    if (!(event.ctrlKey || event.metaKey) || event.target.matches("input, textarea, .text-editor")) return;
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
  find("save-request").addEventListener("click", () => {
    const { text, notation } = editor.shown;
    save(text, `${fileName()}.${notation}`, notation === "yaml" ? YAML : "application/json");
  });
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
  for (const [button, page] of [["details-page", "details"], ["instruction", "instruction"], ["sheet", "sheet"]])
    find(button).addEventListener("click", () => openPage(`v1/checks?page=${page}&${query()}`, editor.text, find("page-note")));
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
      await load(JSON.stringify(EMPTY, null, 2));
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
      // What was opened or built meanwhile stays.
      if (editor.text) find("example").value = "";
      else if (!(await fromAddress())) await choose();
    },
  };
}

// --- The request as text beside the builder: JSON, or YAML that the service reads and writes ----------

/**
 * The second view on a text area. Its `text` is the request in JSON, whichever notation is shown.
 *
 * `switches` are the radio buttons of the notations, `label` the label of the text, whose last child names the one shown;
 * `cursor` and `about` show where the cursor is and what stands there; `edited()` is called when somebody typed.
 */
function createSecondView({ area, cursor, about, switches, label, edited }) {
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

// --- A form for the values of operation, machine and policy that users change most -------------------

const GRADES = ["G0.4", "G1", "G2.5", "G6.3", "G16", "G40"];
const FIRST = "/operations/0";
const OPERATION = [
  ["limits/runout/tir_um", "Runout limit"],
  ["limits/runout/plane", "Plane of the runout limit", ["gauge_plane", "tip"]],
  ["limits/balance_grade", "Balance grade", GRADES],
  ["feed_per_tooth_mm"],
  ["coolant", undefined, ["through", "external", "none"]],
];

/** The form in a box; calls `changed(pointer, value)` on each change, value undefined for an emptied field. */
function createQuickForm(box, changed, more) {
  const fields = createFields({ changed });
  let shape = "";
  let request = {};
  let open = false;

  function build(groups) {
    fields.clear();
    const focus = box.contains(document.activeElement) ? document.activeElement.id : null;
    const content = make("div", { class: "more" });
    const rest = make(
      "details",
      {
        open,
        ontoggle: async (event) => {
          open = event.target.open;
          if (!open || content.childElementCount) return;
          await more(content, { base: FIRST, kind: "operation", fields, request });
          fields.show(request);
        },
      },
      make("summary", {}, "More about the operation"),
      content,
    );
    fill(
      box,
      groups.map((group) =>
        make("fieldset", {}, make("legend", {}, group.title), make("div", { class: "fields" }, group.fields.map(fields.labelled)), group.rest ? rest : null),
      ),
    );
    if (focus) document.getElementById(focus)?.focus();
  }

  return {
    /** Show the values of a request. */
    show(given) {
      request = given;
      const groups = groupsOf(request);
      const wanted = JSON.stringify(groups);
      if (wanted !== shape) {
        shape = wanted;
        build(groups);
      }
      fields.show(request);
    },
    /** Show everything again, in other units. */
    again() {
      shape = "";
      this.show(request);
    },
    mark: fields.mark,
    focus: fields.focus,
  };
}

/** Groups of fields, `{title, fields: [{key, label, choices}], rest}`. */
function groupsOf(request) {
  if (request === null || typeof request !== "object") return [];
  const operation = request.operations?.[0] ?? {};
  const speed = operation.cutting_speed_m_per_min !== undefined ? "cutting_speed_m_per_min" : "spindle_speed_rpm";
  return [
    {
      title: "Operation",
      rest: operation.cut?.kind ?? "none",
      fields: [
        { key: `${FIRST}/${speed}` },
        ...OPERATION.filter(([name]) => operation.limits?.runout || !name.endsWith("plane")).map(([name, label, choices]) => ({
          key: `${FIRST}/${name}`,
          label,
          choices,
        })),
        ...Object.entries(operation.cut ?? {})
          .filter(([, value]) => typeof value === "number")
          .map(([name]) => ({ key: `${FIRST}/cut/${name}` })),
      ],
    },
    { title: "Values not stated", fields: [{ key: "/policy/unstated", label: "Count as", choices: ["typical", "cautious", "undecided"], fallback: "undecided" }] },
  ];
}

// --- The request through time: undo and redo, and the fragment of the address that holds it ----------

const MOST_STEPS = 200;
const MOST_BYTES = 512 * 1024;
const MARK = "=";

/** Texts in the order in which they were made; `changed()` is called when what can be undone changes. */
function createHistory(changed) {
  let texts = [];
  let at = -1;
  return {
    /** Note a text, unless it is the one that is shown. */
    note(text) {
      if (texts[at] === text) return;
      texts = [...texts.slice(0, at + 1), text].slice(-MOST_STEPS);
      at = texts.length - 1;
      changed();
    },
    /** The text `step` places on, undefined where there is none. */
    go(step) {
      if (texts[at + step] === undefined) return undefined;
      at += step;
      changed();
      return texts[at];
    },
    can: (step) => texts[at + step] !== undefined,
  };
}

/** The fragment for a text: the view, and the text compressed. Fragments are not sent to the service. */
async function fragmentOf(view, text) {
  const packed = await through(new TextEncoder().encode(text), new CompressionStream("deflate-raw"));
  const letters = btoa(Array.from(packed, (one) => String.fromCharCode(one)).join(""));
  return `#${view}${MARK}${letters.replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "")}`;
}

/** The text in a fragment; null if it has none, and an error if it is damaged or too long. */
async function textIn(view, fragment) {
  const start = `#${view}${MARK}`;
  if (!fragment.startsWith(start)) return null;
  const letters = atob(fragment.slice(start.length).replaceAll("-", "+").replaceAll("_", "/"));
  const bytes = await through(Uint8Array.from(letters, (one) => one.charCodeAt(0)), new DecompressionStream("deflate-raw"));
  return new TextDecoder("utf-8", { fatal: true }).decode(bytes);
}

async function through(bytes, stream) {
  const pieces = [];
  let length = 0;
  const reader = new Blob([bytes]).stream().pipeThrough(stream).getReader();
  for (let next = await reader.read(); !next.done; next = await reader.read()) {
    pieces.push(next.value);
    length += next.value.length;
    if (length > MOST_BYTES) throw new RangeError("too long");
  }
  const whole = new Uint8Array(length);
  pieces.reduce((offset, one) => (whole.set(one, offset), offset + one.length), 0);
  return whole;
}

// --- The page --------------------------------------------------------------------------------------

const part = (id) => document.getElementById(id);

const check = createCheckView(part("check"));
const checkedText = () => check.text;

// The other views are loaded when they are first shown.
/** A view that is set up when it starts. */
const startedBy = (element, createView) => ({ start: () => createView(element) });

const LOADED = {
  reading: async (element) => (await import("./reading_view.js")).createReadingView(element, checkedText),
  build: async (element) => (await import("./build_view.js")).createBuildView(element, checkedText),
  calibration: async (element) => startedBy(element, (await import("./calibration_view.js")).createView),
  comparison: async (element) => (await import("./comparison_view.js")).createComparisonView(element, checkedText),
  search: async (element) => startedBy(element, (await import("./search_view.js")).createView),
  budget: async (element) => startedBy(element, (await import("./budget_view.js")).createView),
  gate: async (element) => startedBy(element, (await import("./gate_view.js")).createView),
  catalogue: async (element) => startedBy(element, (await import("./catalogue_view.js")).createView),
  audit: async (element) => startedBy(element, (await import("./audit_view.js")).createView),
};
const waiting = new Set();
const begun = new Set();
let started = false;

/** Start what is shown and has not started yet; a problem is shown, and the token brings another attempt. */
async function start() {
  try {
    if (!started) await check.start();
    started = true;
    for (const id of waiting) {
      const element = part(id);
      waiting.delete(id);
      begun.add(id);
      try {
        const view = await LOADED[id](element).catch(asProblem);
        await view.start();
        hold(element, false);
        if (!element.hidden) element.dispatchEvent(new Event("shown"));
      } catch (error) {
        waiting.add(id);
        begun.delete(id);
        throw error;
      }
    }
    showProblem(part("start-problem"), null);
  } catch (error) {
    if (!(error instanceof Problem)) throw error;
    showProblem(part("start-problem"), error.document);
  }
}

/** Let a form take no input until it has started, since its example would replace what is entered. */
function hold(element, held) {
  for (const one of element.querySelectorAll(":scope > :not(h2)")) one.inert = held;
}

/** A module that cannot be fetched is a service that does not respond. */
function asProblem(error) {
  if (error instanceof TypeError && /module/.test(error.message)) throw new Problem(NO_RESPONSE);
  throw error;
}

for (const id of Object.keys(LOADED)) {
  part(id).addEventListener("shown", () => {
    if (begun.has(id)) return;
    waiting.add(id);
    hold(part(id), true);
    if (started) start();
  });
}

// Keep what the user has typed meanwhile.
createTokenField(part("token"), () => (started && waiting.size === 0 ? check.again() : start()));
followAddress([...document.querySelectorAll("[data-view]")], [...document.querySelectorAll("nav a[href^='#']")]);
start();
