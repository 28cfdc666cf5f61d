// The part before welding: drawn on a canvas, its welds over it as lines to click or to tab to.
import { around, LabelRoom } from "./label_room.js";
import { h, paint, renew, s } from "./tools.js";
import { shown } from "./units.js";

const TINTS = ["steel", "filler", "clamped"];
const LIGHT = [0.28, 0.62, 0.73]; // seen from the eye: right, up, toward it
const FILLER = 1, OFF = 0.5, NEAR = 0.5; // mm that a weld is lifted to see it, and that count as touching

const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
const unit = (a) => { const n = Math.hypot(...a) || 1; return a.map((v) => v / n); };
const less = (a, b) => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];

export class PartView {
  constructor(onSeam) {
    this.onSeam = onSeam;
    this.canvas = h("canvas", { "aria-hidden": "true" });
    this.over = s("svg", { class: "part-over" });
    this.stage = h("div", { class: "part-stage", tabindex: 0, role: "group",
      "aria-label": "The part with its welds; arrow keys turn it" }, this.canvas, this.over);
    this.shape = null;
    this.turned = [0, 0];
    this.stage.addEventListener("pointerdown", (e) => this.grab(e));
    this.stage.addEventListener("keydown", (e) => this.key(e));
    new ResizeObserver(() => this.draw()).observe(this.stage);
  }

  set(shape) {
    const other = !this.shape || this.shape.kind !== shape.kind;
    this.shape = shape;
    this.beams = beamsOf(shape);
    if (other) {
      this.turned = [0, 0];
      this.zoom = 1;
    } else this.turned[1] = this.lift(this.turned[1]); // the way up may be another
    this.draw();
  }
  // `chosen`: numbers by seam while the sequence is being clicked, else null
  marks(chosen, armed) { this.chosen = chosen; this.armed = armed; this.draw(); }

  grab(e) {
    if (e.button || e.target.closest(".seam")) return;
    const [x, y] = [e.clientX, e.clientY], [a, b] = this.turned;
    const move = (m) => {
      this.turned = [a - (m.clientX - x) * 0.01, this.lift(b + (m.clientY - y) * 0.01)];
      this.draw();
    };
    const done = () => {
      window.removeEventListener("pointermove", move);
      window.removeEventListener("pointerup", done);
      window.removeEventListener("pointercancel", done);
    };
    window.addEventListener("pointermove", move);
    window.addEventListener("pointerup", done);
    window.addEventListener("pointercancel", done);
  }
  key(e) {
    if (e.target !== this.stage) return;
    const step = { ArrowLeft: [0.15, 0], ArrowRight: [-0.15, 0], ArrowUp: [0, 0.12], ArrowDown: [0, -0.12] }[e.key];
    const by = { "+": 1.2, "=": 1.2, "-": 1 / 1.2 }[e.key];
    if (!step && !by && e.key !== "0") return;
    e.preventDefault();
    if (by) return this.grow(by);
    if (!step) return this.fit();
    this.turned = [this.turned[0] + step[0], this.lift(this.turned[1] + step[1])];
    this.draw();
  }
  // The whole part with its beam and target, from where most welds are seen.
  fit() { this.turned = [0, 0]; this.zoom = 1; this.draw(); }
  grow(by) { this.zoom = Math.max(0.5, Math.min(8, this.zoom * by)); this.draw(); }
  turn(angle) { this.turned[0] += angle; this.draw(); }
  // How far the eye may rise or sink from the best view: never to straight above or below.
  lift(angle) {
    if (!this.shape) return 0;
    const { up, eye } = this.shape, at = Math.asin(Math.max(-1, Math.min(1, dot(unit(eye), up))));
    return Math.max(Math.min(0, -1.4 - at), Math.min(Math.max(0, 1.4 - at), angle));
  }

