// Set-up: fields on the left, the part with its welds, their sequence, and what it all means.
import { cautionsPanel } from "./cautions.js";
import { Times } from "./costs.js";
import { copyOf, weldWords } from "./draft.js";
import { ask, askPatiently, h, later, newest, Refused, renew, s, say, saveText } from "./tools.js";
import { Fields } from "./fields.js";
import { Metal } from "./metal.js";
import { PartView } from "./part.js";
import { said } from "./readings.js";
import { onUnits, shown } from "./units.js";

let previewed = ""; // the preview that this browser has under way: it shows a set-up as it was

export class Setup extends Fields {
  constructor(draft, begin, go) {
    super();
    Object.assign(this, { draft, begin, go, check: null, choosing: null, open: {}, serial: 0, unanswered: true, typed: new Set() });
    this.view = new PartView((seam, name) => this.pickSeam(seam, name));
    this.soon = later(() => this.ask(), 220);
    this.helper = newest();
    this.root = this.build();
    const keys = (e) => { // wherever the focus is, as long as this set-up is shown
      if (begin.setup !== this) document.removeEventListener("keydown", keys);
      else if (this.root.isConnected) this.shortcut(e);
    };
    document.addEventListener("keydown", keys);
    onUnits(() => { this.typed.clear(); this.form(); this.view.draw(); if (this.lastWords) this.meaning(this.lastWords); }, () => this.begin.setup === this);
    begin.setup = this;
    this.form();
    this.edits();
  }

  build() {
    this.ui = {
      form: h("form", { class: "fields", "aria-label": "Sizes and process", onsubmit: (e) => e.preventDefault() }),
      order: h("section", { class: "panel order", "aria-label": "Sequence of the welds" }),
      meaning: h("section", { class: "panel meaning", "aria-label": "What this case means" }),
      edits: h("p", { class: "edits" }),
      cautions: cautionsPanel(),
      tell: h("p", { class: "tell", role: "status" }),
      look: h("button", { type: "button", class: "second", text: "Preview", title: "Grade sketch in long steps: which way it moves, not for numbers",
        onclick: () => this.start("look") }),
      rough: h("button", { type: "button", class: "second", text: "Coarse run", title: "Grade coarse: which way and which sequence",
        onclick: () => this.start("rough") }),
      run: h("button", { type: "button", class: "first", text: "Compute", onclick: () => this.start("run") }),
      shapeNote: h("p", { class: "note", hidden: true }),
    };
    this.times = new Times(this);
    this.metal = new Metal(this);
    const turn = (angle, word, sign) => h("button", { type: "button", class: "small", "aria-label": word, text: sign,
      onclick: () => this.view.turn(angle) });
    const save = h("button", { type: "button", class: "plain", text: "Save as a case file", onclick: () => this.save() });
    return h("div", { class: "setup" }, this.ui.form,
      h("div", { class: "bench" },
        h("div", { class: "part" }, this.view.stage, this.ui.shapeNote,
          h("div", { class: "turners" },
            h("button", { type: "button", class: "small fit", text: "Fit", title: "The whole part with its target", onclick: () => this.view.fit() }),
            h("button", { type: "button", class: "small", "aria-label": "Larger", text: "+", onclick: () => this.view.grow(1.3) }),
            h("button", { type: "button", class: "small", "aria-label": "Smaller", text: "−", onclick: () => this.view.grow(1 / 1.3) }), turn(Math.PI / 4, "Turn the part to the left", "↺"),
            turn(-Math.PI / 4, "Turn the part to the right", "↻"))),
        h("div", { class: "two" }, this.ui.order, this.ui.meaning), this.metal.root, this.times.root, this.ui.cautions),
      h("div", { class: "actions" }, this.ui.tell, save,
        h("span", { class: "doing" }, this.ui.look, this.ui.rough, this.ui.run), this.times.line));
  }

  // ------------------------------------------------------------ what it means
  // `place`: id of the field that is typed in
  changed(rebuild, names, place) {
    this.draft.note(place);
    if (rebuild) this.form();
    if (rebuild || names) this.order();
    this.edits();
    this.soon();
    this.outdate();
  }
  outdate() {
    if (previewed) ask(`/api/jobs/${previewed}/stop`, {}).catch(() => {}); // over already, or taken off the list
    previewed = "";
  }
  edits() {
    const { past, ahead } = this.draft.history;
    const button = (word, sign, list, work, keys) => h("button", { type: "button", class: "plain", "data-key": word, text: `${sign} ${word}`, title: keys,
      disabled: !list.length, onclick: work });
    renew(this.ui.edits, button("Undo", "↶", past, () => this.goBack(false), "Ctrl+Z"), button("Redo", "↷", ahead, () => this.goBack(true), "Ctrl+Shift+Z"));
  }
  goBack(forward) {
    if (!(forward ? this.draft.redo() : this.draft.undo())) return;
    this.choosing = null;
    this.view.marks(null, false);
    this.typed.clear();
    this.form();
    this.order();
    this.edits();
    this.soon();
    this.outdate();
    say(forward ? "Redone" : "Undone");
  }
  shortcut(e) {
    const key = e.key.toLowerCase();
    if (!(e.ctrlKey || e.metaKey) || e.altKey || (key !== "z" && key !== "y")) return;
    e.preventDefault();
    this.goBack(key === "y" || e.shiftKey);
  }

