// The cautions: the whole list on Set-up, one line where something is shown or computed.
import { h } from "./tools.js";

let list = [], line = "";
export function setCautions(begin) { list = begin.cautions; line = begin.caution; }

export function cautionsPanel() {
  return h("section", { class: "panel cautions", "aria-label": "Cautions" }, h("h2", { text: "Cautions" }),
    h("ul", {}, list.map((text) => h("li", { text }))));
}
export const cautionLine = () => h("p", { class: "caution", role: "note", "data-key": "caution", text: line });
