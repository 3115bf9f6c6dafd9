// A text editor with completion and descriptions from the JSON Schema of a request, in place of a text area.
import {
  autocompletion, bracketMatching, Compartment, completionKeymap, defaultKeymap, EditorState, EditorView, HighlightStyle,
  history, historyKeymap, hoverTooltip, json, keymap, lineNumbers, syntaxHighlighting, tags, Transaction, yaml,
} from "./codemirror.js";
import { get, lineAndColumn, make, offsetOf, rangeOfPointer } from "./base.js";
import { createHints, placeIn } from "./schema_hints.js";

const COLOURS = HighlightStyle.define([
  { tag: tags.propertyName, color: "var(--steel)" },
  { tag: [tags.definition(tags.propertyName)], color: "var(--steel)" },
  { tag: tags.comment, color: "var(--soft)", fontStyle: "italic" },
  { tag: [tags.bool, tags.null, tags.keyword], fontWeight: "600" },
]);
const LOOK = EditorView.theme({
  "&": { height: "30rem", border: "1px solid var(--edge)", backgroundColor: "var(--paper)", color: "var(--ink)", fontSize: "0.82rem" },
  "&.cm-focused": { outline: "3px solid var(--focus)", outlineOffset: "1px" },
  ".cm-scroller": { fontFamily: "ui-monospace, \"Liberation Mono\", \"DejaVu Sans Mono\", monospace", lineHeight: "1.45", overflow: "auto" },
  ".cm-content": { caretColor: "var(--ink)" },
  ".cm-gutters": { backgroundColor: "var(--paper)", color: "var(--soft)", borderRight: "1px solid var(--rule)" },
  ".cm-tooltip": { backgroundColor: "var(--paper)", color: "var(--ink)", border: "1px solid var(--edge)", maxWidth: "min(24rem, 90vw)" },
  ".cm-tooltip.cm-completionInfo, .cm-tooltip-hover": { padding: "0.35rem 0.6rem" },
  ".cm-tooltip-autocomplete > ul > li[aria-selected]": { backgroundColor: "var(--steel)", color: "var(--paper)" },
  ".cm-completionDetail": { fontStyle: "normal", marginLeft: "1em" },
  "&.cm-focused .cm-matchingBracket": { backgroundColor: "transparent", outline: "1px solid var(--soft)" },
});

const LEAST_PX = 200;

/** The description of a choice: beside the list, or below it where there is no room. */
function beside(view, list, option, info, space) {
  if (space.right - list.right >= Math.min(LEAST_PX, info.right - info.left)) return { style: `left: ${list.right - list.left}px; top: ${option.top - list.top}px; max-width: ${space.right - list.right}px` };
  return { style: `left: 0; top: ${list.bottom - list.top}px; width: ${list.right - list.left}px` };
}

/**
 * An editor in place of a text area, with the same functions as `createEditor`. The area stays in the page, hidden, and
 * keeps text and selection. `told(line, column, about)` hears of the cursor, `typed({pasted})` of each change by hand.
 */
