// Opens an HTML report in a new window; the service stores nothing.
import { Problem, send } from "./api.js";
import { fill, make } from "./elements.js";

/** Request the HTML report and open it; if the browser blocks the window, show a link. */
export async function openPage(path, body, note) {
  fill(note);
  try {
    const accept = "text/html, application/problem+json";
    const { text } = await send(path, { method: "POST", body, accept });
    const address = URL.createObjectURL(new Blob([text], { type: "text/html" }));
    if (window.open(address)) return;
    fill(note, make("a", { href: address, target: "_blank" }, "Open the report"));
  } catch (error) {
    if (!(error instanceof Problem)) throw error;
    fill(note, error.document.detail);
  }
}
