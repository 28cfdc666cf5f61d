// A band: between what each gauge ends, over time and on the target, and what explains the spread.
import { curveChart } from "./curve_chart.js";
import { said } from "./readings.js";
import { figure, h, s } from "./tools.js";
import { shown } from "./units.js";

const SIZE = 320;

export function bandParts(answer) {
  const until = Math.max(...answer.curves.map((c) => Math.min(c.times.at(-1), 2 * answer.last_arc)));
  const charts = answer.curves.map((c) => curveChart({ ...c, cold: [c.low.at(-1), c.high.at(-1)], middle: "as the case says", scatter: "nine of ten parts" }, [], [], until));
  return [
    h("section", { class: "panel in-words", "data-key": "words" }, h("h2", { text: "Between what it ends" }), h("ul", { class: "files" }, said(answer, "words").map((w) => h("li", { text: String(w).trim() })))),
    answer.targets.length ? h("section", { class: "panel", "data-key": "targets" }, h("h2", { text: "On the target, cold" }), h("div", { class: "both" }, answer.targets.map(target))) : null,
    h("section", { class: "panel", "data-key": "curves" }, h("h2", { text: "Over time" }), h("div", { class: "curves" }, charts)),
    shares(answer.record.readings),
    h("section", { class: "panel", "data-key": "sources" }, h("h2", { text: "What was let scatter" }), h("ul", { class: "files" }, said(answer, "sources").map((text) => h("li", { text })))),
  ];
}

// What explains the spread of each reading, in words.
function shares(readings) {
  const cold = readings.filter((r) => r.moment === "cold" || r.unit === "degC");
  return h("section", { class: "panel", "data-key": "shares" }, h("h2", { text: "What explains the spread" }), h("table", {}, h("thead", {}, h("tr", {}, ["Reading", "Nine of ten between", "Explained by"].map((t) => h("th", { scope: "col", text: t })))),
    h("tbody", {}, cold.map((r) => h("tr", {}, h("th", { scope: "row", text: `${r.gauge} ${(r.component || "").replace(/_/g, " ")}${r.moment === "cold" ? ", cold" : ", at its hottest"}` }), h("td", { class: "n", text: between(r) }), h("td", { text: r.shares_in_words }))))));
}
function between(r) {
  const [low, word] = shown(r.low, r.unit), [high] = shown(r.high, r.unit);
  return `${figure(low)} to ${figure(high)} ${word.replace(/^deg/, "°")}`;
}

// Ends of many parts on the target of a pointer, seen along the beam.
function target(t) {
  const [, word] = shown(0, "mm"), to = ([right, up]) => [shown(right, "mm")[0], shown(up, "mm")[0]];
  const spots = t.spots.map(to), end = to(t.end), low = to(t.low), high = to(t.high), all = [...spots, end, [0, 0]];
  const least = [0, 1].map((i) => Math.min(...all.map((p) => p[i]))), most = [0, 1].map((i) => Math.max(...all.map((p) => p[i])));
  const span = 1.12 * Math.max(most[0] - least[0], most[1] - least[1], 1e-6), mid = [0, 1].map((i) => (least[i] + most[i]) / 2);
  const X = (v) => SIZE / 2 + ((v - mid[0]) / span) * SIZE, Y = (v) => SIZE / 2 - ((v - mid[1]) / span) * SIZE;
  const words = `${t.gauge}: nine of ten parts end between ${figure(low[1])} and ${figure(high[1])} ${word} up, ${figure(low[0])} and ${figure(high[0])} ${word} right`;
  const mark = (shape, text) => h("li", {}, s("svg", { viewBox: "0 0 34 10", class: "key-line", "aria-hidden": "true" }, shape), text);
  return h("figure", { "data-key": t.gauge }, h("figcaption", { text: `Where the spot of ${t.gauge} ends, seen along the beam` }),
    s("svg", { viewBox: `0 0 ${SIZE} ${SIZE}`, role: "img", "aria-label": words, class: "band-target" }, s("rect", { x: 0, y: 0, width: SIZE, height: SIZE, fill: "var(--white)", stroke: "var(--faint)" }),
      s("line", { x1: 0, x2: SIZE, y1: Y(0), y2: Y(0), stroke: "var(--grid)" }), s("line", { x1: X(0), x2: X(0), y1: 0, y2: SIZE, stroke: "var(--grid)" }),
      s("rect", { x: X(low[0]), y: Y(high[1]), width: Math.max(1, X(high[0]) - X(low[0])), height: Math.max(1, Y(low[1]) - Y(high[1])), fill: "var(--press)", "fill-opacity": .16, stroke: "var(--press)" }),
      ...spots.map(([x, y]) => s("circle", { cx: X(x).toFixed(1), cy: Y(y).toFixed(1), r: 2, fill: "var(--spot)", "fill-opacity": .45 })),
      s("path", { d: `M${X(0) - 7},${Y(0)}h14M${X(0)},${Y(0) - 7}v14`, stroke: "var(--good)", "stroke-width": 2.5 }), s("circle", { cx: X(end[0]), cy: Y(end[1]), r: 5, fill: "var(--ink)", stroke: "var(--white)" })),
    h("ul", { class: "key" }, mark(s("circle", { cx: 17, cy: 5, r: 2.5, fill: "var(--spot)" }), "one part of many"), mark(s("rect", { x: 1, y: 1, width: 32, height: 8, fill: "var(--press)", "fill-opacity": .2, stroke: "var(--press)" }), "nine of ten, each side"),
      mark(s("circle", { cx: 17, cy: 5, r: 4, fill: "var(--ink)" }), "as the case says"), mark(s("path", { d: "M12,5h10M17,0v10", stroke: "var(--good)", "stroke-width": 2 }), "where it began")),
    h("p", { class: "note", text: `${words}.` }));
}