  // Eye, right and up of the picture: the best view, turned about the way up.
  frame() {
    const up = this.shape.up, eye = this.shape.eye, [a, b] = this.turned;
    const spun = (v, k, angle) => {
      const c = Math.cos(angle), t = Math.sin(angle), w = cross(k, v), d = dot(k, v) * (1 - c);
      return [0, 1, 2].map((i) => v[i] * c + w[i] * t + k[i] * d);
    };
    const level = spun(eye, up, a), e = spun(level, unit(cross(up, level)), -b);
    const right = unit(cross(up, e));
    return { eye: unit(e), right, up: cross(unit(e), right) };
  }

  draw() {
    if (!this.shape || this.waiting) return;
    this.waiting = true;
    requestAnimationFrame(() => { this.waiting = false; this.paint(); });
  }

  paint() {
    const box = this.stage.getBoundingClientRect(), w = box.width, t = box.height;
    if (w < 10 || t < 10) return;
    const scale = window.devicePixelRatio || 1;
    this.canvas.width = Math.round(w * scale);
    this.canvas.height = Math.round(t * scale);
    const f = this.frame(), points = this.shape.points;
    const flat = points.map((p) => [dot(p, f.right), -dot(p, f.up), dot(p, f.eye)]);
    const low = [Infinity, Infinity], high = [-Infinity, -Infinity];
    const outer = this.beams.flatMap((b) => b.card).map((p) => [dot(p, f.right), -dot(p, f.up)]);
    for (const q of [...flat, ...outer]) {
      for (const i of [0, 1]) { low[i] = Math.min(low[i], q[i]); high[i] = Math.max(high[i], q[i]); }
    }
    const room = 40, whole = Math.min((w - 2 * room) / (high[0] - low[0] || 1), (t - 2 * room) / (high[1] - low[1] || 1));
    const size = whole * this.zoom, mid = [(low[0] + high[0]) / 2, (low[1] + high[1]) / 2];
    if (this.zoom > 1) { // the closer, the more the welds move to the middle
      const at = middle(this.shape.welds), share = 1 - 1 / this.zoom;
      const spot = [dot(at, f.right), -dot(at, f.up)];
      for (const i of [0, 1]) mid[i] += Math.min(1, 2 * share) * (spot[i] - mid[i]);
    }
    this.place = (p) => [w / 2 + (dot(p, f.right) - mid[0]) * size, t / 2 + (-dot(p, f.up) - mid[1]) * size];
    this.faces(flat, f, (q) => [w / 2 + (q[0] - mid[0]) * size, t / 2 + (q[1] - mid[1]) * size], scale);
    this.lines(f, w, t);
  }

  faces(flat, f, to, scale) {
    const g = this.canvas.getContext("2d"), { faces, tint, points, edges } = this.shape;
    g.setTransform(scale, 0, 0, scale, 0, 0);
    g.lineJoin = "round";
    const shown = [];
    this.cover = [];
    faces.forEach((face, i) => {
      const [a, b, c] = face.map((n) => points[n]);
      const normal = unit(cross(less(b, a), less(c, b)));
      if (dot(normal, f.eye) <= 0) return;
      const bright = 0.7 + 0.3 * Math.max(0, dot([dot(normal, f.right), dot(normal, f.up), dot(normal, f.eye)], LIGHT));
      if (tint[i] !== FILLER) {
        const tilt = [dot(normal, f.right), -dot(normal, f.up), dot(normal, f.eye)];
        this.cover.push([face.map((n) => flat[n]), tilt]);
      }
      shown.push([face.reduce((sum, n) => sum + flat[n][2], 0) / face.length, face, bright, tint[i]]);
    });
    shown.sort((a, b) => a[0] - b[0]);
    const pair = (a, b) => (a < b ? a * 1e6 + b : b * 1e6 + a);
    const sharp = new Set(edges.map(([a, b]) => pair(a, b)));
    const tints = TINTS.map((name) => paint(name).match(/[0-9a-f]{2}/gi).map((v) => parseInt(v, 16)));
    for (const [, face, bright, kind] of shown) {
      const fill = `rgb(${tints[kind].map((v) => Math.round(v * bright)).join()})`;
      g.beginPath();
      face.forEach((n, i) => { const [x, y] = to(flat[n]); if (i) g.lineTo(x, y); else g.moveTo(x, y); });
      g.closePath();
      g.fillStyle = g.strokeStyle = fill;
      g.lineWidth = 1; // closes the seams between faces
      g.fill();
      g.stroke();
      g.strokeStyle = paint("border");
      face.forEach((n, i) => {
        const m = face[(i + 1) % face.length];
        if (!sharp.has(pair(n, m))) return;
        g.beginPath();
        g.moveTo(...to(flat[n]));
        g.lineTo(...to(flat[m]));
        g.stroke();
      });
    }
  }

