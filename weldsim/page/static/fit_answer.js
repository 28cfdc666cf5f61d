// What a fit learnt: values with intervals, measured over computed, and the shop to be kept.
import { curveChart } from "./curve_chart.js";
import { saidOf } from "./fit_words.js";
import { said } from "./readings.js";
import { ask, h, say } from "./tools.js";

export class FitAnswer {
  // `open(file)` puts a kept shop into the set-up that is open.
  constructor(id, open) { Object.assign(this, { id, open, name: "", again: false, fault: "", kept: null }); }

  parts(answer, job) {
    const { curves } = answer;
    const rows = (answer.values || []).map((v) => {
      const [best, low, high, least, most] = saidOf(v);
      return h("tr", {}, h("th", { scope: "row", title: v.key, text: v.name }), v.frozen ? [h("td", { text: "not learnt" }), h("td", { text: "" })] : [h("td", { text: best }), h("td", { text: `${low} to ${high}` })],
        h("td", { text: `${least} to ${most}` }));
    });
    const titles = answer.cases || [], several = titles.length > 1;
    const charts = curves.map((c) => curveChart({ ...c, key: c.experiment ? `${c.name} ${c.experiment}` : c.name, of: several ? `${c.experiment + 1}. ${titles[c.experiment]}` : "" }, [{ name: "as it was fitted", times: c.times, values: c.values, cold: c.cold, shift: 0 }], [], null, "on the clock of the file"));
    return [
      several ? h("p", { class: "note", "data-key": "cases", text: `Fitted together: ${titles.join("; ")}.` }) : null,
      h("section", { class: "panel", "data-key": "values" }, h("h2", { text: "What was learnt" }), h("div", { class: "scroll" }, h("table", {}, h("thead", {}, h("tr", {}, ["Value", "Likeliest", "90 % between", "Allowed"].map((t) => h("th", { scope: "col", text: t })))), h("tbody", {}, rows)))),
      h("section", { class: "panel answer", "data-key": "words" }, h("h2", { text: "In words" }), said(answer, "words").map((w) => h("p", { text: String(w).trim() }))),
      h("section", { class: "panel", "data-key": "curves" }, h("h2", { text: "Measured and computed" }), h("div", { class: "curves" }, charts)),
      this.keep(),
      h("p", { "data-key": "back" }, h("a", { href: `#measured/${job.parent}`, text: "Back to what was measured" })),
    ];
  }
  keep() {
    this.input ??= h("input", { id: "shop-name", type: "text", autocomplete: "off", maxlength: 40, placeholder: "such as bay 2 TIG", oninput: () => { this.again = false; this.put.textContent = "Keep the shop"; } });
    this.put ??= h("button", { type: "button", class: "second", text: "Keep the shop", onclick: () => this.send() });
    this.note ??= h("p", { class: "mistake", role: "alert", hidden: true });
    this.done ??= h("div", {});
    this.box ??= h("section", { class: "panel keep-shop" }, h("h2", { text: "Calibrated shop" }), h("p", { class: "note", text: "Keep these values under a name. A case that names the shop is computed with them." }),
      h("p", { class: "buttons" }, h("label", { for: "shop-name", text: "name" }), this.input, this.put), this.note, this.done);
    return this.box;
  }
  async send() {
    this.note.hidden = true;
    try {
      const kept = await ask("/api/shops", { of: this.id, name: this.input.value, again: this.again });
      this.again = false;
      this.put.textContent = "Keep the shop";
      this.done.replaceChildren(h("p", {}, `Kept as ${kept.name}. `, h("button", { type: "button", class: "second", text: "Put it into the set-up", onclick: () => this.open(kept.file) })),
        h("p", { class: "note", text: "Or write this into a case file of the work folder:" }), h("pre", { text: `[shop]\nfile = "${kept.file}"` }));
      say(`kept as ${kept.name}`);
    } catch (error) {
      if (/there already/.test(error.message)) { this.again = true; this.put.textContent = "Replace it"; }
      this.note.textContent = error.message;
      this.note.hidden = false;
      say(error.message);
    }
  }
}
