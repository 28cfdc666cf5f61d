// What is to be learnt, how finely it is computed, and what that takes.
import { costText } from "./costs.js";
import { columnWords } from "./readings.js";
import { beginStudy } from "./study.js";
import { askPatiently, h, later, say } from "./tools.js";
import { onUnits, units } from "./units.js";

const usual = (row) => (units() === "us" && row.usual_us) || row.usual;
const CLOCKS = [["30 s", "up to 30 s off, to be found"], ["0 s", "right: 0 s is the start of the run"], ["300 s", "up to 5 min off, to be found"]];

export class FitForm {
  // `offer`: what may vary; `given()`: measurements with their rules; `columns()`: what they hold.
  constructor(of, offer, list, given, columns, go) {
    Object.assign(this, { of, list, given, columns, go, live: true, rows: offer.map((o) => ({ ...o })), options: { grade: "quick", finer: "", clock: "30 s", hold_back: "", design: "" } });
    this.told = h("p", { class: "mistake", role: "alert", hidden: true });
    this.cost = h("span", { class: "cost", role: "status" });
    this.held = h("select", { id: "fit-held", onchange: (e) => { this.options.hold_back = e.target.value; } });
    this.soon = later(() => this.price(), 500);
    this.root = h("section", { class: "panel fit-form", "data-key": "fit" });
    this.build();
    onUnits(() => { for (const row of this.rows) this.root.querySelector(`[data-usual="${CSS.escape(row.key)}"]`).textContent = `the case says ${usual(row)}`; }, () => this.live);
  }
  build() {
    const { options, list } = this;
    const rows = this.rows.map((row, k) => h("tr", {}, h("th", { scope: "row" }, h("label", {}, h("input", { type: "checkbox", checked: row.chosen, "data-vary": row.key, onchange: (e) => { row.chosen = e.target.checked; this.soon(); } }), h("span", {}, row.name, h("span", { class: "meta", title: row.key, "data-usual": row.key, text: `the case says ${usual(row)}` })))),
      ...["low", "high"].map((end) => h("td", {}, h("input", { type: "text", autocomplete: "off", "aria-label": `${end === "low" ? "lowest" : "highest"} ${row.name}`, value: row[end], id: `fit-${k}-${end}`, oninput: (e) => { row[end] = e.target.value; this.right(); } }))),
      h("td", { class: "note", text: row.source })));
    const pick = (id, label, choices, key) => h("div", { class: "field" }, h("label", { for: id, text: label }), h("select", { id, onchange: (e) => { options[key] = e.target.value; this.soon(); } }, choices.map(([v, t]) => h("option", { value: v, text: t, selected: options[key] === v }))));
    this.button = h("button", { type: "button", class: "first", text: "Start the fit", onclick: () => this.begin() });
    this.root.replaceChildren(h("h2", { text: "Learn from it" }),
      h("p", { class: "note", text: "Tick what the shop does not know. Runs are computed between the bounds, and the values come out with intervals; what these measurements cannot tell apart is said." }),
      h("div", { class: "scroll" }, h("table", { class: "vary" }, h("thead", {}, h("tr", {}, ["May vary", "Lowest", "Highest", "Where the bounds are from"].map((t) => h("th", { scope: "col", text: t })))), h("tbody", {}, rows))),
      h("div", { class: "choices fit-choices" }, pick("fit-grade", "grade of the runs", list.grades.map((g) => [g, g]), "grade"), pick("fit-clock", "clock of the files", CLOCKS, "clock"),
        h("div", { class: "field" }, h("label", { for: "fit-held", text: "predicted, not fitted" }), this.held),
        pick("fit-finer", "a few runs finer, for the grade's error", [["", "one grade finer"], ["none", "none"]], "finer")),
      h("p", { class: "buttons" }, this.button, this.cost), this.told);
    this.refresh();
  }
  // Anew what depends on the measurements.
  refresh() {
    const columns = this.columns();
    this.held.replaceChildren(...[["", columns.length > 1 ? `the last, ${columnWords(columns.at(-1))}` : "nothing: one curve alone"], ...columns.map((c) => [c, columnWords(c)])].map(([v, t]) => h("option", { value: v, text: t, selected: v === this.options.hold_back })));
    this.button.disabled = !this.given().length || Boolean(this.busy);
    this.soon();
  }
  body() {
    const vary = Object.fromEntries(this.rows.filter((r) => r.chosen).map((r) => [r.key, [r.low, r.high, ...(r.spread ? [r.spread] : [])]]));
    return { kind: "fit", of: this.of, measured: this.given(), vary, ...this.options, design: undefined };
  }
  async price() {
    if (!this.live || !this.root.isConnected) return;
    const body = this.body();
    if (!body.measured.length || !Object.keys(body.vary).length) { this.cost.textContent = ""; return; }
    const serial = this.serial = (this.serial || 0) + 1;
    this.cost.textContent = "estimating the time …";
    try {
      const found = await askPatiently("/api/measured/cost", body, () => !this.live || serial !== this.serial);
      if (serial === this.serial) this.cost.textContent = costText(found);
    } catch (error) { if (serial === this.serial) this.cost.textContent = error.status === 503 ? "" : `no estimate of the time: ${error.message}`; }
  }
  // A bound is typed anew: what was wrong is asked again with the next start.
  right() {
    this.told.hidden = true;
    for (const input of this.root.querySelectorAll("[aria-invalid]")) input.removeAttribute("aria-invalid");
  }
  // A refusal in the words of the table, and marked in its row.
  wrong(message) {
    const text = this.rows.reduce((all, row, k) => {
      if (!all.includes(row.key)) return all;
      for (const end of ["low", "high"]) this.root.querySelector(`#fit-${k}-${end}`).setAttribute("aria-invalid", "true");
      return all.replace(`vary ${row.key}`, row.name).replaceAll(row.key, row.name);
    }, message);
    this.told.textContent = text;
    this.told.hidden = false;
    say(text);
  }
  async begin() {
    this.busy = true;
    this.told.hidden = true;
    this.refresh();
    try { await beginStudy(this.body(), this.go, () => !this.live); } catch (error) {
      this.wrong(error.message);
    }
    this.busy = false;
    this.refresh();
  }
}
