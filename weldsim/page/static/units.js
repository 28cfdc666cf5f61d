// One switch of units for the whole page, and numbers as a workshop writes them: 1/8, 3/16", 11 ga.
import { h } from "./tools.js";

const KEPT = "weldsim units";
const PARTNERS = { us: { mm: "in", m: "ft", "mm/s": "in/min", "mm/min": "in/min", "cm/min": "in/min", degC: "degF", K: "degF" },
  metric: { in: "mm", ft: "m", "in/min": "mm/s", degF: "degC" } };
const MARKS = { '"': "in", "″": "in", "”": "in", "''": "in", inch: "in", "'": "ft", "′": "ft", "°C": "degC", "°F": "degF", gauge: "ga" };
// A whole number with a fraction, a fraction, or digits with their points and commas; then a unit or nothing.
const TYPED = /^\s*([-+−]?(?:\d+[\s-]+\d+\s*\/\s*\d+|\d+\s*\/\s*\d+|[\d.,]*\d[\d.,]*(?:e[-+]?\d+)?))\s*(.*)$/i;
const FRACTION = /^([-+−]?)(?:(\d+)[\s-]+)?(\d+)\s*\/\s*(\d+)$/;

const listeners = new Set();
let now = "metric";
try { now = localStorage.getItem(KEPT) === "us" ? "us" : "metric"; } catch { /* kept for this page alone */ }

export const units = () => now;
// Calls `work` when the switch is turned, as long as `alive` says that somebody looks.
export function onUnits(work, alive) { listeners.add([work, alive]); }

export function turnUnits(word) {
  if (word === now) return;
  now = word;
  try { localStorage.setItem(KEPT, word); } catch { /* as above */ }
  for (const entry of listeners) {
    if (entry[1] && !entry[1]()) listeners.delete(entry);
    else entry[0](now);
  }
}

// The switch itself, for the head of the page.
export function unitsSwitch() {
  const choice = (value, text) => h("label", {}, h("input", { type: "radio", name: "units", value, checked: now === value, onchange: () => turnUnits(value) }), h("span", { text }));
  return h("fieldset", { class: "units" }, h("legend", { class: "unseen", text: "Units" }), choice("metric", "mm"), choice("us", "in"));
}

// The unit that stands for this one in the units of the switch; itself where there is none.
export const partner = (unit) => PARTNERS[now][unit] || unit;

// [number, unit] as typed, with inch and foot marks as units; null where it begins with no number.
export function split(text) {
  const found = TYPED.exec(text ?? "");
  return found && [found[1], MARKS[found[2].trim()] || found[2].trim()];
}
// Value of a typed number with a point or a fraction; NaN where it is neither.
export function valueOf(number) {
  const parts = FRACTION.exec(number.trim());
  if (!parts) return Number(number.replace("−", "-"));
  const size = Number(parts[2] || 0) + Number(parts[3]) / Number(parts[4]);
  return parts[1] && parts[1] !== "+" ? -size : size;
}
export const isFraction = (number) => FRACTION.test(number.trim());

// A number in another unit of the same kind, from its full value, with six figures.
export function converted(value, from, to) {
  const si = value * from.factor + from.shift;
  return String(Number(((si - to.shift) / to.factor).toPrecision(6)));
}

// What is read in mm, degC or mm/s, in the units of the switch: [value, unit].
const SHOWN = { mm: ["in", (v) => v / 25.4], "°C": ["°F", (v) => 1.8 * v + 32], degC: ["degF", (v) => 1.8 * v + 32],
  "mm/s": ["in/min", (v) => (v * 60) / 25.4], "mm/m": ["in/ft", (v) => 0.012 * v], m: ["ft", (v) => v / 0.3048], "kJ/mm": ["kJ/in", (v) => v * 25.4], N: ["lbf", (v) => v / 4.4482216152605],
  kN: ["lbf", (v) => v / 4.4482216152605e-3] };
export function shown(value, unit) {
  if (now === "metric" || !SHOWN[unit] || value === null || value === undefined) return [value, unit];
  return [SHOWN[unit][1](value), SHOWN[unit][0]];
}
// The same for a difference or an error, where a shift of the scale does not count.
export function shownSpan(value, unit) {
  if (value === null || value === undefined) return [value, unit];
  const [a, word] = shown(value, unit);
  return [a - shown(0, unit)[0], word];
}

const place = document.getElementById("units");
if (place) place.replaceChildren(unitsSwitch());
