// The API page, built from the service's OpenAPI document: list, search, overview with the first stack.
import { createTokenField, fill, get, make, Problem, send, showProblem } from "./base.js";
import { fieldsOf, operationsOf } from "./docs_contract.js";
import { createPrograms, paragraphs, showOperation } from "./docs_operation.js";

const MOST_FIELDS = 40;
const [list, hits, search, main, overview, told, chosenBox, problem] = [
  ...["operations", "hits", "search", "content", "overview", "contract", "operation", "problem"],
].map((id) => document.getElementById(id));
let contract = null;
let operations = [];
let index = null;

const fields = () => (index ??= fieldsOf(operations, contract).map((one) => ({ ...one, key: keyOf(one) })));
const keyOf = ({ operation, part, steps }) => [operation.id, part, ...steps.map(([name, field]) => `${name ?? ""}.${field}`)].join("/");
const hashWords = () => decodeURIComponent(location.hash.slice(1));

function showList() {
  const words = search.value.toLowerCase().split(/\s+/).filter(Boolean);
  const matches = (...texts) => {
    const text = texts.join(" ").toLowerCase();
    return words.every((word) => text.includes(word));
  };
  const found = operations.filter((one) => matches(one.summary, one.path, one.id, one.tag, one.description));
  const tags = [...new Set(found.map((one) => one.tag))];
  const named = words.length ? leastDeep(fields().filter((one) => matches(one.name, one.words))) : [];
  const inside = named.sort((one, other) => rank(one, words) - rank(other, words)).slice(0, MOST_FIELDS);
  fill(
    list,
    words.length ? null : make("a", { href: "#" }, "First stack and overview"),
    tags.map((tag) => [
      make("h2", {}, tag),
      make("ul", {}, found.filter((one) => one.tag === tag).map((one) => make("li", {}, link(one)))),
    ]),
    inside.length ? [make("h2", {}, "Fields"), make("ul", { class: "fields-found" }, inside.map(fieldItem))] : null,
  );
  const more = named.length > inside.length ? `, the first ${inside.length} shown` : "";
  hits.textContent = words.length ? `Operations: ${found.length}. Fields: ${named.length}${more}.` : "";
  markCurrent();
}

/** A field of a schema that many operations share once, where it lies least deep. */
function leastDeep(found) {
  const kept = new Map();
  for (const one of found) {
    const key = [one.part, ...(one.steps.at(-1)[0] ? one.steps.at(-1) : [one.key])].join(" ");
    const other = kept.get(key);
    if (!other || one.steps.length < other.steps.length) kept.set(key, one);
  }
  return [...kept.values()];
}

/** Exact names first, then names with the words, then descriptions; requests before responses; the least deep first. */
function rank({ name, part, steps }, words) {
  const said = words.join("_");
  const named = name === said ? 0 : words.every((word) => name.includes(word)) ? 1 : 2;
  return named * 100 + (part === "request" ? 0 : 50) + steps.length;
}

function fieldItem(one) {
  const path = one.steps.map(([, name]) => name).join(" › ");
  return make(
    "li",
    {},
    make("a", { href: `#${encodeURI(one.key)}` }, make("code", {}, path), make("span", { class: "type" }, ` ${one.part}, ${one.operation.summary}`)),
  );
}

function link(one) {
  return make("a", { href: `#${one.id}` }, one.summary);
}

function markCurrent() {
  const here = hashWords();
  for (const entry of list.querySelectorAll("a")) {
    const current = decodeURIComponent(entry.hash.slice(1)) === here;
    if (current) entry.setAttribute("aria-current", "page");
    else entry.removeAttribute("aria-current");
  }
}

function showChosen() {
  const words = hashWords();
  const chosen = operations.find((one) => one.id === words.split("/")[0]);
  overview.hidden = chosen !== undefined;
  chosenBox.hidden = chosen === undefined;
  markCurrent();
  if (!chosen) return false;
  const field = words.includes("/") ? fields().find((one) => one.key === words) : null;
  showOperation(chosenBox, chosen, contract, field);
  return Boolean(field);
}

function showOverview() {
  fill(
    told,
    make("h2", {}, `${contract.info.title} ${contract.info.version}`),
    paragraphs(contract.info.description),
    contract.tags.map((tag) => [
      make("h3", {}, tag.name),
      make("p", {}, tag.description),
      make(
        "ul",
        { class: "plain" },
        operations
          .filter((one) => one.tag === tag.name)
          .map((one) => make("li", {}, link(one), " ", make("code", {}, `${one.method} ${one.path}`))),
      ),
    ]),
  );
}

/** Add to each step of the first stack a button that sends it, the report and the programs. */
function equipSteps() {
  for (const [number, step] of [...document.querySelectorAll(".steps > li")].entries()) {
    const body = step.querySelector(".request").textContent;
    const type = "application/yaml";
    const answer = make("div", { class: "step-answer", "aria-live": "polite" });
    const sendStep = async () => {
      fill(answer, make("p", {}, "Sending…"));
      try {
        const { text } = await send("v1/checks", { method: "POST", body, type, accept: "text/plain" });
        fill(answer, make("pre", { tabindex: "0", role: "region", "aria-label": `Report of step ${number + 1}` }, text));
      } catch (error) {
        if (!(error instanceof Problem)) throw error;
        const box = make("div", { class: "problem" });
        showProblem(box, error.document);
        fill(answer, box);
      }
    };
    const asked = () => ({ method: "POST", url: new URL("v1/checks", document.baseURI).href, type, accept: "text/plain", body });
    step.append(
      make("p", { class: "actions" }, make("button", { type: "button", class: "main", onclick: sendStep }, "Send")),
      answer,
      make(
        "details",
        {},
        make("summary", {}, "As curl, Python or JavaScript"),
        createPrograms(asked, `Program that sends step ${number + 1}`).element,
      ),
    );
  }
}

async function start() {
  try {
    contract = await get("openapi.json");
    operations = operationsOf(contract);
    showProblem(problem, null);
    showOverview();
    showList();
    showChosen();
  } catch (error) {
    if (!(error instanceof Problem)) throw error;
    overview.hidden = false;
    showProblem(problem, error.document);
  }
}

addEventListener("hashchange", () => {
  if (contract === null || location.hash === "#content") return;
  if (!showChosen()) main.focus();
});
search.addEventListener("input", () => contract && showList());
equipSteps();
// Whoever follows a link to an operation sees no overview until it is there.
overview.hidden = location.hash.length > 1;
// If the document is loaded, the token is used from the next request on.
createTokenField(document.getElementById("token"), () => contract ?? start());
start();
