// The view that lists the mounted catalogue: what is in force, and what no stack can use and why.
import { count, fill, get, make, Problem, sentence, showProblem, table } from "./base.js";

const PAGE = 100;
const KINDS = [
  "base_holder", "extension", "reducer", "collet", "cutter", "drill", "tap", "reamer", "boring_tool", "gauge_pin", "retention_knob", "machine",
];

/** Set up the view. */
export async function createView(element) {
  const text = make("input", { id: "catalogue-text", type: "search", autocomplete: "off", maxlength: "64" });
  const kind = make("select", { id: "catalogue-kind" }, make("option", { value: "" }, "every kind"), KINDS.map((one) => make("option", { value: one }, sentence(one).toLowerCase())));
  const field = (words, input) => make("div", { class: "field" }, make("label", { for: input.id }, words), input);
  const status = make("p", { class: "note", role: "status" });
  const problem = make("div", { class: "problem", role: "alert", hidden: true });
  const list = make("div", {});
  let turn = 0;
  element.append(
    make("form", { class: "fields", onsubmit: (event) => { event.preventDefault(); load(); } }, field("Key or label contains", text), field("Kind", kind)),
    status,
    problem,
    list,
  );
  text.addEventListener("input", () => load());
  kind.addEventListener("change", () => load());
  await load();

  async function load(offset = 0) {
    turn += 1;
    const mine = turn;
    const asked = { limit: String(PAGE), offset: String(offset), ...(text.value.trim() ? { contains: text.value.trim() } : {}), ...(kind.value ? { kind: kind.value } : {}) };
    showProblem(problem, null);
    try {
      const page = await get(`v1/catalogue?${new URLSearchParams(asked)}`);
      if (mine === turn) show(page, offset);
    } catch (error) {
      if (!(error instanceof Problem)) throw error;
      if (mine !== turn) return;
      fill(list);
      status.textContent = "";
      showProblem(problem, error.document);
    }
  }

  function show(page, offset) {
    const wanted = text.value.trim() || kind.value;
    if (page.catalogue_sha256 === null) status.textContent = "No catalogue is mounted. The operator mounts one in the settings of the service.";
    else status.textContent = `${count(page.total, "part")}${wanted ? " found" : " mounted"}. Digest ${page.catalogue_sha256.slice(0, 12)}.`;
    const rows = page.items.map((one) => [
      one.key,
      one.revision ?? "–",
      one.kind === null ? "not readable" : sentence(one.kind).toLowerCase(),
      one.label ?? "not stated",
      one.quarantined === null ? "✓ in force" : `✕ quarantined: ${one.quarantined}`,
    ]);
    const step = (words, to, disabled) => make("button", { type: "button", disabled, onclick: () => load(to) }, words);
    fill(
      list,
      rows.length ? table("Parts and machines by key", ["key", "revision", "kind", "label", "state"], rows) : null,
      page.total > PAGE
        ? make("p", { class: "actions" }, step("Previous page", Math.max(0, offset - PAGE), offset === 0), step("Next page", offset + PAGE, page.next === null))
        : null,
    );
  }
}
