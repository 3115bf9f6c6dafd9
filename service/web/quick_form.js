// A form for the values of operation, machine and policy that users change most.
import { fill, make } from "./elements.js";
import { createFields } from "./fields.js";

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
export function createQuickForm(box, changed, more) {
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
    { title: "Values not stated", fields: [{ key: "/policy/unstated", label: "Count as", choices: ["typical", "cautious", "undecided"] }] },
  ];
}
