// While nothing is computed yet that could be shown: the part as it was set up, with the torch where it is.
import { PartView } from "./part.js";
import { ask, askPatiently, h, s } from "./tools.js";

const SAID = /^weld (.+), (\d+(?:\.\d+)?) s$/; // what a run says while an arc burns

export class LivePart extends PartView {
  // `stale` says that nobody looks any more.
  constructor(id, stale) {
    super(() => {});
    Object.assign(this, { id, stale, at: null, begun: new Map() });
    this.told = h("p", { class: "note" });
    this.root = h("div", { class: "live-part" }, h("div", { class: "part" }, this.stage), this.told);
    this.load();
  }
  async load() {
    try {
      const found = await ask(`/api/runs/${this.id}/case`), body = { tables: found.tables, base: found.base };
      const check = await askPatiently("/api/check", body, this.stale);
      this.order = new Map(check.ok ? check.order.map((w) => [w.name, w]) : []);
      const shape = await askPatiently("/api/shape", body, this.stale);
      if (!this.stale()) this.set({ ...shape, kind: found.kind, loose: [] });
    } catch { /* the words beside it say how far it is */ }
  }
  // What the job says of its progress: which weld, at what time.
  update(text) {
    const said = SAID.exec(text || "");
    this.told.textContent = said ? `The arc is on ${said[1]}.` : this.at && /^(rest|pause|cool)/.test(text || "") ? `After ${this.at[0]}: the part cools.` : "";
    if (!said) { if (this.at) this.at[2] = false; return this.draw(); }
    const [, name, time] = said, weld = this.order && this.order.get(name);
    if (!this.begun.has(name)) this.begun.set(name, Number(time));
    const start = weld && weld.start !== null ? weld.start : this.begun.get(name);
    this.at = [name, weld ? Math.max(0, Math.min(1, (Number(time) - start) / weld.duration)) : 0, true];
    this.draw();
  }
  lines(f, w, t) {
    super.lines(f, w, t);
    const weld = this.at && this.at[2] && this.shape.welds.find((x) => x.name === this.at[0]);
    if (!weld) return;
    const [x, y] = this.place(along(weld.points, this.at[1]));
    this.over.append(s("g", { class: "torch" }, s("circle", { class: "glow", cx: x, cy: y, r: 13 }), s("circle", { class: "arc", cx: x, cy: y, r: 5 })));
  }
}

// The place at a share of the way along a line.
export function along(points, share) {
  const steps = points.slice(1).map((p, i) => Math.hypot(...p.map((v, k) => v - points[i][k])));
  let left = share * steps.reduce((a, b) => a + b, 0);
  for (let i = 0; i < steps.length; i++) {
    if (left <= steps[i]) return points[i].map((v, k) => v + (steps[i] ? left / steps[i] : 0) * (points[i + 1][k] - v));
    left -= steps[i];
  }
  return points.at(-1);
}
