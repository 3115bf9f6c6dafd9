// Positions of the values in a JSON text, by JSON Pointer (RFC 6901).

/** The text is not JSON; `offset` is the place of the fault. */
export class NotJson extends Error {
  constructor(detail, offset) {
    super(detail);
    this.offset = offset;
  }
}

const SPACE = /[ \t\n\r]*/y;
const STRING = /"(?:[^"\\\u0000-\u001f]|\\(?:["\\/bfnrt]|u[0-9a-fA-F]{4}))*"/y;
const SCALAR = /(?:-?(?:0|[1-9]\d*)(?:\.\d+)?(?:[eE][+-]?\d+)?|true|false|null)/y;

/**
 * Places by pointer: `key` and `value`, each `[from, to]` in the text; `key` is null outside objects.
 * Of duplicate keys the first counts.
 */
export function placesOf(text) {
  const places = new Map();
  let index = 0;

  const match = (pattern) => {
    pattern.lastIndex = index;
    const found = pattern.exec(text);
    if (found) index = pattern.lastIndex;
    return found && found[0];
  };
  const expect = (character) => {
    match(SPACE);
    if (text[index] !== character) throw new NotJson(`expected '${character}'`, index);
    index += 1;
  };
  const next = () => (match(SPACE), text[index]);

  function value(pointer, key) {
    match(SPACE);
    const from = index;
    const place = { key, value: [from, from] };
    if (!places.has(pointer)) places.set(pointer, place);
    if (text[index] === "{") members(pointer, "}", true);
    else if (text[index] === "[") members(pointer, "]", false);
    else if (match(STRING) === null && match(SCALAR) === null) throw new NotJson("expected a value", index);
    place.value = [from, index];
  }

  function members(pointer, end, named) {
    index += 1;
    if (next() === end) {
      index += 1;
      return;
    }
    for (let number = 0; ; number += 1) {
      match(SPACE);
      let step = String(number);
      let key = null;
      if (named) {
        const from = index;
        const name = match(STRING);
        if (name === null) throw new NotJson("expected a key in double quotes", index);
        key = [from, index];
        step = JSON.parse(name);
        expect(":");
      }
      value(`${pointer}/${escapeStep(step)}`, key);
      if (next() !== ",") break;
      index += 1;
    }
    expect(end);
  }

  value("", null);
  if (next() !== undefined) throw new NotJson("expected the end of the text", index);
  return places;
}

/** The place of a pointer, or of its nearest parent. */
export function nearestPlace(places, pointer) {
  let at = pointer;
  while (!places.has(at)) at = at.slice(0, at.lastIndexOf("/"));
  return places.get(at);
}

/** A reference token, escaped for a JSON Pointer. */
export function escapeStep(step) {
  return step.replaceAll("~", "~0").replaceAll("/", "~1");
}
