// Questions about the case that is set up: which sequence, which preset, where to clamp, how to correct.
import { BandForm } from "./band_form.js";
import { cautionLine } from "./cautions.js";
import { costOf } from "./costs.js";
import { inLabels, PlanForm } from "./plan_form.js";
import { beginStudy, studyTitle } from "./study.js";
import { ask, askPatiently, h, renew, say, STATES } from "./tools.js";

const GRADES = ["sketch", "coarse", "quick", "normal", "fine"];
const OPEN = ["waiting", "running", "drawing"];

export class Ask {
  // `draft` is null where nothing is set up; `jobs()` gives the queue.
  constructor(draft, go, jobs) {
    Object.assign(this, { draft, go, jobs, live: true, usual: null, options: { grade: "coarse" } });
    this.ui = { cards: h("div", { class: "questions" }), list: h("section", { class: "panel" }) };
    this.root = h("div", { class: "start ask" }, h("h1", { text: draft ? `Questions about: ${draft.tables.title || draft.kind}` : "Questions" }), this.ui.cards, this.ui.list, cautionLine());
    this.update();
    if (draft) this.begin();
    else renew(this.ui.cards, h("p", {}, "Set up a joint first, from ", h("a", { href: "#start", text: "the first page" }), ". Questions about a run stand beside it."));
  }
  close() { this.live = false; }

  update() {
    const found = this.jobs().filter((j) => !["run", "rough", "look"].includes(j.kind)).reverse();
    renew(this.ui.list, h("h2", { text: "Asked before" }), found.length ? h("ul", { class: "files" }, found.map((j) => h("li", { "data-key": j.id },
      h("a", { href: `#study/${j.id}`, text: `${studyTitle(j.kind)}: ${j.title}` }), h("span", { class: "note", text: ` ${[j.change, new Date(1000 * j.made).toLocaleString(undefined, { dateStyle: "medium", timeStyle: "short" }), OPEN.includes(j.state) ? `${STATES[j.state]} ${Math.round(100 * j.share)} %` : STATES[j.state]].filter(Boolean).join(", ")}` })))) : h("p", { class: "note", text: "Nothing yet." }));
  }

  async begin() {
    renew(this.ui.cards, h("p", { class: "note", text: "Reading the case …" }));
    try {
      this.usual = (await askPatiently("/api/plan", this.draft.body(), () => !this.live)).usual;
    } catch (error) {
      return renew(this.ui.cards, h("p", { class: "mistake", text: error.message }), h("p", {}, h("a", { href: "#setup", text: "Back to the set-up" })));
    }
    if (this.live) this.cards();
  }

  cards() {
    const gauges = Object.keys(this.usual.gauges);
    if (!gauges.length) {
      return renew(this.ui.cards, h("p", { class: "mistake", text: "No gauge of this case reads movement: add a pointer, dial, bow or gap on Set-up, so that there is something to end true." }));
    }
    const bands = () => this.jobs().filter((j) => j.kind === "band" && j.state === "done").reverse();
    this.plan = new PlanForm(this.draft, this.usual, bands);
    const open = new Set(this.usual.asks || []);
    const plan = this.card("plan", "Which seam first, which way?", "Computes the sequences and travels that you allow, ranks them and says how sure that is. Every weld that is computed is kept.",
        this.plan.root, () => ({ kind: "plan", ...this.plan.asked() }));
    this.ui.cards.replaceChildren(plan, h("div", { class: "question-columns" },
      this.card("preset", "What preset before welding?", "A tilt or a bend before welding that the welds take out again, checked by runs.",
        this.search("preset", gauges), () => this.body("preset")),
      ...(open.has("clamps") ? [this.card("clamps", "Where to clamp it?", "Runs with further faces clamped until the part is cold.", this.search("clamps", gauges), () => this.body("clamps"))] : []),
      this.card("band", "How far does it scatter from part to part?", "Runs with heat, speed, fit-up and metal as far off as a shop's are: between what nine of ten parts end, and what explains the spread.", this.band(), () => this.body("band")),
      this.card("correct", "It is welded and has moved: how to bring it back?", "A heating line, or one more bead: where, and what to expect of it.", this.search("correct", gauges), () => this.body("correct")),
      ...(open.has("heats") ? [this.card("heats", "How does heat change it?", "The same bar at several heats: along the travel against toward the bead.", h("div", {}, this.grade("heats")), () => this.body("heats"))] : [])));
  }

