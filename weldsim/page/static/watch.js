// Watch: a run while it is computed and after, what if something were changed, side by side.
import { cautionLine } from "./cautions.js";
import { ask, askPatiently, figure, h, KINDS, Refused, renew, say, span, STATES } from "./tools.js";
import { Draft } from "./draft.js";
import { RunQuestions } from "./run_questions.js";

const FILES = { report: "Report", case: "Case file", pictures: "Pictures", animation: "Animation", gauges: "Readings (CSV)" };
const OPEN = ["waiting", "running", "drawing"];

// One run: its state, its three-dimensional view, its words. Calls `told` whenever it knows more.
export class Pane {
  constructor(id, compact, told) {
    Object.assign(this, { id, told: told || (() => {}), compact, job: null, summary: null, view: null, tag: "", over: false });
    this.ui = { head: h("h1", { class: "pane-head", tabindex: -1 }), state: h("div", { class: "state" }),
      stage: h("div", { class: "stage", hidden: true }), blank: h("p", { class: "blank", text: "Reading the run …" }) };
    this.root = h("section", { class: "pane", "aria-label": "A run" }, this.ui.head, this.ui.state, this.ui.blank, this.ui.stage);
    this.live = true;
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
    const parts = [h("span", { "data-key": "badge", class: `badge ${state}`, text: job.stopping ? "stopping" : STATES[state] })];
    if (OPEN.includes(state)) parts.push(this.button("Stop", "stop"));
    else if (state !== "done") parts.push(this.button("Resume", "resume"));
    if (state === "waiting") parts.push(h("span", { text: job.ahead ? `${job.ahead} ahead of it in the queue` : "next in the queue" }));
    if (state === "running" || state === "drawing") {
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
    ui.blank.textContent = state === "waiting" ? "It starts when those ahead of it are done."
      : state === "stopped" ? "Stopped before there was anything to show." : "The part shows as soon as there is something to see.";
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
    if (!this.job) this.ui.head.textContent = data.title;
    if (this.view) this.view.update(data);
    else {
      this.view = window.weldsimView(this.ui.stage, data, { field: "temperature" });
      this.view.onTime((t) => this.moved && this.moved(t));
    }
    if (!live && !this.shown) { this.shown = true; this.view.setTime(data.times[0]); }
    this.data = data;
  }
  async words() { this.summary = await ask(`/api/runs/${this.id}`); }
}

const sayReading = (r) => (r.component ? `${r.gauge} ${r.component.replace(/_/g, " ")}` : r.gauge);

function readings(summary) {
  return h("table", { class: "readings" }, h("caption", { text: "Readings at the end" }),
    h("thead", {}, h("tr", {}, ["Gauge", "End", "Estimated error", ""].map((t) => h("th", { scope: "col", text: t })))),
    h("tbody", {}, summary.readings.map((r) => h("tr", {}, h("th", { scope: "row", text: sayReading(r) }),
      h("td", { text: figure(r.end) }), h("td", { text: r.error === null ? "none" : `± ${figure(r.error)}` }), h("td", { text: r.unit })))));
}

// The report opens in a tab, the rest is saved.
const fileLink = (id, f) => (f === "report" ? h("a", { href: `/api/runs/${id}/file/report?open=1`, target: "_blank", rel: "noopener", text: FILES[f] })
  : h("a", { href: `/api/runs/${id}/file/${f}`, download: true, text: FILES[f] || f }));

export class Watch {
  constructor(id, go) {
    // draft: null not asked yet, false not to be had, or not yet where `retry` waits; told: beside buttons
    Object.assign(this, { id, go, draft: null, fault: "", retry: 0, told: {}, busy: false });
    this.side = h("div", { class: "side" });
    this.pane = new Pane(id, false, () => this.more());
    this.questions = new RunQuestions(id, go, () => { if (this.draft) { this.draft.keep(); this.go("#ask"); } });
    this.root = h("div", { class: "watch" }, this.pane.root, this.side, cautionLine());
  }
  close() { clearTimeout(this.retry); this.pane.close(); }

