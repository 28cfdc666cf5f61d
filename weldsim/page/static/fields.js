// Fields of the set-up, as the keys of a case file have them: text, words, numbers with their units.
import { shopField } from "./shop_field.js";
import { h, say } from "./tools.js";
import { converted, isFraction, partner, split, valueOf } from "./units.js";

const FIRST_OPEN = new Set(["part", "arc", "clamping", "weld"]);
const PLAIN = /^[-+−]?(?:\d+[.,]?\d*|[.,]\d+)(?:e[-+]?\d+)?$/i;
const THOUSANDS = /^[-+−]?[1-9]\d{0,2}(?:(?:,\d{3}){2,}(?:\.\d+)?|(?:,\d{3})+\.\d+)(?:e[-+]?\d+)?$/i;
const TWO_WAYS = /^[-+−]?[1-9]\d*,\d{3}(?:e[-+]?\d+)?$/i; // 1,500 is 1500 to some and 1.5 to others
const RARE = new Set(["front_length", "rear_length", "half_width", "depth", "shrinkage_along", "shrinkage_across",
  "conductance", "line", "from", "to", "weave", "weave_rate", "dwell", "crater", "tacks", "cooling_film_coefficient"]);

// What Setup builds its form with; `draft`, `begin`, `open`, `ui` and `changed` are Setup's.
export class Fields {
  // ------------------------------------------------------------------- fields
  form() {
    const { draft } = this, list = h("datalist", { id: "places" });
    const title = this.control({ key: "title", label: "name of this case", type: "text", top: true }, "", null);
    const parts = draft.form.sections.map((section) => this.section(section));
    const active = document.activeElement, had = this.ui.form.contains(active) ? active : null;
    this.ui.form.replaceChildren(h("h1", { text: `Set-up: ${draft.form.label}` }), this.ui.edits, title, shopField(draft, () => this.changed(false)), ...parts, list,
      h("datalist", { id: "rules" }, ["never", "cold", "0 s", "60 s"].map((v) => h("option", { value: v }))));
    this.places();
    this.travels();
    this.messages();
    if (this.ui.edits.contains(had)) had.focus();
    else if (had) this.refocus(had.dataset.stop || had.id);
  }
  // The same field or button again; where it is gone, the one before it or that which adds one.
  refocus(name) {
    const [word, section, number] = name.split(" ");
    for (let n = Number(number); word === "remove" && n >= 0; n--) {
      const found = this.ui.form.querySelector(`[data-stop="remove ${section} ${n}"]`);
      if (found) return found.focus();
    }
    const found = this.ui.form.querySelector(`[data-stop="${word === "remove" ? "add" : word} ${section}"]`)
      || (name && document.getElementById(name));
    if (found) found.focus();
  }

  // What the server said, and fields whose number can be read two ways.
  unclear(said) {
    const found = [];
    for (const input of this.ui.form.querySelectorAll(".quantity input, .number input, .whole input")) {
      const [number] = split(input.value) || [];
      if (!TWO_WAYS.test(number || "")) continue;
      const { place, index } = input.closest(".field").dataset, [section, key] = place.split("|");
      found.push({ section, key, name: index === "" ? "" : this.draft.get(section, "name", Number(index)) || String(Number(index) + 1),
        text: `${number} can be read two ways: write ${number.replace(",", "")} or ${number.replace(",", ".")}` });
    }
    const same = (a, b) => a.section === b.section && a.key === b.key && (a.name || "") === (b.name || "");
    return [...said.filter((m) => !found.some((f) => same(f, m))), ...found];
  }

  section(section) {
    const { draft } = this, id = section.key;
    const entries = section.many ? draft.list(id) : null;
    const inner = h("div", { class: "inner" }, h("p", { class: "mistake", "data-place": `${id}|`, hidden: true }));
    if (section.many) {
      entries.forEach((_, i) => inner.append(this.entry(section, i)));
      inner.append(h("button", { type: "button", class: "plain", "data-stop": `add ${id}`,
        text: `Add ${{ weld: draft.ownSeams ? "a bead" : "a weld with values of its own", gauge: "a gauge", clamp: "a clamp", tack: "a tack" }[id]}`,
        onclick: () => { draft.addEntry(id); this.changed(true); } }));
    } else inner.append(this.fields(section, null));
    const wanted = this.open[id] ?? (FIRST_OPEN.has(id) && !(id === "weld" && !draft.ownSeams));
    const count = section.many ? ` (${entries.length})` : "";
    return h("details", { open: wanted, class: "section", "data-section": id,
      ontoggle: (e) => { this.open[id] = e.target.open; } },
      h("summary", {}, h("span", { text: `${section.head}${count}` }), h("span", { class: "faults", hidden: true })), inner);
  }