  async ask() {
    const serial = ++this.serial, body = copyOf(this.draft.body()); // as checked, whatever is typed meanwhile
    const stale = () => serial !== this.serial || !this.root.isConnected;
    this.unanswered = true;
    try {
      const found = await askPatiently("/api/check", body, stale);
      if (serial !== this.serial) return;
      this.said = found.messages;
      this.good = found.ok;
      if (found.ok) this.check = found;
      this.messages();
      this.order();
      this.places();
      this.travels();
      this.unanswered = found.ok;
      if (!found.ok) { this.times.show(); return this.meaning(null); }
      this.meaning({});
      this.times.update();
      this.metal.show();
      await this.helper(() => this.askHelper(serial, body, stale));
    } catch (error) {
      if (serial === this.serial) this.tell(error.message, true);
    }
  }
  // Picture and words come from a process of which there is one: one after the other.
  async askHelper(serial, body, stale) {
    for (const [path, good, bad] of [
      ["/api/shape", (x) => { this.drawPart(x); if (this.lastWords) this.meaning(this.lastWords); }, (text) => this.shapeFault(text)],
      ["/api/words", (x) => this.meaning(x), (text) => this.meaning({ fault: text })]]) {
      if (stale()) return;
      try {
        const found = await askPatiently(path, body, stale, bad);
        if (serial === this.serial) good(found);
      } catch (error) {
        if (stale()) return;
        bad(error.message);
      }
    }
    if (serial === this.serial) this.unanswered = false;
  }
  // Shown, or shown again: what is not answered yet is asked.
  back() { if (this.unanswered) this.ask(); }

  drawPart(shape) {
    this.ui.shapeNote.hidden = true;
    const welded = new Set(shape.welds.filter((w) => !w.tack).map((w) => w.seam));
    this.view.set({ ...shape, kind: this.draft.kind, loose: this.check.seams.filter((x) => !welded.has(x.name)) });
  }
  shapeFault(text) {
    this.ui.shapeNote.hidden = false;
    this.ui.shapeNote.textContent = `No picture: ${text}`;
  }

  // Each mistake beside its field, counted at the head of its section.
  messages() {
    const form = this.ui.form, said = this.unclear(this.said || []);
    for (const p of form.querySelectorAll(".mistake")) p.hidden = true;
    for (const field of form.querySelectorAll("[aria-invalid]")) field.removeAttribute("aria-invalid");
    const counts = {}, loose = [];
    for (const m of said) {
      const key = m.section === "clamping" && m.key === "clamping" ? "" : m.key;
      let spot = [...form.querySelectorAll(`.field[data-place="${m.section}|${key}"]`)];
      if (m.name && spot.length > 1) {
        spot = spot.filter((x) => this.draft.get(m.section, "name", Number(x.dataset.index)) === m.name || String(Number(x.dataset.index) + 1) === m.name);
      }
      const place = spot[0] || form.querySelector(`.mistake[data-place="${m.section}|"]`);
      if (m.key === "order" || !place) { loose.push(m); continue; }
      const p = place.classList.contains("mistake") ? place : place.querySelector(".mistake");
      p.textContent = p.hidden ? m.text : `${p.textContent} ${m.text}`;
      p.hidden = false;
      if (spot[0]) (spot[0].querySelector("input, select")).setAttribute("aria-invalid", "true");
      for (let box = p.closest("details"); box && box !== form; box = box.parentElement.closest("details")) box.open = true;
      counts[m.section] = (counts[m.section] || 0) + 1;
    }
    for (const box of form.querySelectorAll("details.section")) {
      const mark = box.querySelector(".faults"), n = counts[box.dataset.section];
      mark.hidden = !n;
      mark.textContent = n ? `${n} to put right` : "";
    }
    this.loose = loose;
    const n = said.length;
    this.ui.run.disabled = this.ui.rough.disabled = this.ui.look.disabled = n > 0 || this.good === undefined;
    this.tell(n ? `${n} ${n > 1 ? "entries" : "entry"} to put right before this can be computed` : "", n > 0);
  }
  tell(text, bad) {
    this.ui.tell.textContent = text;
    this.ui.tell.classList.toggle("bad", Boolean(bad));
  }

