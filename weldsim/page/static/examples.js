// Cases that come with weldsim, to open and change, and the lessons that go with them.
import { h } from "./tools.js";

// `open` takes the id of a case.
export function examplesPanel(found, open) {
  const cases = (found.examples || []).map((c) => h("li", {}, h("button", { type: "button", class: "link", text: c.title, onclick: () => open(c.id) }), h("span", { class: "note", text: ` ${c.name}` })));
  const lessons = (found.lessons || []).map((l) => h("li", {}, h("strong", { text: l.title }), h("span", { class: "note", text: ` ${l.summary}` }), h("br"), "in a terminal: ", h("code", { text: `weldsim lesson ${l.name}` })));
  if (!cases.length && !lessons.length) return null;
  return h("section", { class: "panel" }, h("h2", { text: "Examples and lessons" }), h("div", { class: "shelf examples" },
    h("div", {}, h("h3", { text: "Cases that come with weldsim" }), h("ul", {}, cases)),
    lessons.length ? h("div", {}, h("h3", { text: "Lessons, notebooks for Jupyter" }), h("ul", {}, lessons)) : null));
}
