// What every page uses: requests, elements, words, problems, the token, and JSON as text.

// --- Requests to the service that served the page ----------------------------------------------------

/** A problem document (RFC 9457) as an error. */
export class Problem extends Error {
  constructor(document) {
    super(document.detail ?? document.title);
    this.document = document;
  }
}

/** The problem of a service that cannot be reached. */
export const NO_RESPONSE = { title: "No response from the service", detail: "Check that the service is running and the network is up." };

// Kept in memory only, until the page is closed.
let token = "";

/** Send this bearer token with every later request. */
function useToken(given) {
  token = given.trim();
}

/** Response and body text of a request; throws Problem on any status but 2xx. */
export async function send(path, { method = "GET", body, type = "application/json", accept, signal } = {}) {
  const headers = { Accept: accept ?? "application/json" };
  if (body !== undefined) headers["Content-Type"] = type;
  if (token) headers.Authorization = `Bearer ${token}`;
  let response;
  try {
    response = await fetch(path, { method, headers, body, signal, credentials: "same-origin" });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new Problem(NO_RESPONSE);
  }
  const text = await response.text();
  if (response.status === 401) document.dispatchEvent(new CustomEvent("tokenrequired"));
  if (!response.ok) throw new Problem(problemOf(response, text));
  return { response, text };
}

/** The JSON response to a JSON body. */
export async function post(path, body, options = {}) {
  return JSON.parse((await send(path, { ...options, method: "POST", body })).text);
}

/** The JSON resource at a path. */
export async function get(path) {
  return JSON.parse((await send(path)).text);
}

// --- Requests in YAML, which the service turns into JSON and back -------------------------------------

export const YAML = "application/yaml";
// From any page, whatever its depth.
const REQUESTS = new URL("../v1/requests", import.meta.url).href;

/** Whether a text is no JSON but may be YAML: a request in JSON begins with a bracket. */
export function looksLikeYaml(text) {
  return /\S/.test(text) && !/^\s*[[{]/.test(text);
}

/** The JSON of a request in YAML: as a `draft` of a check in its full form, or its `plain` values. */
export async function jsonOfYaml(text, form) {
  const { text: found } = await send(`${REQUESTS}?form=${form}`, { method: "POST", body: text, type: YAML });
  return JSON.stringify(JSON.parse(found), null, INDENT);
}

/** The YAML of a request in JSON. */
export async function yamlOfJson(text) {
  return (await send(`${REQUESTS}?form=plain`, { method: "POST", body: text, accept: `${YAML}, application/problem+json` })).text;
}

/** The text of a file; of one in YAML its JSON. */
export async function textOfFile(file, form) {
  const text = await file.text();
  return isYamlFile(file) ? jsonOfYaml(text, form) : text;
}

/** Whether a file is in YAML, by its name. */
export const isYamlFile = (file) => /\.ya?ml$/i.test(file.name);

/** Hear of YAML that was pasted into a text area for JSON: `taken(json)` gets it, `refused(problem)` why it cannot be read. */
export function takePastedYaml(area, form, taken, refused) {
  area.addEventListener("input", async (event) => {
    const text = area.value;
    if (event.inputType !== "insertFromPaste" || !looksLikeYaml(text)) return;
    try {
      const json = await jsonOfYaml(text, form);
      if (area.value === text) taken(json);
    } catch (error) {
      if (!(error instanceof Problem)) throw error;
      if (area.value === text) refused(error);
    }
  });
}

function problemOf(response, text) {
  try {
    const parsed = JSON.parse(text);
    if (parsed && typeof parsed === "object" && parsed.title) return parsed;
  } catch {
    // A proxy in between may respond in another format.
  }
  return { title: `HTTP status ${response.status}`, detail: response.statusText || "The response gives no reason." };
}

// --- Builds elements. Text is never parsed as markup -------------------------------------------------

/** An element with attributes and children; functions become `on…` listeners, null and false are skipped. */
export function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (typeof value === "function") element.addEventListener(name.slice(2), value);
    else if (value === true) element.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) element.setAttribute(name, value);
  }
  element.append(...present(children));
  return element;
}

