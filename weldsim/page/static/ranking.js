// The ranking of a plan: where every sequence ends on the target, and the table, best first.
import { figure, h, s } from "./tools.js";
import { shown } from "./units.js";

const SHOWN = 12; // rows that are not folded away
const WIDE = 300;

export function ranking(answer, { folded, take, unfold }) {
  const rows = answer.rows || [], some = folded ? rows.slice(0, SHOWN) : rows;
  const many = rows.some((r) => r.setting && r.setting.length);
  return h("section", { class: "panel ranking", "data-key": "ranking" }, h("h2", { text: heading(answer) }),
    h("div", { class: "ranking-pair" }, target(answer), h("div", { class: "scroll" }, h("table", {}, h("thead", {}, h("tr", {},
      ["", "Sequence and travel", many ? "Setting" : null, "Ends, from zero", "Estimated to lie between", "Farthest on the way", "Verdict", ""].filter((t) => t !== null).map((t) => h("th", { scope: "col", text: t })))),
    h("tbody", {}, some.map((r, i) => line(answer, r, i, many, take)))))),
    rows.length > SHOWN ? h("p", { class: "buttons" }, h("button", { type: "button", class: "plain", text: folded ? `Show all ${rows.length}` : "Show the first alone", onclick: unfold })) : null,
    answer.error_of_difference ? h("p", { class: "note", text: `Two rows are told apart where they end more than ${short(answer.error_of_difference, answer)} apart, a little more where they lie far from each other: what a coarse mesh does to all rows alike is in the estimated error of each, and cancels between two of them.` }) : null,
    h("p", { class: "note", text: `${answer.shop_spread ? "Odds and intervals count the shop's spread and the estimated errors. " : rows.some((r) => r.chance_first_nearer !== null && r.chance_first_nearer !== undefined) ? "Odds rest on the estimated errors alone; the shop's spread is not in them. " : ""}A verdict is a prediction and approves nothing.` }));
}

function heading(answer) {
  const { looked_at: seen, allowed } = answer.sequences || {}, rows = answer.rows.length + (answer.more || 0);
  const mirrored = seen > rows ? `, mirror images in one row` : "";
  return answer.status === "under way" ? `So far: ${seen || rows} of ${allowed || "all"} sequences${mirrored}` : `Ranking of ${seen || rows} sequences${mirrored}`;
}

function line(answer, row, i, many, take) {
  return h("tr", { "data-key": `${row.rank} ${row.schedule}`, class: i ? "" : "best" }, h("td", { text: row.rank }),
    h("th", { scope: "row" }, h("span", { text: row.schedule }), row.images_words ? h("span", { class: "note alike", text: `${row.images_words}: ${row.images.join("; ")}` }) : null,
      i ? h("span", { class: "note alike", text: against(row) }) : null, tie(answer, row)),
    many ? h("td", { "data-head": "Setting", text: row.setting_words || (row.setting || []).join(", ") }) : null,
    h("td", { class: row.failed ? "" : "n", "data-head": "Ends, from zero" }, row.failed || said(row.final, answer)),
    h("td", { class: "n", "data-head": "Estimated to lie between" }, row.failed ? "" : [between(row, answer), h("span", { class: "note alike", text: row.error === null || row.error === undefined ? "" : `estimated error ± ${short(row.error, answer)}` })]),
    h("td", { class: "n", "data-head": "Farthest on the way", text: row.failed ? "" : short(row.worst, answer) }), h("td", { "data-head": "Verdict" }, h("span", { class: `judged ${String(row.verdict || "").split(/[ ,]/)[0]}`, text: row.verdict || "" })),
    h("td", {}, h("button", { type: "button", class: "plain", text: "Set up", "aria-label": `Put ${row.schedule} into the set-up`, onclick: () => take(row.rank - 1) })));
}

// Rows that read the same, to the figures shown.
function tie(answer, row) {
  if (row.failed) return null;
  const reads = short(row.final, answer), same = answer.rows.filter((r) => r !== row && !r.failed && short(r.final, answer) === reads).map((r) => r.rank);
  if (!same.length) return null;
  return h("span", { class: "note alike", text: same.length > 3 ? `a tie, to the figures shown: ${same.length + 1} rows read the same` : `a tie, to the figures shown, with ${same.length > 1 ? `rows ${same.slice(0, -1).join(", ")} and ${same.at(-1)}` : `row ${same[0]}`}` });
}

