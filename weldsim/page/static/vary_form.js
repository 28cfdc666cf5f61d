// What else may vary in a plan: settings by name, each with the values to try.
import { h } from "./tools.js";

const NOT_VARIED = new Set(["kind", "name", "file", "path", "travel", "seam", "start", "at"]); // say what is welded, and where
const SECTIONS = ["arc", "weld", "schedule", "surroundings", "part", "clamping", "clamp", "preset"];

export class VaryForm {
  // `put(vary)` takes the table of a plan: key to list of values.
  constructor(draft, vary, put) {
    Object.assign(this, { draft, put });
    this.rows = Object.entries(vary || {}).map(([key, list]) => [key, [].concat(list).join(", ")]);
    this.root = h("div", { class: "vary", role: "group", "aria-label": "any other setting, with its values" });
    this.draw();
  }
  // Settings of the case by section: [key as a case file has it, what it is called, field].
  groups() {
    const { draft } = this;
    return draft.form.sections.filter((x) => SECTIONS.includes(x.key)).sort((a, b) => SECTIONS.indexOf(a.key) - SECTIONS.indexOf(b.key)).map((section) => {
      const entries = section.many ? draft.list(section.key).map((x) => x.name).filter(Boolean) : [""];
      const fields = section.fields.filter((f) => !NOT_VARIED.has(f.key) && (f.type !== "text" || f.key === "pause"));
      return [section.head, entries.flatMap((name) => fields.map((f) => [[section.key, name, f.key].filter(Boolean).join("."), `${name ? `${name}: ` : ""}${f.label}`, f]))];
    }).filter(([, list]) => list.length);
  }
  draw() {
    const groups = this.groups(), known = new Map(groups.flatMap(([, list]) => list.map(([key, , field]) => [key, field])));
    const line = ([key, values], i) => {
      const field = known.get(key);
      return h("div", { class: "vary-line" },
        h("select", { "aria-label": "setting that varies", onchange: (e) => { this.rows[i][0] = e.target.value; this.rows[i][1] = ""; this.draw(); this.tell(); } },
          h("option", { value: "", text: "nothing else" }), key && !field ? h("option", { value: key, text: key, selected: true }) : null,
          groups.map(([head, list]) => h("optgroup", { label: head }, list.map(([k, text]) => h("option", { value: k, text: `${text} (${k})`, selected: k === key }))))),
        h("input", { type: "text", autocomplete: "off", "aria-label": "its values", disabled: !key, value: values, placeholder: key ? such(field) : "values",
          oninput: (e) => { this.rows[i][1] = e.target.value; this.tell(); } }),
        this.rows.length > 1 ? h("button", { type: "button", class: "plain", text: "Remove", "aria-label": `Do not vary ${key || "this"}`, onclick: () => { this.rows.splice(i, 1); this.draw(); this.tell(); } }) : null);
    };
    if (!this.rows.length) this.rows = [["", ""]];
    this.root.replaceChildren(...this.rows.map(line),
      this.rows.every(([key]) => key) ? h("button", { type: "button", class: "plain", text: "Vary one more", onclick: () => { this.rows.push(["", ""]); this.draw(); } }) : "");
  }
  tell() {
    const vary = {};
    for (const [key, typed] of this.rows) {
      const list = typed.split(",").map((v) => v.trim()).filter(Boolean);
      if (key && list.length) vary[key] = list.map((v) => (/^[-+]?\d+(\.\d+)?$/.test(v) ? Number(v) : v === "true" || v === "false" ? v === "true" : v));
    }
    this.put(Object.keys(vary).length ? vary : undefined);
  }
}

// Two values of the sort that a setting takes.
function such(field) {
  if (field && field.words) return `such as ${field.words.slice(0, 2).join(", ")}`;
  if (field && field.type === "flag") return "true, false";
  const found = /^([-\d.]+)\s*(.*)$/.exec((field && field.example) || "");
  if (!found) return "values, parted by commas";
  const unit = found[2] ? ` ${found[2]}` : "";
  return `such as ${found[1]}${unit}, ${Number((1.5 * Number(found[1])).toPrecision(3))}${unit}`;
}
