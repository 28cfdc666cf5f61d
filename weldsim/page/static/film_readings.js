// "I measured ..." from films: where the light spot came to rest after each weld, brought, read and added up.
import { FilmForm, sheetLinks } from "./film_form.js";
import { ask, h, say } from "./tools.js";
import { shown } from "./units.js";
import { bring, kindOf } from "./upload.js";

export class FilmReadings {
  // `of`: a run or a plan; `gauges`: its pointers; `taken` gets {gauge, up, right, noise} in mm, or null.
  constructor(of, gauges, taken) {
    Object.assign(this, { of, gauges, taken, list: { measured: [], papers: [] }, chosen: [], fault: "", forms: new Map(), used: new Map(), live: true });
    this.films = h("ul", { class: "brought" });
    this.told = h("p", { class: "mistake", role: "alert", hidden: true });
    this.coming = h("p", { class: "coming", hidden: true });
    const pick = h("input", { type: "file", id: "bring-film", class: "unseen", multiple: true, accept: "video/*", onchange: () => { this.bringAll([...pick.files]); pick.value = ""; } });
    this.root = h("details", { class: "film-readings", ontoggle: (e) => { if (e.target.open) this.relist(); } }, h("summary", { text: "Take the reading from a film of the spot" }),
      h("p", { class: "note", text: "One film a weld, from before the arc until the spot rests. Tick the films of all welds that are done: their movements add up." }),
      h("p", { class: "buttons" }, pick, h("label", { for: "bring-film", class: "as-button", text: "Bring a film …" })), this.coming, this.told, this.films, this.sheets = h("div", {}));
  }
  // What FilmForm asks of the view it stands in.
  runOf() { return this.of; }
  offerOf() { return this.offer ??= { pointers: this.gauges }; }
  ownerField() { return null; }
  drawFiles() { this.draw(); }

  async bringAll(files) {
    for (const file of files) {
      this.told.hidden = true;
      if (kindOf(file) !== "clip") { this.wrong(new Error(`${file.name}: is no film`)); continue; }
      const bar = h("progress", { max: 1, value: 0, "aria-label": "share that is there" }), stop = h("button", { type: "button", class: "plain", text: "Stop" });
      this.coming.replaceChildren(h("span", { text: file.name }), bar, stop);
      this.coming.hidden = false;
      try { await bring(file, (share) => { bar.value = share; }, (work) => { stop.onclick = work; }); } catch (error) { this.wrong(error); }
    }
    this.coming.hidden = true;
    await this.relist();
  }
  wrong(error) {
    this.told.textContent = error.message;
    this.told.hidden = false;
    say(error.message);
  }
  async relist() {
    clearTimeout(this.timer);
    try { this.list = await ask("/api/measured"); } catch (error) { return this.wrong(error); }
    this.draw();
    if (this.root.isConnected && this.list.measured.some((m) => m.reading && !m.reading.over)) this.timer = setTimeout(() => this.relist(), 1000);
  }
  draw() {
    const clips = this.list.measured.filter((m) => m.kind === "clip");
    const rows = clips.map((m) => {
      const good = m.rest.length === 3 && this.gauges.includes(m.gauge);
      const use = h("input", { type: "checkbox", id: `film-${m.id}`, checked: this.chosen.includes(m.id), disabled: !good, onchange: (e) => this.choose(m.id, e.target.checked) });
      return h("li", { "data-id": m.id }, h("div", { class: "one" }, h("label", {}, use, h("span", { text: m.name })),
        h("span", { class: "note", text: good ? `${m.gauge}: ${signed(m.rest[0])} up, ${signed(m.rest[1])} right (± ${signed(m.rest[2]).slice(1)})` : m.read && this.gauges.length && !good ? "read for another gauge, or by an older page: read it again" : "" })), this.form(m));
    });
    this.sheets.replaceChildren(sheetLinks(this.list.papers, this.of));
    this.films.replaceChildren(...(rows.length ? rows : [h("li", { class: "note", text: "No film yet." })]));
  }
  form(m) {
    if (!this.forms.has(m.id)) this.forms.set(m.id, new FilmForm(this, m));
    return this.forms.get(m.id).section(m);
  }
  choose(id, on) {
    this.chosen = on ? [...this.chosen, id] : this.chosen.filter((x) => x !== id);
    const films = this.list.measured.filter((m) => this.chosen.includes(m.id));
    if (!films.length) return this.taken(null);
    const { gauge } = films.at(-1), same = films.filter((m) => m.gauge === gauge), sum = (k) => same.reduce((a, m) => a + m.rest[k], 0);
    this.taken({ gauge, up: sum(0), right: sum(1), noise: Math.hypot(...same.map((m) => m.rest[2])) });
    const box = document.getElementById(`film-${id}`); // the form around it was drawn anew
    if (box) box.focus();
  }
}
// Millimetres in the units of the switch.
function signed(mm) {
  const [v, unit] = shown(mm, "mm");
  return `${v < 0 ? "−" : "+"}${Math.abs(v).toFixed(unit === "in" ? 3 : 2)} ${unit}`;
}
