// Changes of the list of parts in a request. A joint's settings belong to its lower part and follow it.

const RANKS = { retention_knob: 0, base_holder: 1, cutter: 3, drill: 3, tap: 3, reamer: 3, boring_tool: 3, gauge_pin: 3 };
const BETWEEN = 2;

/** Kinds of parts and their names; `id` starts the names of new parts. */
export const KINDS = {
  base_holder: { title: "Spindle holder", id: "holder" },
  extension: { title: "Extension", id: "extension" },
  reducer: { title: "Reducer", id: "reducer" },
  collet: { title: "Collet", id: "collet" },
  cutter: { title: "Milling cutter", id: "mill" },
  drill: { title: "Drill", id: "drill" },
  tap: { title: "Tap", id: "tap" },
  reamer: { title: "Reamer", id: "reamer" },
  boring_tool: { title: "Boring tool", id: "boring-tool" },
  gauge_pin: { title: "Gauge pin", id: "pin" },
  retention_knob: { title: "Retention knob", id: "knob" },
};

/** The parts of a request; empty where it has no list of them. */
export function partsOf(request) {
  const parts = request?.stack?.components;
  return Array.isArray(parts) ? parts : [];
}

/** The kind of a part; of a reference to a standard part by `kindOf(key)`, to the request's own by its definition. */
export function kindOf(part, request, standardKind) {
  if (part?.kind !== "reference") return part?.kind;
  const { from, key } = part.of ?? {};
  if (from === "request") return request?.components?.[key]?.kind;
  return from === "standard" ? standardKind(String(key)) : undefined;
}

/** The request with a part added where its kind belongs: before the tool, unless it is one. */
export function withPart(request, part, kind, kindAt) {
  const made = copy(request);
  made.stack = made.stack ?? {};
  const parts = partsOf(made);
  const rank = (one) => RANKS[one] ?? BETWEEN;
  const place = parts.findIndex((one) => rank(kindAt(one)) > rank(kind));
  const named = { ...part, id: freeId(parts, part.id) };
  const at = place < 0 ? parts.length : place;
  parts.splice(at, 0, named);
  made.stack.components = parts;
  rejoin(made);
  return { request: made, at };
}

/** The request with another part at this place; the id stays. */
export function withPartAt(request, index, part) {
  const made = copy(request);
  const id = made.stack.components[index]?.id;
  made.stack.components[index] = id === undefined ? part : { ...part, id };
  return made;
}

/** The request without the part at this place. */
export function withoutPart(request, index) {
  const made = copy(request);
  const [gone] = made.stack.components.splice(index, 1);
  if (Array.isArray(made.stack.joints)) made.stack.joints = made.stack.joints.filter((joint) => joint?.lower !== gone?.id);
  rejoin(made);
  return made;
}

/** The request with the part moved to another place. */
export function withPartMoved(request, from, to) {
  const made = copy(request);
  const [moved] = made.stack.components.splice(from, 1);
  made.stack.components.splice(to, 0, moved);
  rejoin(made);
  return made;
}

/** Each part that is joined with the one above it: `{upper, lower}` by id. */
export function jointsOf(request) {
  const chained = partsOf(request).filter((one) => one?.kind !== "retention_knob" && one?.id !== undefined);
  return chained.slice(1).map((lower, index) => ({ upper: String(chained[index].id), lower: String(lower.id) }));
}

/** The place of a joint in the request, null if it has none. */
export function jointIndex(request, upper, lower) {
  const joints = request?.stack?.joints;
  const found = Array.isArray(joints) ? joints.findIndex((one) => one?.upper === upper && one?.lower === lower) : -1;
  return found < 0 ? null : found;
}

function rejoin(request) {
  const joints = request.stack.joints;
  if (!Array.isArray(joints)) return;
  const upperOf = new Map(jointsOf(request).map(({ upper, lower }) => [lower, upper]));
  const first = partsOf(request).find((one) => one?.kind !== "retention_knob")?.id;
  request.stack.joints = joints
    .filter((joint) => (joint?.upper === "spindle" ? joint.lower === first : upperOf.has(joint?.lower)))
    .map((joint) => (joint.upper === "spindle" ? joint : { ...joint, upper: upperOf.get(joint.lower) }));
  if (request.stack.joints.length === 0) delete request.stack.joints;
}

function freeId(parts, wanted) {
  const taken = new Set(parts.map((one) => one?.id));
  if (!taken.has(wanted)) return wanted;
  for (let number = 2; ; number += 1) if (!taken.has(`${wanted}-${number}`)) return `${wanted}-${number}`;
}

function copy(request) {
  return JSON.parse(JSON.stringify(request ?? {}));
}
