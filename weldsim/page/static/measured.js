// "I measured ...": what is welded so far and what the gauge reads, as a question to a plan or a run.
import { costOf } from "./costs.js";
import { FilmReadings } from "./film_readings.js";
import { askPatiently, h, say, STATES } from "./tools.js";
import { onUnits, shown, split, units, valueOf } from "./units.js";

// Units a reading may have, those of the switch first: at the target, then as a slope.
const LENGTHS = { metric: ["mm", "in"], us: ["in", "mm"] }, SLOPES = { metric: ["mm/m", "in/ft"], us: ["in/ft", "mm/m"] };
const DECIMALS = { mm: 3, in: 4, "mm/m": 4, "in/ft": 5 };
const IN = { mm: ["in", 1 / 25.4], in: ["mm", 25.4], "mm/m": ["in/ft", 0.012], "in/ft": ["mm/m", 1 / 0.012] };

export class Measured {
  constructor(id, go) {
    Object.assign(this, { id, go, done: [], values: {}, fault: "", busy: false, open: false });
    onUnits(() => this.turn(), () => !this.box || this.box.isConnected);
  }
  // Readings follow the switch of units; what carries a unit of its own stays as it was typed.
  turn() {
    for (const value of Object.values(this.values)) {
      const [word, factor] = IN[value[1]] || [], found = split(value[0]), wanted = [...LENGTHS[units()].slice(0, 1), ...SLOPES[units()].slice(0, 1)];
      if (!word || !wanted.includes(word)) continue;
      const typed = (value[2] ??= [value[0], value[1]]), number = found && !found[1] ? valueOf(split(typed[0])[0]) : NaN;
      if (value[0].trim() && !Number.isFinite(number)) continue;
      // from what was typed, never from what was rounded for the other unit
      value[0] = !value[0].trim() ? "" : word === typed[1] ? typed[0] : String(Number((number * factor).toFixed(DECIMALS[word])));
      value[1] = word;
    }
    if (this.films) this.films.draw();
    if (this.box) this.fill();
  }
  // The form, drawn anew whenever something changes; `words` says seams, travels and sides to be read.
  section(words, about, answer) {
    Object.assign(this, { words, about, answer });
    this.box ??= h("section", { class: "panel read-after" });
    this.fill();
    return this.box;
  }
  fill() {
    const { words, done } = this, seams = Object.keys(words.seams);
    if (!this.touched) { // begin with the recommended first weld, as far as it is known
      const first = this.answer && this.answer.rows[0] && this.answer.rows[0].order;
      if (first) done.splice(0, done.length, first[0].split(":"));
    }
    const left = seams.filter((x) => !done.some(([seam]) => seam === x));
    const rows = done.map(([seam, travel], i) => h("li", {}, h("strong", { text: `${i + 1}. ${seam}` }),
      h("select", { "aria-label": `travel of ${seam}`, onchange: (e) => { this.touched = true; done[i][1] = e.target.value; this.cost(); } }, words.seams[seam].map((w) => h("option", { value: w, text: w, selected: w === travel }))),
      i === done.length - 1 ? h("button", { type: "button", class: "plain", text: "Take back", "aria-label": `Take back ${seam}`, onclick: () => { this.touched = true; done.pop(); this.fill(); } }) : null));
    const add = left.length > 1 ? h("label", { class: "adder" }, "then ", h("select", { "aria-label": "next weld that is done", onchange: (e) => {
      if (e.target.value) { this.touched = true; done.push([e.target.value, words.seams[e.target.value][0]]); this.fill(); }
    } }, h("option", { value: "", text: "add a weld that is done …" }), left.map((x) => h("option", { value: x, text: x })))) : null;
    const sides = Object.entries(words.sides).map(([side, list]) => {
      const offered = [...(list.includes("mm") ? LENGTHS[units()] : []), ...(list.includes("mrad") ? SLOPES[units()] : []), ...(list.includes("mm") ? [] : ["deg"])];
      const value = this.values[side] ??= ["", offered[0]];
      return h("div", { class: "field" }, h("label", { for: `read-${side}`, text: side.replace(".", " ") }), h("span", { class: "measured-value" },
        h("input", { id: `read-${side}`, type: "text", inputmode: "text", autocomplete: "off", value: value[0], placeholder: "not read", oninput: (e) => { this.touched = true; value[0] = e.target.value; value.length = 2; this.filmed = null; } }),
        h("select", { class: "unit", "aria-label": `unit of ${side}`, onchange: (e) => { value[1] = e.target.value; value.length = 2; } }, offered.map((u) => h("option", { value: u, text: u, selected: u === value[1] })))));
    });
    this.box.replaceChildren(...[h("h2", { text: "I measured …" }),
      h("p", { class: "note", text: "After a weld: which are done, in which travel, and what the gauge reads now. Read it just before the next weld would start, after the pause of the case: the model is read at that moment too. The answer is what to weld next." }),
      h("ol", { class: "done" }, rows), add, h("div", { class: "readings-form" }, sides), this.film(), this.spread(),
      h("p", { class: "buttons" }, h("button", { type: "button", class: "first", text: "What do I weld next?", disabled: !done.length || this.busy, onclick: () => this.send() }),
        this.cost()),
      this.fault ? h("p", { class: "mistake", role: "status", text: this.fault }) : null, this.asked()].filter(Boolean));
  }
  // What the answer takes, once it is known which welds are done.
  cost() {
    const means = "The welds done are computed once more for each uncertain shop value, at the grade of the ranking.";
    this.price ??= h("span", { class: "cost", text: means });
    const asked = this.done.every((d) => d.length > 1) ? this.after : "";
    if (asked && asked !== this.priced) costOf({ kind: "next", of: this.id, after: asked, tolerance: this.tolerance || "" }, this.price, () => this.after !== asked || !this.box.isConnected);
    if (!asked) this.price.textContent = means;
    this.priced = asked;
    this.price.title = means;
    return this.price;
  }
  get after() { return this.done.map(([seam, travel]) => `${seam}:${travel}`).join(", "); }
  // Which spread of the shop the chances count, where one was computed.
  spread() {
    const { bands } = this.words;
    if (!bands || !bands.length) return null;
    this.band ??= this.words.band;
    const day = (t) => new Date(1000 * t).toLocaleString(undefined, { dateStyle: "medium", timeStyle: "short" });
    return h("div", { class: "field" }, h("label", { for: "read-band", text: "chances count the spread" }), h("select", { id: "read-band", onchange: (e) => { this.touched = true; this.band = e.target.value; } },
      h("option", { value: "", text: "of the reading alone" }), bands.map((b) => h("option", { value: b.id, text: `${b.title}, ${day(b.made)}`, selected: b.id === this.band }))));
  }
  // A pointer's spot may be filmed in place of reading it off the target.
  film() {
    const sides = Object.keys(this.words.sides), gauges = sides.filter((x) => x.endsWith(".up")).map((x) => x.slice(0, -3)).filter((g) => sides.includes(`${g}.right`));
    if (!gauges.length) return null;
    this.films ??= new FilmReadings(this.id, gauges, (found) => {
      this.filmed = found;
      if (found) for (const side of ["up", "right"]) {
        const [value, unit] = shown(found[side], "mm");
        this.values[`${found.gauge}.${side}`] = [String(Number(value.toFixed(DECIMALS[unit]))), unit, [String(Number(found[side].toFixed(DECIMALS.mm))), "mm"]];
      }
      this.fill();
    });
    return this.films.root;
  }
  // How well a film is read, where nothing else was typed. [mm]
  get noise() {
    const read = Object.entries(this.values).filter(([, [number]]) => number.trim()).map(([side]) => side.split(".")[0]);
    return this.filmed && read.every((g) => g === this.filmed.gauge) ? this.filmed.noise : undefined;
  }
  asked() {
    if (!this.about || !this.about.some((a) => a.kind === "next")) return null;
    return h("ul", { class: "files" }, this.about.filter((a) => a.kind === "next").map((a) => h("li", {}, h("a", { href: `#study/${a.id}`, text: a.change }), ` (${STATES[a.state]})`)));
  }
  async send() {
    const readings = Object.entries(this.values).filter(([, [number]]) => number.trim()).map(([side, [number, unit]]) => `${side}=${reading(number.trim(), unit)}`);
    const { after } = this;
    this.fault = readings.length ? "" : "Type at least one reading.";
    this.busy = Boolean(readings.length);
    this.fill();
    if (!readings.length) return say(this.fault);
    try {
      const job = await askPatiently("/api/studies", { kind: "next", of: this.id, after, readings, tolerance: this.tolerance || "", noise: this.noise, band: this.band || undefined }, () => !this.box.isConnected);
      this.go(`#study/${job.id}`);
    } catch (error) {
      this.fault = error.message.replace(/^([\w-]+)\.(\w+)=(.*?): /, "$1 $2, '$3' is not allowed: write a "); // the gauge's words
      say(this.fault);
    }
    this.busy = false;
    this.fill();
  }
}

// A number and its unit as a case has them; what has a unit of its own keeps it. 1 mm/m is 1 mrad.
function reading(number, unit) {
  const typed = number.replace("−", "-");
  if (/[a-z"'°]/i.test(typed)) return typed.replace(/mm\/m$/, "mrad");
  if (unit === "in/ft") return `${valueOf(typed) / 0.012} mrad`;
  return `${typed} ${unit === "mm/m" ? "mrad" : unit}`;
}
