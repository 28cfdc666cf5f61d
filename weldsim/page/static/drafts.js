// Drafts that were begun in this browser: none is lost when another joint is chosen.
import { h, say } from "./tools.js";

const OPEN = "weldsim draft"; // of this tab
const SHELF = "weldsim drafts"; // of all tabs
const MOST = 30; // drafts on the shelf, the newest
const IN_VIEW = 3; // of them, the others behind a line

function read(store, key, blank) {
  try { return JSON.parse(store.getItem(key)) || blank; } catch { return blank; }
}
function write(store, key, value) {
  try { store.setItem(key, JSON.stringify(value)); } catch { /* a page that cannot keep it still works */ }
}

// Keeps a draft for this tab and, once something was changed in it, on the shelf.
export function keepDraft(kept, edited, changed = Date.now()) {
  write(sessionStorage, OPEN, { ...kept, changed: edited ? changed : null });
  if (!edited) return;
  const shelf = read(localStorage, SHELF, {});
  shelf[kept.id] = { ...kept, changed: changed || Date.now() };
  for (const id of newest(shelf).slice(MOST)) delete shelf[id];
  write(localStorage, SHELF, shelf);
}
// Puts the case that is open in this tab on the shelf, before another takes its place.
export function keepOpenDraft() {
  const open = openDraft();
  if (open && (open.changed || open.base || open.source)) keepDraft(open, true, open.changed);
}
export const openDraft = () => read(sessionStorage, OPEN, null);

const newest = (shelf) => Object.keys(shelf).sort((a, b) => shelf[b].changed - shelf[a].changed);

function ago(time) {
  const minutes = Math.round((Date.now() - time) / 60000);
  if (minutes < 1) return "just now";
  if (minutes < 60) return `${minutes} min ago`;
  return new Date(time).toLocaleString(undefined, { dateStyle: "medium", timeStyle: "short" });
}

// The list on the first page. `resume(kept)` opens one; the one that is open in this tab comes first.
export function draftsPanel(resume, labels) {
  const box = h("section", { class: "panel drafts" });
  const fill = () => {
    const shelf = read(localStorage, SHELF, {}), open = openDraft();
    const all = newest(shelf).map((id) => shelf[id]);
    const here = open && (all.find((d) => d.id === open.id) || open);
    const list = [here, ...all.filter((d) => !open || d.id !== open.id)].filter(Boolean);
    box.hidden = !list.length;
    const rows = list.map((d, i) => h("li", {},
      h("button", { type: "button", class: i ? "plain" : "second", text: i ? "Continue" : "Continue my draft", "aria-label": `Continue ${d.title}`, onclick: () => resume(d) }),
      h("strong", { text: d.title }), h("span", { class: "note", text: [d.label || labels.get(d.kind) || d.kind, d.changed ? `changed ${ago(d.changed)}` : "as it was opened", here && d.id === here.id ? "open in this tab" : ""].filter(Boolean).join(", ") }),
      h("button", { type: "button", class: "plain", text: "Remove", "aria-label": `Remove ${d.title}`, onclick: () => {
        const rest = read(localStorage, SHELF, {});
        delete rest[d.id];
        write(localStorage, SHELF, rest);
        if (open && open.id === d.id) sessionStorage.removeItem(OPEN);
        say(`${d.title} removed`);
        fill();
      } })));
    const rest = rows.slice(IN_VIEW), unfolded = box.querySelector("details[open]");
    box.replaceChildren(h("h2", { text: "Continue my draft" }), h("ul", { class: "draft-list" }, rows.slice(0, IN_VIEW)),
      rest.length ? h("details", { open: Boolean(unfolded) }, h("summary", { text: `${rest.length} older` }), h("ul", { class: "draft-list" }, rest)) : "",
      h("p", { class: "note", text: `To start new, choose a joint: drafts stay here until they are removed, the ${MOST} changed last.` }));
  };
  fill();
  return box;
}