  lines(f, w, t) {
    const focus = document.activeElement && this.over.contains(document.activeElement)
      ? { ...document.activeElement.dataset } : null;
    const made = [];
    const { welds, clamps } = this.shape;
    for (const line of this.shape.tacks) {
      made.push(s("polyline", { points: flatText(line.map(this.place)), class: "tack" }));
    }
    const taken = [];
    taken.names = new Map();
    for (const loose of this.shape.loose || []) made.push(this.seam(f, { ...loose, seam: loose.name }, null, taken));
    welds.forEach((weld) => { if (!weld.tack) made.push(this.seam(f, weld, weld.number, taken)); });
    // numbers stand where their welds are; then names, targets and clamps take the room that is left
    const room = new LabelRoom(w, t, this.kept(w, t));
    for (const spot of taken) room.disc(spot, 12);
    made.push(...this.names(taken, room));
    for (const beam of this.beams) made.push(this.beam(beam, room));
    for (const clamp of clamps) made.push(...this.grip(clamp, room));
    made.push(this.axes(f, t));
    this.over.setAttribute("viewBox", `0 0 ${w} ${t}`);
    renew(this.over, made);
    if (focus) {
      const seams = [...this.over.querySelectorAll(".seam")];
      const again = seams.find((x) => x.dataset.key === focus.key) || seams.find((x) => x.dataset.seam === focus.seam);
      if (again) again.focus({ preventScroll: true });
    }
  }

  // Which steps of a weld steel hides. Once around a tube, inward is toward the middle.
  hiddenSteps(weld, f) {
    const heart = weld.closed ? middle([weld]) : null;
    return weld.points.slice(1).map((p, i) => {
      const half = weld.points[i].map((v, k) => (v + p[k]) / 2);
      const inward = heart ? unit(less(heart, half)) : weld.inward;
      return this.covered(half.map((v, k) => v - OFF * inward[k]), f);
    });
  }
  // Whether steel stands between the eye and a place; filler does not count, welds lie in it.
  covered(place, f) {
    const x = dot(place, f.right), y = -dot(place, f.up), e = dot(place, f.eye);
    return this.cover.some(([corners, tilt]) => {
      const a = corners[0], high = a[2] - (tilt[0] * (x - a[0]) + tilt[1] * (y - a[1])) / tilt[2];
      return high > e + NEAR && inside(corners, x, y);
    });
  }

