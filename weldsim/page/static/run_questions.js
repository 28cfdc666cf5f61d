// What can be asked about a run: why it moved, and how to go on after a reading.
import { Measured } from "./measured.js";
import { beginStudy, studyTitle } from "./study.js";
import { ask, h, say, span, STATES } from "./tools.js";

export class RunQuestions {
  // `about()` takes the case of the run to the other questions.
  constructor(id, go, about) {
    Object.assign(this, { id, go, about, told: "", busy: false });
    this.asked = h("div", {});
    this.form = h("div", {});
    this.root = h("section", { class: "panel run-questions", "data-key": "questions" });
  }
  section(job, live) {
    this.live = live;
    this.draw(job);
    if (!this.begun) {
      this.begun = true;
      this.refresh();
    }
    return this.root;
  }
  draw(job) {
    const took = job && job.solved && job.starts === 1 ? job.solved - job.began : null;
    const cost = took ? `about ${span(1.3 * took)}` : "as long as this run took";
    this.told = h("p", { class: "mistake", role: "status", hidden: true });
    this.root.replaceChildren(h("h2", { text: "Questions" }),
      h("p", { class: "buttons" }, h("button", { type: "button", class: "second", text: "Why did it move?", onclick: () => this.why(true) }), h("span", { class: "cost", text: cost })),
      h("p", { class: "note", text: "Runs it again to tell heating from cooling, weld by weld. By place alone it takes seconds:" }),
      h("p", { class: "buttons" }, h("button", { type: "button", class: "plain", text: "Why, by place alone", onclick: () => this.why(false) })),
      h("details", { ontoggle: (e) => { if (e.target.open) this.measured(); } }, h("summary", { text: "I measured …" }), this.form),
      h("p", { class: "buttons" }, h("button", { type: "button", class: "plain", text: "Measured curves over this run …", onclick: () => this.go(`#measured/${this.id}`) })),
      h("p", { class: "buttons" }, h("button", { type: "button", class: "plain", text: "Best sequence, preset, spread, correction …", onclick: () => this.about() })),
      this.told, this.asked);
  }
  async refresh() {
    try {
      const { about } = await ask(`/api/studies/${this.id}`);
      this.list = about;
      this.asked.replaceChildren(...(about.length ? [h("h3", { text: "Asked before" }), h("ul", { class: "files" }, about.map((a) => h("li", {}, h("a", { href: `#study/${a.id}`, text: [studyTitle(a.kind), a.change].filter(Boolean).join(", ") }), h("span", { class: "note", text: ` ${STATES[a.state]}` }))))] : []));
    } catch { /* a run that is gone says so elsewhere */ }
  }
  fault(text) {
    this.told.textContent = text;
    this.told.hidden = false;
    say(text);
  }
  async why(replay) {
    if (this.busy) return;
    this.busy = true;
    try { await beginStudy({ kind: "why", of: this.id, replay }, this.go, () => !this.live()); } catch (error) { this.fault(error.message); }
    this.busy = false;
  }
  async measured() {
    if (this.form.children.length) return;
    this.form.replaceChildren(h("p", { class: "note", text: "Reading the case …" }));
    try {
      const words = await ask(`/api/studies/${this.id}/words`);
      if (!words.ok) throw new Error(words.messages.map((m) => m.text).join("; "));
      this.form.replaceChildren(new Measured(this.id, this.go).section(words, [], null));
    } catch (error) { this.form.replaceChildren(h("p", { class: "mistake", text: error.message })); }
  }
}
