// All runs that have come to their end, and the choice of one to be set beside another.
import { ask, h, KINDS } from "./tools.js";

const day = (t) => new Date(1000 * t).toLocaleString(undefined, { dateStyle: "medium", timeStyle: "short" });
const say = (words) => words.filter(Boolean).join(", ");

// [id, words] of each, the newest first; the jobs of this page know what was changed in them.
export async function finishedRuns() {
  const [{ runs }, { jobs }] = await Promise.all([ask("/api/shelf"), ask("/api/jobs")]).catch(() => [{ runs: [] }, { jobs: [] }]);
  const own = new Map(jobs.filter((j) => ["run", "look", "rough"].includes(j.kind) && j.state === "done").map((j) => [j.id, j]));
  const found = runs.filter((r) => r.status === "complete").map((r) => {
    const job = own.get(r.id);
    own.delete(r.id);
    return [r.made, r.id, say([r.title, job && job.change, r.preview ? "preview" : r.grade && `grade ${r.grade}`, day(r.made)])];
  });
  for (const j of own.values()) found.push([j.made, j.id, say([j.title, j.change, j.kind === "run" ? "" : KINDS[j.kind], day(j.made)])]);
  return found.sort((a, b) => b[0] - a[0]).map(([, id, words]) => [id, words]);
}

// Panel beside a run: another one to be set beside it. Hidden as long as there is none.
export function besidePanel(id, go) {
  const pick = h("select", { id: "beside" });
  const root = h("section", { "data-key": "beside", class: "panel", hidden: true }, h("h2", { text: "Side by side" }),
    h("label", { for: "beside", class: "unseen", text: "Run to set beside this one" }), pick,
    h("p", { class: "buttons" }, h("button", { type: "button", class: "plain", text: "Set it beside this run", onclick: () => go(`#compare/${id}/${pick.value}`) })));
  finishedRuns().then((found) => {
    const others = found.filter(([other]) => other !== id);
    pick.replaceChildren(...others.map(([value, text]) => h("option", { value, text })));
    root.hidden = !others.length;
  });
  return root;
}
