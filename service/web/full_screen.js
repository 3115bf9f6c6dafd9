// A drawing over the whole window: zoom by wheel, pinch, buttons and + - 0, pan by dragging and arrow keys, Esc leaves.
import { make } from "./base.js";

const STEP = 1.25;
const MOST = 12;
const PAN_PX = 80;
const WHEEL_PX = 400;
// A press that moves less is a click.
const DRAG_PX = 4;

/** Show the box of a drawing over the window; it goes back to its place when that is left. */
export function showFullScreen(paper, name) {
  const sheet = paper.firstElementChild;
  const place = document.createComment("drawing");
  const shown = make("output", { "aria-live": "polite" });
  const button = (words, sign, run) => make("button", { type: "button", "aria-label": words, title: words, onclick: run }, sign);
  const dialog = make(
    "dialog",
    { class: "full-screen", "aria-label": name },
    make(
      "p",
      { class: "actions" },
      button("Zoom out (-)", "−", () => zoom(scale / STEP)),
      shown,
      button("Zoom in (+)", "+", () => zoom(scale * STEP)),
      button("Whole drawing (0)", "Fit", () => zoom(1)),
      button("Close (Esc)", "Close", () => dialog.close()),
    ),
  );
  const held = new Map();
  let scale = 1;
  let dragged = false;

  /** Width at which the whole drawing is seen. */
  const fitting = () => {
    const aspect = sheet.offsetWidth / Math.max(1, sheet.offsetHeight);
    return Math.max(80, Math.min(paper.clientWidth, paper.clientHeight * aspect));
  };

  /** Zoom, with the point at these coordinates of the window kept in its place. */
  function zoom(wanted, x = null, y = null) {
    const box = paper.getBoundingClientRect();
    const [left, top] = [x ?? box.left + box.width / 2, y ?? box.top + box.height / 2];
    const before = sheet.getBoundingClientRect();
    const [across, down] = [(left - before.left) / before.width, (top - before.top) / before.height];
    scale = Math.min(MOST, Math.max(1, wanted));
    sheet.style.width = `${fitting() * scale}px`;
    const after = sheet.getBoundingClientRect();
    paper.scrollBy(after.left + across * after.width - left, after.top + down * after.height - top);
    shown.textContent = `${Math.round(100 * scale)} %`;
  }

  const listening = new AbortController();
  const listen = (target, event, run, options = {}) => target.addEventListener(event, run, { ...options, signal: listening.signal });
  const between = () => {
    const [one, other] = [...held.values()];
    return { apart: Math.hypot(one.x - other.x, one.y - other.y), x: (one.x + other.x) / 2, y: (one.y + other.y) / 2 };
  };

  listen(paper, "wheel", (event) => {
    event.preventDefault();
    const pixels = event.deltaMode === WheelEvent.DOM_DELTA_PIXEL ? event.deltaY : event.deltaY * 30;
    zoom(scale * Math.exp(-pixels / (event.ctrlKey ? WHEEL_PX / 4 : WHEEL_PX)), event.clientX, event.clientY);
  }, { passive: false });
  listen(paper, "pointerdown", (event) => {
    if (event.target.closest("input, form") || event.button > 0) return;
    held.set(event.pointerId, { x: event.clientX, y: event.clientY });
    dragged = held.size > 1;
  });
  listen(dialog, "pointermove", (event) => {
    const last = held.get(event.pointerId);
    if (!last) return;
    const [x, y] = [event.clientX, event.clientY];
    if (!dragged && Math.hypot(x - last.x, y - last.y) < DRAG_PX) return;
    dragged = true;
    if (held.size === 2) {
      const before = between();
      held.set(event.pointerId, { x, y });
      const after = between();
      paper.scrollBy(before.x - after.x, before.y - after.y);
      zoom(scale * (after.apart / Math.max(1, before.apart)), after.x, after.y);
      return;
    }
    held.set(event.pointerId, { x, y });
    paper.scrollBy(last.x - x, last.y - y);
  });
  for (const event of ["pointerup", "pointercancel"]) listen(dialog, event, ({ pointerId }) => held.delete(pointerId));
  // What ends a drag over a dimension does not open it.
  listen(paper, "click", (event) => {
    if (!dragged) return;
    dragged = false;
    event.stopPropagation();
    event.preventDefault();
  }, { capture: true });
  listen(paper, "dragstart", (event) => event.preventDefault());
  listen(dialog, "keydown", (event) => {
    if (event.target.closest("input") || event.ctrlKey || event.metaKey || event.altKey) return;
    const run = {
      "+": () => zoom(scale * STEP),
      "=": () => zoom(scale * STEP),
      "-": () => zoom(scale / STEP),
      0: () => zoom(1),
      ArrowLeft: () => paper.scrollBy(-PAN_PX, 0),
      ArrowRight: () => paper.scrollBy(PAN_PX, 0),
      ArrowUp: () => paper.scrollBy(0, -PAN_PX),
      ArrowDown: () => paper.scrollBy(0, PAN_PX),
    }[event.key];
    if (!run) return;
    event.preventDefault();
    run();
  });
  listen(window, "resize", () => zoom(scale));
  listen(dialog, "close", () => {
    listening.abort();
    sheet.style.width = "";
    place.replaceWith(paper);
    dialog.remove();
  });

  const least = parseFloat(getComputedStyle(sheet).minWidth) || 0;
  paper.replaceWith(place);
  dialog.append(paper);
  (place.parentElement.closest("section") ?? document.body).append(dialog);
  dialog.showModal();
  paper.focus();
  // The text is large enough to read from the start, also on a small screen.
  zoom(1);
  zoom(least / fitting());
  paper.scrollTo(0, 0);
}
