// Side by side: two runs in step, both spots on one target of one scale, and which ends closer.
import { finishedRuns } from "./beside.js";
import { cautionLine } from "./cautions.js";
import { overlayChart, overlayTarget } from "./overlay.js";
import { Pane } from "./pane.js";
import { inOrder, sayDifference, sayEnd, sayError, sayReading } from "./readings.js";
import { figure, h, renew } from "./tools.js";
import { onUnits, shown } from "./units.js";

export class Compare {
  constructor(a, b, go) {
    Object.assign(this, { ids: [a, b], go, live: true });
    const more = () => this.more();
    this.panes = [new Pane(a, true, more), new Pane(b, true, more)];
    const [left, right] = this.panes;
    let busy = false;
    const follow = (other) => (t) => {
      this.now = t;
      if (busy || !other.view || !this.tied.checked) return;
      busy = true;
      try { other.view.setTime(t); } finally { busy = false; }
    };
    left.moved = follow(right);
    right.moved = follow(left);
    this.tied = h("input", { type: "checkbox", checked: true, id: "tied" });
    this.picks = [0, 1].map((i) => h("select", { "aria-label": i ? "run on the right" : "run on the left", onchange: (e) => {
      const ids = [...this.ids];
      ids[i] = e.target.value;
      this.go(`#compare/${ids[0]}/${ids[1]}`);
    } }));
    this.verdict = h("p", { class: "verdict", role: "status" });
    this.both = h("div", { class: "both" });
    this.note = h("p", { class: "note" });
    this.sums = h("div", { class: "scroll" });
    const whole = h("button", { type: "button", class: "plain", text: "Full screen", onclick: () => {
      if (document.fullscreenElement) document.exitFullscreen();
      else this.root.requestFullscreen().catch(() => { whole.disabled = true; });
    } });
    this.root = h("div", { class: "compare" },
      h("p", { class: "tie" }, this.picks[0], h("span", { text: " beside " }), this.picks[1], this.tied, h("label", { for: "tied", text: " Both at the same time: play or drag one, the other follows." }),
        h("a", { href: `#watch/${a}`, text: "The first alone" }), h("a", { href: `#watch/${b}`, text: "The second alone" }), whole),
      this.verdict, h("div", { class: "pair" }, left.root, right.root),
      h("section", { class: "panel" }, h("h2", { text: "Both together" }), this.both, this.sums, this.note), cautionLine());
    onUnits(() => { this.key = ""; this.more(); }, () => this.live);
    this.list();
  }
  close() { this.live = false; this.panes.forEach((p) => p.close()); }

  // All runs that have come to their end, to pick any two.
  async list() {
    const found = await finishedRuns();
    this.picks.forEach((pick, i) => {
      const id = this.ids[i], all = found.some(([key]) => key === id) ? found : [[id, "this one"], ...found];
      pick.replaceChildren(...all.map(([key, text]) => h("option", { value: key, selected: key === id, text })));
    });
  }

  word(i) {
    const [pane, other] = i ? [this.panes[1], this.panes[0]] : this.panes;
    return (pane.job && pane.job.change) || (other.job && other.job.change ? "as it was" : pane.summary ? pane.summary.title : "");
  }

  more() {
    const [a, b] = this.panes;
    this.even();
    if (!a.summary || !b.summary) return;
    const key = JSON.stringify([a.summary, b.summary, a.tag, b.tag]);
    if (key === this.key) return;
    if (!this.key) this.list(); // both have come to their end by now
    this.key = key;
    const of = new Map(b.summary.readings.map((r) => [r.name, r])), rows = inOrder(a.summary.readings.filter((r) => of.has(r.name)));
    const names = [this.word(0), this.word(1)].map((w, i) => (w && w !== this.word(1 - i) ? w : `${w} (${i ? "right" : "left"})`));
    this.sums.replaceChildren(h("table", { class: "readings" }, h("caption", { class: "unseen", text: "Readings at the end of both" }),
      h("thead", {}, h("tr", {}, ["At the end", ...names, "Difference"].map((t) => h("th", { scope: "col", text: t })))),
      h("tbody", {}, rows.map((r) => {
        const o = of.get(r.name), show = (x) => sayEnd(x) + (x.error === null ? "" : ` ${sayError(x)}`);
        return h("tr", {}, h("th", { scope: "row", text: sayReading(r) }), h("td", { text: show(r) }), h("td", { text: show(o) }), h("td", { text: sayDifference(r, o.end - r.end) }));
      }))));
    renew(this.both, overlayTarget(this.panes, names), overlayChart(this.panes, names));
    this.verdict.textContent = this.judge(rows, of, names);
    const look = a.summary.look || b.summary.look;
    this.note.textContent = look ? (a.summary.look ? a : b).summary.note
      : rows.some((r) => r.error !== null) ? "± is the estimated error of each. A difference smaller than that says little." : "No estimated error: small differences say little.";
  }

