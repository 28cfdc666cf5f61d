// One study: how far it is, what it came to, and what can be done with the answer.
import { cautionLine } from "./cautions.js";
import { bandParts } from "./band_answer.js";
import { FitAnswer } from "./fit_answer.js";
import { Measured } from "./measured.js";
import { measure, ranking } from "./ranking.js";
import { columnWords, said } from "./readings.js";
import { ask, askPatiently, figure, h, KINDS, renew, say, span, stateOf, STATES } from "./tools.js";
import { onUnits, units } from "./units.js";

const OPEN = ["waiting", "running", "drawing"];
const FILES = { sheet: "Bench sheet (PDF)", page: "Ranking as a page", plan: "Ranking as data (JSON)", answer: "Answer as data (JSON)",
  fit: "What was learnt, as a page", shop: "Shop file (TOML)", fitted: "Fit as data (JSON)", draws: "Draws of the values (CSV)", band: "The spread, as a page", shares: "What explains it, as a picture", banded: "The spread as data (JSON)", curves: "Curves with their intervals (CSV)",
  chart: "Chart of the heats", ends: "Where every sequence ends (SVG)" };
const TITLES = { plan: "Best sequence", next: "What to weld next", why: "Why it moved", preset: "Preset before welding",
  clamps: "Where to clamp", correct: "Correction after welding", heats: "Heat against movement", fit: "Fit to measurements", band: "Spread from part to part" };

export class Study {
  // `open(tables)` begins a set-up, `go` follows an address, `shop(file)` names a kept shop in it.
  constructor(id, go, open, shop) {
    Object.assign(this, { id, go, open, shop, live: true, found: null, words: null, folded: true, fault: "" });
    this.ui = { head: h("h1", { tabindex: -1 }), state: h("div", { class: "state" }),
      body: h("div", { class: "study-body" }), measured: h("div", { class: "holder" }), rest: h("div", { class: "study-body" }), caution: h("div", {}) };
    this.root = h("div", { class: "start study" }, this.ui.head, this.ui.state, this.ui.body, this.ui.measured, this.ui.rest, this.ui.caution);
    onUnits(() => this.show(), () => this.live);
    this.loop();
  }
  close() { this.live = false; clearTimeout(this.timer); }

  async loop() {
    clearTimeout(this.timer);
    let wait = 4000;
    try {
      this.found = await ask(`/api/studies/${this.id}`);
      const { job } = this.found;
      if (job.kind === "plan" && !this.words && this.found.answer) {
        this.words = await ask(`/api/studies/${this.id}/words`).catch(() => null);
      }
      wait = OPEN.includes(job.state) ? 1200 : 6000;
      if (this.live) this.show();
    } catch (error) {
      if (!this.live) return;
      renew(this.ui.body, h("p", { class: "mistake", text: error.message }));
      if (error.status === 404) return;
    }
    if (this.live) this.timer = setTimeout(() => this.loop(), wait);
  }

  show() {
    if (!this.found) return;
    const { job, answer } = this.found;
    const kind = answer ? answer.kind : job.kind;
    renew(this.ui.head, TITLES[kind] || kind, h("span", { class: "kind", text: ` ${(answer && answer.title) || job.title || ""}` }));
    renew(this.ui.caution, cautionLine(kind));
    this.state(job);
    const made = { plan: () => this.plan(answer), next: () => this.next(answer), why: () => this.why(answer), fit: () => this.fitted(answer), band: () => bandParts(answer) }[kind];
    renew(this.ui.body, answer ? (made ? made() : this.advice(answer)) : this.empty(job));
    renew(this.ui.rest, kind === "plan" && answer ? this.ranking(answer) : null, this.files());
  }

