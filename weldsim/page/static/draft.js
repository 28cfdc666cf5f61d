// The case being set up, as tables of a case file, and the sequence of its welds.
import { keepDraft, openDraft } from "./drafts.js";
import { History } from "./history.js";

const LONGEST = 100000; // letters of a case file that are sent along

const newId = () => [...crypto.getRandomValues(new Uint8Array(8))].map((b) => b.toString(16).padStart(2, "0")).join("");
const isTable = (value) => typeof value === "object" && value !== null && !Array.isArray(value);
export const copyOf = (value) => JSON.parse(JSON.stringify(value));

export class Draft {
  // `base` and `source`: what it was read from, by id where the server has it, else its text.
  // `id` names it among the drafts of this browser.
  constructor(kind, tables, form, base, source, id) {
    Object.assign(this, { kind, tables, form, base: base || null, source: source || "", id: id || newId(), edited: false });
    for (const { key, many } of form.sections) { // one table where there may be several is a list of one
      const value = tables[key];
      if (many && isTable(value)) tables[key] = [value];
      if (!many && Array.isArray(value) && value.length === 1 && isTable(value[0])) [tables[key]] = value;
    }
    this.history = new History(JSON.stringify(this.tables));
  }

  keep() {
    const { id, kind, tables, base, source } = this;
    keepDraft({ id, kind, tables, base, source, title: String(tables.title || kind), label: this.form.label }, this.edited);
  }
  static kept() { return openDraft(); }
  // After an edit; `place` names the field that is typed in.
  note(place) {
    const state = JSON.stringify(this.tables);
    if (state !== this.history.now) this.edited = true;
    this.history.note(state, place || null);
    this.keep();
  }
  undo() { return this.go(this.history.undo()); }
  redo() { return this.go(this.history.redo()); }
  go(state) {
    if (state === null) return false;
    this.tables = JSON.parse(state);
    this.keep();
    return true;
  }

  // Entries of a section; none where it is no list of tables, of which the server says so.
  list(section) {
    const value = this.tables[section];
    return Array.isArray(value) && value.every(isTable) ? value : [];
  }
  // Whether seams lie where the welds are put, as on a bar: the sequence is that of the [[weld]] sections.
  get ownSeams() { return this.form.seams_of_welds; }
  body(more) { return { tables: this.tables, base: this.base, ...more }; }
  // The same with the text it was read from, whose comments go into what is kept.
  whole(more) { return this.body({ source: this.source.length < LONGEST ? this.source : "", ...more }); }

  // ------------------------------------------------------------------ fields
  table(section, index) {
    if (index !== undefined && index !== null) return this.list(section)[index];
    if (!isTable(this.tables[section])) this.tables[section] = {};
    return this.tables[section];
  }
  get(section, key, index) {
    const table = index === undefined || index === null ? this.tables[section] : (this.tables[section] || [])[index];
    return table ? table[key] : undefined;
  }
  set(section, key, value, index) {
    const table = this.table(section, index);
    if (value === undefined || value === "") delete table[key];
    else table[key] = value;
    if (!this.form.sections.find((f) => f.key === section).many && !Object.keys(table).length
        && !["part", "clamping"].includes(section)) delete this.tables[section];
  }
  // Gives a function that renames an entry; what starts or opens after the weld of this name follows it.
  renamer(section, index) {
    const was = this.get(section, "name", index), others = this.list(section).filter((_, i) => i !== index).map((e) => e.name);
    const rules = ["weld", "clamp", "tack"].flatMap((list) => this.list(list).flatMap((entry) => ["start", "on", "off"].map((key) => [entry, key, entry[key]])));
    if (isTable(this.tables.clamping)) rules.push([this.tables.clamping, "release", this.tables.clamping.release]);
    let last = was;
    return (name) => {
      this.set(section, "name", name, index);
      if (section !== "weld" || !was || others.includes(was)) return;
      const now = /^[\w-]+$/.test(name || "") && !others.includes(name) ? name : was;
      for (const [entry, key, rule] of rules) {
        if (typeof rule === "string") entry[key] = rule.replace(/\b(after|when)\s+(\S+)/, (whole, word, of) => (of === was ? `${word} ${now}` : whole));
      }
      if (now !== last && Array.isArray((this.tables.schedule || {}).order)) this.put(this.items().map((item) => (item.head === last ? { ...item, head: now } : item)));
      last = now;
    };
  }
  addEntry(section) {
    const list = this.tables[section] = this.list(section);
    const started = this.form.tables[section];
    const entry = copyOf(list[list.length - 1] || (started && started[0]) || this.blank(section));
    if ("name" in entry) entry.name = this.freeName(section, entry.name);
    list.push(entry);
    return list.length - 1;
  }
  blank(section) {
    const made = {};
    for (const f of this.form.sections.find((x) => x.key === section).fields) {
      if (f.needed) made[f.key] = f.key === "name" ? section : f.words ? f.words[0] : "";
    }
    return made;
  }
  freeName(section, name) {
    const taken = new Set(this.list(section).map((e) => e.name));
    if (/^[A-Z]$/.test(name)) {
      for (let c = 65; c < 91; c++) if (!taken.has(String.fromCharCode(c))) return String.fromCharCode(c);
    }
    for (let n = 2; ; n++) if (!taken.has(`${name}${n}`)) return `${name}${n}`;
  }
  removeEntry(section, index) {
    this.tables[section].splice(index, 1);
    if (!this.tables[section].length) delete this.tables[section];
  }

