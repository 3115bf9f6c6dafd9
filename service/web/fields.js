// Labelled fields for values of a request, each at its place: units, assumed values, faults.
import { createCombobox } from "./combobox.js";
import { fill, make } from "./elements.js";
import { valueAt } from "./json_edit.js";
import { fieldWords, sentence, shownNumber, shownUnit, statedNumber } from "./words.js";

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
        make("option", { value: "" }, "not stated"),
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
      const one = nearest(key);
      if (!one) return false;
      for (let box = one.box.closest("details"); box; box = box.parentElement.closest("details")) box.open = true;
      one.input.focus();
      one.input.scrollIntoView({ block: "nearest" });
      return true;
    },
    /** Whether there is a field at this key. */
    has: (key) => known.has(key),
  };

  function nearest(key) {
    if (known.has(key)) return known.get(key);
    // A fault of an end or a runout belongs to the field that states it.
    return [...known.entries()].find(([at, one]) => (one.kind === "designation" && key.startsWith(`${at}/`)) || at.startsWith(`${key}/`))?.[1];
  }
}

/** An end given by its designation. */
export function designated(text) {
  return { coupling: "designated", designation: text };
}

function chosen(entry, value) {
  if (value === "") return undefined;
  return entry.kind === "boolean" ? value === "yes" : value;
}

function textOf(value, entry) {
  if (value === undefined || value === null) return "";
  if (entry.kind === "designation") return endWords(value);
  if (entry.kind === "boolean") return value ? "yes" : "no";
  if (entry.kind === "text" || entry.choices) return String(value);
  return shownNumber(value, entry);
}

/** An end in words: its designation, or its coupling with what it states. */
export function endWords(end) {
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
