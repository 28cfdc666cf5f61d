// A run in the page: its state, its three-dimensional view, what came of it.
import { ask, h, KINDS, Refused, renew, say, span, stateOf, STATES } from "./tools.js";
import { LivePart } from "./live_part.js";
import { onUnits, units } from "./units.js";

const OPEN = ["waiting", "running", "drawing"];

// One run: its state, its three-dimensional view, its words. Calls `told` whenever it knows more.
export class Pane {
  constructor(id, compact, told) {
    Object.assign(this, { id, told: told || (() => {}), compact, job: null, summary: null, view: null, tag: "", over: false });
    this.ui = { head: h("h1", { class: "pane-head", tabindex: -1 }), state: h("div", { class: "state" }),
      stage: h("div", { class: "stage", hidden: true }), blank: h("p", { class: "blank", text: "Reading the run …" }) };
    this.root = h("section", { class: "pane", "aria-label": "A run" }, this.ui.head, this.ui.state, this.ui.blank, this.ui.stage);
    this.live = true;
    onUnits((word) => this.view && this.view.setUnits(word), () => this.live);
    this.loop();
  }
  close() { this.live = false; clearTimeout(this.timer); if (this.view) this.view.destroy(); }

  async loop() {
    const turn = this.turn = (this.turn || 0) + 1;
    let wait = 2500;
    try {
      await this.look();
      if (this.job) wait = this.job.kind === "run" ? 900 : 250;
    } catch (error) { if (this.live) this.fault(error.message); }
    if (this.live && !this.over && turn === this.turn) this.timer = setTimeout(() => this.loop(), wait);
  }
  again() { this.over = false; clearTimeout(this.timer); this.loop(); }

  async look() {
    if (this.job !== false) {
      const found = await ask(`/api/jobs/${this.id}`);
      this.job = found.state ? found : false; // a run that was there before the page
    }
    if (!this.live) return;
    const state = this.job ? this.job.state : "done";
    this.say(state);
    const solved = ["drawing", "done"].includes(state);
    if (solved || state !== "waiting") await this.scene(!solved);
    if (!this.live) return;
    if (solved || state === "stopped") await this.words().catch((e) => { if (solved) throw e; });
    if (!this.live) return;
    if (!OPEN.includes(state)) this.over = true;
    if (!this.job) this.elsewhere();
    this.told(this);
  }
  // A run of another program: no job of this page, so it can be followed, not stopped.
  elsewhere() {
    const status = this.summary && this.summary.status;
    if (!status || status === "complete") return;
    this.over = status !== "running";
    const badge = status === "running" ? "not complete" : STATES[status] || status;
    renew(this.ui.state, h("span", { class: `badge ${status === "running" ? "" : status}`, text: badge }),
      h("span", { text: status === "running" ? "computed outside this page, or broken off" : "" }));
  }

  say(state) {
    const { job, ui } = this;
    if (!job) return;
    renew(ui.head, job.title, h("span", { class: "kind", text: [job.kind === "run" ? "" : KINDS[job.kind], job.change].filter(Boolean).join(": ") }));
    // the button stands before what changes its width, so that it stays under the pointer
    const parts = [h("span", { "data-key": "badge", class: `badge ${state}`, text: stateOf(job) })];
    if (OPEN.includes(state)) parts.push(this.button("Stop", "stop"));
    else if (state !== "done") parts.push(this.button("Resume", "resume"));
    if (state === "waiting") parts.push(h("span", { text: job.ahead ? `${job.ahead} before it in the queue` : "next in the queue" }));
    if (job.later) parts.push(h("span", { text: job.text }));
    else if (state === "running" || state === "drawing") {
      parts.push(h("progress", { max: 1, value: job.share, "aria-label": "share done" }),
        h("span", { class: "fix", text: `${Math.round(100 * job.share)} %` }), h("span", { text: job.text }),
        job.left === null ? null : h("span", { class: "fix", text: `about ${span(job.left)} left` }));
    }
    for (const text of [job.error, this.refused]) if (text) parts.push(h("span", { class: "mistake", text }));
    const had = ui.state.contains(document.activeElement);
    renew(ui.state, parts);
    if (had && !ui.state.contains(document.activeElement)) ui.head.focus();
    if (this.before && this.before !== state) say(`${job.title}: ${STATES[state]}`);
    this.before = state;
    ui.blank.hidden = Boolean(this.view) || ["failed"].includes(state);
    ui.blank.textContent = state === "waiting" ? "It starts when those before it are done."
      : state === "stopped" ? "Stopped before there was anything to show." : "The part as it was set up; it moves as soon as there is something to see.";
    this.setUp(OPEN.includes(state) && !this.view && !this.compact);
  }
  // The part as it was set up, with the torch where it is, until there is something computed to show.
  setUp(wanted) {
    if (wanted && !this.part) {
      this.part = new LivePart(this.id, () => !this.live || !this.part);
      this.ui.blank.after(this.part.root);
    }
    if (!wanted && this.part) {
      this.part.root.remove();
      this.part = null;
    }
    if (this.part) this.part.update(this.job.text);
  }
  button(word, what) {
    return h("button", { type: "button", class: "plain", "data-key": what, text: word, onclick: async () => {
      this.refused = "";
      try { await ask(`/api/jobs/${this.id}/${what}`, {}); } catch (error) { this.refused = error.message; }
      this.again();
    } });
  }
  fault(text) {
    this.ui.blank.hidden = Boolean(this.view);
    this.ui.blank.textContent = text;
    if (/no such run/.test(text)) this.over = true;
  }

  async scene(live) {
    const answer = await fetch(`/api/runs/${this.id}/scene${live ? "?live=1" : ""}`,
      this.tag && this.wasLive === live ? { headers: { "if-none-match": this.tag }, cache: "no-store" } : { cache: "no-store" });
    if (answer.status === 304 || answer.status === 204) return;
    if (!answer.ok) { if (!live) throw new Refused((await answer.json()).error || "no view of this run", answer.status, {}); return; }
    const data = await answer.json();
    if (!this.live) return; // the view was left meanwhile
    this.tag = answer.headers.get("etag") || "";
    this.wasLive = live;
    this.ui.stage.hidden = false;
    this.ui.blank.hidden = true;
    this.setUp(false);
    if (!this.job) this.ui.head.textContent = data.title;
    if (this.view) this.view.update(data);
    else {
      this.view = window.weldsimView(this.ui.stage, data, { field: live ? "temperature" : "displacement", units: units(), chart: !this.compact });
      this.view.onTime((t) => this.moved && this.moved(t));
    }
    if (!live && !this.shown) { // it is over: the end first, in the colours of movement
      this.shown = true;
      this.view.setField("displacement");
      this.view.setWarp(data.warp);
      this.view.setTime(data.times[data.times.length - 1]);
    }
    this.data = data;
  }
  async words() { this.summary = await ask(`/api/runs/${this.id}`); }
}
