// A text field with a list of suggestions (the combobox pattern of WAI-ARIA).
import { fill, make } from "./elements.js";

const MOST = 12;

/**
 * Field and list. `options(text)` gives (a promise of) suggestions `{value, label, detail}`; `chosen(option)` is called
 * for the one that was picked, `typed(text)` for a text that is none of them.
 */
export function createCombobox({ id, placeholder = "", label = null, options, chosen, typed = null, clears = false }) {
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
