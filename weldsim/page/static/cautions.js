// The cautions: the whole list on Set-up, one line where something is shown or computed.
import { said } from "./readings.js";
import { h } from "./tools.js";
import { onUnits } from "./units.js";

let found = { cautions: [] }, line = "";
export function setCautions(begin) { found = begin; line = begin.caution; }

export function cautionsPanel() {
  const list = h("ul", {}), fill = () => list.replaceChildren(...said(found, "cautions").map((text) => h("li", { text })));
  onUnits(fill);
  fill();
  return h("section", { class: "panel cautions", "aria-label": "Cautions" }, h("h2", { text: "Cautions" }), list);
}
// One line; that of a study's kind where there is one.
export const cautionLine = (kind) => h("p", { class: "caution", role: "note", "data-key": "caution", text: (found.closings || {})[kind] || line });
