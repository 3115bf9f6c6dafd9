// The stack as a list of parts, from the spindle to the cutting edge: add, choose, state, move, remove.
import {
  amount, fieldWords, fill, get, make, placeWords, sentence, shownNumber, shownUnit, statedNumber, valueAt,
} from "./base.js";

const COMMON = {
  __proto__: null,
  base_holder: ["machine_side", "workpiece_side", "gauge_length_mm", "runout", "max_speed_rpm"],
  extension: ["machine_side", "workpiece_side", "overall_length_mm", "runout"],
  reducer: ["machine_side", "workpiece_side", "overall_length_mm", "runout"],
  collet: ["machine_side", "workpiece_side", "runout"],
  cutter: ["machine_side", "cutting_diameter_mm", "teeth", "overall_length_mm", "flute_length_mm", "max_speed_rpm"],
  drill: ["machine_side", "cutting_diameter_mm", "teeth", "overall_length_mm", "flute_length_mm", "point_angle_deg"],
  tap: ["machine_side", "cutting_diameter_mm", "pitch_mm", "teeth", "overall_length_mm", "square_mm"],
  reamer: ["machine_side", "cutting_diameter_mm", "teeth", "overall_length_mm", "flute_length_mm"],
  boring_tool: ["machine_side", "cutting_diameter_mm", "teeth", "overall_length_mm"],
  gauge_pin: ["machine_side", "overall_length_mm", "roundness_um"],
  retention_knob: ["form", "thread", "head_angle_deg"],
};
const OF_STANDARD = {
  __proto__: null,
  base_holder: ["runout", "max_speed_rpm"],
  extension: ["runout"],
  collet: ["runout"],
  cutter: ["cutting_diameter_mm", "teeth", "flute_length_mm", "max_speed_rpm"],
  gauge_pin: [],
};
const LABELS = {
  machine_side: "Machine side",
  workpiece_side: "Workpiece side",
  max_speed_rpm: "Highest speed",
  gauge_length_mm: "Gauge length",
};
const UNITS = { um: "µm", "/min": "rpm", "N.m": "N·m", "N/um": "N/µm", "N.m/mrad": "N·m/mrad", deg: "°", "g.mm": "g·mm" };
const READING_DIAMETERS = 3;
const HAND = "by hand: ";

/**
 * The builder in a box. `set(pointer, value)` changes one value of the request, `replace(request)` the whole of it;
 * `lists` gives what can be chosen: `parts(text)`, `designations(end, text)`, `kind(key)`, `title(key)`, `part(key)`.
 */
