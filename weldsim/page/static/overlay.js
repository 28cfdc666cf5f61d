// Two runs in one drawing: their spots on one target, their movement against time.
import { figure, h, s } from "./tools.js";
import { units } from "./units.js";

const LOOKS = [{ stroke: "var(--press)" }, { stroke: "var(--weld)", "stroke-dasharray": "7 4" }];
const lengthUnit = () => (units() === "us" ? ["in", 1 / 25.4] : ["mm", 1]);

function pointersOf(panes) {
  if (panes.some((p) => !p.data)) return null;
  const [a] = panes[0].data.pointers, b = a && panes[1].data.pointers.find((p) => p.name === a.name);
  return b ? [a, b] : null;
}
const nice = (span) => { const power = 10 ** Math.floor(Math.log10(span)); return [1, 2, 5, 10].map((v) => v * power).find((v) => v >= span * 0.999); };
function ticks(low, high, count) {
  const step = nice((high - low) / count), out = [];
  for (let k = Math.ceil(low / step); k * step <= high; k++) out.push(Number((k * step).toPrecision(10)));
  return out;
}
const minus = (v) => String(v).replace("-", "−");
const key = (names) => h("ul", { class: "key" }, names.map((name, i) => h("li", {}, s("svg", { viewBox: "0 0 34 10", class: "key-line", "aria-hidden": "true" },
  s("line", { x1: 1, x2: 33, y1: 5, y2: 5, "stroke-width": 3, ...LOOKS[i] })), name)));

// Both spots on one target, seen along the beam.
export function overlayTarget(panes, names) {
  const two = pointersOf(panes);
  if (!two) return null;
  const [word, factor] = lengthUnit(), SIZE = 320, EDGE = 40;
  const rights = [...two[0].right, ...two[1].right, 0].map((v) => v * factor), ups = [...two[0].up, ...two[1].up, 0].map((v) => v * factor);
  const ring = Math.max(two[0].tolerance || 0, two[1].tolerance || 0) * factor;
  const low = [Math.min(...rights, -ring), Math.min(...ups, -ring)], high = [Math.max(...rights, ring), Math.max(...ups, ring)];
  const span = 1.2 * Math.max(high[0] - low[0], high[1] - low[1], 1e-3), mid = [(low[0] + high[0]) / 2, (low[1] + high[1]) / 2], room = SIZE - EDGE;
  const X = (v) => EDGE + room / 2 + ((v - mid[0]) / span) * room, Y = (v) => room / 2 - ((v - mid[1]) / span) * room;
  const grid = [0, 1].flatMap((axis) => ticks(mid[axis] - span / 2, mid[axis] + span / 2, 5).flatMap((v) => {
    const at = axis ? Y(v) : X(v), line = axis ? { x1: EDGE, x2: SIZE, y1: at, y2: at } : { x1: at, x2: at, y1: 0, y2: room };
    const inside = axis ? at > 8 && at < room - 4 : at > EDGE + 10 && at < SIZE - 12;
    return [s("line", { ...line, stroke: v === 0 ? "var(--quiet)" : "var(--grid)" }),
      inside ? s("text", { ...(axis ? { x: EDGE - 5, y: at + 4, "text-anchor": "end" } : { x: at, y: room + 14, "text-anchor": "middle" }), class: "wv-tick", text: minus(v) }) : null];
  })).filter(Boolean);
  const paths = two.map((p, i) => [s("polyline", { fill: "none", "stroke-width": 2, ...LOOKS[i], points: p.right.map((v, k) => `${X(v * factor).toFixed(1)},${Y(p.up[k] * factor).toFixed(1)}`).join(" ") }),
    s("circle", { cx: X(p.right.at(-1) * factor), cy: Y(p.up.at(-1) * factor), r: 7, fill: LOOKS[i].stroke, stroke: "var(--white)", "stroke-width": 1.6 }),
    s("text", { x: X(p.right.at(-1) * factor), y: Y(p.up.at(-1) * factor) + 4, "text-anchor": "middle", class: "spot-number", text: i + 1 })]);
  const label = `Ends on the target of ${two[0].name}: ${two.map((p, i) => `${names[i]} ${figure(p.up.at(-1) * factor)} ${word} up, ${figure(p.right.at(-1) * factor)} ${word} right`).join("; ")}`;
  return h("figure", { "data-key": "target" }, h("figcaption", { text: `Both spots of ${two[0].name} on one target, seen along the beam (${two[0].aim})` }),
    s("svg", { viewBox: `0 0 ${SIZE} ${SIZE}`, role: "img", "aria-label": label },
      s("rect", { x: EDGE, y: 0, width: room, height: room, fill: "var(--white)" }),
      ring ? s("circle", { cx: X(0), cy: Y(0), r: (ring / span) * room, fill: "var(--good-pale)", stroke: "var(--good)", "stroke-dasharray": "5 3" }) : null, ...grid, ...paths.flat(),
      s("rect", { x: EDGE, y: 0, width: room, height: room, fill: "none", stroke: "var(--faint)" }),
      s("text", { x: EDGE + room / 2, y: SIZE - 4, "text-anchor": "middle", class: "wv-tick", text: `right, ${word} (toward ${two[0].right_way})` }),
      s("text", { "text-anchor": "middle", class: "wv-tick", transform: `translate(10 ${room / 2}) rotate(-90)`, text: `up, ${word} (toward ${two[0].up_way})` })), key(names));
}

