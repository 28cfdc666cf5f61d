// The page: its steps by address, the start, the queue, and what all steps share.
import { ask, h, renew } from "./tools.js";
import { Ask } from "./ask.js";
import { cautionLine, setCautions } from "./cautions.js";
import { Draft } from "./draft.js";
import { examplesPanel, finder } from "./examples.js";
import { draftsPanel, keepOpenDraft } from "./drafts.js";
import { jointDrawing } from "./icons.js";
import { queueTable } from "./queue.js";
import { MeasuredView } from "./measured_view.js";
import { Setup } from "./setup.js";
import { shelfLists } from "./shelf.js";
import { Compare } from "./compare.js";
import { Study } from "./study.js";
import { Watch } from "./watch.js";

const main = document.getElementById("main");
const forms = new Map();
let begin = null, setup = null, shown = null, last = null, jobs = [];

const LINES = { bar: "beads across a face or along an edge", "square-tube-tee": "four fillets around the foot",
  "square-tube-frame": "posts in a row, four fillets each",
  "round-tube-saddle": "coped on, welded in quarters", "round-tube-butt": "one girth weld", "plate-butt": "V or square, one or more passes",
  "deposit": "beads side by side, in layers",
  "plate-tee": "fillets on one or both sides", "tube-socket": "square or round, welded around" };

async function form(kind) {
  if (!forms.has(kind)) forms.set(kind, await ask(`/api/form/${kind}`));
  return forms.get(kind);
}
function go(hash, fresh) {
  if (fresh) setup = null;
  if (location.hash === hash) route();
  else location.hash = hash;
}
function show(root, step, title) {
  if (shown && shown.close) shown.close();
  shown = null;
  main.replaceChildren(root);
  document.title = title ? `${title} · weldsim` : "weldsim: where the part will move";
  for (const link of document.querySelectorAll("nav a")) {
    if (link.dataset.step === step) link.setAttribute("aria-current", "step");
    else link.removeAttribute("aria-current");
  }
  window.scrollTo(0, 0);
}

async function newDraft(kind, tables, base, source) {
  const found = await form(kind);
  keepOpenDraft(); // a case that is open is not lost to a click
  const draft = new Draft(kind, JSON.parse(JSON.stringify(tables || found.tables)), found, base, source);
  draft.keep();
  setup = null;
  go("#setup");
}

async function draftOf(kept) {
  const draft = new Draft(kept.kind, kept.tables, await form(kept.kind), kept.base, kept.source, kept.id);
  draft.edited = Boolean(kept.changed);
  return draft;
}
async function resumeDraft(kept) {
  const draft = await draftOf(kept);
  if ((Draft.kept() || {}).id !== draft.id) keepOpenDraft();
  draft.keep();
  setup = null;
  go("#setup");
}

// ------------------------------------------------------------------------- start
async function start() {
  const fault = h("p", { class: "mistake", role: "status", hidden: true });
  const wrong = (error) => { fault.hidden = false; fault.textContent = error.message; };
  const labels = new Map(begin.kinds.map(({ kind, label }) => [kind, label]));
  const drafts = draftsPanel((kept) => resumeDraft(kept).catch(wrong), labels);
  const cards = begin.kinds.map(({ kind, label }) => h("li", {}, h("button", { type: "button", class: "joint",
    onclick: () => newDraft(kind).catch(wrong) }, jointDrawing(kind),
    h("strong", { text: label }), h("span", { text: LINES[kind] || "" }))));
  const pick = h("input", { type: "file", accept: ".toml", class: "unseen", id: "pick", onchange: async () => {
    const file = pick.files[0];
    pick.value = "";
    if (!file) return;
    try {
      if (file.size > 200000) throw new Error(`${file.name} is too large for a case file`);
      const opened = await ask("/api/open", { text: await file.text() });
      await newDraft(opened.kind, opened.tables, opened.base, opened.source);
    } catch (error) { wrong(error); }
  } });
  const shelf = h("div", { class: "shelf" }, h("p", { class: "note", text: "Looking into the work folder …" }));
  show(h("div", { class: "start" }, drafts, h("h1", { text: "What is to be welded?" }),
    h("ul", { class: "joints" }, cards),
    h("section", { class: "panel" }, h("h2", { text: "Or open what is there" }),
      h("p", { class: "buttons" }, pick, h("label", { for: "pick", class: "as-button", text: "Open a case file …" }),
        h("span", { class: "note", text: "Parts from a mesh or STEP file: put the case and its file into the work folder." })),
      fault, shelf)), "start");
  try {
    const found = await ask("/api/shelf");
    const open = async (id) => {
      try { const o = await ask(`/api/open/${id}`); await newDraft(o.kind, o.tables, o.base, o.source); } catch (e) { wrong(e); }
    };
    renew(shelf, shelfLists(found, open));
    if (!shelf.isConnected) return;
    const panel = shelf.closest(".panel"), examples = examplesPanel(found, open);
    if (examples) panel.after(examples);
    panel.querySelector("h2").after(finder(() => [panel, examples].filter(Boolean)));
  } catch (error) { shelf.replaceChildren(h("p", { class: "mistake", text: error.message })); }
}

