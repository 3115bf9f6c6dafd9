// The view that follows a build: stages with their readings, the limit, and what the presetter measured.
import { createAnswerBox } from "./answer_box.js";
import { fieldAt, fill, get, make, openPage, Problem } from "./base.js";
import { showBuild } from "./build_report.js";
import { createPlaneFields, numberOf } from "./plane_fields.js";

const MOST_STAGES = 12;

const MEASURED = ["length_mm", "diameter_mm", "tir_um", "high_point_deg", "tooth_deg"];

/** Set up the view; `stackText` returns the request text of the check view. */
export function createBuildView(element, stackText) {
  const find = (name) => element.querySelector(`[data-part="${name}"]`);
  const form = find("form");
  const field = (name) => form.elements[name];
  const places = { line: () => find("follow").focus(), pointer: focusOn };
  const answer = createAnswerBox(element, {
    path: "v1/builds",
    show: showBuild,
    places,
    empty: "Nothing followed yet. Enter the readings of each stage, from the spindle outward.",
  });
  let examples = [];
  let example = null;
  let stages = [];

  /** What the form has no field for stays as the example states it. */
  function request() {
    const limits = { limit_um: numberOf(field("limit").value), limit_at_mm: numberOf(field("limit-at").value) };
    const measured = Object.fromEntries(MEASURED.map((name) => [name, numberOf(field(name).value)]));
    const known = Object.values(measured).some((one) => one !== null);
    const uncertainty = numberOf(field("indicator").value);
    const instrument = { ...example?.instrument, expanded_uncertainty_um: uncertainty };
    return {
      ...stackFields(),
      stages: stages.map((stage) => stage.value),
      ...limits,
      ...(uncertainty === null ? {} : { instrument }),
      ...(known ? { presetter: measured } : {}),
    };
  }

  function stackFields() {
    const source = field("stack").value === "example" ? example : JSON.parse(stackText());
    const { stack, components, machine, policy } = source;
    // An assumed value is no basis for the next part.
    const { unstated: _, ...own } = policy ?? {};
    const found = { stack, components, machine, policy: policy ? own : undefined };
    return Object.fromEntries(Object.entries(found).filter(([, value]) => value !== undefined));
  }

  function bodyText() {
    try {
      return JSON.stringify(request());
    } catch {
      throw new Problem({
        title: "The request under Check is not JSON",
        detail: "Fix it under 'Check a stack', or follow the example's stack.",
      });
    }
  }

  function addStage(asked = { part: "", planes: [] }) {
    stages.push(createStage(stages.length, asked));
    find("stages").append(stages.at(-1).box);
    counted();
  }

  function counted() {
    find("add").disabled = stages.length >= MOST_STAGES;
    find("remove").disabled = stages.length < 2;
  }

  /** Focus the field at a pointer, or at its nearest parent. */
  function focusOn(pointer) {
    (fieldAt(form, pointer) ?? find("follow")).focus();
  }

  function show(asked) {
    example = asked?.stack ? asked : null;
    stages = [];
    fill(find("stages"));
    for (const stage of asked?.stages ?? [undefined]) addStage(stage);
    field("limit").value = asked?.limit_um ?? "";
    field("limit-at").value = asked?.limit_at_mm ?? "";
    field("indicator").value = asked?.instrument?.expanded_uncertainty_um ?? "";
    for (const name of MEASURED) field(name).value = asked?.presetter?.[name] ?? "";
    find("example-stack").hidden = find("example-stack").disabled = example === null;
    field("stack").value = example === null ? "checked" : "example";
    answer.clear();
  }

  form.addEventListener("submit", (event) => {
    event.preventDefault();
    answer.ask(bodyText);
  });
  find("add").addEventListener("click", () => {
    addStage();
    stages.at(-1).focus();
  });
  find("remove").addEventListener("click", () => {
    stages.pop().box.remove();
    counted();
  });
  find("print").addEventListener("click", () => {
    try {
      openPage("v1/builds", bodyText(), find("print-note"));
    } catch (error) {
      if (!(error instanceof Problem)) throw error;
      fill(find("print-note"), error.document.detail);
    }
  });
  find("example").addEventListener("change", () => {
    show(examples.find((one) => one.name === find("example").value)?.request);
  });

  return {
    async start() {
      examples = (await get("static/examples.json")).builds;
      find("example").replaceChildren(
        ...examples.map((one) => make("option", { value: one.name }, one.summary)),
        make("option", { value: "" }, "Your own build"),
      );
      show(examples[0].request);
    },
  };
}

/** The fields of one stage. */
function createStage(index, asked) {
  const at = `/stages/${index}`;
  const id = `stage-${index}`;
  const part = make("input", { id: `${id}-part`, value: asked.part, autocomplete: "off", "data-at": `${at}/part` });
  const second = make("input", { type: "checkbox", id: `${id}-second`, onchange: () => open() });
  const boxes = [0, 1].map(() => make("div", {}));
  const words = { distance: index === 0 ? "Distance from the gauge line" : "Distance from the face that clamps it (holder: gauge line)" };
  const planes = boxes.map((box, place) => createPlaneFields(box, `${at}/planes/${place}`, words));
  const others = make("fieldset", { class: "second" }, make("legend", {}, `Second plane of stage ${index + 1}`), boxes[1]);
  planes.forEach((plane, place) => {
    if (asked.planes[place]) plane.value = asked.planes[place];
  });
  second.checked = asked.planes.length > 1;

  function open() {
    others.hidden = !second.checked;
  }
  open();

  const box = make(
    "fieldset",
    { class: "stage" },
    make("legend", {}, `Stage ${index + 1}`),
    make("div", { class: "field" }, make("label", { for: part.id }, "Part mounted last"), part),
    boxes[0],
    make("label", { class: "tick" }, second, " A second plane was measured, which gives the tilt"),
    others,
  );
  return {
    box,
    focus: () => part.focus(),
    get value() {
      const read = planes.slice(0, second.checked ? 2 : 1).map((plane, place) => kept(asked.planes[place], plane.value));
      return { ...asked, part: part.value.trim(), planes: read };
    },
  };
}

/** A plane with what the form has no field for: surface, roundness, closing and repeated readings of the example. */
function kept(asked, plane) {
  return asked?.kind === plane.kind ? { ...asked, ...plane } : plane;
}