/** Replace the children of an element. */
export function fill(element, ...children) {
  element.replaceChildren(...present(children));
}

/** A table with caption and row headers; `figures` are the indices of numeric columns, from 0. */
export function table(caption, heads, rows, figures = []) {
  const cell = (tag, scope) => (value, index) =>
    make(tag, { scope, class: figures.includes(index) ? "figure" : null }, value);
  return make(
    "div",
    { class: "table", tabindex: "0", role: "region", "aria-label": caption },
    make(
      "table",
      {},
      make("caption", {}, caption),
      make("thead", {}, make("tr", {}, ...heads.map(cell("th", "col")))),
      make(
        "tbody",
        {},
        ...rows.map(([first, ...rest]) =>
          make("tr", {}, make("th", { scope: "row" }, first), ...rest.map((value, i) => cell("td")(value, i + 1))),
        ),
      ),
    ),
  );
}

/** A description list of terms and their values. */
export function terms(pairs, className = "terms") {
  return make(
    "dl",
    { class: className },
    ...pairs.map(([term, ...told]) => make("div", {}, make("dt", {}, term), ...told.map((one) => make("dd", {}, one)))),
  );
}

function present(children) {
  return children.flat(Infinity).filter((child) => child !== null && child !== undefined && child !== false);
}

// --- Text for figures, fields and verdicts -----------------------------------------------------------

/** A sign for every state, so that colour alone carries no meaning. */
export const SIGNS = {
  pass: "✓",
  review: "?",
  fail: "✕",
  error: "✕",
  warning: "!",
  advice: "i",
  undecided: "?",
  conforms: "✓",
  does_not_conform: "✕",
  not_proven: "?",
};

const UNITS = [
  ["_n_m_per_mrad", "N·m/mrad"],
  ["_n_per_um", "N/µm"],
  ["_um_per_m", "µm/m"],
  ["_kg_mm2", "kg·mm²"],
  ["_kg_m3", "kg/m³"],
  ["_mpa", "MPa"],
  ["_gpa", "GPa"],
  ["_g_mm2", "g·mm²"],
  ["_g_mm", "g·mm"],
  ["_n_m", "N·m"],
  ["_m_per_min", "m/min"],
  ["_rpm", "rpm"],
  ["_um", "µm"],
  ["_mm", "mm"],
  ["_kg", "kg"],
  ["_kw", "kW"],
  ["_deg", "°"],
  ["_n", "N"],
];

/** A field's name in words, and its unit. */
export function fieldWords(name) {
  const [suffix, unit] = UNITS.find(([end]) => name.endsWith(end)) ?? ["", ""];
  const told = name === "outer_mm" ? "outer_diameter" : name.slice(0, name.length - suffix.length);
  return { words: sentence(told), unit };
}

const SECTIONS = { __proto__: null, components: "definition", operations: "operation" };
const SKIPPED = new Set(["with", "statements", "of"]);
const ENTRIES = {
  __proto__: null, components: "part", joints: "joint", operations: "operation", alternatives: "stack", stacks: "stack", stages: "stage",
  assemblies: "assembly", planes: "plane", readings: "reading", readings_um: "reading", points: "reading", tools: "tool",
};

/** A place of a request in the words of the form: part and field, without a pointer. */
export function placeWords(pointer, request) {
  const steps = pointer.split("/").slice(1).map((step) => step.replaceAll("~1", "/").replaceAll("~0", "~"));
  if (steps.length === 0) return "Whole request";
  const words = [];
  let at = request;
  let holder = null;
  steps.forEach((step, index) => {
    const last = index === steps.length - 1;
    const list = steps[index - 1];
    holder = at;
    at = at?.[step];
    if (/^(\d+|-)$/.test(step) && list in ENTRIES) words.push(entryWords(list, step, at, holder));
    else if (list === "components") words.push(step);
    else if (step === "stack" && /^(components|joints)$/.test(steps[index + 1]) && index + 2 < steps.length) return;
    else if (!last && step in ENTRIES) return;
    else if (!SKIPPED.has(step) && !/^\d+$/.test(step)) words.push((index === 0 && SECTIONS[step]) || fieldWords(step).words.toLowerCase());
  });
  const [first, ...rest] = words;
  return [/^[a-z]/.test(first) && !isName(steps, request) ? sentence(first) : first, ...rest].join(", ");
}