// How far the spot is from where it began, against time; both on one scale.
export function overlayChart(panes, names) {
  const two = pointersOf(panes);
  if (!two) return null;
  const [word, factor] = lengthUnit(), WIDE = 440, TALL = 320, LEFT = 48, LOW = 40, TOP = 10;
  const curves = two.map((p) => p.times.map((t, k) => [t, factor * Math.hypot(p.right[k], p.up[k])]));
  const begin = Math.min(...curves.map((c) => c[0][0])), arcs = panes.flatMap((p) => p.data.arcs), last = Math.max(...arcs.map((a) => a.end), begin + 1);
  const end = Math.max(...curves.map((c) => c.at(-1)[0])), cut = Math.min(end, last + 0.5 * (last - begin));
  const high = 1.06 * Math.max(...curves.flat().map(([, v]) => v), 1e-6);
  const X = (t) => LEFT + ((WIDE - LEFT - 10) * (Math.min(t, cut) - begin)) / (cut - begin || 1), Y = (v) => TOP + (TALL - TOP - LOW) * (1 - v / high), foot = TALL - LOW;
  const lines = curves.map((c, i) => s("polyline", { fill: "none", "stroke-width": 2.2, ...LOOKS[i], points: c.filter(([t]) => t <= cut).concat([[cut, c.at(-1)[1]]]).map(([t, v]) => `${X(t).toFixed(1)},${Y(v).toFixed(1)}`).join(" ") }));
  return h("figure", { "data-key": "chart" }, h("figcaption", { text: `Distance of the spot from where it began, ${word} against s` }),
    s("svg", { viewBox: `0 0 ${WIDE} ${TALL}`, role: "img", "aria-label": `Distance against time: ${curves.map((c, i) => `${names[i]} ends at ${figure(c.at(-1)[1])} ${word}`).join(", ")}` },
      s("rect", { x: LEFT, y: TOP, width: WIDE - LEFT - 10, height: foot - TOP, fill: "var(--white)" }),
      ...ticks(0, high, 5).flatMap((v) => [s("line", { x1: LEFT, x2: WIDE - 10, y1: Y(v), y2: Y(v), stroke: "var(--grid)" }), s("text", { x: LEFT - 5, y: Y(v) + 4, "text-anchor": "end", class: "wv-tick", text: minus(v) })]),
      ...ticks(begin, cut, 6).map((t) => s("text", { x: X(t), y: foot + 15, "text-anchor": "middle", class: "wv-tick", text: minus(t) })), ...lines,
      s("rect", { x: LEFT, y: TOP, width: WIDE - LEFT - 10, height: foot - TOP, fill: "none", stroke: "var(--faint)" }),
      s("text", { x: LEFT + (WIDE - LEFT) / 2, y: TALL - 4, "text-anchor": "middle", class: "wv-tick", text: cut < end ? "s since the first arc; at the right edge the end, when cold" : "s since the first arc" })), key(names));
}
