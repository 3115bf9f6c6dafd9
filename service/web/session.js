// The request through time: undo and redo, and the fragment of the address that holds it.

const MOST_STEPS = 200;
const MOST_BYTES = 512 * 1024;
const MARK = "=";

/** Texts in the order in which they were made; `changed()` is called when what can be undone changes. */
export function createHistory(changed) {
  let texts = [];
  let at = -1;
  return {
    /** Note a text, unless it is the one that is shown. */
    note(text) {
      if (texts[at] === text) return;
      texts = [...texts.slice(0, at + 1), text].slice(-MOST_STEPS);
      at = texts.length - 1;
      changed();
    },
    /** The text `step` places on, undefined where there is none. */
    go(step) {
      if (texts[at + step] === undefined) return undefined;
      at += step;
      changed();
      return texts[at];
    },
    can: (step) => texts[at + step] !== undefined,
  };
}

/** The fragment for a text: the view, and the text compressed. Fragments are not sent to the service. */
export async function fragmentOf(view, text) {
  const packed = await through(new TextEncoder().encode(text), new CompressionStream("deflate-raw"));
  const letters = btoa(Array.from(packed, (one) => String.fromCharCode(one)).join(""));
  return `#${view}${MARK}${letters.replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "")}`;
}

/** The text in a fragment; null if it has none, and an error if it is damaged or too long. */
export async function textIn(view, fragment) {
  const start = `#${view}${MARK}`;
  if (!fragment.startsWith(start)) return null;
  const letters = atob(fragment.slice(start.length).replaceAll("-", "+").replaceAll("_", "/"));
  const bytes = await through(Uint8Array.from(letters, (one) => one.charCodeAt(0)), new DecompressionStream("deflate-raw"));
  return new TextDecoder("utf-8", { fatal: true }).decode(bytes);
}

async function through(bytes, stream) {
  const pieces = [];
  let length = 0;
  const reader = new Blob([bytes]).stream().pipeThrough(stream).getReader();
  for (let next = await reader.read(); !next.done; next = await reader.read()) {
    pieces.push(next.value);
    length += next.value.length;
    if (length > MOST_BYTES) throw new RangeError("too long");
  }
  const whole = new Uint8Array(length);
  pieces.reduce((offset, one) => (whole.set(one, offset), offset + one.length), 0);
  return whole;
}
