// Talks with the service, which is always where the page came from.

/** What RFC 9457 calls a problem, thrown. */
export class Problem extends Error {
  constructor(told) {
    super(told.detail ?? told.title);
    this.told = told;
  }
}

// In memory only: it is gone when the page is left.
let token = "";

/** Send this bearer token from now on. */
export function useToken(given) {
  token = given.trim();
}

/** The answer to a request, with text in `text`; throws Problem for every answer that is no success. */
export async function ask(path, { method = "GET", body, type = "application/json", accept, signal } = {}) {
  const headers = { Accept: accept ?? "application/json" };
  if (body !== undefined) headers["Content-Type"] = type;
  if (token) headers.Authorization = `Bearer ${token}`;
  let response;
  try {
    response = await fetch(path, { method, headers, body, signal, credentials: "same-origin" });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new Problem({ title: "The service did not answer", detail: "Is it running, and is the network there?" });
  }
  const text = await response.text();
  if (response.status === 401) document.dispatchEvent(new CustomEvent("tokenwanted"));
  if (!response.ok) throw new Problem(problemOf(response, text));
  return { response, text };
}

/** The JSON of an answer to JSON text. */
export async function post(path, body, options = {}) {
  return JSON.parse((await ask(path, { ...options, method: "POST", body })).text);
}

/** The JSON published under a path. */
export async function get(path) {
  return JSON.parse((await ask(path)).text);
}

function problemOf(response, text) {
  try {
    const told = JSON.parse(text);
    if (told && typeof told === "object" && told.title) return told;
  } catch {
    // A server in between may answer in a shape of its own.
  }
  return { title: `The answer was ${response.status}`, detail: response.statusText || "No reason was given." };
}