export function createBuilder(box, { set, replace, lists, more }) {
  const fields = createFields({ changed: state, pointerOf, suggest: lists.designations });
  let shape = "";
  let request = {};
  let report = null;
  const opened = new Set();
  let judged = "";

  const adding = createCombobox({
    id: "add-part",
    placeholder: "size, designation or name",
    options: offered,
    chosen: add,
    clears: true,
  });
  const list = make("ol", { class: "parts", "aria-label": "Parts from the spindle to the cutting edge" });
  fill(
    box,
    list,
    make("div", { class: "field wide add" }, make("label", { for: "add-part" }, "Add a part"), adding.element),
    make("p", { class: "unseen", role: "status", id: "builder-said" }),
  );
  const say = (words) => (box.querySelector("#builder-said").textContent = words);

  // --- parts ---------------------------------------------------------------------------------------------------

  const kindAt = (part) => kindOf(part, request, lists.kind);

  async function offered(text) {
    const [found, mounted] = await Promise.all([lists.parts(text, lastSeat()), lists.catalogue(text)]);
    const words = text.trim();
    const shown = Object.entries(KINDS).filter(([, { title }]) => words === "" || `${HAND}${title}`.toLowerCase().includes(words.toLowerCase()));
    const hand = shown.map(([kind, { title }]) => ({ value: title, label: title, detail: "stated by hand", kind }));
    const ends = /[a-z]/i.test(words) ? lists.ends(words) : [];
    const own = /^\S+$/.test(words) && words.length > 1 && !mounted.length ? [{ value: words, label: words, detail: "part of the mounted catalogue", catalogue: words }] : [];
    const first = partsOf(request).length === 0 ? "base_holder" : null;
    hand.sort((one, other) => Number(other.kind === first) - Number(one.kind === first));
    const kept = [...mounted.slice(0, 4), ...found.slice(0, words ? 7 : 5), ...ends].slice(0, 11);
    return [...kept, ...hand.slice(0, 11 - kept.length), ...own];
  }

  /** The workpiece side that the next part has to fit, as a designation or as fields. */
  function lastSeat() {
    const last = partsOf(request).filter((one) => !["retention_knob"].includes(one?.kind)).at(-1);
    return last === undefined ? null : lists.seat(last);
  }

  function add(one) {
    const kind = one.kind ?? kindAt({ kind: "reference", of: { from: "standard", key: one.key } });
    const part = partFor(one, kind);
    const { request: made, at } = withPart(request, part, kind, kindAt);
    replace(made);
    say(`${KINDS[kind]?.title ?? "Part"} added as part ${at + 1}.`);
    const id = partsOf(made)[at].id;
    // A tool ends the stack: what it leaves open comes next. After any other part comes another one.
    const open = one.end ? [] : firstOpen(at, id, kind);
    if (["cutter", "drill", "tap", "reamer", "boring_tool", "gauge_pin"].includes(kind) || !one.key) open.find((key) => fields.focus(key));
    else adding.input.focus();
  }

  function firstOpen(at, id, kind) {
    const base = `/stack/components/${at}`;
    const names = partsOf(request)[at]?.kind === "reference" ? OF_STANDARD[kind] ?? [] : COMMON[kind] ?? [];
    const within = partsOf(request)[at]?.kind === "reference" ? `${base}/with` : base;
    return names.map((name) => `${within}/${name}`).filter((key) => valueAt(request, key) === undefined);
  }

  function partFor(one, kind) {
    const id = KINDS[kind]?.id ?? "part";
    if (one.key) return { kind: "reference", id, of: { from: "standard", key: one.key } };
    if (one.catalogue) return { kind: "reference", id, of: { from: "catalogue", key: one.catalogue, ...(one.revision ? { revision: one.revision } : {}) } };
    return { kind, id, ...(one.end ? { [one.end]: designated(one.value) } : {}) };
  }

  function move(from, to, focus) {
    if (to < 0 || to >= partsOf(request).length || to === from) return;
    const { id } = partsOf(request)[from];
    replace(withPartMoved(request, from, to));
    say(`${id} is part ${to + 1} now.`);
    const card = list.querySelector(`[data-part-at="${to}"]`);
    const wanted = card?.querySelector(`[data-act="${focus}"]:not([disabled])`) ?? card?.querySelector("[data-act]:not([disabled])");
    wanted?.focus();
  }

  function remove(index) {
    const { id } = partsOf(request)[index];
    replace(withoutPart(request, index));
    say(`${id ?? "Part"} removed. Undo brings it back.`);
    adding.input.focus();
  }

  // --- values --------------------------------------------------------------------------------------------------

  function pointerOf(data, key) {
    const joint = /^\/stack\/joints\/(.+)>(.+)\/(\w+)$/.exec(key);
    if (!joint) return key;
    const index = jointIndex(data, joint[1], joint[2]);
    return index === null ? null : `/stack/joints/${index}/${joint[3]}`;
  }

  function state(key, value) {
    const joint = /^\/stack\/joints\/(.+)>(.+)\/(\w+)$/.exec(key);
    if (joint && pointerOf(request, key) === null) {
      if (value === undefined) return;
      const joints = request.stack?.joints ?? [];
      set("/stack/joints", [...joints, { upper: joint[1], lower: joint[2], [joint[3]]: value }]);
    } else if (key.endsWith("/runout/statements/0/tir_um")) {
      const whole = key.slice(0, -"/statements/0/tir_um".length);
      if (value === undefined) set(whole, undefined);
      else if (valueAt(request, key) === undefined) set(whole, { statements: [{ tir_um: value, at_mm: 0 }] });
      else set(key, value);
    } else if (key === "/machine/spindle" && value !== undefined && request.machine === undefined) {
      set("/machine", { kind: "stated", spindle: value });
    } else set(pointerOf(request, key), value);
  }

  /** The assumed value of the last report for a field: its text, and a function that states it. */
  function assumed(key) {
    const one = assumptions().find((each) => keysOf(each).includes(key));
    return one ? { text: assumedText(one), state: stating(one) } : null;
  }

  // A report on other parts assumed values at other places.
  const assumptions = () => (shape === judged ? (report?.assumptions ?? []) : []);

  /** Keys of the fields that an assumed value concerns. */
  function keysOf(one) {
    const [upper, lower] = String(one.subject ?? "").split("/");
    const joint = /^\/stack\/joints\/([0-9]+|-)\/(\w+)$/.exec(one.at);
    if (joint?.[1] === "-") return [`/stack/joints/${upper}>${lower}/${joint[2]}`];
    if (joint) {
      const stated = request.stack?.joints?.[joint[1]];
      return [`/stack/joints/${stated?.upper}>${stated?.lower}/${joint[2]}`];
    }
    return [one.at, `${one.at}/statements/0/tir_um`];
  }

  function assumedText(one) {
    return typeof one.value === "number" ? amount(one.value, 3, UNITS[one.unit] ?? one.unit ?? "") : sentence(one.value).toLowerCase();
  }

  /** A function that states an assumed value, null where one number or word cannot. */
  function stating(one) {
    if (/\/(profile|deviation)$/.test(one.at)) return null;
    if (one.at.endsWith("/runout")) {
      const diameter = partsOf(request).map((part) => part?.cutting_diameter_mm ?? part?.with?.cutting_diameter_mm).find((value) => typeof value === "number") ?? 10;
      return () => set(one.at, { law: "capability", statements: [{ tir_um: one.value, at_mm: READING_DIAMETERS * diameter }] });
    }
    if (one.at.startsWith("/stack/joints/")) {
      const [key] = keysOf(one);
      return key.includes("undefined") || !one.subject?.includes("/") ? null : () => state(key, one.value);
    }
    const end = /^(\/stack\/components\/(\d+)(?:\/with)?\/(machine_side|workpiece_side))\/(\w+)$/.exec(one.at);
    if (!end) return () => set(one.at, one.value);
    return async () => {
      const whole = await lists.end(partsOf(request)[Number(end[2])], end[3]);
      if (whole) set(end[1], { ...whole, [end[4]]: one.value });
    };
  }

  // --- cards ---------------------------------------------------------------------------------------------------

  function build() {
    const focus = focused();
    fields.clear();
    fill(list, spindle(), partsOf(request).map(card));
    for (const one of list.querySelectorAll("details[data-of]")) one.open = opened.has(one.dataset.of);
    restore(focus);
  }

  const item = (attributes, ...children) => make("li", {}, make("div", { class: "part", role: "group", ...attributes }, children));

  function spindle() {
    return item(
      { "aria-label": "Spindle" },
      make("div", { class: "part-head" }, make("h3", {}, "Spindle")),
      make(
        "div",
        { class: "fields" },
        fields.labelled({ key: "/machine/spindle", label: "Taper", kind: "designation", end: "spindle" }),
        fields.labelled({ key: "/machine/max_speed_rpm", label: "Highest speed" }),
      ),
      moreFields("/machine", "machine", "More about the machine"),
    );
  }

  function card(part, index) {
    const base = `/stack/components/${index}`;
    const kind = kindAt(part);
    const reference = part?.kind === "reference";
    const within = reference ? `${base}/with` : base;
    const joint = jointsOf(request).find((one) => one.lower === String(part?.id));
    const names = (reference ? OF_STANDARD[kind] : COMMON[kind]) ?? (reference ? ["runout", "max_speed_rpm"] : []);
    const title = KINDS[kind]?.title ?? "Part";
    const name = String(part?.id ?? `part ${index + 1}`);
    const last = partsOf(request).length - 1;
    const act = (words, sign, name_, run, disabled = false) =>
      make("button", { type: "button", "data-act": name_, "aria-label": `${words}`, title: words, disabled, onclick: run }, sign);
    return item(
      {
        "aria-label": `${title} ${name}`,
        "data-part-at": index,
        ondragover: (event) => {
          if (dragged === null) return;
          event.preventDefault();
          event.currentTarget.classList.add("target");
        },
        ondragleave: (event) => event.currentTarget.classList.remove("target"),
        ondrop: (event) => {
          event.currentTarget.classList.remove("target");
          if (dragged === null) return;
          event.preventDefault();
          event.stopPropagation();
          move(dragged, index, "up");
        },
      },
      make(
        "div",
        { class: "part-head" },
        make("span", {
          class: "grip",
          draggable: "true",
          "aria-hidden": "true",
          title: "Drag to move",
          ondragstart: (event) => {
            dragged = index;
            event.dataTransfer.effectAllowed = "move";
            event.dataTransfer.setData("text/plain", name);
          },
          ondragend: () => (dragged = null),
        }, "≡"),
        make("h3", {}, title, " ", make("span", {}, name)),
        make(
          "span",
          { class: "acts" },
          act(`Move ${name} toward the spindle`, "↑", "up", () => move(index, index - 1, "up"), index === 0),
          act(`Move ${name} toward the cutting edge`, "↓", "down", () => move(index, index + 1, "down"), index === last),
          act(`Remove ${name}`, "✕", "remove", () => remove(index)),
        ),
      ),
      reference ? make("p", { class: "note" }, sourceWords(part)) : null,
      make(
        "div",
        { class: "fields" },
        names.flatMap((one) => partFields(within, one)),
        joint && joined(kind, index)
          ? [
              ["grip_length_mm", "Grip length"],
              ["projection_mm", "Projection"],
            ].map(([one, words]) => fields.labelled({ key: `/stack/joints/${joint.upper}>${joint.lower}/${one}`, label: words }))
          : null,
      ),
      make("div", { class: "assumed-list", "data-assumed": base }),
      reference && part.of?.from === "standard" ? replacing(part, index, kind) : null,
      moreFields(within, kind ?? "reference", `More about ${name}`),
    );
  }

  let dragged = null;

  /** Whether grip and projection of a part are set when it is assembled: not those of a collet, unless they are stated. */
  function joined(kind, index) {
    const { id } = partsOf(request)[index];
    return kind !== "collet" || request.stack.joints?.some((one) => one?.lower === id) === true;
  }

  function partFields(within, name) {
    if (name === "runout")
      return [
        fields.labelled({ key: `${within}/runout/statements/0/tir_um`, label: "Runout, TIR" }),
        ...(valueAt(request, `${within}/runout/statements/0`) ? [fields.labelled({ key: `${within}/runout/statements/0/at_mm`, label: "Read at, from the face" })] : []),
      ];
    const kind = name.endsWith("_side") ? "designation" : ["form", "thread"].includes(name) ? "text" : "number";
    return [fields.labelled({ key: `${within}/${name}`, label: LABELS[name], kind, end: name })];
  }

  function sourceWords(part) {
    const { from, key } = part.of ?? {};
    if (from === "standard") return lists.title(String(key)) ?? `Standard part ${key}`;
    return from === "catalogue" ? `Part ${key} of the mounted catalogue` : `Part ${key} of this request`;
  }

  /** Another standard part in place of this one, such as the next size. */
  function replacing(part, index, kind) {
    const other = createCombobox({
      id: `standard-${index}`,
      options: async (text) => (await lists.parts(text === String(part.of.key) ? "" : text, null)).filter((one) => lists.kind(one.key) === kind),
      chosen: (one) => one.key !== part.of.key && replace(withPartAt(request, index, { ...part, of: { from: "standard", key: one.key } })),
      typed: (text) => text.trim() && text.trim() !== part.of.key && replace(withPartAt(request, index, { ...part, of: { from: "standard", key: text.trim() } })),
    });
    other.input.value = String(part.of.key);
    return make("div", { class: "field wide" }, make("label", { for: `standard-${index}` }, "Standard part"), other.element);
  }

  function moreFields(base, kind, words) {
    const content = make("div", { class: "more" });
    const shown = make(
      "details",
      {
        "data-of": base,
        ontoggle: async (event) => {
          if (!event.target.open) {
            opened.delete(base);
            return;
          }
          opened.add(base);
          if (content.childElementCount) return;
          await more(content, { base, kind, fields, request });
          show(request, report);
        },
      },
      make("summary", {}, words),
      content,
    );
    return shown;
  }

  /** Below each part, what was assumed for it and has no field above. */
  function showAssumed() {
    for (const one of list.querySelectorAll("[data-assumed]")) {
      const base = `${one.dataset.assumed}/`;
      const rest = assumptions().filter((each) => each.at.startsWith(base) && !keysOf(each).some(fields.has));
      const wasOpen = one.querySelector("details")?.open;
      fill(one, rest.length ? assumedBox(rest) : null);
      if (wasOpen && one.firstChild) one.firstChild.open = true;
    }
  }

  function assumedBox(rest) {
    return make(
      "details",
      {},
      make("summary", {}, `${rest.length} more ${rest.length === 1 ? "value is" : "values are"} assumed`),
      make(
        "ul",
        { class: "plain" },
        rest.map((one) => {
          const run = stating(one);
          const words = `${sentence(one.quantity).replace(" tir", "")} ${assumedText(one)}`;
          return make("li", {}, words, " ", run ? make("button", { type: "button", class: "state", "aria-label": `State ${words} of ${one.subject}`, onclick: run }, "State") : null);
        }),
      ),
    );
  }

  function focused() {
    const { activeElement: one } = document;
    if (!box.contains(one) || !one.id || one.id === "add-part") return null;
    return { id: one.id, value: one.value, from: one.selectionStart, to: one.selectionEnd };
  }

  function restore(focus) {
    const one = focus && document.getElementById(focus.id);
    if (!one) return;
    one.focus();
    if (one.tagName === "INPUT") {
      one.value = focus.value;
      one.setSelectionRange(focus.from, focus.to);
    }
  }

  function show(given, told) {
    request = given && typeof given === "object" ? given : {};
    const wanted = JSON.stringify([
      partsOf(request).map((part) => [kindAt(part), part?.kind, part?.id, part?.of, Boolean((part?.with ?? part)?.runout)]),
      jointsOf(request),
    ]);
    if (told !== report) judged = wanted;
    report = told;
    if (wanted !== shape) {
      shape = wanted;
      build();
    }
    fields.show(request, assumed);
    showAssumed();
  }

  return {
    /** Show a request, and what the last report assumed for it. */
    show,
    /** Show everything again, in other units. */
    again() {
      shape = "";
      show(request, report);
    },
    /** Mark faults `{at, detail}` at their fields; returns those without a field. */
    mark(faults) {
      return fields.mark(faults.map((one) => ({ ...one, key: keyOf(one.at?.[0] ?? "") })));
    },
    /** Put the focus into the field at a pointer; false if there is none. */
    focus: (pointer) => fields.focus(keyOf(pointer)),
    /** Mark the field of a dimension in the drawing, or none; `found(key)` is called for a field that gets the focus. */
    point: (key) => fields.point(key),
    onfocus(found) {
      box.addEventListener("focusin", (event) => found(fields.keyOf(event.target)));
      box.addEventListener("focusout", () => found(null));
    },
    /** What a dimension names `{at, upper, lower}`: its key, its place in words, its value, and how to state another. */
    dimension({ at, upper, lower }) {
      const key = upper ? `/stack/joints/${upper}>${lower}/${at.slice(at.lastIndexOf("/") + 1)}` : keyOf(at);
      const place = upper ? `Joint ${upper} / ${lower}, ${fieldWords(at.slice(at.lastIndexOf("/") + 1)).words.toLowerCase()}` : placeWords(at, request);
      const pointer = pointerOf(request, key);
      const value = (pointer === null ? undefined : valueAt(request, pointer)) ?? assumptions().find((one) => keysOf(one).includes(key))?.value;
      return { key, place, value, state: (stated) => state(key, stated) };
    },
    /** Start a new stack: all boxes closed, the focus where a part is added. */
    add() {
      opened.clear();
      for (const one of list.querySelectorAll("details")) one.open = false;
      adding.input.focus();
      adding.open();
    },
  };

  function keyOf(pointer) {
    const joint = /^\/stack\/joints\/(\d+)(\/\w+)?/.exec(pointer);
    const stated = joint && request.stack?.joints?.[joint[1]];
    return stated ? `/stack/joints/${stated.upper}>${stated.lower}${joint[2] ?? ""}` : pointer;
  }
}

