// "Measured": bring tables and films of a bench, see them over a run's curves, learn from them.
import { cautionLine } from "./cautions.js";
import { curveChart } from "./curve_chart.js";
import { FilmForm, sheetLinks } from "./film_form.js";
import { FitForm } from "./fit_form.js";
import { shopWords } from "./fit_words.js";
import { studyTitle } from "./study.js";
import { TableForm } from "./table_form.js";
import { ask, askPatiently, h, renew, say, STATES } from "./tools.js";
import { onUnits } from "./units.js";
import { bring } from "./upload.js";

// What was chosen in this tab stays where another run is looked at: which are used, and of which run.
const used = new Map(), belongs = new Map();
const day = (t) => new Date(1000 * t).toLocaleString(undefined, { dateStyle: "medium", timeStyle: "short" });

export class MeasuredView {
  // `run`: id of what it is compared with; `open(file)` puts a kept shop into the set-up.
  constructor(run, go, open) {
    Object.assign(this, { run, go, open, live: true, list: null, runs: [], offers: new Map(), used, belongs, forms: new Map(), coming: null, until: null });
    this.ui = { runs: h("div", { class: "holder" }), drop: this.dropZone(), files: h("ul", { class: "brought" }), fault: h("p", { class: "mistake", role: "alert", hidden: true }),
      charts: h("section", { class: "panel", hidden: true }), fit: h("div", { class: "holder" }), known: h("section", { class: "panel", hidden: true }) };
    this.root = h("div", { class: "start measured-view" }, h("h1", { text: "Measured against computed" }), this.ui.runs,
      h("section", { class: "panel", "data-part": "files" }, h("h2", { text: "What was measured" }), this.ui.drop, this.sheets = h("div", {}), this.ui.fault, this.ui.files),
      this.ui.charts, this.ui.fit, this.ui.known, cautionLine());
    onUnits(() => this.charts(), () => this.live);
    this.begin();
  }
  close() { this.live = false; clearTimeout(this.timer); if (this.stopComing) this.stopComing(); if (this.form) this.form.live = false; }

  async begin() {
    try {
      const [shelf, list] = await Promise.all([ask("/api/shelf"), ask("/api/measured")]);
      this.runs = shelf.runs.filter((r) => !r.preview && r.status === "complete");
      this.list = list;
      if (!this.run && this.runs.length) this.run = this.runs[0].id;
      this.drawRuns();
      if (!this.run) return;
      this.drawFiles();
      const found = await askPatiently(`/api/measured/of/${this.run}`, undefined, () => !this.live);
      if (!this.live) return;
      this.offers.set(this.run, found);
      this.form = new FitForm(this.run, found.vary, list, () => this.given(), () => this.columns(), this.go);
      this.ui.fit.replaceChildren(this.form.root);
      this.drawFiles();
      this.refresh();
    } catch (error) { if (this.live) this.wrong(error); }
  }
  // The run that a measurement was made for: the one that is looked at, unless another was chosen.
  runOf(id) { return this.runs.some((r) => r.id === this.belongs.get(id)) ? this.belongs.get(id) : this.run; }
  // What is offered of a run, such as its pointers; null until the server has said so.
  offerOf(run) {
    if (!this.offers.has(run)) {
      this.offers.set(run, null);
      askPatiently(`/api/measured/of/${run}`, undefined, () => !this.live).then((found) => { this.offers.set(run, found); if (this.live) this.drawFiles(); }).catch((error) => { if (this.live) this.wrong(error); });
    }
    return this.offers.get(run);
  }
  nameOf(run) {
    const found = this.runs.find((r) => r.id === run);
    return found ? `${found.title}, grade ${found.grade}` : "the run it was opened from";
  }
  // Which run a measurement belongs to; nothing to choose where there is one alone.
  ownerField(id, changed) {
    if (this.runs.length < 2) return null;
    const now = this.runOf(id), all = this.runs.some((r) => r.id === this.run) ? this.runs : [{ id: this.run }, ...this.runs];
    return h("div", { class: "field" }, h("label", { for: `of-${id}`, text: "was measured on the part of" }), h("select", { id: `of-${id}`, onchange: (e) => {
      if (e.target.value === this.run) this.belongs.delete(id); else this.belongs.set(id, e.target.value);
      changed();
    } }, all.map((r) => h("option", { value: r.id, text: `${this.nameOf(r.id)}${r.made ? `, ${day(r.made)}` : ""}${r.id === this.run ? " (looked at here)" : ""}`, selected: r.id === now }))));
  }
  wrong(error) {
    this.ui.fault.textContent = error.message;
    this.ui.fault.hidden = false;
    say(error.message);
  }
  drawRuns() {
    if (!this.run) {
      this.root.querySelector("[data-part=files]").hidden = true;
      return renew(this.ui.runs, h("p", {}, "There is no complete run to compare with yet. ", h("a", { href: "#start", text: "Set up the joint that was welded" }), " and compute it first."));
    }
    const known = this.runs.some((r) => r.id === this.run);
    renew(this.ui.runs, h("div", { class: "field of-run" }, h("label", { for: "of-run", text: "compared with the run" }), h("select", { id: "of-run", onchange: (e) => this.go(`#measured/${e.target.value}`) },
      known ? null : h("option", { value: this.run, text: "the run it was opened from", selected: true }), this.runs.map((r) => h("option", { value: r.id, text: `${r.title}, grade ${r.grade}, ${day(r.made)}`, selected: r.id === this.run })))));
  }