  async more() {
    if (!this.pane.summary) return;
    if (this.draft === null) await (this.asked ??= this.read());
    const { summary, job, live } = this.pane;
    const key = JSON.stringify([summary, job && job.state, Boolean(this.draft), this.fault, this.retry, this.told, this.busy]);
    if (!live || key === this.key) return;
    this.key = key;
    renew(this.side, this.wordsOf(summary), this.whatIf(summary), this.asks(summary, job), this.files(summary));
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
      h("h2", { text: { look: "Not for numbers", rough: "Where it ends, at grade coarse" }[summary.look] || "Where it ends" }),
      summary.words.map((w) => h("p", { text: w.trim(), class: w.startsWith("  ") ? "in" : "" })), h("div", { class: "scroll" }, readings(summary)),
      summary.look ? h("p", { class: "buttons" },
        summary.look === "look" ? h("button", { type: "button", class: "second", text: "Coarse run", disabled: !this.draft, "aria-disabled": this.busy && "true", onclick: () => this.compute("rough") }) : null,
        h("button", { type: "button", class: "first", text: "Compute", disabled: !this.draft, "aria-disabled": this.busy && "true", onclick: () => this.compute("run") })) : null,
      this.toldOf("compute"));
  }
  files(summary) {
    const missing = this.pane.job && this.pane.job.state === "drawing";
    return h("section", { "data-key": "files", class: "panel" }, h("h2", { text: "Files" }),
      h("ul", { class: "files" }, summary.files.map((f) => h("li", {}, fileLink(this.id, f)))),
      missing ? h("p", { class: "note", "data-key": "drawing", text: "Pictures, animation and report are being drawn." }) : null,
      this.draft ? null : h("p", { class: "mistake", "data-key": "fault", text: `The case of this run cannot be changed here${this.retry ? " yet" : ""}: ${this.fault}` }),
      h("p", { class: "buttons" }, h("button", { type: "button", class: "plain", text: "Change the set-up", disabled: !this.draft, onclick: () => this.edit() })));
  }
  // Of a run that is complete; a preview is too rough to ask.
  asks(summary, job) {
    return summary.look || summary.status !== "complete" ? null : this.questions.section(job, () => this.pane.live);
  }
  edit() { this.draft.keep(); this.go("#setup", true); }
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
      tell(error.message, false);
      say(error.message);
    }
  }
  toldOf(place) { return this.told[place] ? h("p", { class: "mistake", "data-key": "told", text: this.told[place] }) : null; }

  whatIf(summary) {
    if (!this.draft || !this.check || !this.check.ok) return null;
    const rows = this.draft.rows(this.check), choices = [];
    const made = (words, change) => {
      const draft = new Draft(this.draft.kind, JSON.parse(JSON.stringify(this.draft.tables)), this.draft.form, this.draft.base, this.draft.source);
      change(draft);
      choices.push([words, draft]);
    };
    rows.forEach((r, i) => made(`${r.label} with reverse travel`, (d) => d.reverse(i, this.check)));
    rows.forEach((a, i) => rows.slice(i + 1).forEach((b, k) => made(`${a.label} and ${b.label} swapped`, (d) => d.swap(i, i + 1 + k))));
    if (!choices.length) return null;
    const pick = h("select", { id: "change" }, choices.map(([words], i) => h("option", { value: i, text: words })));
    const go = (e) => {
      const [change, draft] = choices[e.currentTarget.closest("section").querySelector("select").value];
      this.send("what if", draft.whole({ kind: summary.look || "run", parent: this.id, change }), (job) => `#compare/${this.id}/${job.id}`);
    };
    return h("section", { "data-key": "what if", class: "panel" }, h("h2", { text: "What if …" }), h("label", { for: "change", class: "unseen", text: "What if" }), pick,
      h("p", { class: "buttons" }, h("button", { type: "button", class: "second", text: "Try it side by side", "aria-disabled": this.busy && "true", onclick: go })), this.toldOf("what if"),
      h("p", { class: "note", text: { look: "As a preview, like this one.",
        rough: "As a coarse run, like this one." }[summary.look] || "Computed in full, so it takes about as long as this run did." }));
  }
}

export class Compare {
  constructor(a, b) {
    const more = () => this.table();
    this.panes = [new Pane(a, true, more), new Pane(b, true, more)];
    const [left, right] = this.panes;
    let busy = false;
    const follow = (other) => (t) => {
      if (busy || !other.view || !this.tied.checked) return;
      busy = true;
      try { other.view.setTime(t); } finally { busy = false; }
    };
    left.moved = follow(right);
    right.moved = follow(left);
    this.tied = h("input", { type: "checkbox", checked: true, id: "tied" });
    this.note = h("p", { class: "note" });
    this.sums = h("div", { class: "scroll" });
    this.root = h("div", { class: "compare" },
      h("p", { class: "tie" }, this.tied, h("label", { for: "tied", text: " Both at the same time: play or drag one, the other follows." }),
        h("a", { href: `#watch/${a}`, text: "Back to the first alone" }), h("a", { href: `#watch/${b}`, text: "The second alone" })),
      h("div", { class: "pair" }, left.root, right.root),
      h("section", { class: "panel" }, h("h2", { text: "Side by side" }), this.sums, this.note), cautionLine());
  }
  close() { this.panes.forEach((p) => p.close()); }

  table() {
    const [a, b] = this.panes;
    this.warps();
    if (!a.summary || !b.summary) return;
    const of = new Map(b.summary.readings.map((r) => [r.name, r]));
    const rows = a.summary.readings.filter((r) => of.has(r.name));
    const word = (pane, other) => (pane.job && pane.job.change) || (other.job && other.job.change ? "as it was" : pane.summary.title);
    const errors = rows.some((r) => r.error !== null);
    this.sums.replaceChildren(h("table", { class: "readings" }, h("caption", { class: "unseen", text: "Readings at the end of both" }),
      h("thead", {}, h("tr", {}, ["At the end", word(a, b), word(b, a), "Difference", ""].map((t) => h("th", { scope: "col", text: t })))),
      h("tbody", {}, rows.map((r) => {
        const o = of.get(r.name);
        const show = (x) => figure(x.end) + (x.error === null ? "" : ` ± ${figure(x.error)}`);
        return h("tr", {}, h("th", { scope: "row", text: sayReading(r) }), h("td", { text: show(r) }), h("td", { text: show(o) }),
          h("td", { text: figure(o.end - r.end) }), h("td", { text: r.unit }));
      }))));
    const look = a.summary.look || b.summary.look;
    this.note.textContent = look ? (a.summary.look ? a : b).summary.note
      : errors ? "± is the estimated error of each. A difference smaller than that says little." : "No estimated error: small differences say little.";
  }
  // The same warp on both, the smaller one, so that the eye compares like with like.
  warps() {
    const [a, b] = this.panes;
    if (this.evened || !a.data || !b.data || !a.summary || !b.summary) return;
    this.evened = true;
    const warp = Math.min(a.data.warp, b.data.warp);
    a.view.setWarp(warp);
    b.view.setWarp(warp);
  }
}
