// Watch: a run while it is computed and after, and what if something were changed, side by side.
import { besidePanel } from "./beside.js";
import { cautionLine } from "./cautions.js";
import { Draft } from "./draft.js";
import { keepOpenDraft } from "./drafts.js";
import { Pane } from "./pane.js";
import { readingsTable, said } from "./readings.js";
import { RunQuestions } from "./run_questions.js";
import { ask, askPatiently, h, KINDS, renew, say } from "./tools.js";
import { onUnits, units } from "./units.js";
import { WhatIf } from "./whatif.js";

const FILES = { report: "Report", case: "Case file", pictures: "Pictures", animation: "Animation", gauges: "Readings (CSV)", sheet: "Bench sheet (to print)" };
const SHOWN = { report: "open=1", sheet: "open=1" }; // in a tab; the rest is saved

const fileLink = (id, f) => (SHOWN[f] ? h("a", { href: `/api/runs/${id}/file/${f}?${SHOWN[f]}&units=${units()}`, target: "_blank", rel: "noopener", text: FILES[f] })
  : h("a", { href: `/api/runs/${id}/file/${f}`, download: true, text: FILES[f] || f }));

export class Watch {
  constructor(id, go) {
    // draft: null not asked yet, false not to be had, or not yet where `retry` waits; told: beside buttons
    Object.assign(this, { id, go, draft: null, fault: "", retry: 0, told: {}, busy: false });
    this.boxes = [h("div", { class: "box" }), h("div", { class: "box" })];
    this.whatPanel = h("section", { "data-key": "what if", class: "panel", hidden: true });
    this.side = h("div", { class: "side", hidden: true }, this.boxes[0], this.whatPanel, this.boxes[1]);
    this.pane = new Pane(id, false, () => this.more());
    this.questions = new RunQuestions(id, go, () => { if (this.draft) { this.draft.keep(); this.go("#ask"); } });
    onUnits(() => this.more(), () => this.pane.live);
    this.root = h("div", { class: "watch" }, this.pane.root, this.side, cautionLine());
  }
  close() { clearTimeout(this.retry); this.pane.close(); }

