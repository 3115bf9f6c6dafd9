// Builds elements. Text is never parsed as markup.

/** An element with attributes and children; functions become `on…` listeners, null and false are skipped. */
export function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (typeof value === "function") element.addEventListener(name.slice(2), value);
    else if (value === true) element.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) element.setAttribute(name, value);
  }
  element.append(...present(children));
  return element;
}

/** Replace the children of an element. */
export function fill(element, ...children) {
  element.replaceChildren(...present(children));
}

/** A table with caption and row headers; `figures` are the indices of numeric columns, from 0. */
export function table(caption, heads, rows, figures = []) {
  const cell = (tag, scope) => (value, index) =>
    make(tag, { scope, class: figures.includes(index) ? "figure" : null }, value);
  return make(
    "div",
    { class: "table", tabindex: "0", role: "region", "aria-label": caption },
    make(
      "table",
      {},
      make("caption", {}, caption),
      make("thead", {}, make("tr", {}, ...heads.map(cell("th", "col")))),
      make(
        "tbody",
        {},
        ...rows.map(([first, ...rest]) =>
          make("tr", {}, make("th", { scope: "row" }, first), ...rest.map((value, i) => cell("td")(value, i + 1))),
        ),
      ),
    ),
  );
}

/** A description list of terms and their values. */
export function terms(pairs, className = "terms") {
  return make(
    "dl",
    { class: className },
    ...pairs.map(([term, ...told]) => make("div", {}, make("dt", {}, term), ...told.map((one) => make("dd", {}, one)))),
  );
}

function present(children) {
  return children.flat(Infinity).filter((child) => child !== null && child !== undefined && child !== false);
}