  meaning(words) {
    this.lastWords = words;
    const { meaning } = this.ui;
    if (!words) {
      renew(meaning, h("h2", { text: "What this means" }), h("p", { class: "note",
        text: "The entries marked on the left have to be put right first; the picture shows the last good state." }));
      return;
    }
    const heat = h("div", { class: "scroll" }, h("table", {}, h("caption", { class: "unseen", text: "Timetable and heat of the welds" }), h("thead", {}, h("tr", {},
      ["Weld", "Starts", "Arc on", "Heat input"].map((t) => h("th", { scope: "col", text: t })))),
      h("tbody", {}, this.check.order.map((w) => h("tr", {}, h("th", { scope: "row", text: weldWords(w) }),
        h("td", { text: w.start === null ? w.rule : `${Math.round(w.start)} s` }), h("td", { text: `${w.duration.toFixed(w.duration < 10 ? 1 : 0)} s` }),
        h("td", { text: heatText(w.heat_input) }))))));
    renew(meaning, h("h2", { text: "What this means" }), (this.check.doubts || []).map((text, i) => h("p", { class: "doubt", "data-key": `doubt ${i}`, text: `Warning: ${text}.` })), this.strip(), heat,
      words.fault ? h("p", { class: "mistake", "data-key": "fault", text: words.fault }) : null,
      h("details", { "data-key": "words", open: this.open.words ?? false, ontoggle: (e) => { this.open.words = e.target.open; } },
        h("summary", { text: "The whole case in words" }),
        h("ul", { class: "lines" }, (words.lines ? said(words, "lines") : ["reading the case …"]).map((line) => h("li", { class: line.startsWith("     ") ? "deep" : line.startsWith("  ") ? "in" : "", text: line.trim() })))));
  }

  // Arc times as bars, as far as they are known before the run.
  strip() {
    const known = this.check.order.filter((w) => w.start !== null);
    if (!known.length) return null;
    const end = Math.max(...known.map((w) => w.start + w.duration)), wide = 360;
    const colours = new Map((this.view.shape ? this.view.shape.welds : []).map((w) => [w.name, w.colour]));
    return s("svg", { viewBox: `0 0 ${wide} 26`, class: "strip", preserveAspectRatio: "none", role: "img", "aria-label": `Arc times over ${Math.round(end)} seconds` },
      s("line", { x1: 0, y1: 18.5, x2: wide, y2: 18.5, class: "base" }),
      known.map((w) => s("rect", { x: (w.start / end) * wide, y: 8, width: Math.max(2, (w.duration / end) * wide), height: 10,
        fill: colours.get(w.name) || "var(--weld)" }, s("title", { text: `${w.name}: ${Math.round(w.start)} to ${Math.round(w.start + w.duration)} s` }))));
  }

  places() {
    const list = document.getElementById("places") || this.ui.form.querySelector("#places");
    if (!list || !this.check) return;
    list.replaceChildren(...[...this.check.faces, ...this.check.seams.map((x) => x.name)].map((v) => h("option", { value: v })));
  }

