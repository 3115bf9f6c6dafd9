// A form for the values that users change most; rebuilt when the request gets other fields.
import { fill, make } from "./elements.js";
import { quickFields } from "./quick_fields.js";
import { sentence } from "./words.js";

/** The form in a box; calls `changed(pointer, value)` on each change, value undefined for an emptied field. */
export function createQuickForm(box, changed) {
  let shape = "";
  let inputs = new Map();

  function build(groups) {
    inputs = new Map();
    fill(
      box,
      groups.map((group) =>
        make(
          "fieldset",
          {},
          make("legend", {}, group.title),
          make("div", { class: "fields" }, group.fields.map(labelled)),
        ),
      ),
    );
  }

  function labelled(field) {
    const id = `quick${field.pointer.replaceAll("/", "-")}`;
    const input = field.choices ? choice(id, field) : entry(id);
    inputs.set(field.pointer, input);
    const unit = field.unit ? make("span", { class: "unit" }, ` ${field.unit}`) : null;
    return make("div", { class: "field" }, make("label", { for: id }, field.label, unit), input);

    function entry(name) {
      return make("input", {
        id: name,
        type: "text",
        inputmode: "decimal",
        autocomplete: "off",
        placeholder: "not stated",
        oninput: (event) => changed(field.pointer, valueOf(event.target.value)),
      });
    }
  }

  function choice(id, field) {
    return make(
      "select",
      { id, onchange: (event) => changed(field.pointer, event.target.value || undefined) },
      make("option", { value: "" }, "not stated"),
      field.choices.map((one) => make("option", { value: one }, one.includes("_") ? sentence(one).toLowerCase() : one)),
    );
  }

  return {
    /** Show the values of a request. */
    show(request) {
      const groups = quickFields(request);
      const wanted = JSON.stringify(groups.map((group) => group.fields.map(({ pointer, label }) => [pointer, label])));
      const typing = box.contains(document.activeElement);
      if (wanted !== shape && !(typing && shape)) {
        build(groups);
        shape = wanted;
      }
      for (const field of groups.flatMap((group) => group.fields)) {
        const input = inputs.get(field.pointer);
        if (input && input !== document.activeElement) input.value = field.value ?? "";
      }
    },
  };
}

/** The number in a text (decimal point or comma); other text as it is, since a length may have a unit. */
function valueOf(text) {
  const plain = text.trim();
  if (plain === "") return undefined;
  const number = Number(plain.replace(",", "."));
  return Number.isFinite(number) ? number : plain;
}
