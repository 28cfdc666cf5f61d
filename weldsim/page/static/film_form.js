// A film of the light spot: what its target is, then how far it is read and what was found in it.
import { ask, h, say } from "./tools.js";
import { units } from "./units.js";

// A link follows the switch of units of the moment in which it is pressed.
const sheetOf = (paper, of) => `/api/target/${paper}?of=${of || ""}&units=${units()}`;

// Links to the sheets that a spot is filmed on, with the distance of a run's target on them.
export const sheetLinks = (papers, of) => h("p", { class: "note" }, "The spot is filmed on a target sheet. Print it at true size (100 %) on ", papers.map((paper, i) => [i ? ", " : "", h("a", { href: sheetOf(paper, of), onclick: (e) => { e.currentTarget.href = sheetOf(paper, of); }, target: "_blank", rel: "noopener", "aria-label": `Print the target sheet on ${paper}`, text: paper })]), ".");

export class FilmForm {
  constructor(view, measured) {
    Object.assign(this, { view, id: measured.id, fault: "", marks: "A4", other: "", gauge: "", mirrored: false, rate: 10 });
    this.box = h("div", { class: "film-form" });
  }
  get run() { return this.view.runOf(this.id); }
  section(m) {
    const now = m.reading;
    if (now && !now.over) {
      this.box.replaceChildren(h("p", { class: "coming" }, h("progress", { max: 1, value: now.share, "aria-label": "share of the film that is read" }), h("span", { text: `${Math.round(100 * now.share)} % ${now.text}` }),
        h("button", { type: "button", class: "plain", text: "Stop", onclick: () => this.act("stop", {}) })));
      this.drawn = false;
    } else if (!this.drawn || this.read !== m.read || this.error !== (now && now.error) || this.offer !== this.view.offerOf(this.run)) {
      this.drawn = true;
      this.read = m.read;
      this.error = now && now.error;
      this.offer = this.view.offerOf(this.run);
      this.form(m, now);
    }
    return this.box;
  }
  form(m, now) {
    const id = this.id, { offer } = this, { list } = this.view, pointers = offer ? offer.pointers : [];
    if (!pointers.includes(this.gauge)) this.gauge = pointers[0] || "";
    const fault = this.fault || (now && now.error) || (offer && !pointers.length ? "This case has no pointer, so no light spot is computed: add one on Set-up." : "");
    const other = h("input", { type: "text", "aria-label": "marks apart, across and up", placeholder: "300 mm x 200 mm", value: this.other, hidden: this.marks !== "other", oninput: (e) => { this.other = e.target.value; } });
    const field = (key, label, input) => h("div", { class: "field" }, h("label", { for: `${key}-${id}`, text: label }), input);
    const choose = [
      this.view.ownerField(id, () => { this.drawn = false; this.view.drawFiles(); if (m.read) this.view.tableOf(m).read(); }),
      field("marks", "target sheet", h("span", {}, h("select", { id: `marks-${id}`, onchange: (e) => { this.marks = e.target.value; other.hidden = this.marks !== "other"; } }, [...list.papers, "other"].map((p) => h("option", { value: p, text: p === "other" ? "marks of my own …" : `${p}, as it is printed from here`, selected: p === this.marks }))), other)),
      field("gauge", "the spot is the pointer", h("select", { id: `gauge-${id}`, onchange: (e) => { this.gauge = e.target.value; } }, pointers.map((p) => h("option", { value: p, text: p, selected: p === this.gauge })))),
      field("mirrored", "filmed from behind", h("input", { type: "checkbox", id: `mirrored-${id}`, checked: this.mirrored, onchange: (e) => { this.mirrored = e.target.checked; } })),
      h("p", { class: "buttons" }, h("button", { type: "button", class: "second", text: m.read ? "Read the film again" : "Read the film", disabled: !pointers.length, onclick: () => this.begin() })),
    ];
    this.box.replaceChildren(...[m.words.length ? h("ul", { class: "files" }, m.words.map((text) => h("li", { text }))) : null, fault ? h("p", { class: "mistake", role: "status", text: fault }) : null,
      m.read ? h("details", {}, h("summary", { text: "Read it otherwise" }), choose) : h("div", {}, choose)].filter(Boolean));
  }
  begin() { return this.act("read", { of: this.run, marks: this.marks === "other" ? this.other : this.marks, gauge: this.gauge, mirrored: this.mirrored, rate: this.rate }); }
  async act(what, body) {
    this.fault = "";
    try {
      await ask(`/api/measured/${this.id}/${what}`, body);
      this.view.forms.delete(`${this.id} TableForm`); // read anew
      this.view.used.set(this.id, true);
    } catch (error) { this.fault = error.message; say(error.message); }
    this.drawn = false;
    await this.view.relist();
  }
}
