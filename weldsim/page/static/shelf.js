// What lies in the work folder: runs with what they are, and case files to open.
import { h } from "./tools.js";
import { shown } from "./units.js";

const NEWEST = 6; // of a list that are not folded away

// Lists for the start page of what the server found; `open` takes the id of a case file.
export function shelfLists(found, open) {
  const day = (t) => new Date(1000 * t).toLocaleString(undefined, { dateStyle: "medium", timeStyle: "short" });
  const runs = found.runs.map((r) => h("tr", { "data-find": `${r.title} ${r.name} ${r.sequence || ""} ${r.grade} ${day(r.made)}` }, h("th", { scope: "row" }, h("a", { href: `#watch/${r.id}`, text: r.title }), r.sizes && r.sizes.length ? h("span", { class: "meta", text: sizes(r.sizes) }) : null),
    h("td", { text: day(r.made) }), h("td", { text: r.sequence || "" }), h("td", { text: r.preview ? "preview" : r.grade }), h("td", { text: r.status === "complete" ? ends(r.ends) : r.status })));
  const plans = (found.plans || []).map((p) => h("li", { "data-find": `${p.title} ${p.name} ${p.first} best sequence` }, h("a", { href: `#study/${p.id}`, text: p.title }),
    h("span", { class: "note", text: ` ${day(p.made)}${p.first ? `, first: ${p.first}` : ""}${p.status === "complete" ? "" : `, ${p.status}`}` })));
  const cases = found.cases.map((c) => h("li", { "data-find": `${c.title} ${c.name} ${c.joint}` }, h("button", { type: "button", class: "link", text: c.title, onclick: () => open(c.id) }), h("span", { class: "note", text: ` ${c.name}, ${day(c.made)}` })));
  return [h("div", { class: "runs-list" }, h("h3", { text: "Runs" }), runs.length ? h("div", { class: "scroll" }, h("table", { class: "runs" }, h("thead", {}, h("tr", {}, ["Run", "Date", "Sequence", "Grade", "Ends, from zero"].map((t) => h("th", { scope: "col", text: t })))), h("tbody", {}, runs)))
    : h("p", { class: "note", text: "None yet." })),
  h("div", {}, plans.length ? [h("h3", { text: "Best sequences" }), folded(plans)] : null, cases.length ? [h("h3", { text: "Case files" }), folded(cases)] : null)];
}

// The newest, and the others behind a line.
function folded(items) {
  const rest = items.slice(NEWEST);
  return [h("ul", {}, items.slice(0, NEWEST)), rest.length ? h("details", { class: "group" }, h("summary", { text: `${rest.length} older` }), h("ul", {}, rest)) : null];
}

const places = (v) => (Math.abs(v) >= 10 ? v.toFixed(1) : v.toFixed(2));
// Where the gauges end, in the units of the switch.
function ends(list) {
  return (list || []).map((e) => {
    const [value, unit] = shown(e.value, e.unit);
    return `${e.gauge} ${unit === "in" ? value.toFixed(3) : places(value)} ${unit}`;
  }).join(", ");
}
function sizes(list) {
  return list.map(([word, metres]) => {
    const [value, unit] = shown(1000 * metres, "mm");
    return `${word} ${Number(value.toPrecision(4))} ${unit}`;
  }).join(", ");
}
