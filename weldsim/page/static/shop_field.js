// On Set-up: which calibrated shop the case is computed with, where one is kept or named.
import { shopWords } from "./fit_words.js";
import { ask, h } from "./tools.js";

let kept = null; // what the server said last; shown until it says otherwise

export function shopField(draft, changed) {
  const box = h("div", { class: "kept-shop", "data-section": "shop", hidden: true });
  const fill = () => {
    const file = (draft.tables.shop || {}).file || "", list = kept || [], own = list.find((s) => s.file === file);
    box.hidden = !file && !list.length;
    const pick = h("select", { id: "kept-shop", onchange: () => {
      const { shop, ...rest } = draft.tables;
      draft.tables = pick.value ? { ...rest, shop: { file: pick.value } } : rest;
      changed();
      fill();
    } }, h("option", { value: "", text: "none: the values below" }), file && !own ? h("option", { value: file, text: file, selected: true }) : null,
    list.map((s) => h("option", { value: s.file, text: s.name, selected: s.file === file })));
    box.replaceChildren(h("div", { class: "field" }, h("label", { for: "kept-shop", text: "calibrated shop" }), pick),
      ...(own ? [h("p", { class: "note", text: `In place of the values below: ${shopWords(own)}.` })] : []),
      h("p", { class: "mistake", "data-place": "shop|file", hidden: true }));
  };
  fill();
  ask("/api/shops").then((found) => { kept = found.shops; if (box.isConnected) fill(); }).catch(() => {}); // it is only offered
  return box;
}
