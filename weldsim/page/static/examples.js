// What comes with weldsim: cases to open and change, by joint, and the lessons that go with them.
import { h } from "./tools.js";

// `open` takes the id of a case.
export function examplesPanel(found, open) {
  const cases = found.examples || [], joints = [...new Set(cases.map((c) => c.joint))];
  const groups = joints.map((joint) => {
    const own = cases.filter((c) => c.joint === joint);
    return h("details", { class: "group" }, h("summary", { text: `${joint} (${own.length})` }), h("ul", {}, own.map((c) => h("li", { "data-find": `${c.title} ${c.name} ${joint}` },
      h("button", { type: "button", class: "link", text: c.title, onclick: () => open(c.id) }), h("span", { class: "note", text: ` ${c.name}` })))));
  });
  const lessons = (found.lessons || []).map((l) => h("li", { "data-find": `${l.title} ${l.summary} ${l.name} lesson notebook` }, h("strong", { text: l.title }), h("span", { class: "note", text: ` ${l.summary}` }), h("br"), "in a terminal: ", h("code", { text: `weldsim lesson ${l.name}` })));
  if (!cases.length && !lessons.length) return null;
  return h("section", { class: "panel" }, h("h2", { text: "Examples and lessons" }), h("div", { class: "shelf examples" },
    h("div", {}, h("h3", { text: "Cases that come with weldsim" }), groups),
    lessons.length ? h("div", {}, h("h3", { text: "Lessons, notebooks for Jupyter" }), h("details", { class: "group" }, h("summary", { text: `${lessons.length} lessons` }), h("ul", {}, lessons))) : null));
}

// A field that leaves of some lists what holds all words typed; what is folded opens for it.
export function finder(places) {
  const told = h("span", { class: "note", role: "status" });
  const input = h("input", { type: "search", id: "find", autocomplete: "off", placeholder: "a title, a joint, a file", oninput: () => {
    const words = input.value.toLowerCase().split(/\s+/).filter(Boolean);
    let left = 0;
    for (const place of places()) {
      for (const item of place.querySelectorAll("[data-find]")) {
        const text = item.dataset.find.toLowerCase(), good = words.every((w) => text.includes(w));
        item.classList.toggle("not-found", !good);
        if (good) left += 1;
      }
      for (const group of place.querySelectorAll("details.group")) {
        if (group.was === undefined) group.was = group.open;
        group.open = words.length ? Boolean(group.querySelector("[data-find]:not(.not-found)")) : group.was;
        if (!words.length) delete group.was;
        group.classList.toggle("not-found", Boolean(words.length) && !group.open);
      }
    }
    told.textContent = words.length ? `${left} found` : "";
  } });
  return h("p", { class: "find" }, h("label", { for: "find", text: "Find" }), input, told);
}
