// What scatters from part to part: how far, and what is known exactly; part of a question to a case.
import { askPatiently, h } from "./tools.js";

export class BandForm {
  // `draft`: the case; `own`: options of the question, changed here; `live()` says whether somebody looks.
  constructor(draft, own, live) {
    Object.assign(this, { draft, own, live, rows: null });
    this.table = h("div", {});
    this.root = h("details", { class: "rare", ontoggle: (e) => { if (e.target.open && !this.rows) this.ask(); } }, h("summary", { text: "What scatters, and how far" }), this.table);
  }
  async ask() {
    this.table.replaceChildren(h("p", { class: "note", text: "Reading the case …" }));
    try {
      const { scatter } = await askPatiently("/api/scatter", this.draft.body(), () => !this.live());
      this.rows = scatter.map((r) => ({ ...r, varies: true, typed: "" }));
      this.draw();
    } catch (error) { this.table.replaceChildren(h("p", { class: "mistake", text: error.message })); }
  }
  keep() {
    const spread = Object.fromEntries(this.rows.filter((r) => r.varies && r.typed).map((r) => [r.key, r.typed])), exact = this.rows.filter((r) => !r.varies).map((r) => r.key);
    this.own.spread = Object.keys(spread).length ? spread : undefined;
    this.own.exact = exact.length ? exact : undefined;
  }
  draw() {
    const line = (r) => h("li", {}, h("label", {}, h("input", { type: "checkbox", checked: r.varies, "data-scatters": r.key, onchange: (e) => { r.varies = e.target.checked; this.keep(); } }), h("span", { text: r.words })),
      h("span", {}, r.spread ? h("input", { type: "text", autocomplete: "off", "aria-label": `standard deviation of ${r.words}`, placeholder: r.spread, value: r.typed, oninput: (e) => { r.typed = e.target.value.trim(); this.keep(); } }) : h("span", { class: "note", text: "as the fit left it" })),
      h("span", { class: "note", text: r.source }));
    this.table.replaceChildren(h("p", { class: "note", text: "Untick what is known exactly; type a standard deviation of your own, such as 4 % or 30 K." }),
      h("ul", { class: "scatter" }, this.rows.map(line)));
  }
}
