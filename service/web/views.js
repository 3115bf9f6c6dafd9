// Shows one view at a time, by the fragment of the address up to its content, and fires its event "shown".

/** Follow the address; without a known fragment, show the first view. */
export function followAddress(views, links) {
  function show() {
    const wanted = views.find((view) => `#${view.id}` === location.hash.split("=")[0]) ?? views[0];
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