/** Whether the words begin with the name of a part, which keeps its letters. */
function isName(steps, request) {
  const [of, number] = steps[0] === "stack" ? steps.slice(1) : steps;
  const named = of === "components" && number !== undefined;
  return named && (steps[0] === "components" || typeof request?.stack?.components?.[number]?.id === "string");
}

function entryWords(list, step, entry, all) {
  const number = Number(step) + 1;
  if (list === "joints") return entry?.upper ? `joint ${entry.upper} / ${entry.lower}` : step === "-" ? "joint" : `joint ${number}`;
  if (list === "components") return typeof entry?.id === "string" ? entry.id : `part ${number}`;
  if (list === "operations") return all?.length > 1 ? `operation ${entry?.id ?? step}` : "operation";
  return `${ENTRIES[list]} ${entry?.name ?? (step === "-" ? "" : number)}`.trimEnd();
}

/** A name with underscores in sentence case. */
export function sentence(name) {
  const words = name.replaceAll("_", " ");
  return words.charAt(0).toUpperCase() + words.slice(1);
}

let inch = null;

/** Show quantities in these inch units (by the sign of the metric one), or in metric units for null. */
export function showUnits(table) {
  inch = table;
}

/** The sign of a metric unit, or of the unit that is shown for it. */
export function shownUnit(sign) {
  return inch?.[sign]?.sign ?? sign;
}

/** A figure or an estimate with its range, rounded to `digits` decimals, with its unit; "not known" for null. */
export function amount(figureOrEstimate, digits = 0, unit = "") {
  const value = figureOrEstimate?.value ?? figureOrEstimate;
  if (value === null || value === undefined) return "not known";
  const other = inch?.[unit];
  const rounded = (number) => (other ? inInches(number, other) : String(Number(number.toFixed(digits))));
  const figure = typeof value === "number" ? rounded(value) : String(value);
  const { low, high } = typeof figureOrEstimate === "object" ? figureOrEstimate : { low: null, high: null };
  const range = typeof low === "number" && typeof high === "number" ? ` (${rounded(low)} to ${rounded(high)})` : "";
  return unit ? `${figure} ${shownUnit(unit)}${range}` : `${figure}${range}`;
}

const LEAST_STEPS = 20;

/** A metric number in an inch unit: to the unit's step, or to three figures where that would leave too few. */
function inInches(number, { factor, step }) {
  const converted = number / factor;
  if (step === null || Math.abs(converted) < LEAST_STEPS * step) return plain(Number(converted.toPrecision(3)));
  return plain(Number((Math.round(converted / step) * step).toPrecision(12)));
}

function plain(number) {
  return Math.abs(number) < 1e-4 && number !== 0 ? number.toFixed(12).replace(/0+$/, "") : String(number);
}

/** A sentence with its quantities in the units that are shown. */
export function shownSentence(text) {
  if (!inch) return text;
  const signs = Object.keys(inch).sort((one, other) => other.length - one.length);
  const size = String.raw`Ø?-?\d+(?:\.\d+)?(?:–\d+(?:\.\d+)?)?`;
  const quantity = new RegExp(String.raw`(?<![\w.,/-])(?:(${size}) (to|and|×) )?(${size})[ \u00a0](${signs.join("|")})(?![\w/·²³])`, "gu");
  return text.replace(quantity, (_, low, word, high, sign) => {
    const shown = (one) => one.replaceAll(/-?\d+(?:\.\d+)?/g, (number) => inInches(Number(number), inch[sign]));
    return `${low === undefined ? "" : `${shown(low)} ${word} `}${shown(high)} ${inch[sign].sign}`;
  });
}