// ------------------------------------------------------------------------ set-up
async function setUp() {
  if (!setup) {
    const kept = Draft.kept();
    if (!kept) return go("#start");
    setup = new Setup(await draftOf(kept), begin, go);
  }
  show(setup.root, "setup", "Set-up");
  setup.back();
}

// ------------------------------------------------------------------------- watch
async function viewer() {
  for (const name of begin.scripts) {
    if (document.querySelector(`script[data-view="${name}"]`)) continue;
    await new Promise((done, wrong) => {
      const script = h("script", { src: `/view/${name}`, "data-view": name, onload: done, onerror: () => wrong(new Error(`${name} did not load`)) });
      document.head.append(script);
    });
  }
}
async function watch(id) {
  if (!id) {
    const newest = jobs.filter((j) => j.mine).at(-1) || jobs.at(-1);
    if (newest) { history.replaceState(null, "", `#watch/${newest.id}`); return watch(newest.id); }
    return show(h("div", { class: "start" }, h("h1", { text: "Nothing to watch yet" }), h("p", {}, "Set up a joint and take a ",
      h("em", { text: "Preview" }), " or a ", h("em", { text: "Coarse run" }), ", or open a run from ", h("a", { href: "#start", text: "the first page" }), ".")), "watch");
  }
  await viewer();
  const made = new Watch(id, go);
  show(made.root, "watch", "Watch");
  shown = made;
}
async function compare(a, b) {
  await viewer();
  const made = new Compare(a, b, go);
  show(made.root, "watch", "Side by side");
  shown = made;
}

// --------------------------------------------------------------------- questions
async function questions() {
  const kept = Draft.kept(), draft = kept ? await draftOf(kept) : null;
  const made = new Ask(draft, go, () => jobs);
  setup = null; // the plan is edited here: the set-up begins from it
  show(made.root, "ask", "Questions");
  shown = made;
}
function study(id) {
  const made = new Study(id, go, (found) => newDraft(found.kind, found.tables, found.base, found.source), putShop);
  show(made.root, "ask", "Answer");
  shown = made;
}

// ---------------------------------------------------------------------- measured
async function measured(run) {
  const made = new MeasuredView(run, go, putShop);
  show(made.root, "measured", "Measured");
  shown = made;
}
// A kept shop named in the set-up that is open.
async function putShop(file) {
  const kept = Draft.kept();
  if (!kept) throw new Error("Set up a joint first: the shop is named in its case.");
  const draft = await draftOf(kept);
  draft.tables = { ...draft.tables, shop: { file } };
  draft.note("");
  draft.keep();
  go("#setup", true);
}

// ------------------------------------------------------------------------- queue
function queue() {
  const body = h("div", {}), fill = () => renew(body, queueTable(jobs, () => poll(true)));
  show(h("div", { class: "start" }, h("h1", { text: "Queue" }),
    h("p", { class: "note", text: "Runs go one after another; the pictures of a run let runs that wait go first. What is under way when the page or the machine goes down resumes where it was." }), body, cautionLine()), "queue", "Queue");
  shown = { update: fill };
  fill();
}
async function poll(once) {
  let wait = 5000;
  try {
    jobs = (await ask("/api/jobs")).jobs;
    const open = jobs.filter((j) => ["waiting", "running", "drawing"].includes(j.state)).length;
    document.getElementById("open-jobs").textContent = open ? `(${open})` : "";
    document.getElementById("tail").textContent = "";
    if (open) wait = 1500;
    if (shown && shown.update) shown.update();
  } catch (error) { document.getElementById("tail").textContent = error.message; }
  if (!once) setTimeout(poll, document.hidden ? 10000 : wait);
}

async function route() {
  const [step, a, b] = location.hash.slice(1).split("/");
  try {
    if (step === "setup") await setUp();
    else if (step === "watch") await watch(a);
    else if (step === "compare" && a && b) await compare(a, b);
    else if (step === "ask") await questions();
    else if (step === "study" && a) study(a);
    else if (step === "measured") await measured(a);
    else if (step === "queue") queue();
    else await start();
    if (last !== null && last !== step) main.focus({ preventScroll: true });
    last = step;
  } catch (error) {
    show(h("div", { class: "start" }, h("h1", { text: "That did not work" }), h("p", { class: "mistake", text: error.message }),
      h("p", {}, h("a", { href: "#start", text: "Back to the first page" }))), step);
  }
}

document.querySelector(".skip").addEventListener("click", (e) => { e.preventDefault(); main.focus(); });
try {
  begin = await ask("/api/begin");
  setCautions(begin);
  await poll();
  // a step chosen while the page was coming is where it opens, once: built twice, it would drop
  // what was typed into the first
  await new Promise((done) => setTimeout(done));
  window.addEventListener("hashchange", route);
  await route();
} catch (error) {
  main.replaceChildren(h("p", { class: "mistake wait", text: error.message }));
}