  // One question: its words, its choices, what it costs, and its button.
  card(kind, head, words, choices, body) {
    const told = h("p", { class: "mistake", role: "status", hidden: true }), cost = h("span", { class: "cost", role: "status" });
    const button = h("button", { type: "button", class: kind === "plan" ? "first" : "second", text: kind === "plan" ? "Find the best sequence" : "Compute", "aria-label": `${kind === "plan" ? "Find the best sequence" : "Compute"}: ${head}`, onclick: async () => {
      button.disabled = true;
      told.hidden = true;
      try {
        await beginStudy({ ...this.draft.whole(), ...body() }, this.go, () => !this.live);
      } catch (error) {
        const more = inLabels(error.body && error.body.messages ? error.body.messages.map((m) => m.text).join("; ") : error.message);
        told.textContent = more;
        told.hidden = false;
        say(more);
      }
      button.disabled = false;
    } });
    const price = () => {
      try { costOf({ ...this.draft.body(), ...body() }, cost, () => !this.live || !cost.isConnected); } catch { cost.textContent = ""; }
    };
    choices.addEventListener("change", price);
    choices.addEventListener("plan", price);
    const box = h("section", { class: "panel question", "data-kind": kind }, h("h2", { text: head }), h("p", { class: "note", text: words }), choices,
      h("p", { class: "buttons" }, button, cost), told);
    setTimeout(price, 0);
    return box;
  }

  body(kind) { return { kind, ...this.options[kind] }; }
  grade(kind, grades = GRADES) {
    const own = this.options[kind] ??= { grade: "coarse" };
    return this.field(kind, "grade", "grade", h("select", { id: `ask-${kind}-grade`, onchange: (e) => { own.grade = e.target.value; } },
      grades.map((g) => h("option", { value: g, text: g, selected: g === own.grade }))));
  }
  field(kind, key, label, input) { return h("div", { class: "field" }, h("label", { for: `ask-${kind}-${key}`, text: label }), input); }
  band() {
    const own = this.options.band ??= { grade: "coarse", sample: 24 };
    const runs = this.field("band", "sample", "runs", h("select", { id: "ask-band-sample", onchange: (e) => { own.sample = Number(e.target.value); } }, [12, 24, 48, 96].map((n) => h("option", { value: n, text: String(n), selected: n === own.sample }))));
    const finer = this.field("band", "finer", "one run finer, for the grade's error", h("select", { id: "ask-band-finer", onchange: (e) => { own.finer = e.target.value; } }, [["", "one grade finer"], ["none", "none"]].map(([v, t]) => h("option", { value: v, text: t }))));
    return h("div", { class: "choices" }, this.grade("band", GRADES.slice(0, -1)), runs, finer, new BandForm(this.draft, own, () => this.live).root);
  }
  search(kind, gauges) {
    const own = this.options[kind] ??= { grade: "coarse" };
    const keep = (key) => (e) => { own[key] = key === "runs" ? Number(e.target.value) : e.target.value; };
    const text = (key, label, hint) => this.field(kind, key, label, h("input", { id: `ask-${kind}-${key}`, type: "text", autocomplete: "off", placeholder: hint, value: own[key] || "", oninput: keep(key) }));
    const pick = (key, label, list) => this.field(kind, key, label, h("select", { id: `ask-${kind}-${key}`, onchange: keep(key) }, list.map(([v, t]) => h("option", { value: v, text: t, selected: own[key] === v }))));
    own.gauge ??= gauges[0];
    if (kind === "preset") own.runs ??= 4;
    return h("div", { class: "choices" }, pick("gauge", "reading that must end at zero", gauges.map((g) => [g, g])), text("tolerance", "tolerance", `blank: ${this.usual.gauges[own.gauge]}`), this.grade(kind),
      kind === "preset" ? pick("runs", "runs at most", [2, 3, 4, 6, 8, 10].map((n) => [n, String(n)])) : null,
      kind === "correct" ? [pick("line", "by", [["line", "a heating line"], ["bead", "one more bead"]]), own.line === "bead" ? null : text("limit", "hottest it may get", "metal's own")] : null);
  }
}

export async function plansOfWork() { return (await ask("/api/shelf")).plans || []; }
