// The API page, built from the service's OpenAPI document.
import { createTokenField, fill, get, make, Problem, showProblem } from "./base.js";
import { showOperation } from "./docs_operation.js";
import { operationsOf } from "./docs_operations.js";
import { paragraphs } from "./docs_words.js";

const [list, main, problem] = ["operations", "operation", "problem"].map((id) => document.getElementById(id));
let contract = null;
let operations = [];

function showList() {
  const tags = [...new Set(operations.map((one) => one.tag))];
  fill(
    list,
    make("a", { href: "#" }, "Overview"),
    tags.map((tag) => [
      make("h2", {}, tag),
      make("ul", {}, operations.filter((one) => one.tag === tag).map((one) => make("li", {}, link(one)))),
    ]),
  );
}

function link(one) {
  return make("a", { href: `#${one.id}` }, one.summary);
}

function showChosen() {
  const chosen = operations.find((one) => `#${one.id}` === location.hash);
  for (const entry of list.querySelectorAll("a")) {
    const current = entry.hash.slice(1) === (chosen?.id ?? "");
    if (current) entry.setAttribute("aria-current", "page");
    else entry.removeAttribute("aria-current");
  }
  if (chosen) showOperation(main, chosen, contract);
  else showOverview();
}

function showOverview() {
  fill(
    main,
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

async function start() {
  try {
    contract = await get("openapi.json");
    operations = operationsOf(contract);
    showProblem(problem, null);
    showList();
    showChosen();
  } catch (error) {
    if (!(error instanceof Problem)) throw error;
    showProblem(problem, error.document);
  }
}

addEventListener("hashchange", () => {
  if (contract === null || location.hash === "#operation") return;
  showChosen();
  main.focus();
});
// If the document is loaded, the token is used from the next request on.
createTokenField(document.getElementById("token"), () => contract ?? start());
start();
