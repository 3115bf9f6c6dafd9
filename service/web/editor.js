// A text area for JSON that can select a place by line and column or by JSON Pointer.
import { nearestPlace, placesOf } from "./json_places.js";

/** The editor on a text area; `shown` is the element that shows the cursor position. */
export function createEditor(area, shown = null) {
  function showCursor() {
    const { line, column } = lineAndColumn(area.value, area.selectionStart);
    shown.textContent = `Line ${line}, column ${column}`;
  }

  function select(from, to) {
    area.focus({ preventScroll: true });
    area.setSelectionRange(from, to);
    // Lines never wrap, so the line number gives the scroll position.
    const height = area.scrollHeight / (area.value.split("\n").length || 1);
    const { line } = lineAndColumn(area.value, from);
    area.scrollTop = Math.max(0, (line - 0.5) * height - area.clientHeight / 2);
    area.scrollLeft = 0;
    area.scrollIntoView({ block: "nearest" });
    if (shown) showCursor();
  }

  if (shown) {
    for (const event of ["keyup", "click", "input", "focus"]) area.addEventListener(event, showCursor);
    showCursor();
  }

  return {
    get text() {
      return area.value;
    },
    set text(value) {
      area.value = value;
      if (shown) showCursor();
    },
    /** Place the cursor at a line and column, both from 1; the column in characters. */
    goTo(line, column) {
      const offset = offsetOf(area.value, line, column);
      select(offset, offset);
    },
    /** Place the cursor at an offset. */
    goToOffset(offset) {
      select(offset, offset);
    },
    /** Select the value at a pointer, or its nearest parent. */
    goToPointer(pointer) {
      const { key, value } = nearestPlace(placesOf(area.value), pointer);
      const open = "{[".includes(area.value[value[0]]);
      select((key ?? value)[0], open ? value[0] + 1 : value[1]);
    },
  };
}

/** Line and column of an offset, both from 1. */
export function lineAndColumn(text, offset) {
  const before = text.slice(0, offset).split("\n");
  return { line: before.length, column: [...before.at(-1)].length + 1 };
}

/** The offset of a line and column; a character may take two UTF-16 units. */
export function offsetOf(text, line, column) {
  const lines = text.split("\n");
  const above = lines.slice(0, line - 1).reduce((sum, one) => sum + one.length + 1, 0);
  return above + [...(lines[line - 1] ?? "")].slice(0, column - 1).join("").length;
}
