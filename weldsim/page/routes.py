"""What each address of the page answers, over the same functions the command line uses."""

from __future__ import annotations

import json
import threading
import time
import traceback
from collections import OrderedDict
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse, Response

from weldsim.errors import CaseError, StoreError, WeldsimError
from weldsim.page import case_form as drafts
from weldsim.page import fields as forms
from weldsim.page import runs
from weldsim.page.job_store import ID, Job
from weldsim.page.preview import NOTES
from weldsim.page.queue import LOOKS, Queue
from weldsim.page.worker import Busy, Desk, Stopped
from weldsim.text.cautions import CAUTIONS, DEFER

STATIC = {
    "index.html": "text/html; charset=utf-8", "page.css": "text/css; charset=utf-8",
    "page.js": "text/javascript; charset=utf-8", "tools.js": "text/javascript; charset=utf-8",
    "draft.js": "text/javascript; charset=utf-8", "part.js": "text/javascript; charset=utf-8",
    "setup.js": "text/javascript; charset=utf-8", "watch.js": "text/javascript; charset=utf-8",
    "icons.js": "text/javascript; charset=utf-8", "fields.js": "text/javascript; charset=utf-8",
}  # fmt: skip
LIVE_FRAMES, ALL_FRAMES = 24, 60
MOST_UNKNOWNS = 200_000  # of a run that the page takes on; the command line has no limit
CACHED = 12


@dataclass
class Bench:
    """What the addresses share: the queue, a desk for words and shapes, answers kept."""

    queue: Queue
    desk: Desk
    lan: bool = False
    kept: OrderedDict = field(default_factory=OrderedDict)
    lock: threading.Lock = field(default_factory=threading.Lock)

    @property
    def work(self) -> Path:
        return self.queue.work

    @property
    def draft_file(self) -> Path:
        """Where a draft would lie: files a case names are looked for beside it."""
        return self.work / "draft.toml"

    def keep(self, key, make):
        """An answer from the last few, or a new one."""
        with self.lock:
            if key in self.kept:
                return self.kept[key]
        made = make()
        with self.lock:
            self.kept[key] = made
            while len(self.kept) > CACHED:
                self.kept.popitem(last=False)
        return made

    def base(self, id) -> drafts.Base | None:
        """Case file of the work folder, job or run that a draft began from."""
        if not id:
            return None
        path = runs.case_files(self.work).get(str(id))
        if path is not None:
            return drafts.Base.read(path)
        if job := self.queue.jobs.get(str(id)):
            tables = drafts.read_tables(self.queue.case_text(job))
            return drafts.Base(self.queue.case_file(job), tables)
        if folder := runs.run_folders(self.work).get(str(id)):
            return runs.base_of(folder)
        if gone := self.queue.gone.get(str(id)):
            return drafts.Base(gone[0], drafts.read_tables(gone[1]))
        raise WeldsimError("what this began from is no longer in the work folder")

    def draft(self, body: dict) -> tuple[str, str]:
        """Text of the draft a request holds, and the file it would lie in."""
        base = self.base(body.get("base"))
        where = base.path if base else self.draft_file
        return drafts.draft_text(body.get("tables"), base), str(where)

    def folder(self, id: str) -> Path:
        """Run folder of a job or of a run that lies in the work folder."""
        if not ID.fullmatch(id):
            raise WeldsimError("no such run")
        job = self.queue.jobs.get(id)
        path = self.queue.run_folder(job) if job else runs.run_folders(self.work).get(id)
        if path is None:
            raise WeldsimError("no such run")
        return path


def api(work, *methods):
    """A route's function of (bench, request data) that gives JSON or a response."""

    async def answer(request):
        body = {}
        try:
            if request.method == "POST":
                body = json.loads(await request.body(), parse_constant=_no_number)
                if not isinstance(body, dict):
                    raise ValueError
                json.dumps(body, ensure_ascii=False).encode()  # JSON knows halves of letters
        except (ValueError, RecursionError):
            return JSONResponse({"error": "the request is not a JSON object of whole letters"}, 400)
        asked = {**request.path_params, "query": dict(request.query_params),
                 "me": request.scope.get("me", ""), "headers": request.headers}  # fmt: skip
        try:
            out = await run_in_threadpool(work, request.app.state.bench, asked, body)
            return out if isinstance(out, Response) else JSONResponse(out)
        except (Busy, Stopped) as error:
            return JSONResponse({"error": str(error)}, 503)
        except WeldsimError as error:
            return JSONResponse({"error": str(error)}, 404 if asked.get("id") else 409)
        except Exception as error:
            traceback.print_exc()
            text = (
                f"something went wrong here that was not foreseen ({type(error).__name__}); "
                "the terminal of weldsim serve says where"
            )
            return JSONResponse({"error": text}, 500)

    return answer


def _no_number(name: str):
    raise ValueError(f"{name} is no number of JSON")


# ------------------------------------------------------------------------------ static files
def index(bench, asked, body):
    return _static("index.html")


def static(bench, asked, body):
    return _static(asked["name"])


