// What if …: one thing changed in the case of a run, and the two side by side.
import { Draft, copyOf } from "./draft.js";
import { h } from "./tools.js";
import { split, units } from "./units.js";

// Groups of choices: {group, words, value, list, make}. A choice with a `value` lets it be changed;
// `make(draft, value)` changes a copy of the case, and gives the words for what was changed.
export function choicesOf(draft, check) {
  return [...sequences(draft, check), ...arcs(draft, "current", "Heat", "current"), ...arcs(draft, "speed", "Speed", "travel speed"), ...pauses(draft), ...clamps(draft)];
}
export function changedCopy(draft, choice, value) {
  const copy = new Draft(draft.kind, copyOf(draft.tables), draft.form, draft.base, draft.source);
  copy.computed = draft.computed;
  const words = choice.make(copy, value);
  return [copy, words || choice.words];
}

function sequences(draft, check) {
  const rows = draft.rows(check), out = [];
  rows.forEach((r, i) => out.push({ group: "Sequence", words: `${r.label} with reverse travel`, make: (d) => { d.reverse(i, check); } }));
  rows.forEach((a, i) => rows.slice(i + 1).forEach((b, k) => out.push({ group: "Sequence", words: `${a.label} and ${b.label} swapped`, make: (d) => { d.swap(i, i + 1 + k); } })));
  return out;
}

function arcs(draft, key, group, word) {
  const welds = draft.list("weld"), common = draft.get("arc", key);
  const own = welds.map((w, i) => [w, i]).filter(([w]) => w[key] !== undefined);
  const out = [];
  if (common !== undefined || own.length > 1) {
    const was = common ?? own[0][0][key];
    out.push({ group, words: `${word} of all welds`, value: was, make: (d, value) => {
      if (d.get("arc", key) !== undefined) d.set("arc", key, value);
      for (const [, i] of own) d.set("weld", key, value, i);
      return `${word} ${value} (was ${was})`;
    } });
  }
  for (const [w, i] of own) {
    out.push({ group, words: `${word} of ${w.name}`, value: w[key], make: (d, value) => { d.set("weld", key, value, i); return `${word} of ${w.name} ${value} (was ${w[key]})`; } });
  }
  return out;
}

function pauses(draft) {
  const group = "Pause";
  if (draft.ownSeams) {
    return draft.list("weld").map((w, i) => [w, i]).slice(1).map(([w, i]) => ({ group, words: `start of ${w.name}`, value: w.start ?? "", list: "rules",
      make: (d, value) => { d.set("weld", "start", value, i); return `${w.name} starts ${value}`; } }));
  }
  const was = draft.get("schedule", "pause") ?? "0 s";
  const out = [{ group, words: "pause after each weld", value: was, make: (d, value) => { d.set("schedule", "pause", value); d.set("schedule", "interpass", undefined); return `pause ${value} (was ${was})`; } }];
  out.push({ group, words: "wait until the part is below (interpass)", value: draft.get("schedule", "interpass") ?? (units() === "us" ? "300 degF" : "150 degC"),
    make: (d, value) => { d.set("schedule", "interpass", value); d.set("schedule", "pause", undefined); return `each weld waits until below ${value}`; } });
  return out;
}

function clamps(draft) {
  const group = "Clamp", out = [];
  const kind = (draft.form.sections.find((x) => x.key === "clamping") || { fields: [] }).fields.find((f) => f.key === "kind");
  const now = draft.get("clamping", "kind");
  for (const word of (kind && kind.words) || []) {
    if (word !== now) out.push({ group, words: word === "free" ? "no clamp, the part lies free" : `clamped by ${word}`, make: (d) => {
      d.set("clamping", "kind", word);
      if (word === "free") for (const key of ["length", "conductance", "release"]) d.set("clamping", key, undefined);
    } });
  }
  if (now && now !== "free") {
    const was = draft.get("clamping", "release") ?? "never";
    out.push({ group, words: "clamp opens", value: was === "never" ? "cold" : "never", list: "clamp-rules", make: (d, value) => { d.set("clamping", "release", value); return `clamp opens ${value} (was ${was})`; } });
  }
  return out;
}

// The panel: which change, its value where it has one, and the button. `send(draft, words)` asks for it.
export class WhatIf {
  constructor(draft, check, send) {
    this.choices = choicesOf(draft, check);
    this.draft = draft;
    const groups = [...new Set(this.choices.map((c) => c.group))];
    this.pick = h("select", { id: "change", onchange: () => this.fill() }, groups.map((group) => h("optgroup", { label: group },
      this.choices.map((c, i) => (c.group === group ? h("option", { value: i, text: c.words }) : null)))));
    this.value = h("input", { type: "text", "aria-label": "new value", maxlength: 100, autocomplete: "off", spellcheck: "false",
      onkeydown: (e) => { if (e.key === "Enter") this.go(send); } });
    this.go = () => send(...changedCopy(draft, this.choice, this.typed()));
    this.fill();
  }
  get choice() { return this.choices[Number(this.pick.value) || 0]; }
  fill() {
    const { value, list } = this.choice || {};
    this.value.hidden = value === undefined;
    if (value === undefined) return;
    this.value.value = String(value);
    if (list) this.value.setAttribute("list", list); else this.value.removeAttribute("list");
  }
  // A number without a unit has that of the value before.
  typed() {
    const text = this.value.value.trim().replace("−", "-"), was = split(String((this.choice || {}).value ?? "")), now = split(text);
    return now && !now[1] && was && was[1] ? `${text} ${was[1]}` : text;
  }
}