/** What can be chosen: standard parts and designations, loaded when first needed. */
export function createLists(changed) {
  let parts = [];
  let designations = [];
  // Not known before the whole of it was asked for.
  let mounted = null;
  const looked = new Map();
  let loading = null;
  const details = new Map();

  const load = () =>
    (loading ??= Promise.all([get("v1/parts"), get("static/choices.json")]).then(
      ([known, choices]) => {
        parts = known.items;
        designations = choices.designations;
        changed();
      },
      (error) => {
        loading = null;
        throw error;
      },
    ));
  const plain = (text) => String(text).replaceAll(/[\s\-–_Øø:]+/g, "").toLowerCase();
  const words = (text) => text.toLowerCase().split(/\s+/).filter(Boolean);
  // A number is a whole number: 12 is not in 112.
  const holds = (sought, text) =>
    words(sought).every((one) =>
      /^[\d.]+$/.test(one) ? text.split(/[^\d.]+/).includes(one) : text.includes(one) || plain(text).includes(plain(one)),
    );

  /** Look up a key that is in no list, such as a holder of another length. */
  async function lookUp(key) {
    if (details.has(key) || parts.some((one) => one.key === key)) return;
    details.set(key, null);
    const [one] = (await get(`v1/parts?${new URLSearchParams({ contains: key })}`)).items.filter((each) => each.key === key);
    if (one) {
      parts.push(one);
      changed();
    }
  }

  /** Keys that a text may mean: as it is, or its words as sizes of a holder or an extension. */
  function keysIn(text) {
    const steps = words(text).length === 3 ? text.trim().split(/\s+/).join(":") : null;
    if (/^\S+:\S+:\S+$/.test(text.trim())) return [text.trim()];
    return steps ? [`generic:holder:${steps}`, `generic:extension:${steps}`] : [];
  }

  async function end(part, side) {
    const own = part?.with?.[side] ?? part?.[side];
    if (own?.coupling === "designated") return meant(own.designation, side);
    if (own) return own;
    if (part?.kind !== "reference" || part.of?.from !== "standard") return null;
    return (await get(`v1/parts/${encodeURIComponent(part.of.key)}`)).component[side];
  }

  /** The fields of a designation; a diameter of another size is put into those of its example. */
  function meant(text, side) {
    const sought = plain(text);
    const number = (one) => /\d+(?:\.\d+)?(?=\D*$)/.exec(one)?.[0];
    for (const one of designations.filter((each) => each.ends.includes(side))) {
      if (plain(one.text) === sought) return one.fields;
      const name = ["diameter_mm", "nominal_mm", "pilot_diameter_mm"].find((each) => each in one.fields);
      const own = number(text.replace(/ ?h6$/i, ""));
      if (name && own && plain(one.text.replace(/ h6$/, "")).replace(/[\d.]+$/, own) === plain(text.replace(/ ?h6$/i, ""))) return { ...one.fields, [name]: Number(own) };
    }
    return null;
  }

  return {
    load,
    /** Standard parts for a text, those that fit the seat first. */
    async parts(text, seat) {
      await load();
      await Promise.all(keysIn(text).map(lookUp));
      const fitting = (one) => (seat ? Number(fits(one.key, seat)) : Number(one.kind === "base_holder"));
      return parts
        .filter((one) => holds(text, `${one.key} ${one.title}`.toLowerCase()) || keysIn(text).includes(one.key))
        .sort((one, other) => fitting(other) - fitting(one))
        .map((one) => ({ value: one.key, key: one.key, label: one.title, detail: one.key, kind: one.kind }));
    },
    /** Parts of the mounted catalogue for a text, without those that no stack can use. */
    async catalogue(text) {
      if (mounted === 0) return [];
      const sought = text.trim().slice(0, 64);
      // The same text is asked for once: Enter must not wait for what is shown already.
      if (!looked.has(sought)) looked.set(sought, get(`v1/catalogue?${new URLSearchParams({ contains: sought, limit: String(MOST) })}`));
      const { items, total } = await looked.get(sought).catch((error) => {
        looked.delete(sought);
        throw error;
      });
      if (sought === "") mounted = total;
      return items
        .filter((one) => one.quarantined === null && one.kind !== "machine")
        .map((one) => ({
          value: one.key, label: one.label ?? one.key, kind: one.kind, catalogue: one.key, revision: one.revision,
          detail: `${one.key}${one.revision ? ` revision ${one.revision}` : ""}, mounted catalogue`,
        }));
    },
    /** Designations of an end for a text; one with a diameter is offered with the diameter that was typed. */
    async designations(side, text) {
      await load();
      const typed = /\d+(?:[.,]\d+)?(?=\D*$)/.exec(text)?.[0];
      return designations
        .filter((one) => one.ends.includes(side))
        .flatMap((one) => {
          const free = ["diameter_mm", "nominal_mm"].some((name) => name in one.fields);
          const other = free && typed ? one.text.replace(/\d+(?:\.\d+)?(?=( h6| H7)?$)/, typed) : one.text;
          const known = free && other !== one.text ? one.words.replace(/\d+(?:\.\d+)?(?= mm)/, typed) : one.words;
          return holds(text, `${other} ${known}`.toLowerCase()) ? [{ value: other, label: other, detail: known }] : [];
        });
    },
    /** Parts stated by hand whose end a text designates. */
    ends(text) {
      const tapers = designations.filter((one) => one.ends.includes("spindle") && holds(text, one.text.toLowerCase()));
      return tapers.slice(0, 3).map((one) => ({ value: one.text, label: `Spindle holder ${one.text}`, detail: "stated by hand", kind: "base_holder", end: "machine_side" }));
    },
    kind: (key) => parts.find((one) => one.key === key)?.kind ?? { iso15488: "collet", din6535: "cutter", din2269: "gauge_pin" }[key.split(":")[0]] ?? { holder: "base_holder", extension: "extension", rod: "gauge_pin" }[key.split(":")[1]],
    title(key) {
      const found = parts.find((one) => one.key === key);
      if (!found && loading) lookUp(key).catch(() => {});
      return found?.title;
    },
    end,
    seat: (part) => {
      const own = part?.with?.workpiece_side ?? part?.workpiece_side;
      if (own) return own.coupling === "designated" ? meant(own.designation, "workpiece_side") ?? null : own;
      const steps = String(part?.of?.key ?? "").split(":");
      if (steps[0] === "iso15488") return { coupling: "collet_bore", nominal_mm: Number(steps[2]) };
      if (steps[0] === "generic") return meant(steps[3].replace(/^chuck/, "milling chuck").replace(/^shrink/, "shrink-fit").replace(/^sidelock/, "side-lock"), "workpiece_side");
      return null;
    },
  };

  /** Whether the machine side of a standard part is made for a seat; only the order of a list follows from it. */
  function fits(key, seat) {
    const steps = key.split(":");
    if (seat.coupling === "nut_collet") return steps[0] === "iso15488" && steps[1] === String(seat.size);
    const diameter = seat.nominal_mm ?? seat.diameter_mm;
    const flat = seat.coupling === "side_lock" ? "HB" : "HA";
    return steps[1] === `${flat}${diameter}` || (steps[1] === "extension" && steps[2].startsWith(`${diameter}h`));
  }
}