  entry(section, i) {
    const name = this.draft.get(section.key, "name", i) || `${i + 1}`;
    const word = { weld: this.draft.ownSeams ? "Bead" : "Weld", gauge: "Gauge", clamp: "Clamp", tack: "Tack" }[section.key];
    return h("fieldset", { class: "entry" }, h("legend", { text: `${word} ${name}` }),
      h("button", { type: "button", class: "plain drop", "data-stop": `remove ${section.key} ${i}`, "aria-label": `Remove ${word.toLowerCase()} ${name}`, text: "Remove",
        onclick: () => {
          if (section.key === "weld" && this.draft.ownSeams) this.draft.remove(i);
          else this.draft.removeEntry(section.key, i);
          this.changed(true);
        } }), this.fields(section, i));
  }

  // Fields in the order of the starter file, then the others; the rare ones folded away.
  fields(section, index) {
    const started = this.draft.form.tables[section.key];
    const written = Object.keys((Array.isArray(started) ? started[0] : started) || {});
    const place = (f) => { const at = written.indexOf(f.key); return at < 0 ? 99 : at; };
    const sorted = [...section.fields].sort((a, b) => place(a) - place(b));
    const rare = sorted.filter((f) => RARE.has(f.key) && !f.needed && place(f) === 99
      && this.draft.get(section.key, f.key, index) === undefined);
    const box = h("div", {}, sorted.filter((f) => !rare.includes(f)).map((f) => this.control(f, section.key, index)));
    if (rare.length) {
      const name = this.rareName(section.key, index);
      box.append(h("details", { class: "rare", open: this.open[name] ?? false,
        ontoggle: (e) => { this.open[this.rareName(section.key, index)] = e.target.open; } },
        h("summary", { text: "Seldom changed" }),
        rare.map((f) => this.control(f, section.key, index))));
    }
    return box;
  }

  // The travels that the line of each bead has, once the server has said them; all of them while
  // an entry is wrong, which may be the travel.
  travels() {
    const known = (this.good && this.check && this.check.travels) || {};
    for (const field of this.ui.form.querySelectorAll('.field[data-place="weld|travel"]')) {
      const select = field.querySelector("select"), now = select && select.value;
      if (!select) continue;
      const all = select.allWords ??= [...select.options].map((o) => o.value), found = known[this.draft.get("weld", "name", Number(field.dataset.index))], own = found && Object.keys(found);
      const words = own && own.includes(now) ? own : all;
      if (words.join() !== [...select.options].map((o) => o.value).join()) select.replaceChildren(...words.map((w) => h("option", { value: w, text: w, selected: w === now })));
    }
  }

  // By the name of an entry, so that it stays open where the order changes.
  rareName(section, index) { return `rare ${section} ${this.draft.get(section, "name", index) ?? index ?? ""}`; }

  control(field, section, index) {
    const { draft } = this, id = `f-${section}-${index ?? ""}-${field.key}`;
    const value = field.top ? draft.tables[field.key] : draft.get(section, field.key, index);
    let rename = null; // from when the field is gone into until it is left
    const keep = (v) => {
      const open = field.key === "name" && this.open[this.rareName(section, index)];
      if (field.top) draft.tables[field.key] = v;
      else if (rename) this.renamed(rename, v);
      else draft.set(section, field.key, v, index);
      if (open) this.open[this.rareName(section, index)] = open;
      this.changed(false, field.key === "name", id);
    };
    const describe = { id, "aria-describedby": `${id}-m${field.remark ? ` ${id}-r` : ""}` };
    const input = typeof value === "object" && value !== null ? this.fixed(value, describe)
      : (this[`as_${field.type}`] || this.as_text).call(this, field, value, keep, describe, section);
    if (field.key === "name" && index !== null) {
      input.addEventListener("focus", () => { rename = draft.renamer(section, index); });
      input.addEventListener("blur", () => { rename = null; });
    }
    return h("div", { class: `field ${field.type}`, "data-place": `${section}|${field.key}`, "data-index": index ?? "" },
      h("label", { for: id }, field.label, field.needed && !field.top ? "" : null), input,
      field.remark ? h("p", { class: "remark", id: `${id}-r`, text: field.remark }) : null,
      field.key === "material" ? h("button", { type: "button", class: "link remark", text: "its curves", onclick: () => this.metal.open() }) : null,
      h("p", { class: "mistake", id: `${id}-m`, hidden: true }));
  }

  // A name, and what starts or opens after it, in its fields too.
  renamed(rename, name) {
    rename(name);
    for (const key of ["start", "on", "off", "release"]) {
      for (const field of this.ui.form.querySelectorAll(`.field[data-place$="|${key}"]`)) {
        const { place, index } = field.dataset, value = this.draft.get(place.split("|")[0], key, index === "" ? null : Number(index));
        const input = field.querySelector("input");
        if (input) input.value = value ?? "";
      }
    }
  }