export async function createTextEditor(area, { label, told, typed }) {
  const hints = createHints(await get("v1/schemas/check-request.json"));
  const host = make("div", { class: "text-editor" });
  // The policy forbids style sheets made by script in the page, but allows them in a shadow tree.
  const root = host.attachShadow({ mode: "open" });
  const language = new Compartment();
  const naming = new Compartment();
  let notation = "json";
  let faulty = false;
  const named = () => EditorView.contentAttributes.of({ "aria-label": label(), ...(faulty ? { "aria-invalid": "true" } : {}), spellcheck: "false" });

  function complete({ state, pos, explicit }) {
    const text = state.doc.toString();
    const place = placeIn(text, pos, notation);
    if (!place.path.length || (!explicit && place.from === pos)) return null;
    const quoted = notation === "json";
    // The quotation mark behind the cursor goes with the word.
    const to = quoted && /^"/.test(text.slice(pos)) && text[place.from] === '"' ? pos + 1 : pos;
    const options = place.key === null ? names(place, quoted, /^\s*:/.test(text.slice(to))) : values(place, quoted);
    return options.length ? { from: place.from, to, options, filter: true, validFor: /^["\w$]*$/ } : null;
  }

  function names(place, quoted, hasColon) {
    return hints.names(place.path).map((one) => {
      const name = quoted ? JSON.stringify(one.name) : one.name;
      return {
        label: name,
        displayLabel: one.name,
        // A space of its own, for who hears both in one.
        detail: ["", [one.type, one.required ? "required" : ""].filter(Boolean).join(", ")].join(" "),
        info: one.description || undefined,
        apply: hasColon ? name : `${name}: `,
        boost: one.required ? 1 : 0,
      };
    });
  }

  function values(place, quoted) {
    return hints.values(place.path, place.key).map((one) => {
      const written = quoted ? JSON.stringify(one) : String(one);
      return { label: written, displayLabel: String(one) };
    });
  }

  function aboutAt(text, offset) {
    const place = placeIn(text, offset, notation);
    const name = place.key ?? /^["']?([\w$]+)/.exec(text.slice(place.from))?.[1];
    return name && place.path.length ? hints.about(place.path, name) : null;
  }

  const hover = hoverTooltip((view, pos) => {
    const about = aboutAt(view.state.doc.toString(), pos);
    if (!about) return null;
    const words = [about.name, about.type].filter(Boolean).join(", ");
    return { pos, create: () => ({ dom: make("div", {}, make("strong", {}, words), make("div", {}, about.description)) }) };
  });

  function tell(state) {
    const { head } = state.selection.main;
    const text = state.doc.toString();
    const { line, column } = lineAndColumn(text, head);
    told(line, column, aboutAt(text, head));
  }

  const follow = EditorView.updateListener.of((update) => {
    if (update.docChanged) area.value = update.state.doc.toString();
    if (update.docChanged || update.selectionSet) {
      const { from, to } = update.state.selection.main;
      area.setSelectionRange(from, to);
    }
    const own = update.transactions.some((one) => one.annotation(Transaction.userEvent));
    if (update.docChanged && own) typed({ pasted: update.transactions.some((one) => one.isUserEvent("input.paste")) });
    if (update.docChanged || update.selectionSet || update.focusChanged) tell(update.state);
  });

  // Left to the browser, text over a selection gets the selection's look as an inline style, which the page forbids.
  const typing = EditorView.domEventHandlers({
    beforeinput(event, view) {
      if (event.inputType !== "insertText" || event.data === null || view.composing || view.state.selection.main.empty) return false;
      view.dispatch(view.state.replaceSelection(event.data), { userEvent: "input.type", scrollIntoView: true });
      return true;
    },
  });

  const view = new EditorView({
    parent: root,
    root,
    state: EditorState.create({
      doc: area.value,
      extensions: [
        lineNumbers(), history(), bracketMatching(), LOOK, follow, hover, typing, syntaxHighlighting(COLOURS),
        autocompletion({ override: [complete], icons: false, positionInfo: beside }),
        language.of(json()), naming.of(named()),
        // Tab is for leaving.
        keymap.of([...completionKeymap, ...defaultKeymap, ...historyKeymap]),
      ],
    }),
  });
  area.hidden = true;
  area.after(host);

  function select(anchor, head) {
    view.focus();
    view.dispatch({ selection: { anchor, head }, effects: EditorView.scrollIntoView(anchor, { y: "center" }) });
    host.scrollIntoView({ block: "nearest" });
  }

  return {
    host,
    get text() {
      return view.state.doc.toString();
    },
    set text(value) {
      if (value !== view.state.doc.toString()) view.dispatch({ changes: { from: 0, to: view.state.doc.length, insert: value } });
    },
    /** Read the text as JSON or YAML from now on, under the label that the page shows. */
    notate(wanted) {
      notation = wanted;
      view.dispatch({ effects: [language.reconfigure(wanted === "yaml" ? yaml() : json()), naming.reconfigure(named())] });
    },
    /** Mark the text as faulty; no words for a text that can be read. */
    mark(words) {
      faulty = words !== "";
      view.dispatch({ effects: naming.reconfigure(named()) });
    },
    goTo(line, column) {
      const offset = offsetOf(view.state.doc.toString(), line, column);
      select(offset, offset);
    },
    goToPointer(pointer) {
      select(...rangeOfPointer(view.state.doc.toString(), pointer));
    },
    focus: () => view.focus(),
  };
}