/** A value of a request as its field shows it: a number in the unit shown, a text as it was written. */
export function shownNumber(value, { unit }) {
  if (typeof value !== "number") return String(value);
  const other = inch?.[unit];
  return other ? plain(Number((value / other.factor).toPrecision(6))) : String(value);
}

/**
 * What a request states for a text in a field; undefined for none. Decimal point or comma, in inches also a fraction.
 * Without a unit it counts in the unit that is shown and becomes metric; a text that is no number stays as it is.
 */
export function statedNumber(text, { unit }) {
  const written = text.trim();
  if (written === "") return undefined;
  const other = inch?.[unit];
  if (!other) return Number.isFinite(numberIn(written)) ? numberIn(written) : written;
  const number = numberIn(written.endsWith(other.sign) ? written.slice(0, -other.sign.length).trim() : written, true);
  return Number.isFinite(number) ? Number((number * other.factor).toPrecision(12)) : written;
}

function numberIn(text, fractions = false) {
  if (text === "") return NaN;
  const parts = fractions ? /^(?:(\d+)[ -])?(\d+)\/(\d+)$/.exec(text) : null;
  return parts ? Number(parts[1] ?? 0) + Number(parts[2]) / Number(parts[3]) : Number(text.replace(",", "."));
}

/** A share as a percentage. */
export function percent(share, digits = 0) {
  return share === null || share === undefined ? "not known" : `${(100 * share).toFixed(digits)} %`;
}

/** A joint as 'upper/lower'; undefined for none. */
export function jointWords(joint) {
  return joint ? `${joint.upper}/${joint.lower}` : undefined;
}

/** A count with its noun. */
export function count(number, noun, plural = `${noun}s`) {
  return `${number} ${number === 1 ? noun : plural}`;
}

// --- Look-ups in the runout section of a report ------------------------------------------------------

/** The plane of a name; undefined if it has no position. */
export function planeOf(runout, name) {
  return runout.planes.find((one) => one.plane === name);
}

/** The prediction of a plane by its subject; undefined if a contributor is not known. */
function prediction(plane, of = "assemblies") {
  return plane?.predictions.find((one) => one.of === of);
}

/** A quantile of a prediction in µm; undefined if it is not known. */
export function quantile(plane, name, of = "assemblies") {
  return prediction(plane, of)?.quantiles_um[name];
}

// --- Shows a problem, with a button for each fault that jumps to its place ---------------------------

/**
 * Show a problem, or nothing for null.
 *
 * `places` has `line(line, column)` and `pointer(pointer)`, which jump to the place of a fault.
 */
export function showProblem(box, problem, places = null) {
  box.hidden = problem === null;
  if (problem === null) {
    fill(box);
    return;
  }
  fill(
    box,
    make("p", { class: "problem-title" }, make("span", { class: "sign", "aria-hidden": "true" }, "✕"), problem.title),
    make("p", {}, problem.detail),
    problem.errors?.length ? make("ul", { class: "faults" }, problem.errors.map((fault) => faultItem(fault, places))) : null,
  );
}

/** Go to the first fault with a place. */
export function goToFirst(problem, places) {
  const fault = problem.errors?.find((one) => one.line || one.at?.length);
  if (fault) goTo(fault, places);
}

function faultItem(fault, places) {
  const words = fault.line ? `line ${fault.line}, column ${fault.column}` : (fault.place ?? (fault.at?.length ? placeWords(fault.at[0]) : null));
  const place =
    words && places ? make("button", { type: "button", class: "place", onclick: () => goTo(fault, places) }, words) : words;
  return make("li", {}, place, place ? ": " : null, fault.detail);
}

function goTo(fault, places) {
  if (fault.line) places.line(fault.line, fault.column, fault);
  else places.pointer(fault.at[0]);
}

