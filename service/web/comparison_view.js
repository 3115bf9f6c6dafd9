// The view that compares two stacks for the operation and machine under Check.
import {
  createEditor, get, goToFirst, lineAndColumn, make, NotJson, placesOf, post, Problem, showProblem,
} from "./base.js";
import { showComparison } from "./comparison_report.js";

const SIDES = ["A", "B"];

/** Set up the view; `checkedText` returns the request text of the check view. */
export function createComparisonView(element, checkedText) {
  const find = (name) => element.querySelector(`[data-part="${name}"]`);
  const editors = SIDES.map((side) => createEditor(find(`json-${side}`), find(`cursor-${side}`)));
  const names = SIDES.map((side) => find(`name-${side}`));
  let stacks = [];

  async function compare() {
    showProblem(find("problem"), null);
    find("result").setAttribute("aria-busy", "true");
    try {
      showComparison(find("report"), await post("v1/comparisons", body()));
      find("report").hidden = false;
      find("status").textContent = find("report").querySelector(".outcome").textContent;
    } catch (error) {
      if (!(error instanceof Problem)) throw error;
      find("report").hidden = true;
      showProblem(find("problem"), error.document, places);
      goToFirst(error.document, places);
    } finally {
      find("result").removeAttribute("aria-busy");
    }
  }

  /** The request with both stacks as typed; the service rejects what is not strict JSON. */
  function body() {
    const alternatives = editors.map((editor, index) => {
      refuseBroken(editor.text, index);
      return `{"name": ${JSON.stringify(names[index].value)}, "stack": ${editor.text}}`;
    });
    const { stack, include, ...rest } = checked();
    const more = Object.entries(rest).map(([name, value]) => `, ${JSON.stringify(name)}: ${JSON.stringify(value)}`);
    return `{"alternatives": [${alternatives.join(", ")}]${more.join("")}}`;
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
        title: `Stack ${SIDES[index]} is not JSON`,
        detail: `JSON error: ${error.message}.`,
        errors: [{ detail: error.message, line, column, side: index }],
      });
    }
  }

  const places = {
    line: (line, column, { side }) => (side === undefined ? find("compare").focus() : editors[side].goTo(line, column)),
    pointer(pointer) {
      const [, index, rest] = /^\/alternatives\/([01])(?:\/stack)?(.*)$/.exec(pointer) ?? [];
      if (index === undefined) return find("compare").focus();
      if (rest === "/name") return names[index].focus();
      return editors[index].goToPointer(rest);
    },
  };

  function choose(index) {
    const value = find(`choice-${SIDES[index]}`).value;
    if (value === "") return;
    const chosen = value === "checked" ? checkedStack() : stacks[Number(value)];
    if (!chosen) return;
    names[index].value = chosen.name;
    editors[index].text = JSON.stringify(chosen.stack, null, 2);
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

  SIDES.forEach((side, index) => {
    find(`choice-${side}`).addEventListener("change", () => choose(index));
    find(`json-${side}`).addEventListener("input", () => (find(`choice-${side}`).value = ""));
  });
  // The checked stack may have changed since it was chosen.
  element.addEventListener("shown", () => {
    SIDES.forEach((side, index) => find(`choice-${side}`).value === "checked" && choose(index));
  });
  find("compare").addEventListener("click", compare);

  return {
    async start() {
      const { checks, comparisons } = await get("static/examples.json");
      const alternatives = comparisons.flatMap(({ request }) =>
        request.alternatives.map((one) => ({ ...one, stack: withParts(one.stack, request.components ?? {}) })),
      );
      stacks = [
        ...alternatives.map(({ name, stack }) => ({ name, stack, words: `${name}: example` })),
        ...checks.map((one) => ({ name: one.name, stack: one.request.stack, words: `${one.name}: ${one.summary}` })),
      ];
      SIDES.forEach((side, index) => {
        find(`choice-${side}`).replaceChildren(
          make("option", { value: "checked" }, "the stack under Check"),
          ...stacks.map((one, number) => make("option", { value: String(number) }, one.words)),
          make("option", { value: "" }, "Your own JSON"),
        );
        find(`choice-${side}`).value = index === 0 ? "checked" : String(alternatives.length - 1);
        choose(index);
      });
    },
  };
}