// --- Labelled fields for values of a request, each at its place: units, assumed values, faults -------

/**
 * A set of fields.
 *
 * `changed(key, value)` is called on each change, with undefined for an emptied field. A key is a JSON Pointer, or
 * `/stack/joints/UPPER>LOWER/…` for a joint, whether the request has it or not; `pointerOf(request, key)` gives its
 * place, null for none. `suggest(end)` gives the suggestions for a designation.
 */
export function createFields({ changed, pointerOf = (_, key) => key, suggest = null }) {
  const known = new Map();

  /** A label with its input: `{key, label, unit, kind, choices, end}`; name and unit follow from the key. */
  function labelled(field) {
    const name = field.key.slice(field.key.lastIndexOf("/") + 1);
    const words = fieldWords(name);
    const id = `field${field.key.replaceAll(/[^\w-]/g, "-")}`;
    const entry = { ...field, name, id, unit: field.unit ?? words.unit, label: field.label ?? words.words };
    const input = control(entry);
    const after = make("div", { class: "field-notes" });
    const note = make("p", { class: "field-fault", id: `${id}-fault`, hidden: true });
    const sign = shownUnit(entry.unit);
    const label = make("label", { for: id, title: field.about ?? null }, entry.label, sign ? make("span", { class: "unit" }, ` ${sign}`) : null);
    const box = make("div", { class: `field ${entry.kind === "designation" ? "broad" : ""}` }, label, input.element ?? input, after, note);
    known.set(field.key, { ...entry, input: input.input ?? input, after, note, box });
    return box;
  }

  function control(entry) {
    const choices = entry.kind === "boolean" ? ["yes", "no"] : entry.choices;
    if (choices) {
      return make(
        "select",
        { id: entry.id, onchange: (event) => changed(entry.key, chosen(entry, event.target.value)) },
        entry.fallback ? null : make("option", { value: "" }, "not stated"),
        choices.map((one) => make("option", { value: one }, one.includes("_") ? sentence(one).toLowerCase() : one)),
      );
    }
    if (entry.kind === "designation") {
      const commit = (text) => changed(entry.key, text.trim() === "" ? undefined : designated(text.trim()));
      return createCombobox({
        id: entry.id,
        placeholder: "not stated",
        options: (text) => suggest(entry.end, text),
        chosen: (one) => commit(one.value),
        typed: commit,
      });
    }
    return make("input", {
      id: entry.id,
      type: "text",
      inputmode: entry.kind === "text" ? null : "decimal",
      autocomplete: "off",
      placeholder: "not stated",
      oninput: (event) => changed(entry.key, entry.kind === "text" ? event.target.value.trim() || undefined : statedNumber(event.target.value, entry)),
    });
  }

  return {
    labelled,
    /** Forget all fields, before the form is built again. */
    clear() {
      known.clear();
    },
    /** Show the values of a request; `assumed(key)` gives `{text, state}` for a value that was assumed. */
    show(request, assumed = () => null) {
      for (const [key, one] of known) {
        const pointer = pointerOf(request, key);
        const value = pointer === null ? undefined : valueAt(request, pointer);
        if (one.input !== document.activeElement) one.input.value = textOf(value, one);
        const found = value === undefined ? assumed(key) : null;
        one.box.classList.toggle("assumed-field", found !== null);
        if (one.input.placeholder !== undefined) one.input.placeholder = found ? `assumed ${found.text}` : "not stated";
        fill(one.after, found?.state ? make("button", { type: "button", class: "state", onclick: found.state }, `State ${found.text}`) : null);
      }
    },
    /** Mark the fields at fault, `[{key, detail}]`; returns the faults that have no field. */
    mark(faults) {
      const left = [];
      for (const one of known.values()) {
        one.note.hidden = true;
        one.input.removeAttribute("aria-invalid");
        one.input.removeAttribute("aria-describedby");
      }
      for (const fault of faults) {
        const one = nearest(fault.key);
        if (one) {
          one.note.hidden = false;
          fill(one.note, fault.detail);
          one.input.setAttribute("aria-invalid", "true");
          one.input.setAttribute("aria-describedby", one.note.id);
        } else left.push(fault);
      }
      return left;
    },
    /** Put the focus into the field at this key, or a field beside it; false if there is none. */
    focus(key) {
      const one = nearest(key) ?? firstWithin(key);
      if (!one) return false;
      for (let box = one.box.closest("details"); box; box = box.parentElement.closest("details")) box.open = true;
      one.input.focus();
      one.input.scrollIntoView({ block: "nearest" });
      return true;
    },
    /** Whether there is a field at this key. */
    has: (key) => known.has(key),
    /** The key of an input; null for one that is no field. */
    keyOf: (input) => [...known].find(([, one]) => one.input === input)?.[0] ?? null,
    /** Mark the field at this key, and no other. */
    point(key) {
      for (const [own, one] of known) one.box.classList.toggle("pointed", own === key);
    },
  };

  /** The field that states what is at a key: an end by its designation, a runout by its first statement. */
  function nearest(key) {
    return (
      known.get(key) ??
      known.get(`${key}/statements/0/tir_um`) ??
      [...known].find(([at, one]) => one.kind === "designation" && key.startsWith(`${at}/`))?.[1]
    );
  }

  /** The first field of a part, a joint or an operation. */
  function firstWithin(key) {
    const whole = /^\/(stack\/components\/\d+|stack\/joints\/[^/]+|operations\/\d+)$/.test(key);
    return whole ? [...known].find(([at]) => at.startsWith(`${key}/`))?.[1] : undefined;
  }
}

