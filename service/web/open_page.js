// Opens an answer in HTML as a page of its own, without the service keeping anything.
import { ask, Problem } from "./api.js";
import { fill, make } from "./elements.js";

/** Ask for the HTML of an answer and open it; where the browser holds back new windows, offer a link. */
export async function openPage(path, body, note) {
  fill(note);
  try {
    const accept = "text/html, application/problem+json";
    const { text } = await ask(path, { method: "POST", body, accept });
    const address = URL.createObjectURL(new Blob([text], { type: "text/html" }));
    if (window.open(address)) return;
    fill(note, make("a", { href: address, target: "_blank" }, "The report is ready: open it"));
  } catch (error) {
    if (!(error instanceof Problem)) throw error;
    fill(note, error.told.detail);
  }
}
