// Requests to the service that served the page.

/** A problem document (RFC 9457) as an error. */
export class Problem extends Error {
  constructor(document) {
    super(document.detail ?? document.title);
    this.document = document;
  }
}

// Kept in memory only, until the page is closed.
let token = "";

/** Send this bearer token with every later request. */
export function useToken(given) {
  token = given.trim();
}

/** Response and body text of a request; throws Problem on any status but 2xx. */
export async function send(path, { method = "GET", body, type = "application/json", accept, signal } = {}) {
  const headers = { Accept: accept ?? "application/json" };
  if (body !== undefined) headers["Content-Type"] = type;
  if (token) headers.Authorization = `Bearer ${token}`;
  let response;
  try {
    response = await fetch(path, { method, headers, body, signal, credentials: "same-origin" });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new Problem({ title: "No response from the service", detail: "Check that the service is running and the network is up." });
  }
  const text = await response.text();
  if (response.status === 401) document.dispatchEvent(new CustomEvent("tokenrequired"));
  if (!response.ok) throw new Problem(problemOf(response, text));
  return { response, text };
}

/** The JSON response to a JSON body. */
export async function post(path, body, options = {}) {
  return JSON.parse((await send(path, { ...options, method: "POST", body })).text);
}

/** The JSON resource at a path. */
export async function get(path) {
  return JSON.parse((await send(path)).text);
}

function problemOf(response, text) {
  try {
    const parsed = JSON.parse(text);
    if (parsed && typeof parsed === "object" && parsed.title) return parsed;
  } catch {
    // A proxy in between may respond in another format.
  }
  return { title: `HTTP status ${response.status}`, detail: response.statusText || "The response gives no reason." };
}