def _static(name: str):
    if name not in STATIC:
        return JSONResponse({"error": "no such file"}, 404)
    text = (files("weldsim") / "page" / "static" / name).read_text(encoding="utf-8")
    return Response(text, media_type=STATIC[name], headers={"cache-control": "no-cache"})


def view_file(bench, asked, body):
    """Scripts and style of the shared 3-D view."""
    from weldsim.report.viewer import viewer_parts

    scripts, style = viewer_parts()
    found = {**dict(scripts), "viewer.css": style}
    name = asked["name"]
    if name not in found:
        return JSONResponse({"error": "no such file"}, 404)
    kind = "text/css" if name.endswith(".css") else "text/javascript"
    return Response(found[name], media_type=f"{kind}; charset=utf-8",
                    headers={"cache-control": "no-cache"})  # fmt: skip


# -------------------------------------------------------------------------------------- forms
def begin(bench, asked, body):
    """What the page needs once: joints, units, cautions, what lies in the work folder."""
    from weldsim.joints.registry import KINDS
    from weldsim.report.viewer import SCRIPTS

    return {
        "kinds": [{"kind": k, "label": forms.label_of(k)} for k in KINDS
                  if k not in forms.FROM_FILE],
        "from_file": list(forms.FROM_FILE), "units": forms.units_offered(),
        "cautions": [*CAUTIONS, DEFER], "notes": NOTES, "scripts": list(SCRIPTS),
    }  # fmt: skip


def form(bench, asked, body):
    from weldsim.joints.registry import KINDS

    if asked["kind"] not in KINDS:
        return JSONResponse({"error": "no such joint"}, 404)
    return forms.form_of(asked["kind"])


def check(bench, asked, body):
    """Mistakes beside their fields, or what is known at once: order, times, heat, seams."""
    where = str(bench.draft_file)
    try:
        text, where = bench.draft(body)
        case = drafts.case_of(text, where)
    except CaseError as error:
        return {"ok": False, "messages": drafts.messages_of(error, where)}
    from weldsim.page.shape import directions, order_table

    return {"ok": True, "messages": [], "order": order_table(case), **directions(case)}


def words(bench, asked, body):
    """What the case means, as `weldsim check` says it."""
    text, where = bench.draft(body)
    drafts.case_of(text, where)
    lines = bench.keep(("words", text, where), lambda: bench.desk.call("words", text, where))
    lines = list(lines)
    cut = lines.index("Cautions:") if "Cautions:" in lines else len(lines)
    cost = next((line for line in lines if line.startswith("Expect about")), "")
    return {"lines": [line for line in lines[2:cut] if line.strip()], "cost": cost}


def shape(bench, asked, body):
    text, where = bench.draft(body)
    drafts.case_of(text, where)
    return bench.keep(("shape", text, where), lambda: bench.desk.call("shape", text, where))


def case_text(bench, asked, body):
    """The draft as a case file, right or wrong."""
    text, _ = bench.draft(body)
    return {"text": text}


def open_text(bench, asked, body):
    """Tables of a case file that was brought to the page."""
    text = body.get("text")
    if not isinstance(text, str):
        raise WeldsimError("there is no text in it")
    tables = drafts.read_tables(text.removeprefix("\ufeff"))
    return _opened(tables, None)


def open_file(bench, asked, body):
    base = bench.base(asked["id"])
    return _opened(base.tables, asked["id"])


def _opened(tables: dict, base) -> dict:
    from weldsim.joints.registry import KINDS

    part = tables.get("part")
    kind = part.get("kind") if isinstance(part, dict) else None
    if not isinstance(kind, str) or kind not in KINDS:
        raise WeldsimError(f"not a case file: [part] kind is {kind!r}")
    if wrong := drafts.wrong_sections(tables):
        raise WeldsimError("; ".join(wrong))
    return {"tables": tables, "kind": kind, "base": base}


def shelf(bench, asked, body):
    """Case files and runs that lie in the work folder."""
    cases = []
    for id, path in runs.case_files(bench.work).items():
        cases.append({"id": id, "name": path.name})
    return {"cases": cases, "work": str(bench.work),
            "runs": runs.listed_runs(bench.work, bench.queue.listed())}  # fmt: skip


# --------------------------------------------------------------------------------------- jobs
def ask_job(bench, asked, body):
    """Put a case into the queue, as a run, a rough run or a quick look."""
    kind, where = body.get("kind"), str(bench.draft_file)
    if kind not in ("run", *LOOKS):
        raise WeldsimError("a job is a run, a rough run or a look")
    try:
        text, where = bench.draft(body)
        case = drafts.case_of(text, where)
    except CaseError as error:
        return JSONResponse({"error": "the case has mistakes",
                             "messages": drafts.messages_of(error, where)}, 409)  # fmt: skip
    if kind == "run":
        size = bench.keep(("size", text, where), lambda: bench.desk.call("size", text, where))
        if size["displacement_unknowns"] > MOST_UNKNOWNS:
            raise WeldsimError(
                f"{size['displacement_unknowns']} unknowns are more than the page takes on "
                f"({MOST_UNKNOWNS}): choose a coarser grade, or compute the case file with "
                "weldsim run"
            )
    parent = str(body.get("parent") or "")
    change = str(body.get("change") or "")
    if parent and not ID.fullmatch(parent):
        raise WeldsimError("no such run")
    text = _anchored(text, bench, body)
    return _job(bench, bench.queue.submit(kind, case.title, text, asked["me"], parent, change),
                asked["me"])  # fmt: skip