  seam(f, weld, number, taken) {
    const places = weld.points.map(this.place), path = flatText(places);
    const hidden = this.hiddenSteps(weld, f), behind = hidden.every(Boolean);
    const chosen = this.chosen ? this.chosen.get(weld.seam) : undefined;
    const shown = this.chosen ? chosen : number;
    const colour = shown || !this.chosen ? weld.colour || "var(--border)" : "var(--border)";
    const name = weld.name === weld.seam ? weld.name : `${weld.name} (${weld.seam})`;
    const label = this.armed ? `${name}: ${shown ? `number ${shown}` : "not in the sequence yet"}; choose it next`
      : `${name}: ${number ? `weld ${number}, reverse its travel` : "not welded, add it"}`;
    const group = s("g", { class: `seam${behind ? " behind" : ""}`, tabindex: 0, role: "button",
      "aria-label": label, "data-seam": weld.seam, "data-key": `${weld.seam}|${weld.name}`,
      onclick: () => this.onSeam(weld.seam, weld.name),
      onkeydown: (e) => {
        if (e.key !== "Enter" && e.key !== " ") return;
        e.preventDefault();
        e.stopPropagation();
        this.onSeam(weld.seam, weld.name);
      } });
    group.append(...[s("title", { text: label }), s("polyline", { points: path, class: "hit" }),
      s("polyline", { points: path, class: "halo" }),
      stretches(places, hidden).map(([part, back]) => s("polyline", { points: flatText(part), class: `run${back ? " back" : ""}`,
        stroke: colour, ...(number ? {} : { "stroke-dasharray": "3 5" }) }))].flat());
    if (number) group.append(s("polygon", { points: flatText(arrow(places)), fill: colour, class: "tip" }));
    const middleOf = places[Math.floor(places.length / 2)];
    const start = places[0], away = this.aside(places, weld, f);
    const spot = inPicture(roomFor([start[0] + 19 * away[0], start[1] + 19 * away[1]], away, taken), this.stage);
    taken.push(spot);
    group.append(s("line", { x1: start[0], y1: start[1], x2: spot[0], y2: spot[1], stroke: colour, class: "lead" }),
      s("circle", { cx: start[0], cy: start[1], r: 3.4, fill: colour, class: "from" }),
      s("circle", { cx: spot[0], cy: spot[1], r: 11, class: "ball", fill: shown ? colour : "var(--white)", stroke: colour }),
      s("text", { x: spot[0], y: spot[1] + 4.5, "text-anchor": "middle", class: shown ? "count" : "count open",
        text: shown || "+" }));
    if (!taken.names.has(weld.seam)) { // the name once, where the number is
      taken.names.set(weld.seam, { spot, colour, right: spot[0] >= middleOf[0], text: weld.seam + (behind ? " (behind)" : "") });
    }
    return group;
  }

  // Where no label goes: the buttons, and the axes in their corner.
  kept(w, t) {
    const frame = this.stage.getBoundingClientRect(), keys = this.stage.parentElement && this.stage.parentElement.querySelector(".turners");
    const box = keys && keys.getBoundingClientRect();
    return [[0, t - 84, 64, t], ...(box ? [[box.left - frame.left, box.top - frame.top, w, t]] : [])];
  }
  // Names beside the numbers, where nothing else stands.
  names(taken, room) {
    return [...taken.names.values()].map(({ spot, colour, right, text }) => {
      const [x, y, anchor] = room.take(around(spot, right ? 1 : -1), 7.8 * text.length);
      return s("text", { x, y, "text-anchor": anchor, class: "seam-name", fill: colour, text });
    });
  }
  // A clamped face with its name, where there is room for it.
  grip(clamp, room) {
    const [x, y] = this.place(clamp.place), at = room.take([[x, y + 18, "middle"], [x, y - 9, "middle"], ...around([x, y], 1, 8, 2)], 6.6 * clamp.name.length, false);
    return [s("rect", { x: x - 3.5, y: y - 3.5, width: 7, height: 7, class: "grip" }, s("title", { text: clamp.name })),
      at ? s("text", { x: at[0], y: at[1], class: "grip-name", "text-anchor": at[2], text: clamp.name }) : null].filter(Boolean);
  }

