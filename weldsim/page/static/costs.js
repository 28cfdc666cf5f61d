// What a button costs before it is pressed: time on this machine, as the server estimates it.
import { askPatiently, h, later, renew, say, span } from "./tools.js";

const GRADES = ["sketch", "coarse", "quick", "normal", "fine"];

// Says beside a button what its work takes; `stale` says that nobody looks any more.
export async function costOf(body, place, stale) {
  place.textContent = "estimating the time …";
  const serial = place.costSerial = (place.costSerial || 0) + 1;
  try {
    const found = await askPatiently("/api/cost", body, stale);
    if (place.costSerial === serial) place.textContent = costText(found);
  } catch (error) {
    if (place.costSerial === serial) place.textContent = error.status === 503 ? "how long it takes cannot be said now" : `no estimate of the time: ${error.message}`;
  }
}
export function costText(found) {
  if (!found || found.seconds === null || found.seconds === undefined) return "";
  const whole = span(found.seconds + (found.pictures || 0));
  return [`about ${whole}`, found.pictures ? `(${span(found.pictures)} of it pictures)` : "", found.note || ""].filter(Boolean).join(" ");
}

// What was estimated last for a kind of joint, kept by the browser.
const KEPT = "weldsim times";
function kept(kind) {
  try { return new Map(Object.entries(JSON.parse(localStorage.getItem(KEPT) || "{}")[kind] || {})); } catch { return new Map(); }
}
function keep(kind, times) {
  try { localStorage.setItem(KEPT, JSON.stringify({ ...JSON.parse(localStorage.getItem(KEPT) || "{}"), [kind]: Object.fromEntries(times) })); } catch { /* kept for this page alone */ }
}

// On Set-up: what Preview, Coarse run and Compute take, and a grade that fits the time one has.
export class Times {
  constructor(setup) {
    Object.assign(this, { setup, found: new Map(), before: kept(setup.draft.kind), key: "", wanted: "", told: "" });
    this.line = h("span", { class: "cost kept", role: "status" });
    this.table = h("div", {});
    this.open = false;
    this.root = h("details", { class: "panel times", ontoggle: (e) => { this.open = e.target.open; if (this.open) this.every(); } },
      h("summary", { text: "How finely, and how long that takes" }), this.table);
    this.soon = later(() => this.estimate(), 900);
    this.show();
  }
  stale(key) { return () => key !== this.key || !this.line.isConnected; }
  get grade() { return this.setup.draft.get("solve", "grade") || "normal"; }
  // What the set-up says that takes time.
  now() {
    const { title, ...counts } = this.setup.draft.tables; // a title takes no time
    return JSON.stringify([{ ...counts, solve: { ...counts.solve, grade: "" } }, this.setup.draft.base]);
  }
  // The set-up has changed, or is shown again.
  update() {
    const key = this.now();
    if (key !== this.key) this.found.clear();
    this.key = key;
    this.show();
    this.soon();
  }
  async estimate() {
    for (const [name, body] of [["look", { kind: "look" }], [this.grade, { kind: "run", grade: this.grade }], ["coarse", { kind: "run", grade: "coarse" }]]) await this.one(name, body);
    if (this.open) this.every();
  }
  async every() { for (const grade of GRADES) await this.one(grade, { kind: "run", grade }); }
  async one(name, body) {
    const key = this.key;
    // what was typed since the last check may be a mistake: it is asked about once it was checked
    if (this.found.has(name) || !this.setup.good || this.now() !== key) return;
    this.found.set(name, null);
    try {
      const found = await askPatiently("/api/cost", this.setup.draft.body(body), this.stale(key));
      if (key === this.key) this.found.set(name, found);
      if (key === this.key && costText(found)) keep(this.setup.draft.kind, this.before.set(name, costText(found)));
    } catch (error) { if (key === this.key) this.found.set(name, { fault: error.message }); }
    if (key === this.key) this.show();
  }
  show() {
    const { look, rough, run } = this.setup.ui, parts = [["Preview", "look", look], ["Coarse run", "coarse", rough], [`Compute, grade ${this.grade}`, this.grade, run]];
    this.line.textContent = parts.map(([word, name]) => `${word}: ${this.said(name)}`).join(" · ");
    for (const [, name, button] of parts) button.title = [button.dataset.means ??= button.title, this.said(name)].filter(Boolean).join("; ");
    const minutes = h("input", { id: "time-i-have", type: "text", inputmode: "decimal", value: this.wanted, placeholder: "such as 10", oninput: (e) => { this.wanted = e.target.value; } });
    renew(this.table, h("p", { class: "fit-time" }, h("label", { for: "time-i-have", text: "I have" }), minutes, h("span", { text: "minutes" }),
      h("button", { type: "button", class: "plain", text: "Take the finest grade that fits", onclick: () => this.fit() })), this.told ? h("p", { class: "note", role: "status", text: this.told }) : null,
    h("div", { class: "scroll" }, h("table", {}, h("thead", {}, h("tr", {}, ["Grade", "Good for", "Takes", "Memory", ""].map((t) => h("th", { scope: "col", text: t })))),
      h("tbody", {}, GRADES.map((grade) => {
        const found = this.found.get(grade);
        return h("tr", { "data-key": grade, class: grade === this.grade ? "best" : "" }, h("th", { scope: "row", text: grade }), h("td", { text: this.setup.begin.grades[grade] }),
          h("td", { text: found ? found.fault || costText(found) : this.open ? "…" : "" }), h("td", { text: found && found.memory ? `${(found.memory / 1e9).toFixed(1)} GB` : "" }),
          h("td", {}, grade === this.grade ? "taken" : h("button", { type: "button", class: "plain", "data-key": "take", text: "Take it", "aria-label": `Take grade ${grade}`, onclick: () => this.take(grade) })));
      })))), h("p", { class: "note", text: "Times are estimates, good to a factor of two and better once this machine has computed a few runs. What is stopped resumes where it was." }));
  }
  // What a button takes, from the first moment on: what was estimated last for such a joint stands
  // until the estimate has come.
  said(name) {
    const found = this.found.get(name);
    if (this.setup.good === false) return "time known when the entries are right";
    if (!found) return this.before.has(name) ? `last time ${this.before.get(name)}, being estimated …` : "time being estimated …";
    return costText(found) || (found.fault ? `no estimate of the time (${found.fault})` : "time not known");
  }
  take(grade) {
    this.setup.draft.set("solve", "grade", grade);
    this.setup.changed(true);
    say(`grade ${grade}`);
    this.show();
  }
  async fit() {
    const seconds = 60 * Number(String(this.wanted).replace(",", "."));
    if (!(seconds > 0)) { this.told = "Type how many minutes you have."; return this.show(); }
    this.told = "estimating …";
    this.show();
    await this.every();
    const whole = (g) => { const f = this.found.get(g); return f && f.seconds !== undefined ? f.seconds + (f.pictures || 0) : Infinity; };
    const fits = GRADES.filter((g) => whole(g) <= seconds);
    this.told = fits.length ? `Grade ${fits.at(-1)} takes about ${span(whole(fits.at(-1)))}.` : `Nothing fits: grade sketch takes about ${span(whole("sketch"))}. Take Preview, or a shorter end of the run.`;
    if (fits.length && fits.at(-1) !== this.grade) this.take(fits.at(-1));
    this.show();
  }
}