/** An end given by its designation. */
function designated(text) {
  return { coupling: "designated", designation: text };
}

function chosen(entry, value) {
  if (value === "") return undefined;
  return entry.kind === "boolean" ? value === "yes" : value;
}

function textOf(value, entry) {
  if (value === undefined || value === null) return entry.fallback ?? "";
  if (entry.kind === "designation") return endWords(value);
  if (entry.kind === "boolean") return value ? "yes" : "no";
  if (entry.kind === "text" || entry.choices) return String(value);
  return shownNumber(value, entry);
}

/** An end in words: its designation, or its coupling with what it states. */
function endWords(end) {
  if (typeof end === "string") return end;
  if (end === null || typeof end !== "object") return "";
  if (end.coupling === "designated") return String(end.designation ?? "");
  const told = SHOWN.filter((name) => ["string", "number"].includes(typeof end[name])).map((name) => formWords(String(end[name])));
  return [sentence(String(end.coupling ?? "")), ...told].join(" ");
}

const SHOWN = ["form", "designation", "size", "diameter_mm", "nominal_mm", "pilot_diameter_mm", "thread", "tolerance"];

/** A form such as iso_7388_1_ad as a standard writes it: ISO 7388-1 AD. */
function formWords(form) {
  const standard = /^(iso|asme|mas)_(\w?\d+)(?:_(\d+))?(?:_([a-z]+))?$/.exec(form);
  if (!standard) return form.replaceAll("_", " ");
  const [, body, number, part, letters] = standard;
  return [body.toUpperCase(), [number.toUpperCase(), part].filter(Boolean).join(body === "asme" ? "." : "-"), letters?.toUpperCase()].filter(Boolean).join(" ");
}