/** The field of a form at a pointer, or at its nearest parent; the text area of a request in JSON has them all. */
export function fieldAt(form, pointer) {
  for (let at = pointer; at; at = at.slice(0, at.lastIndexOf("/"))) {
    const inputs = form.querySelectorAll(`[data-at="${CSS.escape(at)}"], [data-at^="${CSS.escape(`${at}/`)}"]`);
    const shown = [...inputs].find((one) => !one.closest("[hidden]"));
    if (shown) return shown;
  }
  return form.querySelector("[data-request]");
}

/**
 * Mark the fields of a form at fault, none for a null problem, and return the problem with its places in the form's words.
 * `request` is what was sent, undefined if it could not be read.
 */
export function markFields(form, problem, request) {
  for (const note of form.querySelectorAll(".field-fault.of-answer")) {
    for (const name of ["aria-invalid", "aria-describedby"]) note.previousElementSibling.removeAttribute(name);
    note.remove();
  }
  if (!problem?.errors) return problem;
  const errors = problem.errors.map((fault) => {
    if (!fault.line && !fault.at?.length) return fault;
    const input = fieldAt(form, fault.at?.[0] ?? "");
    const whole = input?.matches("textarea") ?? true;
    const words = fault.line ? `Line ${fault.line}, column ${fault.column}` : whole ? placeWords(fault.at[0], request) : inputWords(input, fault.at[0], request);
    if (input) noteFault(input, whole ? `${words}: ${fault.detail}` : fault.detail.charAt(0).toUpperCase() + fault.detail.slice(1));
    return fault.line ? fault : { ...fault, place: words };
  });
  return { ...problem, errors };
}

function noteFault(input, words) {
  // One note a field: the first fault is what to mend first.
  if (input.hasAttribute("aria-invalid")) return;
  const note = make("p", { class: "field-fault of-answer", id: `${input.id}-fault` }, words);
  input.setAttribute("aria-invalid", "true");
  input.setAttribute("aria-describedby", note.id);
  input.after(note);
}

/** A field in the words of its form: the legends around it and its label; a chosen stack with the place in it. */
function inputWords(input, pointer, request) {
  const words = [input.labels?.[0]?.firstChild?.textContent.trim() ?? input.getAttribute("aria-label")];
  for (let box = input.closest("fieldset"); box; box = box.parentElement.closest("fieldset")) {
    const legend = box.querySelector("legend")?.textContent;
    if (legend && !words[0].startsWith(legend)) words.unshift(legend);
  }
  if (pointer.startsWith(`${input.dataset.at}/`)) words.push(placeWords(pointer, request));
  return words.join(", ");
}

// --- Opens an HTML report in a new window; the service stores nothing --------------------------------

/** Request the HTML report and open it; if the browser blocks the window, show a link. */
export async function openPage(path, body, note) {
  fill(note);
  try {
    const accept = "text/html, application/problem+json";
    const { text } = await send(path, { method: "POST", body, accept });
    const address = URL.createObjectURL(new Blob([text], { type: "text/html" }));
    if (window.open(address)) return;
    fill(note, make("a", { href: address, target: "_blank" }, "Open the report"));
  } catch (error) {
    if (!(error instanceof Problem)) throw error;
    fill(note, error.document.detail);
  }
}

// --- Drawings and charts of the service, each with its text description ------------------------------