  // -------------------------------------------------------------------- files
  dropZone() {
    const pick = h("input", { type: "file", id: "bring", class: "unseen", multiple: true, accept: ".csv,.txt,.tsv,text/csv,text/plain,video/*", onchange: () => { this.take([...pick.files]); pick.value = ""; } });
    const over = (on) => (e) => { e.preventDefault(); zone.classList.toggle("over", on); };
    this.progress = h("p", { class: "coming", hidden: true });
    const zone = h("div", { class: "drop" }, pick, h("label", { for: "bring", class: "as-button", text: "Choose files …" }),
      h("span", { class: "note", text: "or drop them here: a table of readings (CSV, a time column and one column a gauge, up to 64 MB) or a film of the light spot on its target (up to 300 MB)." }), this.progress);
    zone.ondragover = over(true);
    zone.ondragleave = over(false);
    zone.ondrop = (e) => { over(false)(e); this.take([...e.dataTransfer.files]); };
    return zone;
  }
  async take(files) {
    this.ui.fault.hidden = true;
    for (const file of files) {
      const bar = h("progress", { max: 1, value: 0, "aria-label": "share that is there" }), stop = h("button", { type: "button", class: "plain", text: "Stop" });
      this.progress.replaceChildren(h("span", { text: file.name }), bar, stop);
      this.progress.hidden = false;
      try {
        const came = await bring(file, (share) => { bar.value = share; }, (work) => { stop.onclick = work; this.stopComing = work; });
        this.used.set(came.id, true);
        say(`${came.name} is there`);
      } catch (error) { if (this.live) this.wrong(error); }
      this.stopComing = null;
    }
    this.progress.hidden = true;
    await this.relist();
  }
  async relist() {
    clearTimeout(this.timer);
    if (!this.live) return;
    try { this.list = await ask("/api/measured"); } catch (error) { return this.wrong(error); }
    if (!this.live) return;
    this.drawFiles();
    this.refresh();
    if (this.list.measured.some((m) => m.reading && !m.reading.over)) this.timer = setTimeout(() => this.relist(), 1000);
  }
  drawFiles() {
    const rows = this.list.measured.map((m) => {
      const use = h("input", { type: "checkbox", id: `use-${m.id}`, checked: Boolean(this.used.get(m.id)), disabled: !m.read, onchange: (e) => { this.used.set(m.id, e.target.checked); this.drawFiles(); this.refresh(); } });
      const off = h("button", { type: "button", class: "plain", text: "Take off the list", "aria-label": `Take off the list: ${m.name}`, onclick: async () => {
        try { await ask(`/api/measured/${m.id}/forget`, {}); this.used.delete(m.id); this.forms.delete(m.id); await this.relist(); } catch (error) { this.wrong(error); }
      } });
      const row = h("li", { "data-id": m.id }, h("div", { class: "one" }, h("label", {}, use, h("span", { text: m.name })), h("span", { class: "note", text: `${m.kind === "clip" ? "film" : "table"}, ${day(m.made)}` }), off));
      if (m.kind === "clip") row.append(this.formOf(m, FilmForm, () => new FilmForm(this, m)).section(m));
      if (m.read && this.used.get(m.id)) row.append(this.tableOf(m).root);
      return row;
    });
    const focus = document.activeElement && document.activeElement.id;
    this.sheets.replaceChildren(sheetLinks(this.list.papers, this.run));
    this.ui.files.replaceChildren(...(rows.length ? rows : [h("li", { class: "note", text: "Nothing yet." })]));
    if (focus && this.ui.files.querySelector(`#${CSS.escape(focus)}`)) document.getElementById(focus).focus();
  }
  formOf(m, sort, make) {
    const key = `${m.id} ${sort.name}`;
    if (!this.forms.has(key)) this.forms.set(key, make());
    return this.forms.get(key);
  }
  tableOf(m) { return this.formOf(m, TableForm, () => new TableForm(m, this)); }

