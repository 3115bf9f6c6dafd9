// Shows one view at a time, the one that the address names after its "#", and tells it by the event "shown".

/** Follow the address; the first view is shown where it names none. */
export function followAddress(views, links) {
  function show() {
    const wanted = views.find((view) => `#${view.id}` === location.hash) ?? views[0];
    for (const view of views) view.hidden = view !== wanted;
    wanted.dispatchEvent(new Event("shown"));
    for (const link of links) {
      if (link.hash === `#${wanted.id}`) link.setAttribute("aria-current", "page");
      else link.removeAttribute("aria-current");
    }
  }
  addEventListener("hashchange", () => {
    show();
    views.find((view) => !view.hidden).querySelector("h2").focus();
  });
  show();
}
