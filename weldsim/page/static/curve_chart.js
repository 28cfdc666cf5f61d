// Measured readings over a computed curve: one chart a gauge, one scale of time for all of them.
import { figure, h, s } from "./tools.js";
import { shown } from "./units.js";

const WIDE = 640, TALL = 270, LEFT = 62, RIGHT = 12, TOP = 12, LOW = 40;
const DOTS = ["var(--weld)", "var(--ink)", "var(--bad)", "var(--good)"];

const nice = (span) => { const power = 10 ** Math.floor(Math.log10(span)); return [1, 2, 5, 10].map((v) => v * power).find((v) => v >= span * 0.999); };
function ticks(low, high, count) {
  const step = nice((high - low) / count || 1), out = [];
  for (let k = Math.ceil(low / step); k * step <= high + 1e-9 * step; k++) out.push(Number((k * step).toPrecision(10)));
  return out;
}
const minus = (v) => String(v).replace("-", "−");
export const gaugeName = (c) => `${c.gauge} ${c.component.replace(/_/g, " ")}`.trim();

// `curve`: gauge, component, unit and `computed`; `sets`: name, times, values, shift [s] and cold of
// what was measured; `arcs`: [start, end]; `until`: where the axis ends, null for the whole of it.
export function curveChart(curve, sets, arcs, until, since = "since the run begins") {
  const [, word] = shown(0, curve.unit), to = (v) => (v === null ? null : shown(v, curve.unit)[0]);
  const made = sets.map((m) => ({ ...m, points: m.values.map((v, i) => [m.cold ? null : m.times[i] - (m.shift || 0), to(v)]).filter(([, v]) => v !== null) }));
  const line = curve.computed ? curve.computed.times.map((t, i) => [t, to(curve.computed.values[i])]).filter(([, v]) => v !== null) : [];
  const band = curve.low ? curve.times.map((t, i) => [t, to(curve.low[i]), to(curve.high[i])]) : [];
  const times = [...line, ...made.flatMap((m) => m.points), ...arcs.flat().map((t) => [t])].map(([t]) => t).filter((t) => t !== null);
  const first = Math.min(0, ...times), last = until ?? Math.max(first + 1, ...times);
  const here = (t) => t === null || (t >= first && t <= last);
  const cold = curve.cold ? curve.cold.map(to) : [];
  const values = [0, ...cold, ...[...line, ...made.flatMap((m) => m.points)].filter(([t]) => here(t)).map(([, v]) => v), ...band.filter(([t]) => here(t)).flatMap(([, a, b]) => [a, b])];
  const room = 0.06 * (Math.max(...values) - Math.min(...values) || 1), low = Math.min(...values) - room, high = Math.max(...values) + room;
  const X = (t) => LEFT + ((WIDE - LEFT - RIGHT) * (t - first)) / (last - first || 1), Y = (v) => TOP + (TALL - TOP - LOW) * (1 - (v - low) / (high - low)), foot = TALL - LOW;
  const path = (list) => list.filter(([t]) => here(t)).map(([t, v]) => `${X(t).toFixed(1)},${Y(v).toFixed(1)}`).join(" ");
  const dots = made.flatMap((m, k) => m.points.filter(([t]) => here(t)).map(([t, v]) => (t === null
    ? s("path", { d: `M${X(last) - 14},${Y(v) - 5}l12,5l-12,5z`, fill: DOTS[k % DOTS.length] })
    : s("circle", { cx: X(t).toFixed(1), cy: Y(v).toFixed(1), r: m.points.length > 80 ? 1.7 : 3, fill: DOTS[k % DOTS.length] }))));
  const ends = made.map((m) => (m.points.length ? `${m.name} ends at ${figure(m.points.at(-1)[1])} ${word}` : "")).filter(Boolean);
  const told = [line.length ? `computed ends at ${figure(line.at(-1)[1])} ${word}` : "", ...ends].filter(Boolean).join(", ");
  const key = [[curve.middle ? `computed, ${curve.middle}` : curve.low ? "computed, likeliest values" : "computed", s("line", { x1: 1, x2: 33, y1: 5, y2: 5, "stroke-width": 3, stroke: "var(--press)" })],
    ...(curve.low ? [[curve.scatter || "computed, 90 %", s("rect", { x: 1, y: 1, width: 32, height: 8, fill: "var(--press)", "fill-opacity": .25 })]] : []),
    ...made.map((m, k) => [`measured, ${m.name}${m.cold ? ", cold" : ""}`, s("circle", { cx: 17, cy: 5, r: 3.5, fill: DOTS[k % DOTS.length] })]),
    ...(curve.cold ? [["the same, cold", s("rect", { x: 14, y: 0, width: 6, height: 10, fill: "var(--press)" })]] : []),
    ...(arcs.length ? [["arc on", s("rect", { x: 1, y: 1, width: 32, height: 8, fill: "var(--weld)", "fill-opacity": .2 })]] : [])];
  return h("figure", { class: "curve", "data-key": curve.key || curve.name }, h("figcaption", { text: `${gaugeName(curve)}, ${word} against s ${since}` }, curve.of ? h("span", { class: "note alike", text: curve.of }) : null),
    s("svg", { viewBox: `0 0 ${WIDE} ${TALL}`, role: "img", "aria-label": `${gaugeName(curve)}: ${told}` },
      s("rect", { x: LEFT, y: TOP, width: WIDE - LEFT - RIGHT, height: foot - TOP, fill: "var(--white)" }),
      ...arcs.filter(([a]) => a < last).map(([a, b]) => s("rect", { x: X(a), y: TOP, width: Math.max(1, X(Math.min(b, last)) - X(a)), height: foot - TOP, fill: "var(--weld)", "fill-opacity": .16 })),
      ...ticks(low, high, 5).flatMap((v) => [s("line", { x1: LEFT, x2: WIDE - RIGHT, y1: Y(v), y2: Y(v), stroke: v === 0 ? "var(--quiet)" : "var(--grid)" }), s("text", { x: LEFT - 6, y: Y(v) + 4, "text-anchor": "end", text: minus(v) })]),
      ...ticks(first, last, 6).map((t) => s("text", { x: X(t), y: foot + 17, "text-anchor": "middle", text: minus(t) })),
      band.length ? s("polygon", { fill: "var(--press)", "fill-opacity": .25, points: `${path(band.map(([t, a]) => [t, a]))} ${path([...band].reverse().map(([t, , b]) => [t, b]))}` }) : null,
      s("polyline", { fill: "none", stroke: "var(--press)", "stroke-width": 2.2, points: path(line) }), ...dots,
      cold.length ? s("rect", { x: X(last) - 9, y: Y(cold[1]), width: 6, height: Math.max(2, Y(cold[0]) - Y(cold[1])), fill: "var(--press)" }) : null,
      s("rect", { x: LEFT, y: TOP, width: WIDE - LEFT - RIGHT, height: foot - TOP, fill: "none", stroke: "var(--faint)" }),
      s("text", { x: LEFT + (WIDE - LEFT - RIGHT) / 2, y: TALL - 5, "text-anchor": "middle", text: `s ${since}` }),
      s("text", { "text-anchor": "middle", transform: `translate(13 ${(TOP + foot) / 2}) rotate(-90)`, text: `${gaugeName(curve)}, ${word}` })),
    h("ul", { class: "key" }, key.map(([text, mark]) => h("li", {}, s("svg", { viewBox: "0 0 34 10", class: "key-line", "aria-hidden": "true" }, mark), text))));
}
