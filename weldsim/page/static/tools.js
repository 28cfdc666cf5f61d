// Elements, requests and small words, shared by all parts of the page.
const SVG = "http://www.w3.org/2000/svg";

function fill(element, props, children) {
  for (const [name, value] of Object.entries(props || {})) {
    if (value === undefined || value === null || value === false) continue;
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (name === "text") element.textContent = value;
    else if (name === "value" || name === "checked" || name === "open") element[name] = value;
    else element.setAttribute(name, value === true ? "" : value);
  }
  for (const child of children.flat(3)) {
    if (child !== null && child !== undefined && child !== false) element.append(child);
  }
  return element;
}
export const h = (tag, props, ...children) => fill(document.createElement(tag), props, children);
export const s = (tag, props, ...children) => fill(document.createElementNS(SVG, tag), props, children);

// New children of an element; what is not there is left out.
export const put = (element, ...children) => element.replaceChildren(
  ...children.flat(3).filter((c) => c !== null && c !== undefined && c !== false));

export class Refused extends Error {
  constructor(text, status, body) { super(text); this.status = status; this.body = body; }
}

export async function ask(path, body) {
  const plan = body === undefined ? {} : { method: "POST", body: JSON.stringify(body),
    headers: { "content-type": "application/json", "x-weldsim": "page" } };
  let answer;
  try {
    answer = await fetch(path, plan);
  } catch {
    throw new Refused("no answer: is weldsim serve still running?", 0, {});
  }
  const data = await answer.json().catch(() => ({}));
  if (!answer.ok) throw new Refused(data.error || `refused (${answer.status})`, answer.status, data);
  return data;
}

// Told to screen readers.
export function say(text) {
  const place = document.getElementById("said");
  place.textContent = "";
  setTimeout(() => { place.textContent = text; }, 30);
}

export function later(work, wait) {
  let timer = 0;
  const call = (...args) => { clearTimeout(timer); timer = setTimeout(() => work(...args), wait); };
  call.cancel = () => clearTimeout(timer);
  return call;
}

// A time span as a person says it.
export function span(seconds) {
  if (seconds === null || seconds === undefined || !isFinite(seconds)) return "";
  if (seconds < 1) return "a moment";
  if (seconds < 90) return `${Math.round(seconds)} s`;
  if (seconds < 5400) return `${Math.round(seconds / 60)} min`;
  return `${(seconds / 3600).toFixed(1)} h`;
}

export function figure(value, digits) {
  if (value === null || value === undefined) return "none";
  const size = Math.abs(value);
  const places = digits ?? (size >= 100 ? 0 : size >= 10 ? 1 : size >= 1 ? 2 : 3);
  return value.toFixed(places).replace("-", "−");
}

export function saveText(name, text, type) {
  const link = h("a", { href: URL.createObjectURL(new Blob([text], { type })), download: name });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(link.href), 2000);
}

export const STATES = { waiting: "waiting", running: "computing", drawing: "solved, drawing pictures",
  done: "done", stopped: "stopped", failed: "failed" };
export const KINDS = { look: "quick look", rough: "rough run", run: "computed" };