  fixed(value, describe) {
    const words = !Array.isArray(value) ? Object.keys(value).join(", ") : value.some((v) => typeof v === "object") ? `${value.length} lines` : value.join(", ");
    return h("input", { ...describe, disabled: true, value: `${words}: in the case file`, title: "Set in the case file" });
  }
  as_text(field, value, put, describe, section) {
    const lists = { at: "places", seam: "places" };
    const list = field.hints || ["release", "on", "off", "start", "end", "pause"].includes(field.key) ? "rules" : lists[field.key];
    return h("input", { ...describe, type: "text", value: value ?? "", list, disabled: field.locked, maxlength: 300,
      spellcheck: "false", autocomplete: "off", oninput: (e) => put(e.target.value) });
  }
  as_word(field, value, put, describe) {
    const blank = value === undefined && !field.default;
    const words = value !== undefined && !field.words.includes(value) ? [value, ...field.words] : field.words;
    return h("select", { ...describe, value: value ?? field.default ?? "", onchange: (e) => { put(e.target.value); } },
      blank || !field.needed ? h("option", { value: "", text: field.default && field.default !== "usual" ? `usual (${field.default})` : field.default || "not set",
        selected: value === undefined }) : null,
      words.map((w) => h("option", { value: w, selected: w === value,
        text: field.names ? field.names[field.words.indexOf(w)] ?? w : w })));
  }
  as_flag(field, value, put, describe) {
    return h("select", { ...describe, onchange: (e) => put({ yes: true, no: false }[e.target.value]) },
      [["", "usual"], ["yes", "yes"], ["no", "no"]].map(([v, t]) => h("option", { value: v, text: t,
        selected: v === (value === true ? "yes" : value === false ? "no" : "") })));
  }
  as_number(field, value, put, describe) {
    return h("input", { ...describe, type: "text", inputmode: "decimal", value: value ?? "", autocomplete: "off",
      placeholder: field.example, oninput: (e) => put(plainNumber(e.target.value)) });
  }
  as_whole(...args) { return this.as_number(...args); }

  // A number with its unit, shown in the units of the page's switch. A unit typed behind the number
  // counts; one chosen after a number was typed relabels it, else it converts what was there.
  as_quantity(field, value, put, describe) {
    const offered = this.begin.units[field.unit], of = (u) => offered.find((x) => x.unit === u);
    const found = split(value), example = split(field.example);
    const written = (found && found[1]) || (example && example[1]) || offered[0].unit;
    const full = found && found[1] && of(written) ? valueOf(clear(found[0]) ?? "x") : NaN; // of what stands in the case
    let unit = this.typed.has(describe.id) || (found && !Number.isFinite(full)) ? written : partner(written);
    if (!of(unit)) unit = written;
    const as = (u) => (u === written || !Number.isFinite(full) ? found && found[0] : converted(full, of(written), of(u)));
    const units = offered.map((u) => u.unit);
    if (!units.includes(unit)) units.push(unit);
    const number = h("input", { ...describe, type: "text", inputmode: "text", autocomplete: "off",
      value: found ? as(unit) : value ?? "", placeholder: !example ? "" : example[1] === unit || !of(unit) || !of(example[1]) ? example[0] : converted(Number(example[0]), of(example[1]), of(unit)) });
    const word = (u) => u.replace(/^deg(.)/, "°$1");
    const select = units.length < 2 ? h("span", { class: "unit", text: word(unit) })
      : h("select", { class: "unit", "aria-label": `unit of ${field.label}` },
        units.map((u) => h("option", { value: u, text: word(u), selected: u === unit })));
    const read = () => {
      const typed = number.value.trim().replace("−", "-"), parts = split(typed);
      if (!typed) put(undefined);
      else if (parts && /^([a-zµμ°].*)?$/i.test(parts[1])) {
        put(`${clear(parts[0]) ?? parts[0]} ${parts[1] || unit}`); // what is not clear is no number to the server either
      } else put(typed);
    };
    number.addEventListener("input", () => { this.typed.add(describe.id); read(); });
    select.addEventListener("change", () => {
      const was = unit, parts = split(number.value.trim());
      unit = select.value;
      if (!parts || parts[1]) return;
      if (this.typed.has(describe.id) || !of(was)) {
        say(`${number.value} ${word(unit)}`);
        return read();
      }
      number.value = as(unit);
      read();
    });
    return h("span", { class: "measured" }, number, select);
  }
}

// A typed number as a case file has it; null where it can be read two ways or not at all.
function clear(number) {
  const typed = number.replace("−", "-");
  if (isFraction(typed)) return typed.replace(/\s*\/\s*/, "/");
  if (THOUSANDS.test(typed)) return typed.replaceAll(",", "");
  return PLAIN.test(typed) && !TWO_WAYS.test(typed) ? typed.replace(",", ".") : null;
}

function plainNumber(text) {
  const typed = text.trim();
  if (!typed) return undefined;
  const share = /^([\d.,]+)\s*%$/.exec(typed), percent = share && clear(share[1]);
  if (percent) return Number((Number(percent) / 100).toPrecision(12));
  const clean = clear(typed);
  return clean !== null && Number.isFinite(Number(clean)) ? Number(clean) : typed;
}
