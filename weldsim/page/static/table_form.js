// One table beside a run: how its columns are taken, what is wrong with it, how far its clock is off.
import { columnWords } from "./readings.js";
import { askPatiently, h, later, say } from "./tools.js";
import { onUnits, shownSpan } from "./units.js";

const UNITS = ["", "mm", "in", "mrad", "deg", "degC", "degF", "K", "N", "lbf", "Nm"];

const spread = (c) => (([value, unit]) => `${Number(value.toPrecision(2))} ${unit}`)(shownSpan(c.noise, c.unit));

export class TableForm {
  constructor(measured, view) {
    Object.assign(this, { measured, view, found: null, shift: 0, columns: {}, units: {}, time: "" });
    this.root = h("div", { class: "table-form" }, h("p", { class: "note", text: "Reading the table …" }));
    this.soon = later(() => this.read(), 300);
    this.read();
    onUnits(() => this.found && this.draw(), () => this.view.live);
  }
  // The run it belongs to, over which it is shown.
  get run() { return this.view.runOf(this.measured.id); }
  changed() { this.view.refresh(); }
  rules() {
    const map = {}, unit = {}, unused = [];
    for (const [header, column] of Object.entries(this.columns)) {
      if (column === "-") unused.push(header);
      else if (column) map[header] = column;
    }
    for (const [header, word] of Object.entries(this.units)) if (word) unit[header] = word;
    return { map, unit, unused, ...(this.time ? { time_unit: this.time } : {}) };
  }
  async read() {
    const serial = this.serial = (this.serial || 0) + 1;
    try {
      const found = await askPatiently(`/api/measured/${this.measured.id}/curves`, { of: this.run, rules: this.rules() }, () => !this.view.live);
      if (serial !== this.serial) return;
      this.found = found;
    } catch (error) {
      if (serial !== this.serial) return;
      this.found = { ok: false, messages: [error.message], headers: [], columns: [] };
    }
    if (!this.found.ok) say(this.found.messages[0]);
    this.draw();
    this.changed();
  }
  draw() {
    const { found } = this, id = this.measured.id;
    const general = found.messages.filter((m) => !found.headers.some((header) => this.about(header, m)));
    const clock = h("div", { class: "field" }, h("label", { for: `shift-${id}`, text: "clock ahead of the run's, s" }), h("input", { id: `shift-${id}`, type: "text", inputmode: "decimal", value: String(this.shift), oninput: (e) => {
      const value = Number(e.target.value.replace(",", ".").replace("−", "-"));
      const good = Number.isFinite(value) && Math.abs(value) <= 1e6;
      if (good) e.target.removeAttribute("aria-invalid"); else e.target.setAttribute("aria-invalid", "true");
      if (good) { this.shift = value; this.changed(); }
    } }));
    const cold = found.ok && found.curves.every((c) => c.cold);
    const owner = this.measured.kind === "clip" ? null : this.view.ownerField(id, () => this.read()); // that of a film stands with the film
    this.root.replaceChildren(...[owner, ...general.map((text) => h("p", { class: "mistake", text })), found.ok ? this.words() : null,
      found.ok && !cold ? clock : null, found.headers.length ? this.mapping() : null].filter(Boolean));
  }
  words() {
    const { curves, left_out } = this.found;
    const noise = (c) => (c.noise === null ? "" : `, standard deviation ${spread(c)} (${{ given: "given", scatter: "from its scatter" }[c.noise_from] || "not known"})`);
    return h("p", { class: "note", text: [...curves.map((c) => `${columnWords(c.name)}: ${c.readings} ${c.readings === 1 ? "reading" : "readings"}${c.cold ? " of the cold part" : ""}${noise(c)}`), ...(left_out.length ? [`left out: ${left_out.join(", ")}`] : [])].join("; ") + "." });
  }
  about(header, message) { return message.includes(`'${header}'`) || message.includes(`"${header}"`); }
  mapping() {
    const { found } = this;
    const rows = found.headers.map((header, k) => {
      const fault = found.messages.find((m) => this.about(header, m)), taken = this.columns[header] || "";
      const column = h("select", { id: `column-${this.measured.id}-${k}`, "aria-label": `column ${header} is`, "aria-invalid": fault && "true", onchange: (e) => { this.columns[header] = e.target.value; this.soon(); } },
        [["", "as its name says"], ["-", "left out"], ...found.columns.map((c) => [c.name, columnWords(c.name)])].map(([v, t]) => h("option", { value: v, text: t, selected: v === taken })));
      const unit = h("select", { "aria-label": `unit of ${header}`, onchange: (e) => { this.units[header] = e.target.value; this.soon(); } }, UNITS.map((u) => h("option", { value: u, text: u.replace(/^deg([CF])$/, "°$1") || "its own", selected: u === (this.units[header] || "") })));
      return h("tr", {}, h("th", { scope: "row", text: header }), h("td", {}, column, fault ? h("p", { class: "mistake", text: fault }) : null), h("td", {}, unit));
    });
    const time = h("div", { class: "field" }, h("label", { for: `time-${this.measured.id}`, text: "unit of the time" }), h("select", { id: `time-${this.measured.id}`, onchange: (e) => { this.time = e.target.value; this.soon(); } }, [["", "as its name says"], ["s", "s"], ["min", "min"], ["h", "h"], ["ms", "ms"]].map(([v, t]) => h("option", { value: v, text: t, selected: v === this.time }))));
    return h("details", { open: !found.ok || this.unfolded, ontoggle: (e) => { this.unfolded = e.target.open; } }, h("summary", { text: "How its columns are taken" }),
      h("div", { class: "scroll" }, h("table", { class: "taken" }, h("thead", {}, h("tr", {}, ["In the file", "Is the gauge reading", "Unit"].map((t) => h("th", { scope: "col", text: t })))), h("tbody", {}, rows))), time);
  }
}