  // ---------------------------------------------------------------- sequence
  // Rows in order of welding: {label, seam, travel, directions}. `check` is what the server last said.
  rows(check) {
    if (check) this.computed = check.order;
    if (this.ownSeams) {
      return this.list("weld").map((w) => ({ label: w.name, seam: w.name, travel: w.travel,
        directions: Object.keys(travelsOf(check, w.name)) }));
    }
    return this.items().map((item) => {
      const own = this.named(item.head), seam = own ? own.seam : item.head.split("/")[0];
      const found = seamOf(check, seam);
      return { label: own ? `${own.name} on ${seam}` : item.head.replace("/", ", pass "), seam,
        travel: item.travel || (own && own.travel) || "", directions: found ? Object.keys(found.directions) : [] };
    });
  }
  named(head) { return this.list("weld").find((w) => w.name === head); }
  items() {
    const order = this.tables.schedule && this.tables.schedule.order;
    // a part whose own lines say it needs no order in the case: it is what the server made of them
    const usual = () => (this.computed || []).filter((w) => !w.tack).map((w) => `${headOf(w)}:${w.travel}`);
    const own = this.list("weld").map((w) => w.name), written = Array.isArray(order) ? order : own.length ? own : usual();
    return written.map((item) => {
      const [head, ...rest] = String(item).split(":");
      return { head: head.trim(), travel: rest.join(":").trim() };
    });
  }
  put(items) {
    const order = items.map((i) => (i.travel ? `${i.head}:${i.travel}` : i.head));
    this.table("schedule").order = order;
  }
  // Take the order of `places`, numbers of rows as they are now; rows left out go.
  arrange(places) {
    if (!this.ownSeams) {
      const items = this.items();
      return this.put(places.map((p) => items[p]));
    }
    const old = this.list("weld"), now = places.map((p) => copyOf(old[p]));
    // a start rule belongs to a turn, not to a bead: "20 s after A" stays with the second turn
    const turn = new Map(old.map((w, i) => [w.name, i]));
    now.forEach((w, i) => {
      const rule = old[i] && old[i].start;
      if (rule === undefined) delete w.start;
      else {
        w.start = String(rule).replace(/\b(after|when)\s+(\S+)/, (whole, word, name) => {
          const at = turn.get(name);
          return at !== undefined && now[at] ? `${word} ${now[at].name}` : whole;
        });
      }
    });
    this.tables.weld = now;
  }
  move(index, by) {
    const places = this.rows(null).map((_, i) => i), to = index + by;
    if (to < 0 || to >= places.length) return false;
    [places[index], places[to]] = [places[to], places[index]];
    this.arrange(places);
    return true;
  }
  swap(a, b) {
    const places = this.rows(null).map((_, i) => i);
    [places[a], places[b]] = [places[b], places[a]];
    this.arrange(places);
  }
  remove(index) { this.arrange(this.rows(null).map((_, i) => i).filter((i) => i !== index)); }
  travel(index, word) {
    if (this.ownSeams) this.list("weld")[index].travel = word;
    else {
      const items = this.items();
      items[index].travel = word;
      this.put(items);
    }
  }
  // Reverses a travel; gives the new word, null where the server has not said the directions yet.
  reverse(index, check) {
    const row = this.rows(check)[index];
    const found = seamOf(check, row.seam);
    const word = this.ownSeams ? travelsOf(check, row.seam)[row.travel] : found && found.directions[row.travel];
    if (!word) return null;
    this.travel(index, word);
    return word;
  }
  // Seams of the joint that are not welded yet, with the passes that are left.
  left(check) {
    if (this.ownSeams || !check) return [];
    const heads = this.items().map((i) => i.head);
    const out = [];
    for (const seam of check.seams) {
      const own = heads.some((head) => (this.named(head) || {}).seam === seam.name);
      if (own || heads.includes(seam.name)) continue;
      const passes = Array.from({ length: seam.passes }, (_, i) => `${seam.name}/${i + 1}`);
      const open = passes.filter((p) => !heads.includes(p));
      if (open.length === seam.passes) out.push({ head: seam.name, seam });
      else out.push(...open.map((head) => ({ head, seam })));
    }
    return out;
  }
  add(head, direction) { this.put([...this.items(), { head, travel: direction }]); }
}

// A computed weld as an order has it: the second pass of a seam "butt", named "butt.2", is "butt/2".
const headOf = (w) => (w.name.startsWith(`${w.seam}.`) ? `${w.seam}/${w.name.slice(w.seam.length + 1)}` : w.name);
export const weldWords = (w) => headOf(w).replace("/", ", pass ");
const travelsOf = (check, name) => (check && check.travels && check.travels[name]) || {};
export const seamOf = (check, name) => check && check.seams.find((x) => x.name === name);
