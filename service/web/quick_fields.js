// The values of a request that users change most.
import { valueAt } from "./json_edit.js";
import { fieldWords } from "./words.js";

const GRADES = ["G0.4", "G1", "G2.5", "G6.3", "G16", "G40"];
const FIRST = "/operations/0";
const OPERATION = [
  ["limits/runout/tir_um", "Runout limit"],
  ["limits/runout/plane", "Plane of the runout limit", ["gauge_plane", "tip"]],
  ["limits/balance_grade", "Balance grade", GRADES],
  ["feed_per_tooth_mm"],
  ["coolant", null, ["through", "external", "none"]],
];

/**
 * Groups of fields: `{title, fields: [{pointer, label, unit, value, choices}]}`.
 *
 * The value is undefined where the request does not state the field.
 */
export function quickFields(request) {
  if (request === null || typeof request !== "object") return [];
  const field = (pointer, label = null, choices = null) => {
    const { words, unit } = fieldWords(pointer.slice(pointer.lastIndexOf("/") + 1));
    return { pointer, label: label ?? words, unit, value: valueAt(request, pointer), choices };
  };
  const operation = request.operations?.[0] ?? {};
  const speed = operation.cutting_speed_m_per_min !== undefined ? "cutting_speed_m_per_min" : "spindle_speed_rpm";
  const groups = [
    {
      title: "Operation",
      fields: [
        field(`${FIRST}/${speed}`),
        ...OPERATION.filter(([name]) => operation.limits?.runout || !name.endsWith("plane")).map(([name, label, choices]) =>
          field(`${FIRST}/${name}`, label, choices),
        ),
        ...Object.entries(operation.cut ?? {})
          .filter(([, value]) => typeof value === "number")
          .map(([name]) => field(`${FIRST}/cut/${name}`)),
      ],
    },
    { title: "Joints", fields: jointFields(request.stack?.joints, field) },
    { title: "Cutting tool", fields: cutterFields(request.stack?.components, field) },
    { title: "Machine", fields: [field("/machine/max_speed_rpm", "Highest speed")] },
  ];
  return groups.filter((group) => group.fields.length > 0);
}

function jointFields(joints, field) {
  if (!Array.isArray(joints)) return [];
  return joints.flatMap((joint, index) => {
    const name = `${joint?.upper} / ${joint?.lower}`;
    const at = `/stack/joints/${index}`;
    // Grip and projection determine each other: offer both only where neither is stated.
    const wanted = ["grip_length_mm", "projection_mm"].filter((one) => joint?.[one] !== undefined);
    return (wanted.length ? wanted : ["grip_length_mm", "projection_mm"]).map((one) =>
      field(`${at}/${one}`, `${one === "grip_length_mm" ? "Grip length" : "Projection"} ${name}`),
    );
  });
}

const CUTTING_TOOLS = ["cutter", "drill", "tap", "reamer", "boring_tool"];

function cutterFields(components, field) {
  if (!Array.isArray(components)) return [];
  const index = components.findIndex((one) => CUTTING_TOOLS.includes(one?.kind));
  return index < 0
    ? []
    : ["overall_length_mm", "max_speed_rpm"].map((name) =>
        field(`/stack/components/${index}/${name}`, name === "max_speed_rpm" ? "Highest speed" : null),
      );
}