def _anchored(text: str, bench, body) -> str:
    """Paths of a case that came from a file are made whole: the job's copy lies elsewhere."""
    base = bench.base(body.get("base"))
    if base is None:
        return text
    import tomli_w

    tables = drafts.read_tables(text)
    part = tables["part"]
    for key, value in part.items():
        found = base.path.parent / value if isinstance(value, str) else None
        named = key == "material" and str(value).endswith(".toml")
        if found is not None and (drafts.NAMES_A_FILE.search(key) or named) and found.is_file():
            part[key] = str(found.resolve())
    return tomli_w.dumps(tables)


def _job(bench, job: Job, me: str) -> dict:
    told, now = bench.queue.told.get(job.id), time.time()
    lane = LOOKS if job.kind in LOOKS else ("run",)
    ahead = [j for j in bench.queue.listed()
             if j.kind in lane and j.is_open and j.number < job.number]  # fmt: skip
    out = {
        "id": job.id, "kind": job.kind, "title": job.title, "state": job.state, "made": job.made,
        "parent": job.parent, "change": job.change, "error": job.error, "began": job.began,
        "ended": job.ended, "mine": job.owner == me, "share": 0.0, "text": "", "left": None,
        "stopping": bench.queue.stopping(job.id), "ahead": len(ahead),
    }  # fmt: skip
    if told is not None and job.state in ("running", "drawing"):
        out.update(share=told.share, text=told.text, left=told.left(now))
    return out


def jobs(bench, asked, body):
    return {"jobs": [_job(bench, j, asked["me"]) for j in bench.queue.listed()]}


def one_job(bench, asked, body):
    """A job; without a state where the id is that of a run from before the page."""
    if asked["id"] not in bench.queue.jobs:
        bench.folder(asked["id"])
        return {"id": asked["id"], "state": ""}
    return _job(bench, _known(bench, asked["id"]), asked["me"])


def _known(bench, id: str) -> Job:
    job = bench.queue.jobs.get(id) if ID.fullmatch(id) else None
    if job is None:
        raise WeldsimError("no such job")
    return job


def act(bench, asked, body):
    """Stop a job, go on with it, or take it off the list."""
    job = _known(bench, asked["id"])
    if bench.lan and job.owner != asked["me"]:
        return JSONResponse({"error": "that job was started in another browser"}, 403)
    if asked["what"] == "stop":
        bench.queue.stop(job.id)
    elif asked["what"] == "resume":
        bench.queue.go_on(job.id)
    elif asked["what"] == "forget":
        bench.queue.forget(job.id)
        return {"id": job.id}
    else:
        raise WeldsimError("no such thing to do")
    return _job(bench, bench.queue.jobs[job.id], asked["me"])


# --------------------------------------------------------------------------------------- runs
def run(bench, asked, body):
    """A run in words, or as far as it has come."""
    folder = bench.folder(asked["id"])
    job = next((j for j in bench.queue.listed() if bench.queue.run_folder(j) == folder), None)
    return runs.summary_of(folder, job)


def run_case(bench, asked, body):
    """The case of a run as tables, to change something and try again."""
    job = bench.queue.jobs.get(asked["id"])
    if job is not None:
        text = bench.queue.case_text(job)
    else:
        text = runs.source_of(bench.folder(asked["id"]))
    tables = drafts.read_tables(text)
    base = asked["id"] if drafts.names_files(tables) else None
    return {**_opened(tables, base), "form": None}


def scene(bench, asked, body):
    """What the 3-D view shows; answered anew only when there is something new."""
    folder = bench.folder(asked["id"])
    stamp = runs.stamp_of(folder)
    tag = f'"{stamp[:24]}"'
    if asked["headers"].get("if-none-match") == tag:
        return Response(status_code=304, headers={"etag": tag})
    live = bool(asked["query"].get("live"))
    most = LIVE_FRAMES if live else ALL_FRAMES
    try:
        data = bench.keep(
            ("scene", str(folder), stamp, most), lambda: runs.scene_bytes(folder, most)
        )
    except StoreError:
        if live:
            return Response(status_code=204)  # nothing to show yet
        raise
    return Response(data, media_type="application/json",
                    headers={"etag": tag, "cache-control": "no-cache"})  # fmt: skip


def fetch(bench, asked, body):
    if asked["what"] not in runs.FILES:
        raise WeldsimError("this run has no such file")
    data, name, kind = runs.fetch(bench.folder(asked["id"]), asked["what"])
    return Response(data, media_type=kind,
                    headers={"content-disposition": f'attachment; filename="{name}"'})  # fmt: skip