/** The picture in a figure: image, text description, full screen, save link; `drawn(root)` gets each parsed SVG. */
export function createPicture(figure, drawn = null) {
  const [image, words, full, link] = ["img", "details", "button", "a"].map((tag) => figure.querySelector(tag));
  const paper = figure.querySelector(".paper");
  const png = make("button", { type: "button", onclick: () => savePng(image, link.download.replace(/svg$/, "png")) }, "Save as PNG");
  link.before(png);
  let address = null;

  function show(there) {
    figure.hidden = false;
    paper.hidden = full.hidden = png.hidden = link.hidden = !there;
  }

  function describe(text, open) {
    words.querySelector("p").textContent = text;
    words.open = open;
  }

  full.addEventListener("click", async () => (await import("./full_screen.js")).showFullScreen(paper, image.alt));

  return {
    /** Request `v1/drawings?…` for this body and show the picture. */
    async show(query, body) {
      const accept = "image/svg+xml";
      const { text } = await send(`v1/drawings?${new URLSearchParams(query)}`, { method: "POST", body, accept });
      // Parsed apart from the page, so no script in it runs.
      const root = new DOMParser().parseFromString(text, accept).documentElement;
      const told = (tag) => [...root.children].find((child) => child.localName === tag)?.textContent.trim() ?? "";
      const made = URL.createObjectURL(new Blob([text], { type: accept }));
      image.src = made;
      image.alt = told("title") || "Drawing of the stack";
      describe(told("desc"), words.open);
      link.href = made;
      link.download = `${query.picture}.svg`;
      show(true);
      drawn?.(root);
      if (address) URL.revokeObjectURL(address);
      address = made;
    },
    /** Show why there is no picture. */
    showMissing(reason) {
      describe(reason, true);
      show(false);
    },
  };
}

const PNG_SCALE = 2;
const MOST_PNG_PX = 8192;

/** Save an image that is drawn from a blob of this page as PNG, at twice its own size. */
async function savePng(image, name) {
  await image.decode();
  const { naturalWidth: width, naturalHeight: height } = image;
  const scale = Math.min(PNG_SCALE, MOST_PNG_PX / Math.max(width, height));
  const canvas = make("canvas", { width: Math.round(width * scale), height: Math.round(height * scale) });
  canvas.getContext("2d").drawImage(image, 0, 0, canvas.width, canvas.height);
  const address = URL.createObjectURL(await new Promise((done) => canvas.toBlob(done, "image/png")));
  make("a", { href: address, download: name }).click();
  setTimeout(() => URL.revokeObjectURL(address), 0);
}

// --- A field for the bearer token, which is kept in memory only --------------------------------------

/** Show the form when the service requires a token; calls `again` once it is entered. */
export function createTokenField(form, again) {
  const input = form.querySelector("input");
  document.addEventListener("tokenrequired", () => {
    if (!form.hidden) return;
    form.hidden = false;
    input.focus();
  });
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    useToken(input.value);
    input.value = "";
    form.hidden = true;
    again();
  });
}

// --- Positions of the values in a JSON text, by JSON Pointer (RFC 6901) ------------------------------

/** The text is not JSON; `offset` is the place of the fault. */
export class NotJson extends Error {
  constructor(detail, offset) {
    super(detail);
    this.offset = offset;
  }
}

