// Makes elements. Text stays text: nothing an answer says becomes markup.

/** An element with attributes and children; `on…` attributes are listeners, null and false are left out. */
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

/** Replace what an element holds. */
export function fill(element, ...children) {
  element.replaceChildren(...present(children));
}

/** A table with a caption and a row header; `figures` are the columns set as figures, from 0. */
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

/** A list of term and description. */
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
