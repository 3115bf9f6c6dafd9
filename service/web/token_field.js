// A field for the bearer token, which is kept in memory only.
import { useToken } from "./api.js";

/** Show the form when the service requires a token; calls `again` once it is entered. */
export function createTokenField(form, again) {
  const input = form.querySelector("input");
  document.addEventListener("tokenrequired", () => {
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
