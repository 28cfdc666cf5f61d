// The curves of the metal that is chosen: a picture, and in numbers with their sources.
import { ask, h } from "./tools.js";
import { onUnits, units } from "./units.js";

export class Metal {
  constructor(setup) {
    this.setup = setup;
    this.box = h("div", {});
    this.root = h("details", { class: "panel metal", ontoggle: () => this.show() }, h("summary", { text: "The metal: its curves and where they are from" }), this.box);
    onUnits(() => this.show(), () => setup.begin.setup === setup);
  }
  get name() { return String(this.setup.draft.get("part", "material") || ""); }
  // Opened from the field where the metal is chosen.
  open() {
    this.root.open = true;
    this.show();
    this.root.querySelector("summary").focus();
    this.root.scrollIntoView({ block: "nearest" });
  }
  async show() {
    const query = `name=${encodeURIComponent(this.name)}&base=${encodeURIComponent(this.setup.draft.base || "")}&units=${units()}`;
    if (!this.root.open || query === this.query) return;
    this.query = query;
    this.box.replaceChildren(h("p", { class: "note", text: "Drawing the curves …" }));
    try {
      const found = await ask(`/api/material/numbers?${query}`);
      if (query !== this.query) return;
      this.box.replaceChildren(h("h2", { text: found.title }),
        h("div", { class: "scroll" }, h("img", { src: `/api/material/picture?${query}`, alt: `Curves of ${found.title} against temperature; the same in numbers below` })),
        h("details", {}, h("summary", { text: "In numbers, with sources and what is left out" }), h("div", { class: "scroll" }, h("pre", { text: found.text }))));
    } catch (error) {
      if (query === this.query) this.box.replaceChildren(h("p", { class: "mistake", text: error.message }));
      this.query = "";
    }
  }
}