// How surely the first row is the better one, as odds: "9 to 1".
function against(row) {
  const chance = row.chance_first_nearer, same = row.told_apart_from_first === false ? "not told apart from the first" : "";
  if (chance === null || chance === undefined) return same;
  const better = Math.max(chance, 1 - chance), odds = better / Math.max(1 - better, 1e-9), which = chance >= 0.5 ? "the first" : "this one";
  const text = better <= 0.55 ? "even odds" : `${odds > 99 ? "more than 99 to 1" : odds >= 2 ? `${Math.round(odds)} to 1` : `${Math.round(2 * odds)} to 2`} that ${which} ends nearer`;
  return same ? `${same}: ${text}` : text;
}

// What ends where: at the target of a pointer first, since that is read first, and below it the tilt.
function said(value, answer) {
  if (value === null || value === undefined) return "none";
  const there = atTarget(value, answer);
  return [h("strong", { text: there ? `${there} at the target` : measure(value, answer.unit) }), there ? h("span", { class: "note alike", text: measure(value, answer.unit) }) : null];
}
// A tilt as a length at the target of its pointer; blank without one. [mrad, m]
function atTarget(value, { unit, distance }) {
  if (unit !== "mrad" || !distance) return "";
  const [there, word] = shown(value * distance, "mm");
  return `${figure(there)} ${word}`;
}
// A movement in one number: at the target where there is one, else as a slope.
function short(value, of) {
  if (value === null || value === undefined) return "none";
  return atTarget(value, of) || (of.unit === "mrad" ? slope(value) : measure(value, of.unit));
}
function slope(mrad) {
  const [there, word] = shown(mrad, "mm/m");
  return `${figure(there)} ${word}`;
}
const between = (row, answer) => (row.interval ? `${short(row.interval[0], answer)} to ${short(row.interval[1], answer)}` : "not estimated");

// A movement with its unit: a tilt at the target of its pointer first, then as a slope, since a
// workshop measures that; `distance` to the target, if any. [m]
export function measure(value, unit, distance) {
  if (unit === "mrad") {
    const there = atTarget(value, { unit, distance }), degrees = `${figure((value * 180) / Math.PI / 1000)}°`;
    return there ? `${there} at the target (${degrees})` : `${slope(value)} (${degrees})`;
  }
  const [number, word] = shown(value, unit);
  return `${figure(number)} ${word}`;
}

// Places on the target of every sequence; along a line where the measure has one side alone.
function target(answer) {
  const rows = (answer.rows || []).filter((r) => !r.failed && r.final !== null);
  if (!rows.length) return null;
  const spots = rows.map((r) => spotOf(r, answer)), flat = spots.every((p) => p[1] === null);
  const limit = answer.tolerance ? answer.tolerance.value : 0;
  const reach = 1.12 * Math.max(limit, ...spots.flat().map((v) => Math.abs(v || 0)), 1e-9), half = WIDE / 2;
  const x = (v) => half + (v / reach) * half * 0.94, y = (v) => (flat ? 40 : half - (v / reach) * half * 0.94);
  const tall = flat ? 80 : WIDE;
  const words = `Where ${rows.length} sequences end${rows.some((r) => r.images && r.images.length) ? ", one drawn of mirror images" : ""}; the ring is the tolerance`;
  return h("figure", { class: "ends" }, s("svg", { viewBox: `0 0 ${WIDE} ${tall}`, role: "img", "aria-label": words },
    flat ? s("rect", { class: "within", x: x(-limit), y: 20, width: x(limit) - x(-limit), height: 40 }) : s("circle", { class: "within", cx: x(0), cy: y(0), r: x(limit) - x(0) }),
    s("line", { class: "axis", x1: 6, x2: WIDE - 6, y1: y(0), y2: y(0) }), flat ? null : s("line", { class: "axis", x1: half, x2: half, y1: 6, y2: WIDE - 6 }),
    spots.map((p, i) => s("circle", { class: i ? "end" : "end best", cx: x(p[0]), cy: y(p[1] || 0), r: i ? 3.2 : 6 })).reverse()),
  h("figcaption", { class: "note", text: `${words}; ${short(reach, answer)} from the middle to the edge.` }));
}

function spotOf(row, answer) {
  if (row.spot && row.spot.right !== undefined && row.spot.up !== undefined) return [row.spot.right, row.spot.up];
  const read = (row.ranking && row.ranking.readings) || row.readings || {}, unit = answer.unit;
  const right = read[`${answer.measure}_right_${unit}`], up = read[`${answer.measure}_up_${unit}`];
  if (right !== undefined && up !== undefined) return [right, up];
  return [row.final, null];
}