  // ---------------------------------------------------------- what they say
  shown() { return (this.list ? this.list.measured : []).filter((m) => m.read && this.used.get(m.id)).map((m) => [m, this.tableOf(m)]); }
  given() { return this.shown().filter(([, t]) => t.found && t.found.ok).map(([m, t]) => ({ id: m.id, rules: t.rules(), of: t.run })); }
  columns() { return [...new Set(this.shown().flatMap(([, t]) => (t.found && t.found.ok ? t.found.curves.map((c) => c.name) : [])))]; }
  refresh() {
    this.charts();
    if (this.form) this.form.refresh();
    this.known();
  }
  charts() {
    const by = new Map(), good = this.shown().filter(([, t]) => t.found && t.found.ok);
    const several = good.some(([, t]) => t.run !== this.run), arcs = good.flatMap(([, t]) => t.found.arcs);
    for (const [m, table] of good) {
      for (const c of table.found.curves) {
        const key = table.run === this.run ? c.name : `${c.name} ${table.run}`;
        if (!by.has(key)) by.set(key, [{ ...c, key, of: several ? this.nameOf(table.run) : "" }, [], table.found.arcs]);
        by.get(key)[1].push({ name: m.name, times: c.times, values: c.values, cold: c.cold, shift: table.shift });
      }
    }
    this.ui.charts.hidden = !by.size;
    if (!by.size) return;
    const last = Math.max(0, ...arcs.flat()), ends = [...by.values()].flatMap(([, sets]) => sets.flatMap((x) => (x.cold ? [] : [x.times.at(-1) - x.shift])));
    const until = this.whole ? null : Math.max(1.5 * last, ...ends, 60);
    renew(this.ui.charts, h("h2", { text: "Over the computed curve" }), h("p", { class: "ticks" }, h("label", {}, h("input", { type: "checkbox", checked: Boolean(this.whole), onchange: (e) => { this.whole = e.target.checked; this.charts(); } }), "the whole run")));
    this.ui.charts.append(h("div", { class: "curves" }, [...by.values()].map(([c, sets, own]) => curveChart(c, sets, own, until))));
  }
  async known() {
    const serial = this.serial = (this.serial || 0) + 1;
    let about = [];
    try { ({ about } = await ask(`/api/studies/${this.run}`)); } catch { /* a run that is gone says so elsewhere */ }
    if (serial !== this.serial || !this.live) return;
    const fits = about.filter((a) => a.kind === "fit").reverse(), { shops } = this.list;
    this.ui.known.hidden = !fits.length && !shops.length;
    renew(this.ui.known, fits.length ? [h("h2", { text: "Fits to this run" }), h("ul", { class: "files" }, fits.map((a) => h("li", {}, h("a", { href: `#study/${a.id}`, text: `${studyTitle("fit")}: ${a.change}` }), h("span", { class: "note", text: ` ${STATES[a.state]}` }))))] : null,
      shops.length ? [h("h2", { text: "Calibrated shops" }), h("ul", { class: "shops" }, shops.map((shop) => h("li", {}, h("strong", { text: shop.name }), h("span", { class: "note", text: shopWords(shop) }),
        h("button", { type: "button", class: "plain", text: "Put it into the set-up", "aria-label": `Put it into the set-up: ${shop.name}`, onclick: () => this.open(shop.file).catch((e) => this.wrong(e)) }))))] : null);
  }
}
