// The queue as a table: what is to be computed, how far it is, and what can be done about it.
import { ask, h, KINDS, say, span, stateOf } from "./tools.js";

const OPEN = ["waiting", "running", "drawing"];
const STUDIES = new Set(["plan", "next", "why", "preset", "clamps", "correct", "heats", "fit", "band"]);

// Rows for `jobs`, newest first; `again` is called after something was done to one of them.
export function queueTable(jobs, again) {
  if (!jobs.length) return h("p", { text: "Nothing in it." });
  const act = (job, what, word) => h("button", { type: "button", class: "plain", "data-key": what, text: word, "aria-label": `${word}: ${job.title}`,
    onclick: async () => { try { await ask(`/api/jobs/${job.id}/${what}`, {}); } catch (e) { say(e.message); } await again(); } });
  const rows = [...jobs].reverse().map((job) => {
    const open = OPEN.includes(job.state);
    const how = job.later ? [job.text] : job.state === "running" || job.state === "drawing"
      ? [h("progress", { max: 1, value: job.share, "aria-label": "share done" }), ` ${Math.round(100 * job.share)} %`, job.left === null ? "" : `, about ${span(job.left)} left`]
      : [job.error || (job.state === "waiting" && job.ahead ? `${job.ahead} before it` : "")];
    return h("tr", { "data-key": job.id }, h("th", { scope: "row" }, h("a", { href: placeOf(job), text: job.title }),
      job.change ? h("span", { class: "note", text: ` ${job.change}` }) : null),
      h("td", { text: KINDS[job.kind] || job.kind }),
      h("td", {}, h("span", { class: `badge ${job.state}`, text: stateOf(job) })), h("td", {}, how),
      h("td", { text: job.mine ? "this browser" : "another browser" }),
      h("td", {}, open ? act(job, "stop", "Stop") : [job.state !== "done" ? act(job, "resume", "Resume") : null, act(job, "forget", "Take off the list")]));
  });
  return h("div", { class: "scroll" }, h("table", { class: "queue" }, h("thead", {}, h("tr", {},
    ["Case", "Kind", "State", "Progress", "Started from", ""].map((t) => h("th", { scope: "col", text: t })))), h("tbody", {}, rows)));
}

// Where a job is looked at.
export function placeOf(job) {
  if (STUDIES.has(job.kind)) return `#study/${job.id}`;
  return job.parent ? `#compare/${job.parent}/${job.id}` : `#watch/${job.id}`;
}