  state(job) {
    const { ui } = this, state = job.state;
    if (!state) return renew(ui.state, h("span", { class: "note", text: "computed outside this page" }));
    const parts = [h("span", { class: `badge ${state}`, text: stateOf(job) })];
    if (OPEN.includes(state)) parts.push(this.button("Stop", "stop"));
    else if (state !== "done") parts.push(this.button("Resume", "resume"));
    if (state === "waiting") parts.push(h("span", { text: job.ahead ? `${job.ahead} before it in the queue` : "next in the queue" }));
    if (state === "running") {
      parts.push(h("progress", { max: 1, value: job.share, "aria-label": "share done" }), h("span", { class: "fix", text: `${Math.round(100 * job.share)} %` }),
        h("span", { text: job.text }), job.left === null || /left/.test(job.text) ? null : h("span", { class: "fix", text: `about ${span(job.left)} left` }));
    }
    for (const text of [job.error, this.fault]) if (text) parts.push(h("span", { class: "mistake", text }));
    if (state === "stopped") parts.push(h("span", { class: "note", text: RESUMES[job.kind] || "Resume begins this answer again." }));
    renew(ui.state, parts);
    if (this.before && this.before !== state) say(`${TITLES[job.kind]}: ${STATES[state]}`);
    this.before = state;
  }
  button(word, what) {
    return h("button", { type: "button", class: "plain", "data-key": what, text: word, onclick: async () => {
      this.fault = "";
      try { await ask(`/api/jobs/${this.id}/${what}`, {}); } catch (error) { this.fault = error.message; }
      this.loop();
    } });
  }
  empty(job) {
    const text = { plan: "The ranking shows as soon as the first sequences are whole.", waiting: "It starts when those before it are done." };
    return h("p", { class: "blank", text: job.state === "failed" ? "There is no answer." : text[job.state] || text[job.kind] || "The answer shows when it is complete." });
  }
  lines(words, head) {
    return h("section", { class: `panel ${head === "Answer" ? "answer" : "in-words"}`, "data-key": "words" }, h("h2", { text: head }),
      words.map((w) => h("p", { text: String(w).trim(), class: /^\s{2}/.test(w) ? "in" : "" })));
  }
  files() {
    const { files } = this.found;
    const links = Object.entries(FILES).filter(([name]) => files.includes(name)).map(([name, text]) => h("li", {},
      h("a", { href: `/api/studies/${this.id}/file/${name}${["page", "sheet", "chart", "ends", "fit", "band", "shares"].includes(name) ? `?open=1&units=${units()}` : ""}${name === "page" && units() === "us" ? "#us" : ""}`, target: "_blank", rel: "noopener", text })));
    return h("section", { class: "panel", "data-key": "files" }, h("h2", { text: "Files" }), links.length ? h("ul", { class: "files" }, links) : null,
      h("p", { class: "note", text: `Folder ${this.found.folder} in the work folder.` }));
  }

  // --------------------------------------------------------------------- plan
  plan(answer) {
    const done = answer.status !== "under way";
    const sheet = this.found.files.includes("sheet")
      ? h("p", { class: "buttons" }, h("a", { class: "as-button", href: `/api/studies/${this.id}/file/sheet?open=1&units=${units()}`, target: "_blank", rel: "noopener", text: "Print the bench sheet" }),
        h("button", { type: "button", class: "second", text: "Put the first into the set-up", onclick: () => this.take(0) })) : null;
    if (this.words && this.words.ok) this.measure(answer);
    return h("section", { class: "panel answer", "data-key": "words" }, h("h2", { text: done ? "Answer" : "So far, with what is computed" }),
      said(answer, "words").map((w) => h("p", { text: w })), sheet);
  }
  // Apart from what is drawn anew: nothing is taken from under the fingers of who types.
  measure(answer) {
    const first = answer.rows[0] && answer.rows[0].order, about = JSON.stringify([this.found.about, this.measured && this.measured.touched ? null : first]);
    if (this.measured && about === this.aboutShown) return;
    this.aboutShown = about;
    this.measured ??= new Measured(this.id, this.go);
    this.ui.measured.replaceChildren(this.measured.section(this.words, this.found.about, answer));
  }
  ranking(answer) {
    return ranking(answer, { folded: this.folded, take: (row) => this.take(row), unfold: () => { this.folded = !this.folded; this.show(); } });
  }
  async take(row) {
    try {
      const found = await ask(`/api/studies/${this.id}/case/${row}`);
      await this.open(found);
    } catch (error) { this.fault = error.message; this.show(); }
  }

  // --------------------------------------------------------------------- next
  next(answer) {
    const { record } = answer;
    return [
      record.contradictory ? h("p", { class: "mistake", "data-key": "odd", text: "Warning: the readings contradict each other or the model. Read again, and check that sequence and travel are those given." }) : null,
      h("section", { class: "panel answer", "data-key": "ways" }, h("h2", { text: `Weld next, after ${answer.after.replace(/:/g, " ")}` }),
        h("div", { class: "scroll" }, h("table", {}, h("thead", {}, h("tr", {}, ["", "Weld next", "Expected end, from zero", `Chance of ending within ${record.tolerance.replace("+-", "±")}`].map((t) => h("th", { scope: "col", text: t })))),
          h("tbody", {}, record.ways.slice(0, 12).map((w, i) => h("tr", { class: i ? "" : "best" }, h("td", { text: i + 1 }), h("th", { scope: "row" }, h("span", { class: "whole", text: w.text }), w.setting ? `, ${w.setting}` : ""),
            h("td", { text: measure(w.off, record.unit, record.distance) }), h("td", { text: chance(w.chance) }))))))),
      this.lines(said(answer, "words"), "In words"),
      h("p", { "data-key": "back" }, h("a", { href: `#study/${this.found.job.parent}`, text: "Back to the ranking: measure again after the next weld" })),
    ];
  }

