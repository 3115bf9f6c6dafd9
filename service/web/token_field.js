// Asks for a bearer token when the service wants one, and keeps it in memory only.
import { useToken } from "./api.js";

/** Show the form when a token is wanted; `again` is called when one was given. */
export function createTokenField(form, again) {
  const input = form.querySelector("input");
  document.addEventListener("tokenwanted", () => {
    if (!form.hidden) return;
    form.hidden = false;
    input.focus();
  });
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    useToken(input.value);
    input.value = "";
    form.hidden = true;
    again();
  });
}