// --- Dimensions of the drawing: the figures that one field states, as buttons over the drawing -------

const LENGTH = { unit: "mm" };
const LENGTH_TEXT = /^\d[\d ./]*(mm|in)$/;
const MARGIN_PX = 4;

/** Buttons in a box over the drawing; `builder` states what is typed. Returns a function for each drawing that is shown. */
export function createDimensions(box, builder) {
  let marks = [];
  let open = null;

  /** The parsed drawing: its size, and its dimensions with the words that it shows. */
  function show(root) {
    const [, , width, height] = root.getAttribute("viewBox").split(" ").map(Number);
    marks = [...root.querySelectorAll("[data-field]")].map((group) => {
      const frame = group.querySelector("rect");
      const [x, y, wide, high] = ["x", "y", "width", "height"].map((name) => Number(frame.getAttribute(name)));
      return {
        at: group.dataset.field,
        upper: group.dataset.upper,
        lower: group.dataset.lower,
        words: group.textContent,
        left: (100 * (x + wide / 2)) / width,
        top: (100 * (y + high / 2)) / height,
        wide: (100 * (wide + 2 * MARGIN_PX)) / width,
        high: (100 * (high + 2 * MARGIN_PX)) / height,
      };
    });
    const focused = box.contains(document.activeElement) && !open ? document.activeElement.dataset.key : null;
    fill(box, marks.map(button), open?.form);
    if (open) place(open.form, marks.find((one) => builder.dimension(one).key === open.key) ?? open.mark);
    else if (focused) find(focused)?.focus({ preventScroll: true });
  }

  const find = (key) => [...box.querySelectorAll("button.dimension")].find((one) => one.dataset.key === key);

  function place(element, { left, top }) {
    element.style.left = `${left}%`;
    element.style.top = `${top}%`;
  }

  function button(mark) {
    const { key, place: where } = builder.dimension(mark);
    const made = make("button", {
      type: "button",
      class: "dimension",
      "data-key": key,
      "aria-label": `Change ${mark.words}: ${where}`,
      title: `Change ${mark.words}: ${where}`,
      onclick: () => edit(mark),
      onfocus: () => builder.point(key),
      onblur: () => builder.point(null),
    });
    place(made, mark);
    made.style.width = `${mark.wide}%`;
    made.style.height = `${mark.high}%`;
    return made;
  }

  function edit(mark) {
    close();
    const { key, place: where, value, state } = builder.dimension(mark);
    const fault = make("span", { class: "field-fault", id: "dimension-fault", role: "alert" });
    const input = make("input", {
      type: "text",
      inputmode: "decimal",
      autocomplete: "off",
      "aria-label": `${where}, ${shownUnit("mm")}`,
      "aria-describedby": "dimension-fault",
      value: value === undefined ? "" : shownNumber(value, LENGTH),
    });
    const form = make("form", { class: "dimension-form", novalidate: true }, input, make("span", { class: "unit" }, shownUnit("mm")), fault);
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      const stated = statedNumber(input.value, LENGTH);
      if (typeof stated !== "number" && !LENGTH_TEXT.test(stated ?? "")) {
        input.setAttribute("aria-invalid", "true");
        fault.textContent = `A number of ${shownUnit("mm")} is expected, or a length with its unit, such as 1/2 in.`;
        return;
      }
      leave(key);
      if (stated !== value) state(stated);
    });
    form.addEventListener("keydown", (event) => {
      if (event.key !== "Escape") return;
      // Else Escape would leave full screen, too.
      event.preventDefault();
      event.stopPropagation();
      leave(key);
    });
    form.addEventListener("focusout", (event) => open?.form === form && !form.contains(event.relatedTarget) && document.hasFocus() && close());
    open = { key, mark, form };
    place(form, mark);
    box.append(form);
    builder.point(key);
    input.focus();
    input.select();
  }

  function close() {
    const { form } = open ?? {};
    open = null;
    form?.remove();
    builder.point(null);
  }

  function leave(key) {
    close();
    find(key)?.focus({ preventScroll: true });
  }

  builder.onfocus((key) => {
    for (const one of box.querySelectorAll("button.dimension")) one.classList.toggle("pointed", one.dataset.key === key);
  });
  return show;
}