  // The light beam, cut short, and the target it points at, with its up and right.
  beam(beam, room) {
    const [from, to] = [beam.place, beam.foot].map(this.place), half = [(from[0] + to[0]) / 2, (from[1] + to[1]) / 2];
    const along = unit([to[0] - from[0], to[1] - from[1], 0]), across = [-along[1], along[0]];
    const [throwValue, throwUnit] = shown(beam.throw, "m");
    const mark = (shift) => s("line", { x1: half[0] + shift * along[0] - 6 * across[0], y1: half[1] + shift * along[1] - 6 * across[1],
      x2: half[0] + shift * along[0] + 6 * across[0], y2: half[1] + shift * along[1] + 6 * across[1], class: "beam" });
    const line = (a, b, css) => { const [p, q] = [a, b].map(this.place); return s("line", { x1: p[0], y1: p[1], x2: q[0], y2: q[1], class: css }); };
    const word = (place, text) => { // away from the spot, as far as it takes to be read
      const [x, y] = this.place(place), way = unit([x - to[0], y - to[1], 0]);
      const [a, b, anchor] = room.take([0, 10, 20, 30].map((d) => [x + d * way[0], y + d * way[1] + 4, "middle"]), 7 * text.length);
      return s("text", { x: a, y: b, "text-anchor": anchor, class: "target-word", text });
    };
    const corners = beam.card.map(this.place), ys = corners.map((p) => p[1]), below = Math.max(...ys) + 17, above = Math.min(...ys) - 8;
    const label = (text, must) => {
      const wide = 6.7 * text.length, x = Math.max(wide / 2 + 2, Math.min(this.stage.clientWidth - wide / 2 - 2, to[0]));
      const at = room.take([below, above, below + 15, above - 15, below + 30].map((y) => [x, y, "middle"]), wide, must);
      return at && s("text", { x: at[0], y: at[1], "text-anchor": at[2], class: "target-word", text });
    };
    return s("g", { class: "pointer", "aria-label": `Target of ${beam.name}` },
      s("polygon", { points: flatText(beam.card.map(this.place)), class: "target" }),
      line(beam.left, beam.right, "target-line"), line(beam.low, beam.high, "target-line"),
      s("line", { x1: from[0], y1: from[1], x2: to[0], y2: to[1], class: "beam" }), mark(-3), mark(3),
      s("circle", { cx: to[0], cy: to[1], r: 4, class: "spot" }), s("circle", { cx: from[0], cy: from[1], r: 3, class: "spot" }),
      word(beam.upAt, "up"), word(beam.rightAt, "right"), label(`target of ${beam.name}, ${Number(throwValue.toPrecision(3))} ${throwUnit} away`, false) || label(beam.name, true));
  }

  // Where a number goes: off the part, against the travel.
  aside(places, weld, f) {
    const out = [-dot(weld.inward, f.right), dot(weld.inward, f.up)];
    const next = places[Math.min(3, places.length - 1)];
    const back = [places[0][0] - next[0], places[0][1] - next[1]], n = Math.hypot(...back) || 1;
    const way = [out[0] + (1.1 * back[0]) / n, out[1] + (1.1 * back[1]) / n];
    const size = Math.hypot(...way);
    return size > 1e-6 ? way.map((v) => v / size) : [0, -1];
  }

  axes(f, t) {
    const group = s("g", { class: "axes", transform: `translate(34 ${t - 34})`, "aria-hidden": "true" });
    ["x", "y", "z"].forEach((name, i) => {
      const axis = [0, 0, 0];
      axis[i] = 1;
      const to = [22 * dot(axis, f.right), -22 * dot(axis, f.up)];
      const beside = dot(axis, this.shape.up) > 0.9 ? 10 : 0; // the arrow "up" stands on it
      group.append(s("line", { x1: 0, y1: 0, x2: to[0], y2: to[1], class: "way" }),
        s("text", { x: to[0] * 1.42 + beside, y: (beside ? to[1] : to[1] * 1.42) + 4, "text-anchor": "middle", text: name }));
    });
    const up = this.shape.up, to = [40 * dot(up, f.right), -40 * dot(up, f.up)];
    group.append(s("line", { x1: 0, y1: 0, x2: to[0], y2: to[1], class: "way up" }),
      s("polygon", { points: flatText([[to[0], to[1] - 7], [to[0] - 4, to[1]], [to[0] + 4, to[1]]]), class: "way-tip" }),
      s("text", { x: to[0], y: to[1] - 11, "text-anchor": "middle", class: "up-word", text: "up" }));
    return group;
  }
}

