// The [plan] section of the case: what may vary, what counts, how finely. Edited where the case is.
import { costText } from "./costs.js";
import { ask, askPatiently, h, later, say } from "./tools.js";
import { VaryForm } from "./vary_form.js";

const RANKING = ["sketch", "coarse", "quick", "normal"], CONFIRM = ["coarse", "quick", "normal", "fine"];
// From the surest to the quickest: grade of the ranking, how many are run again, at which grade.
const LADDER = [["coarse", 3, "normal"], ["coarse", 3, "quick"], ["coarse", 2, "quick"], ["sketch", 2, "quick"], ["sketch", 2, "coarse"], ["sketch", 0, undefined]];

// A refusal with the labels of the page for the keys of the case.
const LABELS = { measure: "reading that must end at zero", size: "length it holds for", before: "seams in this sequence", first: "welded first", last: "welded last",
  grade: "grade of the ranking", confirm: "best ones run again, finer", confirm_grade: "grade of these", longest: "cold within", pause: "pause (bars)", vary: "any other setting, with its values", limit: "hottest it may get", runs: "runs at most" };
export const inLabels = (text) => text.replace(/(?:\[plan\] )?\b([a-z_]+):/g, (whole, key) => (LABELS[key] || whole.startsWith("[") ? `${LABELS[key] || key}:` : whole));

export class PlanForm {
  // `bands()`: jobs that found how far the shop scatters.
  constructor(draft, usual, bands = () => []) {
    Object.assign(this, { draft, usual, bands, band: "", facts: null, unread: {} });
    this.box = h("div", { class: "choices" });
    this.told = h("p", { class: "note", role: "status" });
    this.minutes = h("input", { id: "plan-minutes", type: "text", inputmode: "decimal", autocomplete: "off", placeholder: "such as 20" });
    this.fits = h("span", { class: "note", role: "status" });
    this.root = h("div", { class: "plan-form" }, this.box, this.told, h("p", { class: "fit-time" }, h("label", { for: "plan-minutes", text: "I have" }), this.minutes, h("span", { text: "minutes" }),
      h("button", { type: "button", class: "plain", text: "Take the surest that fits", onclick: () => this.fit() }), this.fits));
    const kept = draft.tables.plan;
    this.plan = kept ? JSON.parse(JSON.stringify(kept)) : { ...usual.plan };
    this.soon = later(() => this.check(), 300);
    this.check(true);
  }
  // What the case is with this plan; what was typed and cannot be read is not passed over.
  asked() {
    const [fault] = Object.values(this.unread);
    if (fault) throw new Error(fault);
    return this.body();
  }
  body() { return { tables: { ...this.draft.tables, plan: this.plan }, band: this.band || undefined }; }

  set(key, value) {
    if (value === undefined || value === "" || (Array.isArray(value) && !value.length)) delete this.plan[key];
    else this.plan[key] = value;
    this.draft.tables.plan = JSON.parse(JSON.stringify(this.plan));
    if (this.draft.note) this.draft.note(`plan ${key}`);
    this.soon();
  }
  async check(first) {
    try {
      const found = await ask("/api/plan", { ...this.draft.body(), ...this.body() });
      if (found.ok) this.facts = found;
      const count = found.ok && found.sequences;
      this.told.textContent = found.ok ? `${count} ${count === 1 ? "sequence" : "sequences"} to compare${count > found.most ? `: too many to compute them all, so a search proposes ${found.trials} of them` : ""}; tolerance ${found.tolerance.replace("+-", "±")}.`
        : inLabels(found.messages.map((m) => m.text).join("; "));
      const unread = Object.values(this.unread);
      if (unread.length) this.told.textContent = unread.join("; ");
      this.told.className = found.ok && !unread.length ? "note" : "mistake";
      if (first || !this.box.children.length) this.form();
      this.root.dispatchEvent(new Event("plan"));
    } catch (error) {
      this.told.textContent = error.message;
      this.told.className = "mistake";
      if (!this.box.children.length) this.form();
    }
  }

