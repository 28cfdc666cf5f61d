// Elements, requests and small words, shared by all parts of the page.
const SVG = "http://www.w3.org/2000/svg";

function fill(element, props, children) {
  for (const [name, value] of Object.entries(props || {})) {
    if (value === undefined || value === null || value === false) continue;
    if (name.startsWith("on")) element[name] = value;
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

// A colour of the house where a variable of CSS is not understood: on a canvas.
export const paint = (name) =>
  getComputedStyle(document.documentElement).getPropertyValue("--" + name).trim();

// New children of an element. Where one of the same sort and `data-key` stands already it stays and
// takes on texts, attributes and handlers, so that nothing goes from under a pointer or a focus.
export function renew(element, ...children) {
  const active = document.activeElement, path = [];
  for (let at = active; at !== element && element.contains(at); at = at.parentElement) {
    path.push([at.parentElement, [...at.parentElement.children].indexOf(at)]);
  }
  into(element, [...h("div", {}, children).childNodes]);
  if (!path.length || (document.activeElement === active && !active.disabled)) return;
  for (const [parent, i] of path) { // what had the focus is gone or off: on to what is nearest
    if (!element.contains(parent)) continue;
    const near = firstIn(parent.children[Math.min(i, parent.children.length - 1)]) || firstIn(parent);
    if (near) return near.focus();
  }
}
const REACHED = "a[href], button:not(:disabled), select:not(:disabled), input:not(:disabled), summary, [tabindex]";
const firstIn = (element) => element && (element.matches(REACHED) ? element : element.querySelector(REACHED));
const keyOf = (node) => (node.dataset ? node.dataset.key : undefined);

function into(element, fresh) {
  const old = [...element.childNodes], plain = old.filter((n) => !keyOf(n));
  const keyed = new Map(old.filter(keyOf).map((n) => [keyOf(n), n]));
  const kept = fresh.map((node) => {
    const was = keyOf(node) ? keyed.get(keyOf(node)) : plain.shift();
    if (!was || was.nodeName !== node.nodeName) return node;
    become(was, node);
    return was;
  });
  for (const node of old) if (!kept.includes(node)) node.remove();
  let at = element.firstChild;
  for (const node of kept) {
    if (node === at) at = at.nextSibling;
    else element.insertBefore(node, at);
  }
}
function become(was, node) {
  if (was.nodeType === Node.TEXT_NODE) {
    if (was.data !== node.data) was.data = node.data;
    return;
  }
  const own = (name) => was.nodeName === "DETAILS" && name === "open"; // the reader's choice
  for (const name of was.getAttributeNames()) if (!node.hasAttribute(name) && !own(name)) was.removeAttribute(name);
  for (const { name, value } of node.attributes) if (was.getAttribute(name) !== value && !own(name)) was.setAttribute(name, value);
  for (const name of ["onclick", "onchange", "onkeydown", "ontoggle"]) was[name] = node[name];
  into(was, [...node.childNodes]);
  const chosen = was.nodeName === "SELECT" && [...was.options].find((o) => o.hasAttribute("selected"));
  if (chosen && was.value !== chosen.value) was.value = chosen.value;
}

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

// The same again until the other side has time, unless `stale` says that it is not asked for any more.
export async function askPatiently(path, body, stale, told) {
  for (let wait = 700; ; wait = Math.min(2 * wait, 6000)) {
    try {
      return await ask(path, body);
    } catch (error) {
      if (error.status !== 503 || stale()) throw error;
      if (told) told(error.message);
    }
    await new Promise((done) => setTimeout(done, wait));
    if (stale()) throw new Refused("not asked for any more", 503, {});
  }
}

// One piece of work at a time; of those that come meanwhile only the newest is done.
export function newest() {
  let busy = false, next = null;
  return async (work) => {
    next = work;
    if (busy) return;
    busy = true;
    try {
      while (next) {
        const now = next;
        next = null;
        await now();
      }
    } finally { busy = false; }
  };
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
  if (seconds < 1) return "1 s";
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
// The state of a job in words; one that is solved lets waiting runs go before its pictures.
export const stateOf = (job) => (job.stopping ? "stopping" : job.later ? "solved, pictures follow" : STATES[job.state]);
export const KINDS = { look: "preview", rough: "coarse run", run: "run", plan: "best sequence",
  next: "what to weld next", why: "why it moved", preset: "preset", clamps: "where to clamp", correct: "correction", heats: "heat sweep", fit: "fit to measurements", band: "spread from part to part" };