  // -------------------------------------------------------------------- order
  order() {
    const { draft } = this, rows = draft.rows(this.check);
    const clicked = this.choosing;
    const button = (sign, word, work, off) => h("button", { type: "button", class: "small", "aria-label": word, title: word,
      disabled: off, text: sign, onclick: work });
    const line = (row, i) => h("li", { class: "turn" }, h("span", { class: "nr", text: i + 1 }),
      h("span", { class: "who", text: row.label }),
      h("select", { "aria-label": `travel of ${row.label}`, onchange: (e) => { draft.travel(i, e.target.value); this.changed(true); } },
        (row.directions.includes(row.travel) ? row.directions : [row.travel, ...row.directions]).map((w) => h("option", { value: w, text: w || "?", selected: w === row.travel }))),
      h("span", { class: "keys" },
        button("⇄", `reverse ${row.label}`, () => this.turnRound(i)),
        button("▲", `weld ${row.label} earlier`, () => this.shift(i, -1), i === 0),
        button("▼", `weld ${row.label} later`, () => this.shift(i, 1), i === rows.length - 1),
        button("✕", draft.ownSeams ? `remove ${row.label}` : `leave ${row.label} unwelded`, () => { draft.remove(i); say(`${row.label} removed`); this.changed(true); }, rows.length < 2)));
    const left = draft.left(this.check);
    renew(this.ui.order, h("h2", { text: "Sequence and travel" }),
      h("p", { class: "note", text: clicked ? `Click the welds on the part in the sequence you want (${clicked.length} of ${rows.length}).`
        : "Click a weld on the part to reverse its travel." }),
      (this.loose || []).map((m, i) => h("p", { class: "mistake", "data-key": `fault ${i}`, text: [m.section && m.section !== "schedule" ? m.section : "", m.name, m.text].filter(Boolean).join(" ") })),
      h("ol", { class: "turns" }, rows.map(line)),
      left.length ? h("p", { class: "left", "data-key": "left" }, "Not welded: ", left.map((x) => h("button", { type: "button", class: "plain", "data-key": x.head,
        text: `add ${x.head.replace("/", ", pass ")}`, onclick: () => this.addSeam(x) }))) : null,
      h("p", { class: "buttons", "data-key": "buttons" }, clicked
        ? h("button", { type: "button", class: "plain", text: "Cancel", onclick: () => this.choose(null) })
        : h("button", { type: "button", class: "plain", text: "Set the sequence by clicking", disabled: rows.length < 2, onclick: () => this.choose([]) })));
  }
  choose(list) {
    this.choosing = list;
    this.view.marks(list && this.chosenMarks(), Boolean(list));
    this.order();
    if (list && !list.length) say("Choose the welds one after another");
  }
  chosenMarks() {
    const rows = this.draft.rows(this.check);
    return new Map(this.choosing.map((at, i) => [rows[at].seam, i + 1]));
  }
  pickSeam(seam, name) {
    const rows = this.draft.rows(this.check);
    const own = rows.map((r, i) => i).filter((i) => rows[i].seam === seam || rows[i].label === name);
    if (this.choosing) {
      const next = own.filter((i) => !this.choosing.includes(i));
      if (!next.length) return;
      const list = [...this.choosing, ...next]; // all passes of a seam in one go
      say(`${rows[next[0]].label} is number ${list.length}`);
      if (list.length < rows.length) return this.choose(list);
      this.draft.arrange(list);
      this.choose(null);
      return this.changed(true);
    }
    if (own.length) return own.forEach((i) => this.turnRound(i));
    const open = this.draft.left(this.check).find((x) => x.seam.name === seam);
    if (open) this.addSeam(open);
  }
  addSeam(x) {
    this.draft.add(x.head, Object.keys(x.seam.directions)[0]);
    say(`${x.head} added`);
    this.changed(true);
  }
  turnRound(i) {
    const label = this.draft.rows(this.check)[i].label, word = this.draft.reverse(i, this.check);
    if (!word) return;
    say(`${label} now runs ${word}`);
    this.changed(true);
  }
  shift(i, by) {
    const label = this.draft.rows(this.check)[i].label;
    if (!this.draft.move(i, by)) return;
    say(`${label} is now number ${i + by + 1}`);
    this.changed(true);
    const rows = this.ui.order.querySelectorAll(".turn"), keys = rows[i + by].querySelectorAll(".keys button");
    const same = keys[by < 0 ? 1 : 2];
    (same.disabled ? keys[0] : same).focus();
  }

  // ------------------------------------------------------------------- actions
  async start(kind) {
    const { run, rough, look } = this.ui;
    run.disabled = rough.disabled = look.disabled = true;
    try {
      const job = await askPatiently("/api/jobs", this.draft.whole({ kind }), () => !this.root.isConnected, (text) => this.tell(text));
      if (kind === "look") previewed = job.id;
      this.go(`#watch/${job.id}`);
    } catch (error) {
      if (error instanceof Refused && error.body.messages) this.said = error.body.messages;
      this.messages();
      this.tell(error.message, true);
    } finally {
      run.disabled = rough.disabled = look.disabled = this.unclear(this.said || []).length > 0;
      if (document.activeElement === document.body && this.root.isConnected) ({ run, rough, look })[kind].focus();
    }
  }
  async save() {
    try {
      const { text } = await ask("/api/case", this.draft.whole());
      saveText(`${fileName(this.draft.tables.title) || this.draft.kind}.toml`, text, "application/toml");
      say("case file saved");
    } catch (error) { this.tell(error.message, true); }
  }
}

function heatText(perMm) {
  const [value, unit] = shown(perMm, "kJ/mm");
  return `${value.toFixed(value < 10 ? 2 : 1)} ${unit}`;
}
// A title as the name of a file.
const fileName = (title) => String(title || "").trim().toLowerCase().replace(/[^\p{L}\p{N}]+/gu, "-").replace(/^-|-$/g, "").slice(0, 60);