  form() {
    const { plan, usual } = this, gauges = Object.keys(usual.gauges);
    const field = (key, label, input, sort) => h("div", { class: sort ? `field ${sort}` : "field" }, h("label", { for: `plan-${key}`, text: label }), input);
    const text = (key, label, hint, put, sort) => field(key, label, h("input", { id: `plan-${key}`, type: "text", autocomplete: "off", placeholder: hint, value: plan[key] ?? "", oninput: (e) => (put || ((v) => this.set(key, v.trim())))(e.target.value) }), sort);
    const pick = (key, label, list, blank) => field(key, label, h("select", { id: `plan-${key}`, onchange: (e) => this.set(key, e.target.value) },
      blank ? h("option", { value: "", text: blank }) : null, list.map((v) => h("option", { value: v, text: v, selected: plan[key] === v }))));
    const measures = [...new Set([plan.measure, ...gauges].filter(Boolean))];
    const all = usual.seams;
    this.box.replaceChildren(
      pick("measure", "reading that must end at zero", measures), text("tolerance", "tolerance", "such as 5 mm, 1 mrad, ISO 13920 A"), text("size", "length it holds for", "for an ISO 13920 class"),
      h("fieldset", { class: "seams" }, h("legend", { text: "Seams and the travels allowed" }), Object.entries(all).map(([seam, words]) => this.seam(seam, words, Object.keys(all)))),
      this.places("first", "welded first", Object.keys(all)), this.places("last", "welded last", Object.keys(all)),
      text("before", "seams in this sequence", "front before back; left before right", (v) => this.befores(v), "tall"),
      h("details", { class: "rare" }, h("summary", { text: "How finely, and what else may vary" }),
        pick("grade", "grade of the ranking", RANKING, `usual (${usual.grade || "coarse"})`), field("confirm", "best ones run again, finer", h("input", { id: "plan-confirm", type: "text", inputmode: "numeric", value: plan.confirm ?? "", placeholder: "3", oninput: (e) => this.set("confirm", whole(e.target.value)) })),
        pick("confirm_grade", "grade of these", CONFIRM, "usual"), field("extrapolate", "correct for the grade by the step from the grade below", h("select", { id: "plan-extrapolate", onchange: (e) => this.set("extrapolate", { yes: true, no: false }[e.target.value]) }, [["", "usual (yes)"], ["yes", "yes"], ["no", "no"]].map(([v, t]) => h("option", { value: v, text: t, selected: v === (plan.extrapolate === true ? "yes" : plan.extrapolate === false ? "no" : "") })))), this.spread(), text("longest", "cold within", "no limit"), text("pause", "pause (bars)", "as in the case"),
        h("div", { class: "field tall" }, h("span", { class: "as-label", text: "any other setting, with its values" }), new VaryForm(this.draft, plan.vary, (v) => this.set("vary", v)).root)));
    const before = this.box.querySelector("#plan-before");
    before.value = (plan.before || []).map((pair) => pair.join(" before ")).join("; ");
  }
  // Which band the odds count; how far a shop scatters is computed by a question of its own.
  spread() {
    const found = this.bands(), day = (t) => new Date(1000 * t).toLocaleString(undefined, { dateStyle: "medium", timeStyle: "short" });
    return h("div", { class: "field tall" }, h("label", { for: "plan-band", text: "scatter of the shop in the odds" }), h("select", { id: "plan-band", onchange: (e) => { this.band = e.target.value; } },
      h("option", { value: "", text: found.length ? "none: errors of rows alone" : "none yet: ask for it below" }), found.map((j) => h("option", { value: j.id, text: `${j.title}, ${day(j.made)}`, selected: j.id === this.band }))));
  }
  // The surest of the ladder that fits the time; the quickest where none does.
  async fit() {
    const seconds = 60 * Number(this.minutes.value.replace(",", "."));
    if (!(seconds > 0)) { this.fits.textContent = "Type how many minutes you have."; return; }
    this.fits.textContent = "estimating …";
    for (const [grade, confirm, finer] of LADDER) {
      this.plan = { ...this.plan, grade, confirm, confirm_grade: finer };
      if (!finer) delete this.plan.confirm_grade;
      try {
        const found = await askPatiently("/api/cost", { ...this.draft.body(), ...this.body(), kind: "plan" }, () => !this.root.isConnected);
        if (found.seconds > seconds && confirm) continue;
        this.fits.textContent = `${costText(found)}${found.seconds > seconds ? ": nothing quicker is left but fewer seams or travels" : ""}`;
      } catch (error) { this.fits.textContent = error.message; return; }
      break;
    }
    say(this.fits.textContent);
    this.set("grade", this.plan.grade);
    this.form();
  }
  // A seam takes part or not; of its travels one at least is allowed.
  seam(seam, words, every) {
    const { plan } = this, part = plan.seams || every, own = (plan.travel || {})[seam];
    const redo = () => {
      const box = this.box.querySelector(`[data-seam="${seam}"]`), ticked = [...box.querySelectorAll("input[data-word]")].filter((i) => i.checked).map((i) => i.dataset.word);
      const seams = [...this.box.querySelectorAll("input[data-part]")].filter((i) => i.checked).map((i) => i.dataset.part);
      this.set("seams", seams.length === every.length ? undefined : seams);
      const travel = { ...(this.plan.travel || {}) };
      if (ticked.length && ticked.length < words.length) travel[seam] = ticked;
      else delete travel[seam];
      this.set("travel", Object.keys(travel).length ? travel : undefined);
    };
    return h("div", { class: "seam-choice", "data-seam": seam }, h("label", { class: "who" }, h("input", { type: "checkbox", "data-part": seam, checked: part.includes(seam), onchange: redo }), ` ${seam}`),
      words.map((w) => h("label", {}, h("input", { type: "checkbox", "data-word": w, checked: !own || own.includes(w), onchange: redo }), ` ${w}`)));
  }
  places(key, label, seams) {
    const now = [].concat(this.plan[key] || []);
    return h("div", { class: "field" }, h("span", { class: "as-label", text: label }), h("span", { class: "ticks", role: "group", "aria-label": label }, seams.map((x) => h("label", {}, h("input", { type: "checkbox", checked: now.includes(x),
      onchange: (e) => this.set(key, e.target.checked ? [...[].concat(this.plan[key] || []), x] : [].concat(this.plan[key] || []).filter((y) => y !== x)) }), ` ${x}`))));
  }
  // Items between semicolons; one that cannot be read is told, since nobody would miss it.
  read(key, typed, such, take) {
    const items = typed.split(";").map((x) => x.trim()).filter(Boolean), bad = items.find((x) => !take(x));
    delete this.unread[key];
    if (bad) this.unread[key] = `${LABELS[key]}: '${bad}' is not allowed: write such as "${such}"`;
    return items.map(take).filter(Boolean);
  }
  befores(typed) {
    const pairs = this.read("before", typed, "front before back", (item) => { const pair = item.split(/\bbefore\b|</).map((x) => x.trim()); return pair.length === 2 && pair[0] && pair[1] ? pair : null; });
    this.set("before", pairs);
  }
}
const whole = (text) => (/^\d+$/.test(text.trim()) ? Number(text) : text.trim() || undefined);