const SPACE = /[ \t\n\r]*/y;
const STRING = /"(?:[^"\\\u0000-\u001f]|\\(?:["\\/bfnrt]|u[0-9a-fA-F]{4}))*"/y;
const SCALAR = /(?:-?(?:0|[1-9]\d*)(?:\.\d+)?(?:[eE][+-]?\d+)?|true|false|null)/y;

/**
 * Places by pointer: `key` and `value`, each `[from, to]` in the text; `key` is null outside objects.
 * Of duplicate keys the first counts.
 */
export function placesOf(text) {
  const places = new Map();
  let index = 0;

  const match = (pattern) => {
    pattern.lastIndex = index;
    const found = pattern.exec(text);
    if (found) index = pattern.lastIndex;
    return found && found[0];
  };
  const expect = (character) => {
    match(SPACE);
    if (text[index] !== character) throw new NotJson(`expected '${character}'`, index);
    index += 1;
  };
  const next = () => (match(SPACE), text[index]);

  function value(pointer, key) {
    match(SPACE);
    const from = index;
    const place = { key, value: [from, from] };
    if (!places.has(pointer)) places.set(pointer, place);
    if (text[index] === "{") members(pointer, "}", true);
    else if (text[index] === "[") members(pointer, "]", false);
    else if (match(STRING) === null && match(SCALAR) === null) throw new NotJson("expected a value", index);
    place.value = [from, index];
  }

  function members(pointer, end, named) {
    index += 1;
    if (next() === end) {
      index += 1;
      return;
    }
    for (let number = 0; ; number += 1) {
      match(SPACE);
      let step = String(number);
      let key = null;
      if (named) {
        const from = index;
        const name = match(STRING);
        if (name === null) throw new NotJson("expected a key in double quotes", index);
        key = [from, index];
        step = JSON.parse(name);
        expect(":");
      }
      value(`${pointer}/${escapeStep(step)}`, key);
      if (next() !== ",") break;
      index += 1;
    }
    expect(end);
  }

  value("", null);
  if (next() !== undefined) throw new NotJson("expected the end of the text", index);
  return places;
}

/** The place of a pointer, or of its nearest parent. */
function nearestPlace(places, pointer) {
  let at = pointer;
  while (!places.has(at)) at = at.slice(0, at.lastIndexOf("/"));
  return places.get(at);
}

/** A reference token, escaped for a JSON Pointer. */
function escapeStep(step) {
  return step.replaceAll("~", "~0").replaceAll("/", "~1");
}

// --- Changes one value in a JSON text and keeps the rest unchanged -----------------------------------

const INDENT = 2;

/** The text with this value at this pointer; missing parent objects are added, in lines if the text has lines. */
export function withValue(text, pointer, value) {
  const places = placesOf(text);
  const here = places.get(pointer);
  const depth = pointer.split("/").length - 1;
  if (here) return splice(text, here.value, written(text, value, depth));
  const cut = pointer.lastIndexOf("/");
  const [above, step] = [pointer.slice(0, cut), pointer.slice(cut + 1)];
  const key = JSON.stringify(step.replaceAll("~1", "/").replaceAll("~0", "~"));
  const holder = places.get(above);
  if (!holder || text[holder.value[0]] !== "{") {
    return withValue(text, above, /^\d+$/.test(step) ? [value] : { [JSON.parse(key)]: value });
  }
  const inside = membersOf(places, above);
  if (inside.length === 0) return splice(text, holder.value, written(text, { [JSON.parse(key)]: value }, depth - 1));
  const gap = text.slice(holder.value[0] + 1, inside[0].key[0]);
  const end = inside.at(-1).value[1];
  return splice(text, [end, end], `,${gap || " "}${key}: ${written(text, value, depth)}`);
}

function written(text, value, depth) {
  if (!text.includes("\n")) return JSON.stringify(value);
  return JSON.stringify(value, null, INDENT).replaceAll("\n", `\n${" ".repeat(INDENT * depth)}`);
}

/** The text without the member of an object at this pointer. */
export function withoutValue(text, pointer) {
  const places = placesOf(text);
  const here = places.get(pointer);
  if (!here || here.key === null) return text;
  const inside = membersOf(places, pointer.slice(0, pointer.lastIndexOf("/")));
  const number = inside.indexOf(here);
  if (number > 0) return splice(text, [inside[number - 1].value[1], here.value[1]], "");
  const next = inside[1];
  return splice(text, [here.key[0], next ? next.key[0] : here.value[1]], "");
}

/** The fault of a text that is not JSON, with line, column and words for people; null for JSON. */
export function jsonFault(text) {
  try {
    placesOf(text);
    return null;
  } catch (error) {
    if (!(error instanceof NotJson)) throw error;
    const before = text.slice(0, error.offset).split("\n");
    return { line: before.length, column: [...before.at(-1)].length + 1, detail: faultWords(text, error) };
  }
}

function faultWords(text, { message, offset }) {
  const there = text.slice(offset, offset + 1);
  const last = text.slice(0, offset).trimEnd().slice(-1);
  if (text.trim() === "") return "The text is empty. Start with { or choose an example.";
  if (there === "") return "The text ends too soon: a closing } or ] or a quotation mark is missing.";
  if (last === "," && "}]".includes(there)) return `Remove the comma before ${there}.`;
  if (there === "'" || "“”‘’".includes(there)) return 'Use straight double quotation marks: "…".';
  if (there === '"' && message.startsWith("expected a")) return "This text has no closing quotation mark in its line.";
  if (last === ":" && "},]".includes(there)) return "A value is missing after the colon.";
  if (message.startsWith("expected a key")) return 'A name in double quotation marks is expected here, such as "stack".';
  if (message.startsWith("expected a value")) return 'A value is expected here: a number with a decimal point, a text in double quotation marks, true, false, null, { or [.';
  if (message === "expected ':'") return "A colon is missing between the name and its value.";
  if (message === "expected '}'") return "A comma is missing before this, or a closing }.";
  if (message === "expected ']'") return "A comma is missing before this, or a closing ].";
  return "Nothing may follow the last }.";
}

/** The value at a pointer, undefined where there is none. */
export function valueAt(data, pointer) {
  let at = data;
  for (const step of pointer.split("/").slice(1)) {
    if (at === null || typeof at !== "object") return undefined;
    const key = Object.keys(at).find((name) => escapeStep(name) === step);
    at = key === undefined ? undefined : at[key];
  }
  return at;
}

function membersOf(places, pointer) {
  const start = `${pointer}/`;
  return [...places].filter(([at]) => at.startsWith(start) && !at.slice(start.length).includes("/")).map(([, p]) => p);
}

function splice(text, [from, to], put) {
  return text.slice(0, from) + put + text.slice(to);
}

// --- A text area for JSON that can select a place by line and column or by JSON Pointer --------------

/** The editor on a text area; `shown` is the element that shows the cursor position. */
export function createEditor(area, shown = null) {
  function showCursor() {
    const { line, column } = lineAndColumn(area.value, area.selectionStart);
    shown.textContent = `Line ${line}, column ${column}`;
  }

  function select(from, to) {
    area.focus({ preventScroll: true });
    area.setSelectionRange(from, to);
    // Lines never wrap, so the line number gives the scroll position.
    const height = area.scrollHeight / (area.value.split("\n").length || 1);
    const { line } = lineAndColumn(area.value, from);
    area.scrollTop = Math.max(0, (line - 0.5) * height - area.clientHeight / 2);
    area.scrollLeft = 0;
    area.scrollIntoView({ block: "nearest" });
    if (shown) showCursor();
  }

  if (shown) {
    for (const event of ["keyup", "click", "input", "focus"]) area.addEventListener(event, showCursor);
    showCursor();
  }

  return {
    get text() {
      return area.value;
    },
    set text(value) {
      area.value = value;
      if (shown) showCursor();
    },
    /** Place the cursor at a line and column, both from 1; the column in characters. */
    goTo(line, column) {
      const offset = offsetOf(area.value, line, column);
      select(offset, offset);
    },
    /** Place the cursor at an offset. */
    goToOffset(offset) {
      select(offset, offset);
    },
    /** Select the value at a pointer, or its nearest parent. */
    goToPointer(pointer) {
      select(...rangeOfPointer(area.value, pointer));
    },
  };
}

/** Where the value at a pointer, or its nearest parent, begins and ends in a text; of a container its beginning. */
export function rangeOfPointer(text, pointer) {
  const { key, value } = nearestPlace(placesOf(text), pointer);
  return [(key ?? value)[0], "{[".includes(text[value[0]]) ? value[0] + 1 : value[1]];
}

/** Line and column of an offset, both from 1. */
export function lineAndColumn(text, offset) {
  const before = text.slice(0, offset).split("\n");
  return { line: before.length, column: [...before.at(-1)].length + 1 };
}

/** The offset of a line and column; a character may take two UTF-16 units. */
export function offsetOf(text, line, column) {
  const lines = text.split("\n");
  const above = lines.slice(0, line - 1).reduce((sum, one) => sum + one.length + 1, 0);
  return above + [...(lines[line - 1] ?? "")].slice(0, column - 1).join("").length;
}