// --- A text field with a list of suggestions (the combobox pattern of WAI-ARIA) ----------------------

const MOST = 12;

/**
 * Field and list. `options(text)` gives (a promise of) suggestions `{value, label, detail}`; `chosen(option)` is called
 * for the one that was picked, `typed(text)` for a text that is none of them.
 */
function createCombobox({ id, placeholder = "", label = null, options, chosen, typed = null, clears = false }) {
  const list = make("ul", { id: `${id}-list`, role: "listbox", class: "suggestions", "aria-label": "Suggestions", hidden: true });
  const input = make("input", {
    id,
    type: "text",
    role: "combobox",
    placeholder,
    autocomplete: "off",
    spellcheck: "false",
    "aria-label": label,
    "aria-autocomplete": "list",
    "aria-expanded": "false",
    "aria-controls": list.id,
    oninput: () => open(),
    onfocus: () => input.select(),
    onclick: () => list.hidden && open(true),
    onkeydown: key,
    onblur: () => close(),
    onchange: () => settle(),
  });
  let found = [];
  let active = -1;
  let turn = 0;
  let settled = true;

  async function open(all = false) {
    turn += 1;
    const mine = turn;
    settled = all;
    const text = all && !clears ? "" : input.value;
    const offered = (await options(text)).slice(0, MOST);
    if (mine !== turn || document.activeElement !== input) return;
    found = offered;
    fill(
      list,
      found.map((one, index) =>
        make(
          "li",
          // The list must not take the focus before the click arrives.
          { id: `${id}-${index}`, role: "option", "aria-selected": "false", onpointerdown: (event) => event.preventDefault(), onclick: () => pick(index) },
          make("strong", {}, one.label),
          one.detail ? make("span", {}, " ", one.detail) : null,
        ),
      ),
    );
    list.hidden = found.length === 0;
    input.setAttribute("aria-expanded", String(!list.hidden));
    mark(clears && text.trim() !== "" && found.length ? 0 : -1);
  }

  function close() {
    turn += 1;
    list.hidden = true;
    input.setAttribute("aria-expanded", "false");
    mark(-1);
  }

  function mark(index) {
    active = index;
    [...list.children].forEach((one, at) => one.setAttribute("aria-selected", String(at === active)));
    if (active >= 0) {
      input.setAttribute("aria-activedescendant", `${id}-${active}`);
      list.children[active].scrollIntoView({ block: "nearest" });
    } else input.removeAttribute("aria-activedescendant");
  }

  function pick(index) {
    const one = found[index];
    settled = true;
    input.value = clears ? "" : one.value;
    close();
    chosen(one);
  }

  function settle() {
    if (settled || !typed) return;
    settled = true;
    typed(input.value);
  }

  async function key(event) {
    if (event.isComposing) return;
    if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      event.preventDefault();
      if (list.hidden) await open(input.value === "");
      if (!found.length || list.hidden) return;
      const step = event.key === "ArrowDown" ? 1 : -1;
      mark(active < 0 && step < 0 ? found.length - 1 : (active + step + found.length) % found.length);
    } else if (event.key === "Enter") {
      event.preventDefault();
      // What was typed a moment ago may still be looked for.
      if (clears && input.value.trim() !== "" && !settled) await open();
      if (active >= 0 && !list.hidden) pick(active);
      else settle();
    } else if (event.key === "Escape" && !list.hidden) {
      event.preventDefault();
      close();
    }
  }

  return { element: make("div", { class: "combobox" }, input, list), input, open };
}