  // ---------------------------------------------------------------------- why
  why(answer) {
    const { record } = answer, made = [];
    // at the target first; of a movement that is read in two units the tilt comes after
    const readings = Object.entries(record.readings || {}).sort(([, a], [, b]) => (a.unit === "mrad") - (b.unit === "mrad"));
    for (const [name, r] of readings) {
      const most = Math.max(...Object.values(r.welds).map(Math.abs), 1e-12);
      const gauge = columnWords(name);
      made.push(h("section", { class: "panel", "data-key": name }, h("h3", { text: gauge }),
        h("table", { class: "bars" }, h("caption", { class: "unseen", text: `Share of each weld in ${gauge}` }), h("tbody", {}, Object.entries(r.welds).map(([weld, value]) => h("tr", {}, h("th", { scope: "row", text: weld }),
          h("td", {}, bar(value / most)), h("td", { text: measure(value, r.unit) }))))),
        h("p", { class: "note", text: `Together ${measure(r.sum, r.unit)}; the gauge ends at ${measure(r.gauge_value, r.unit)}.` })));
    }
    return [this.lines(said(answer, "words"), "In words"), h("div", { class: "two-up", "data-key": "bars" }, made), h("p", { class: "note", "data-key": "error", text: "The parts have no estimated error of their own; see that of the reading." }),
      h("p", { "data-key": "back" }, h("a", { href: `#watch/${this.found.job.parent}`, text: "Back to the run" }))];
  }

  fitted(answer) {
    this.fit ??= new FitAnswer(this.id, (file) => this.shop(file).catch((error) => { this.fault = error.message; this.show(); }));
    return this.fit.parts(answer, this.found.job);
  }

  // ---------------------------------------------- preset, clamps, correct, heats
  advice(answer) {
    const { record } = answer, lines = record.case_lines || [];
    return [
      this.lines(said(answer, "words"), "Answer"),
      this.found.files.includes("chart") ? h("p", { "data-key": "chart" }, h("img", { class: "chart", src: `/api/studies/${this.id}/file/chart?open=1`, alt: "Tilt along the travel and toward the bead at several heats" })) : null,
      lines.length ? h("section", { class: "panel", "data-key": "lines" }, h("h2", { text: "In the case" }), h("pre", { text: lines.join("\n") }),
        h("p", { class: "buttons" }, h("button", { type: "button", class: "second", text: "Put it into the set-up", onclick: () => this.take(0) }))) : null,
      this.tried(record),
    ];
  }
  tried(record) {
    const rows = (record.runs || record.choices || record.lines || []).map((r) => [
      r.words || r.name || (r.faces ? r.faces.join(" and ") || "nothing more" : tiltText(r.lean_mrad)),
      r.off === null || r.off === undefined ? r.error || "not computed" : measure(r.off, record.unit, record.distance)]);
    if (!rows.length) return null;
    return h("section", { class: "panel", "data-key": "tried" }, h("h2", { text: "What was computed" }),
      h("table", {}, h("thead", {}, h("tr", {}, ["Tried", "Ends, from zero"].map((t) => h("th", { scope: "col", text: t })))), h("tbody", {}, rows.map(([a, b]) => h("tr", {}, h("th", { scope: "row", text: a }), h("td", { text: b }))))));
  }
}

const WELDS_STAY = "Every weld that is computed stays: Resume takes it up from there.", RUNS_STAY = "Every run that is complete stays: Resume takes it up from there.";
const RESUMES = { plan: WELDS_STAY, next: WELDS_STAY, preset: RUNS_STAY, clamps: RUNS_STAY, fit: RUNS_STAY, band: RUNS_STAY };
// A tilt in words: nothing of what is not tilted.
function tiltText(tilt) {
  const parts = Object.entries(tilt || {}).filter(([, v]) => Math.abs(v) > 1e-4).map(([axis, v]) => `${measure(Math.abs(v), "mrad")} toward ${v < 0 ? "−" : "+"}${axis}`);
  return parts.length ? parts.join(" and ") : "as it is";
}
export const chance = (p) => (p > 0.99 ? "over 99 %" : p < 0.01 ? "under 1 %" : `${Math.round(100 * p)} %`);

// A bar to the right for what is positive, to the left for what is negative, -1 to 1.
function bar(share) {
  const wide = 120, x = wide * (0.5 + Math.min(0, share) / 2);
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  svg.setAttribute("viewBox", `0 0 ${wide} 12`);
  svg.setAttribute("class", "bar");
  svg.setAttribute("aria-hidden", "true");
  const rect = (cls, from, width) => {
    const r = document.createElementNS("http://www.w3.org/2000/svg", "rect");
    for (const [k, v] of Object.entries({ class: cls, x: from, y: 1, width, height: 10 })) r.setAttribute(k, v);
    svg.append(r);
  };
  rect("zero", wide / 2 - 0.5, 1);
  rect(share < 0 ? "minus" : "plus", x, Math.max(1, (wide * Math.abs(share)) / 2));
  return svg;
}

// Asks for a study and follows it; what goes wrong is thrown.
export async function beginStudy(body, go, stale = () => false, told) {
  const job = await askPatiently("/api/studies", body, stale, told);
  go(`#study/${job.id}`);
  return job;
}
export const studyTitle = (kind) => TITLES[kind] || KINDS[kind] || kind;
