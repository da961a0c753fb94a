// Asking the desk: one token on every request, and an error that says what was given, needed and comes next.
let token = document.querySelector('meta[name="desk-token"]').content;

export class Refusal extends Error {
  constructor(status, body) {
    super((body && body.given) || "the desk gave status " + status);
    this.status = status;
    this.body = body || {};
    this.given = this.body.given || this.message;
    this.need = this.body.need || "";
    this.next = this.body.next_step || "";
    this.where = this.body.where || "";
  }
}

// The desk was started anew: its page holds a new token, if this browser may still have the page.
async function renewed() {
  try {
    const answer = await fetch("/", { cache: "no-store" });
    if (!answer.ok) return false;
    const found = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector('meta[name="desk-token"]');
    if (!found || found.content === token) return false;
    token = found.content;
    return true;
  } catch (error) {
    return false;
  }
}

async function send(method, path, body, bytes, signal) {
  const headers = { "X-Desk-Token": token };
  if (body !== undefined) headers["Content-Type"] = bytes ? "application/octet-stream" : "application/json";
  try {
    return await fetch(path, { method: method, headers: headers, cache: "no-store", signal: signal,
      body: body === undefined ? undefined : bytes ? body : JSON.stringify(body) });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new Refusal(0, { given: "the desk does not answer", need: "plumbrun desk running on this computer", next_step: "start it again; what you drew is kept here" });
  }
}

export async function api(method, path, body, options) {
  const bytes = options && options.bytes, signal = options && options.signal;
  let answer = await send(method, path, body, bytes, signal);
  if (answer.status === 403 && (await renewed())) answer = await send(method, path, body, bytes, signal);
  let found = null;
  try {
    found = await answer.json();
  } catch (error) {
    found = null;
  }
  if (!answer.ok) {
    if (answer.status === 403 && !found) found = {};
    throw new Refusal(answer.status, found);
  }
  return found;
}

export function query(given) {
  const found = new URLSearchParams();
  for (const [key, value] of Object.entries(given)) if (value !== undefined && value !== null && value !== "") found.set(key, value);
  const text = found.toString();
  return text ? "?" + text : "";
}
