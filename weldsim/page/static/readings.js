// What the gauges read at the end, in the units of the switch: lengths first, then angles.
import { figure, h } from "./tools.js";
import { shown, shownSpan, units } from "./units.js";

export const sayReading = (r) => [r.gauge, (r.component || "").replace(/_/g, " "), r.unit === "mrad" ? "(tilt)" : ""].filter(Boolean).join(" ");
// Lines that the server said in both units.
export const said = (found, name) => ((units() === "us" && found[`${name}_us`]) || found[name] || []).map((line) => line.replaceAll("+-", "±"));

// mrad as degrees and a slope, which is how a level or a square tells it.
function angle(mrad) {
  const slope = units() === "us" ? `${figure(0.012 * mrad)} in/ft` : `${figure(mrad)} mm/m`;
  return `${figure((0.18 / Math.PI) * mrad)}° (${slope})`;
}
const isAngle = (r) => r.unit === "mrad";

export function sayEnd(r, value = r.end) {
  if (value === null || value === undefined) return "none";
  if (isAngle(r)) return angle(value);
  const [v, unit] = shown(value, r.unit);
  return `${figure(v)} ${unit}`;
}
export function sayError(r, error = r.error) {
  if (error === null || error === undefined) return "none";
  if (isAngle(r)) return `± ${figure((0.18 / Math.PI) * error)}°`;
  const [v, unit] = shownSpan(error, r.unit);
  return `± ${figure(v)} ${unit}`;
}
export const sayDifference = (r, value) => (isAngle(r) ? angle(value) : (([v, unit]) => `${figure(v)} ${unit}`)(shownSpan(value, r.unit)));
// The column of a table in words: "pointer_up_mm" is "pointer up", "pointer_up_mrad" "pointer up, tilt".
export const columnWords = (name) => name.replace(/_(mm|N|degC|J)$/, "").replace(/_mrad$/, ", tilt").replace(/_/g, " ");
export const inOrder = (readings) => [...readings.filter((r) => !isAngle(r)), ...readings.filter(isAngle)];

export function readingsTable(summary) {
  return h("table", { class: "readings" }, h("caption", { text: "Readings at the end" }),
    h("thead", {}, h("tr", {}, ["Gauge", "End", "Estimated error"].map((t) => h("th", { scope: "col", text: t })))),
    h("tbody", {}, inOrder(summary.readings).map((r) => h("tr", {}, h("th", { scope: "row", text: sayReading(r) }),
      h("td", { text: sayEnd(r), title: isAngle(r) ? `${figure(r.end)} mrad` : null }), h("td", { text: sayError(r) })))));
}