  // Which of the two ends closer to where it began, and whether the estimated errors let one say so.
  judge(rows, of, names) {
    const [x, y] = this.panes.map((p) => endOf(p.summary, rows));
    if (!x || !y) return "";
    const name = names.map((n) => `“${n}”`), say = (e) => { const [v, unit] = shown(e.size, e.unit); return `${figure(v)} ${unit}`; };
    const ends = `${name[1]} ends ${say(y)} from where it began, ${name[0]} ${say(x)}`, where = x.gauge ? ` at ${x.gauge}` : "";
    const error = x.error === null || y.error === null ? null : x.error + y.error;
    const grades = this.panes.map((p) => p.summary.grade);
    if (grades[0] !== grades[1]) return `Not compared: the two were computed at different grades (${grades.join(" and ")}), and a coarse mesh moves otherwise than a fine one. Run both at one grade.`;
    if (error !== null && Math.abs(x.size - y.size) <= error) return `Cannot be told apart${where}: ${ends}; the difference lies within the estimated errors. ${PREDICTION}`;
    const [near, far, better] = x.size < y.size ? [x, y, name[0]] : [y, x, name[1]];
    const times = near.size > 0 ? far.size / near.size : Infinity;
    const head = times < 1.05 ? "Both end about as far" : `${better} ends ${times > 20 ? "more than 20" : figure(times, times < 3 ? 1 : 0)} times closer`;
    return `${head}${where}: ${ends}${error === null ? "; without an estimated error" : ""}. ${PREDICTION}`;
  }

  // The same exaggeration and colours on both and the same room on both targets, so that the eye compares like with like.
  even() {
    const [a, b] = this.panes;
    if (!a.data || !b.data) return;
    const key = `${a.tag} ${b.tag}`;
    if (this.evened === key) return;
    this.evened = key;
    const warp = Math.min(a.data.warp, b.data.warp);
    const most = Math.max(...this.panes.map((p) => p.data.ranges.displacement[1]));
    for (const pane of this.panes) {
      pane.data.ranges.displacement[1] = most; // one scale of colours
      pane.view.setWarp(warp);
    }
    for (const one of a.view.targets) {
      const other = b.view.targets.find((t) => t.name === one.name);
      if (!other) continue;
      const [p, q] = [one.room, other.room];
      const room = [p[0].map((v, i) => Math.min(v, q[0][i])), p[1].map((v, i) => Math.max(v, q[1][i]))];
      one.setRoom(room);
      other.setRoom(room);
    }
  }
}
const PREDICTION = "A prediction; it approves nothing.";

// How far a run ends from zero: at its first pointer, else by its first length.
function endOf(summary, rows) {
  const named = new Set(rows.map((r) => r.name)), all = summary.readings.filter((r) => named.has(r.name) && r.unit === "mm");
  const up = all.find((r) => r.component === "up"), right = up && all.find((r) => r.gauge === up.gauge && r.component === "right");
  const some = right ? [up, right] : all.slice(0, 1);
  if (!some.length) return null;
  const error = some.every((r) => r.error !== null) ? Math.hypot(...some.map((r) => r.error)) : null;
  return { size: Math.hypot(...some.map((r) => r.end)), error, unit: "mm", gauge: right ? `the target of ${up.gauge}` : sayReading(some[0]) };
}
