// What lies in the work folder: runs with what they are, and case files to open.
import { h } from "./tools.js";

// Lists for the start page of what the server found; `open` takes the id of a case file.
export function shelfLists(found, open) {
  const cases = found.cases.map((c) => h("li", {}, h("button", { type: "button", class: "link", text: c.name, onclick: () => open(c.id) })));
  const runs = found.runs.map((r) => h("li", {}, h("a", { href: `#watch/${r.id}`, text: r.title }),
    h("span", { class: "note", text: ` ${new Date(1000 * r.made).toLocaleString()}${r.status === "complete" ? "" : `, ${r.status}`}` })));
  return [h("div", {}, h("h3", { text: "Runs" }), runs.length ? h("ul", {}, runs) : h("p", { class: "note", text: "None yet." })),
    cases.length ? h("div", {}, h("h3", { text: "Case files" }), h("ul", {}, cases)) : null].filter(Boolean);
}