// --- Changes of the list of parts in a request. A joint's settings belong to its lower part and follow it 

const RANKS = { __proto__: null, retention_knob: 0, base_holder: 1, cutter: 3, drill: 3, tap: 3, reamer: 3, boring_tool: 3, gauge_pin: 3 };
const BETWEEN = 2;

/** Kinds of parts and their names; `id` starts the names of new parts. */
const KINDS = {
  __proto__: null,
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
function kindOf(part, request, standardKind) {
  if (part?.kind !== "reference") return part?.kind;
  const { from, key } = part.of ?? {};
  if (from === "request") return request?.components?.[key]?.kind;
  return from === "standard" ? standardKind(String(key)) : undefined;
}

/** The request with a part added where its kind belongs: before the tool, unless it is one. */
function withPart(request, part, kind, kindAt) {
  const made = copy(request);
  made.stack = copy(made.stack);
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
function withPartAt(request, index, part) {
  const made = copy(request);
  const id = made.stack.components[index]?.id;
  made.stack.components[index] = id === undefined ? part : { ...part, id };
  return made;
}

/** The request without the part at this place. */
function withoutPart(request, index) {
  const made = copy(request);
  const [gone] = made.stack.components.splice(index, 1);
  if (Array.isArray(made.stack.joints)) made.stack.joints = made.stack.joints.filter((joint) => joint?.lower !== gone?.id);
  rejoin(made);
  return made;
}

/** The request with the part moved to another place. */
function withPartMoved(request, from, to) {
  const made = copy(request);
  const [moved] = made.stack.components.splice(from, 1);
  made.stack.components.splice(to, 0, moved);
  rejoin(made);
  return made;
}

/** Each part that is joined with the one above it: `{upper, lower}` by id. */
function jointsOf(request) {
  const chained = partsOf(request).filter((one) => one?.kind !== "retention_knob" && one?.id !== undefined);
  return chained.slice(1).map((lower, index) => ({ upper: String(chained[index].id), lower: String(lower.id) }));
}

/** The place of a joint in the request, null if it has none. */
function jointIndex(request, upper, lower) {
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
  const whole = request !== null && typeof request === "object" && !Array.isArray(request) ? request : {};
  return JSON.parse(JSON.stringify(whole));
}