  async more() {
    if (!this.pane.summary) return;
    if (this.draft === null) await (this.asked ??= this.read());
    const { summary, job, live } = this.pane;
    const key = JSON.stringify([units(), summary, job && job.state, Boolean(this.draft), this.fault, this.retry, this.told, this.busy]);
    if (!live || key === this.key) return;
    this.key = key;
    this.side.hidden = false;
    renew(this.boxes[0], this.wordsOf(summary));
    this.whatIf(summary);
    const over = summary.status === "complete" && (this.beside ??= besidePanel(this.id, this.go));
    renew(this.boxes[1], over || null, this.asks(summary, job), this.files(summary));
  }
  // The case of the run, for what may be changed in it: once, again only where nobody had an answer.
  async read(wait = 1000) {
    try {
      const found = await ask(`/api/runs/${this.id}/case`);
      const form = await ask(`/api/form/${found.kind}`);
      const plain = new Draft(found.kind, found.tables, form, found.base, found.source);
      this.check = await ask("/api/check", plain.body());
      this.draft = plain;
      Object.assign(this, { fault: "", retry: 0 });
    } catch (error) {
      Object.assign(this, { draft: false, fault: error.message, retry: 0 });
      if (![0, 503].includes(error.status) || wait > 16000 || !this.pane.live) return;
      this.retry = setTimeout(async () => { await this.read(2 * wait); this.more(); }, wait);
    }
  }
  wordsOf(summary) {
    return h("section", { "data-key": "words", class: `panel${summary.look ? " playing" : ""}` },
      h("h2", { text: summary.look === "look" ? "Not for numbers" : ["sketch", "coarse"].includes(summary.grade) ? `Where it ends, at grade ${summary.grade}` : "Where it ends" }),
      said(summary, "words").map((w) => h("p", { text: w.trim(), class: w.startsWith("  ") ? "in" : "" })), h("div", { class: "scroll" }, readingsTable(summary)),
      summary.look ? h("p", { class: "buttons" },
        summary.look === "look" ? h("button", { type: "button", class: "second", text: "Coarse run", disabled: !this.draft, "aria-disabled": this.busy && "true", onclick: () => this.compute("rough") }) : null,
        h("button", { type: "button", class: "first", text: "Compute", disabled: !this.draft, "aria-disabled": this.busy && "true", onclick: () => this.compute("run") })) : null,
      this.toldOf("compute"));
  }
  files(summary) {
    const missing = this.pane.job && this.pane.job.state === "drawing";
    return h("section", { "data-key": "files", class: "panel" }, h("h2", { text: "Files" }),
      h("ul", { class: "files" }, summary.files.map((f) => h("li", {}, fileLink(this.id, f)))),
      missing ? h("p", { class: "note", "data-key": "drawing", text: this.pane.job.later ? "Pictures and animation follow when no other run waits." : "Pictures and animation are being drawn." }) : null,
      this.draft ? null : h("p", { class: "mistake", "data-key": "fault", text: `The case of this run cannot be changed here${this.retry ? " yet" : ""}: ${this.fault}` }),
      h("p", { class: "buttons" }, h("button", { type: "button", class: "plain", text: "Change the set-up", disabled: !this.draft, onclick: () => this.edit() })));
  }
  // Of a run that is complete; a preview is too rough to ask.
  asks(summary, job) {
    return summary.look || summary.status !== "complete" ? null : this.questions.section(job, () => this.pane.live);
  }
  edit() { keepOpenDraft(); this.draft.keep(); this.go("#setup", true); }
  compute(kind) { return this.send("compute", this.draft.whole({ kind }), (job) => `#watch/${job.id}`); }
  // A job asked for, one at a time; what comes of it if it does not begin stands beside its button.
  async send(place, body, where) {
    if (this.busy) return;
    const tell = (text, busy) => { Object.assign(this, { told: text ? { [place]: text } : {}, busy }); this.more(); };
    tell("", true);
    try {
      const job = await askPatiently("/api/jobs", body, () => !this.pane.live, (text) => tell(text, true));
      if (this.pane.live) this.go(where(job));
      this.busy = false;
    } catch (error) {
      if (!this.pane.live) return;
      const why = ((error.body || {}).messages || []).map((m) => [m.section, m.name, m.key, m.text].filter(Boolean).join(" ")).join("; ");
      tell(why || error.message, false);
      say(error.message);
    }
  }
  toldOf(place) { return this.told[place] ? h("p", { class: "mistake", "data-key": "told", text: this.told[place] }) : null; }

  whatIf(summary) {
    if (!this.draft || !this.check || !this.check.ok) return;
    this.what ||= new WhatIf(this.draft, this.check, (draft, change) =>
      this.send("what if", draft.whole({ kind: this.pane.summary.look || "run", parent: this.id, change }), (job) => `#compare/${this.id}/${job.id}`));
    if (!this.what.choices.length) return;
    const { pick, value } = this.what;
    if (!this.whatUi) {
      this.whatPanel.hidden = false;
      this.whatUi = { button: h("button", { type: "button", class: "second", text: "Try it side by side", onclick: () => this.what.go() }), told: h("p", { class: "mistake", "data-key": "told" }), note: h("p", { class: "note" }) };
      this.whatPanel.replaceChildren(h("h2", { text: "What if …" }), h("label", { for: "change", class: "unseen", text: "What if" }), pick, value,
        h("datalist", { id: "rules" }, ["0 s", "60 s", "60 s after A", "when A below 100 degC"].map((v) => h("option", { value: v }))),
        h("datalist", { id: "clamp-rules" }, ["never", "cold", "60 s"].map((v) => h("option", { value: v }))),
        h("p", { class: "buttons" }, this.whatUi.button), this.whatUi.note);
    }
    const { button, told, note } = this.whatUi;
    if (this.busy) button.setAttribute("aria-disabled", "true"); else button.removeAttribute("aria-disabled");
    told.textContent = this.told["what if"] || "";
    if (told.textContent) note.before(told); else told.remove();
    note.textContent = { look: "As a preview, like this one.", rough: "As a coarse run, like this one." }[summary.look] || "Computed in full, so it takes about as long as this run did.";
  }
}
