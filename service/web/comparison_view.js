// The view that compares any number of stacks for one operation and machine: those of an example, or under Check.
import {
  createEditor, fill, get, goToFirst, lineAndColumn, make, markFields, NotJson, placesOf, post, Problem, showProblem,
  takePastedYaml,
} from "./base.js";
import { showComparison } from "./comparison_report.js";

const [FEWEST, MOST] = [2, 50];

/** Set up the view; `checkedText` returns the request text of the check view. */
export function createComparisonView(element, checkedText) {
  const find = (name) => element.querySelector(`[data-part="${name}"]`);
  let sides = [];
  let stacks = [];
  let comparisons = [];

  async function compare() {
    showProblem(find("problem"), null);
    markFields(find("alternatives"), null);
    find("result").setAttribute("aria-busy", "true");
    let text = null;
    try {
      text = body();
      showComparison(find("report"), await post("v1/comparisons", text));
      find("report").hidden = false;
      find("status").textContent = find("report").querySelector(".outcome").textContent;
    } catch (error) {
      if (!(error instanceof Problem)) throw error;
      find("report").hidden = true;
      const problem = markFields(find("alternatives"), error.document, text === null ? undefined : JSON.parse(text));
      showProblem(find("problem"), problem, places);
      goToFirst(error.document, places);
    } finally {
      find("result").removeAttribute("aria-busy");
    }
  }

  /** The request with both stacks as typed; the service rejects what is not strict JSON. */
  function body() {
    const alternatives = sides.map(({ editor, name }, index) => {
      refuseBroken(editor.text, index);
      return `{"name": ${JSON.stringify(name.value)}, "stack": ${editor.text}}`;
    });
    const { stack, include, alternatives: _, ...rest } = conditions();
    const defined = { ...rest.components, ...(sides.some(({ choice }) => choice.value === "checked") ? checked().components : {}) };
    if (Object.keys(defined).length) rest.components = defined;
    const more = Object.entries(rest).map(([name, value]) => `, ${JSON.stringify(name)}: ${JSON.stringify(value)}`);
    return `{"alternatives": [${alternatives.join(", ")}]${more.join("")}}`;
  }

  function conditions() {
    const { value } = find("conditions");
    return value === "checked" ? checked() : comparisons[Number(value)].request;
  }

  function checked() {
    try {
      return JSON.parse(checkedText());
    } catch {
      throw new Problem({ title: "The request under Check is not JSON", detail: "Fix it under 'Check a stack'." });
    }
  }

  /** Check each stack by itself: in the joint request, a fault in one would be reported in the other. */
  function refuseBroken(text, index) {
    try {
      placesOf(text);
    } catch (error) {
      if (!(error instanceof NotJson)) throw error;
      const { line, column } = lineAndColumn(text, error.offset);
      throw new Problem({
        title: `Stack ${letter(index)} is not JSON`,
        detail: `JSON error: ${error.message}.`,
        errors: [{ detail: error.message, line, column, side: index, at: [`/alternatives/${index}/stack`] }],
      });
    }
  }

  const places = {
    line: (line, column, { side }) => (side === undefined ? find("compare").focus() : sides[side].editor.goTo(line, column)),
    pointer(pointer) {
      const [, index, rest] = /^\/alternatives\/(\d+)(?:\/stack)?(.*)$/.exec(pointer) ?? [];
      if (sides[index] === undefined) return find("compare").focus();
      if (rest === "/name") return sides[index].name.focus();
      return sides[index].editor.goToPointer(rest);
    },
  };

  function choose(index) {
    const { choice, name, editor } = sides[index];
    const { value } = choice;
    if (value === "") return;
    const chosen = value === "checked" ? checkedStack() : stacks[Number(value)];
    if (!chosen) return;
    // A stack is judged with the operation that it comes with, until another is chosen.
    if (index === 0) find("conditions").value = value === "checked" ? "checked" : String(chosen.comparison ?? "checked");
    name.value = chosen.name;
    editor.text = JSON.stringify(chosen.stack, null, 2);
  }

  /** The stack with each reference replaced by its definition, since a stack is compared without the others' parts. */
  function withParts(stack, parts) {
    const components = stack.components.map((one) => (one.kind === "reference" ? (parts[one.of.key] ?? one) : one));
    return { ...stack, components };
  }

  function checkedStack() {
    try {
      const { stack } = JSON.parse(checkedText());
      return stack && { name: stack.id ?? "checked", stack };
    } catch {
      return null;
    }
  }

  /** Add a stack that starts from this choice; its fields are labelled by letter. */
  function add(from) {
    const index = sides.length;
    const id = (part) => `${part}-${letter(index)}`;
    const options = [
      make("option", { value: "checked" }, "the stack under Check"),
      stacks.map((one, number) => make("option", { value: String(number) }, one.words)),
      make("option", { value: "" }, "Your own JSON"),
    ];
    const choice = make("select", { id: id("choice"), onchange: () => choose(index) }, options);
    const name = make("input", { id: id("name"), autocomplete: "off", "data-at": `/alternatives/${index}/name` });
    const area = make("textarea", { id: id("json"), "data-at": `/alternatives/${index}/stack`, rows: "12", spellcheck: "false", autocapitalize: "off", wrap: "off", oninput: () => (choice.value = "") });
    const cursor = make("p", { class: "note" });
    const field = (words, input) => make("div", { class: "field wide" }, make("label", { for: input.id }, words), input);
    const box = make("fieldset", {}, make("legend", {}, `Stack ${letter(index)}`), field("Start from", choice), field("Name", name), field("Stack, JSON", area), cursor);
    find("alternatives").append(box);
    const take = (json) => {
      const value = JSON.parse(json);
      // a whole request has its stack, a stack alone is one
      area.value = JSON.stringify(value?.stack ?? value, null, 2);
    };
    takePastedYaml(area, "draft", take, (error) => showProblem(find("problem"), error.document));
    sides.push({ box, choice, name, editor: createEditor(area, cursor) });
    choice.value = from;
    choose(index);
    counted();
  }

  function counted() {
    find("add").disabled = sides.length >= MOST;
    find("remove").disabled = sides.length <= FEWEST;
  }

  find("add").addEventListener("click", () => {
    add("");
    sides.at(-1).choice.focus();
  });
  find("remove").addEventListener("click", () => {
    sides.pop().box.remove();
    counted();
  });
  // The checked stack may have changed since it was chosen.
  element.addEventListener("shown", () => {
    sides.forEach(({ choice }, index) => choice.value === "checked" && choose(index));
  });
  find("compare").addEventListener("click", compare);

  return {
    async start() {
      const examples = await get("static/examples.json");
      ({ comparisons } = examples);
      stacks = [
        ...comparisons.flatMap(({ request }, comparison) =>
          request.alternatives.map(({ name, stack }) => ({
            name, comparison, stack: withParts(stack, request.components ?? {}), words: `${name}: example ${comparison + 1}`,
          })),
        ),
        ...examples.checks.map((one) => ({ name: one.name, stack: one.request.stack, words: `${one.name}: ${one.summary}` })),
      ];
      fill(
        find("conditions"),
        comparisons.map((one, number) => make("option", { value: String(number) }, `of example ${number + 1}: ${one.summary}`)),
        make("option", { value: "checked" }, "as under Check a stack"),
      );
      sides = [];
      fill(find("alternatives"));
      comparisons[0].request.alternatives.forEach((_, number) => add(String(number)));
    },
  };
}

/** A, B, ... Z, AA, AB ... */
function letter(index) {
  const last = String.fromCharCode(65 + (index % 26));
  return index < 26 ? last : String.fromCharCode(64 + Math.floor(index / 26)) + last;
}