// Each pointer with where its beam is cut short and the corners of its target, in the room of the part.
function beamsOf(shape) {
  const size = [0, 1, 2].map((i) => { const v = shape.points.map((p) => p[i]); return Math.max(...v) - Math.min(...v); });
  const reach = Math.hypot(...size);
  return (shape.pointers || []).map((p) => {
    const on = (a, b, c) => p.place.map((v, i) => v + reach * (a * p.aim[i] + b * p.right[i] + c * p.up[i]));
    const L = 0.3, h = 0.1;
    return { ...p, foot: on(L, 0, 0), card: [on(L, -h, -h), on(L, h, -h), on(L, h, h), on(L, -h, h)],
      left: on(L, -h, 0), right: on(L, h, 0), low: on(L, 0, -h), high: on(L, 0, h),
      upAt: on(L, 0, 1.3 * h), rightAt: on(L, 1.45 * h, 0) };
  });
}

// Middle of all welds.
function middle(welds) {
  const all = welds.flatMap((w) => w.points), low = [0, 1, 2].map((i) => Math.min(...all.map((p) => p[i])));
  return [0, 1, 2].map((i) => (low[i] + Math.max(...all.map((p) => p[i]))) / 2);
}

const flatText = (places) => places.map((p) => `${p[0].toFixed(1)},${p[1].toFixed(1)}`).join(" ");

// Whether a point of the picture lies in a polygon: an odd number of edges to its right.
function inside(corners, x, y) {
  let odd = false;
  corners.forEach((a, i) => {
    const b = corners[(i + 1) % corners.length];
    if (a[1] > y !== b[1] > y && x < a[0] + ((y - a[1]) / (b[1] - a[1])) * (b[0] - a[0])) odd = !odd;
  });
  return odd;
}

// A path in stretches that show and stretches that do not.
function stretches(places, hidden) {
  const out = [];
  hidden.forEach((back, i) => {
    if (!out.length || out[out.length - 1][1] !== back) out.push([[places[i]], back]);
    out[out.length - 1][0].push(places[i + 1]);
  });
  return out;
}

function roomFor(spot, away, taken) {
  let at = spot;
  for (let k = 0; k < 6 && taken.some((p) => Math.hypot(p[0] - at[0], p[1] - at[1]) < 23); k++) {
    at = [at[0] + 13 * away[0], at[1] + 13 * away[1]];
  }
  return at;
}

// A number stays inside the picture.
const inPicture = ([x, y], stage) => [Math.max(13, Math.min(stage.clientWidth - 13, x)), Math.max(13, Math.min(stage.clientHeight - 13, y))];

// An arrowhead at about two thirds of a path, pointing along the travel.
function arrow(places) {
  const steps = places.slice(1).map((p, i) => Math.hypot(p[0] - places[i][0], p[1] - places[i][1]));
  let left = 0.66 * steps.reduce((a, b) => a + b, 0), i = 0;
  while (i < steps.length - 1 && left > steps[i]) left -= steps[i++];
  const a = places[i], b = places[i + 1] || a, n = Math.hypot(b[0] - a[0], b[1] - a[1]) || 1;
  const u = [(b[0] - a[0]) / n, (b[1] - a[1]) / n], c = [a[0] + u[0] * left, a[1] + u[1] * left];
  return [[c[0] + 9 * u[0], c[1] + 9 * u[1]], [c[0] - 5 * u[0] - 7 * u[1], c[1] - 5 * u[1] + 7 * u[0]],
    [c[0] - 5 * u[0] + 7 * u[1], c[1] - 5 * u[1] - 7 * u[0]]];
}
