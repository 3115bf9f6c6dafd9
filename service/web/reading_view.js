// The view that judges a runout reading: readings, decision and next step.
import { fieldAt, get, goToFirst, make, markFields, post, Problem, showProblem } from "./base.js";
import { createPlaneFields, numberOf } from "./plane_fields.js";
import { showReading } from "./reading_report.js";

/** Set up the view; `stackText` returns the request text of the check view. */
export function createReadingView(element, stackText) {
  const find = (name) => element.querySelector(`[data-part="${name}"]`);
  const form = find("form");
  const field = (name) => form.elements[name];
  const planes = ["/planes/0", "/planes/1"].map((at, index) => createPlaneFields(find(`plane-${index}`), at));
  const again = createPlaneFields(find("plane-again"), "/trial/plane");
  const places = { line: () => find("judge").focus(), pointer: focusOn };
  let examples = [];
  let exampleStack = null;

  function request() {
    const body = {
      planes: planes.slice(0, field("second").checked ? 2 : 1).map((plane) => plane.value),
      limit_um: numberOf(field("limit").value),
      expanded_uncertainty_um: numberOf(field("uncertainty").value),
      pin_tir_um: numberOf(field("pin").value),
    };
    if (field("turned").checked)
      body.trial = {
        upper: field("upper").value.trim(),
        lower: field("lower").value.trim(),
        turned_deg: numberOf(field("angle").value),
        plane: again.value,
      };
    return { ...body, ...stackFields() };
  }

  function stackFields() {
    if (field("stack").value === "example") return { stack: exampleStack };
    if (field("stack").value !== "checked") return {};
    const { stack, components, machine, policy } = JSON.parse(stackText());
    return Object.fromEntries(
      Object.entries({ stack, components, machine, policy }).filter(([, value]) => value !== undefined),
    );
  }

  async function judge(event) {
    event.preventDefault();
    showProblem(find("problem"), null);
    markFields(form, null);
    find("result").setAttribute("aria-busy", "true");
    try {
      const body = bodyText();
      showReading(find("report"), await post("v1/readings", body), JSON.parse(body));
      find("report").hidden = false;
      find("status").textContent = find("report").querySelector(".verdict").textContent;
    } catch (error) {
      if (!(error instanceof Problem)) throw error;
      find("report").hidden = true;
      showProblem(find("problem"), markFields(form, error.document), places);
      goToFirst(error.document, places);
    } finally {
      find("result").removeAttribute("aria-busy");
    }
  }

  function bodyText() {
    try {
      return JSON.stringify(request());
    } catch {
      throw new Problem({
        title: "The request under Check is not JSON",
        detail: "Fix it under 'Check a stack', or judge the reading without a stack.",
      });
    }
  }

  /** Focus the field at a pointer, or at its nearest parent. */
  function focusOn(pointer) {
    (fieldAt(form, pointer) ?? find("judge")).focus();
  }

  function show(asked) {
    planes[0].value = asked.planes[0];
    field("second").checked = asked.planes.length > 1;
    if (asked.planes[1]) planes[1].value = asked.planes[1];
    for (const [name, key] of [["limit", "limit_um"], ["uncertainty", "expanded_uncertainty_um"], ["pin", "pin_tir_um"]])
      field(name).value = asked[key] ?? "";
    field("turned").checked = Boolean(asked.trial);
    if (asked.trial) {
      field("upper").value = asked.trial.upper;
      field("lower").value = asked.trial.lower;
      field("angle").value = asked.trial.turned_deg;
      again.value = asked.trial.plane;
    }
    exampleStack = asked.stack ?? null;
    find("example-stack").hidden = find("example-stack").disabled = exampleStack === null;
    field("stack").value = exampleStack === null ? "none" : "example";
    open();
  }

  function open() {
    find("second-plane").hidden = !field("second").checked;
    find("trial").hidden = !field("turned").checked;
  }

  form.addEventListener("submit", judge);
  for (const name of ["second", "turned"]) field(name).addEventListener("change", open);
  find("example").addEventListener("change", () => {
    const chosen = examples.find((one) => one.name === find("example").value);
    if (chosen) show(chosen.request);
  });
  open();

  return {
    async start() {
      examples = (await get("static/examples.json")).readings;
      find("example").replaceChildren(
        make("option", { value: "" }, "Your own reading"),
        ...examples.map((one) => make("option", { value: one.name }, one.summary)),
      );
      show(examples[0].request);
      find("example").value = examples[0].name;
    },
  };
}
