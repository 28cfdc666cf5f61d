"""Addresses of the queue: ask for a run or a preview, see how far it is, stop it."""

from __future__ import annotations

import json
import time

import tomli_w
from starlette.responses import JSONResponse

from weldsim.errors import CaseError, WeldsimError
from weldsim.geometry.grades import GRADES
from weldsim.page import costs
from weldsim.page.bench import Answer, Asked, Bench, refusal
from weldsim.page.case_form import NAMES_A_FILE, messages_of, read_tables
from weldsim.page.job_store import COMPUTED, ID, PREVIEWS, Job
from weldsim.page.run_lane import LATER

COUNTED = ("grade", "runs", "line", "sample", "finer")  # options that change what a job takes
PRICED = ("look", "run", "plan", "preset", "clamps", "correct", "heats", "band")
BEFORE = ("waiting", "running")  # states of jobs that another waits for; pictures make room
PRICE_LIMIT = 90.0  # s; it meshes the part
MOST_UNKNOWNS = 200_000  # of a run that the page takes on; the command line has no limit


def ask_job(bench: Bench, asked: Asked) -> Answer:
    """Put a case into the queue, as a run or a preview; a coarse run is a run at grade coarse."""
    body, kind = asked.body, asked.body.get("kind")
    if kind not in ("run", *PREVIEWS):
        raise WeldsimError(f"kind: {kind!r} is not allowed, allowed: run, {', '.join(PREVIEWS)}")
    try:
        if kind == "rough":
            body, kind = {**body, "tables": _coarse(body.get("tables"))}, "run"
        text, where = bench.form_text(body)
    except CaseError as error:
        return mistakes(messages_of(error, str(bench.form_file)))
    checked = bench.check(text, where)
    if not checked["ok"]:
        return mistakes(checked["messages"])
    cost = _refuse_large(bench, text, where) if kind == "run" else priced(bench, text, where, kind)
    parent = str(body.get("parent") or "")
    change = str(body.get("change") or "")
    if parent and not ID.fullmatch(parent):
        raise WeldsimError("no such run")
    text = bench.commented(body, anchored(text, bench, body))
    seconds = cost["seconds"] if cost else 0.0
    job = bench.queue.submit(kind, checked["title"], text, asked.me, parent, change, "", seconds)
    return shown_job(bench, job, asked.me)


def _coarse(tables: object) -> object:
    """The case at grade coarse, without a second run for its estimated error."""
    if not isinstance(tables, dict) or not isinstance(tables.get("solve", {}), dict):
        return tables  # of which the check will say so
    solve = {
        **tables.get("solve", {}),
        "model": "plastic",
        "grade": "coarse",
        "error_estimate": False,
    }
    return {**tables, "solve": solve}


def priced(
    bench: Bench, text: str, where: str, kind: str, options: dict | None = None, ask: bool = False
) -> dict | None:
    """What a job takes, uncorrected; see `costs.price`.

    Parameters
    ----------
    bench : Bench
    text, where : str
        The case as `parse_case` takes it.
    kind : str
        Of the job.
    options : dict, optional
        Of a study, or the grade of a run.
    ask : bool, optional
        Estimate it where it is not known yet.

    Returns
    -------
    dict or None
        None where it is not known yet.
    """
    options = {k: v for k, v in (options or {}).items() if k in COUNTED}
    key = ("price", text, where, kind, json.dumps(options, sort_keys=True))
    if not ask:
        return bench.known(key)
    call, task = bench.worker.call, costs.price
    return bench.keep(key, lambda: call(task, text, where, kind, options, limit=PRICE_LIMIT))


def cost(bench: Bench, asked: Asked) -> Answer:
    """What a job would take on this machine, before it is asked for."""
    body, kind = asked.body, str(asked.body.get("kind"))
    if kind == "next":
        return _advice_cost(bench, body)
    options = {k: v for k, v in body.items() if k in COUNTED and isinstance(v, (str, int))}
    if kind not in PRICED or options.get("grade", "quick") not in GRADES:
        raise WeldsimError(
            f"kind: {kind!r} is not allowed, allowed: {', '.join((*PRICED, 'next'))}"
        )
    text, where = bench.form_text(body)
    found = priced(bench, text, where, kind, options, ask=True) or {}
    queue = bench.queue
    each = queue.runs.threads if found["processes"] else 1
    return {
        **found, "seconds": queue.speed.seconds(kind, found["seconds"] / each),
        "pictures": queue.speed.pictures() if kind == "run" else 0.0, "known": queue.speed.known,
    }  # fmt: skip


def _advice_cost(bench: Bench, body: dict) -> Answer:
    """What "What do I weld next?" takes; its welds were timed on this machine."""
    folder = str(bench.folder(str(body.get("of") or "")).resolve())
    options = {k: str(body.get(k) or "") for k in ("after", "tolerance")}
    call = bench.worker.call
    found = call(costs.next_price, folder, options, limit=PRICE_LIMIT)
    return {**found, "seconds": found["seconds"] / bench.queue.runs.threads}


def mistakes(messages: list[dict]) -> JSONResponse:
    """The answer to a case that is wrong.

    Parameters
    ----------
    messages : list of dict
        See `case_form.messages_of`.

    Returns
    -------
    JSONResponse
        With the messages beside a sentence.
    """
    return JSONResponse({"error": "the case has mistakes", "messages": messages}, 409)


def _refuse_large(bench: Bench, text: str, where: str) -> dict | None:
    """What a run takes; stops at one that would take a shared machine for days."""
    size = priced(bench, text, where, "run", ask=True)
    if size and size["unknowns"] > MOST_UNKNOWNS:
        raise WeldsimError(
            f"{size['unknowns']} equations are more than the page takes on "
            f"({MOST_UNKNOWNS}): choose a coarser grade, or compute the case file with "
            "weldsim run"
        )
    return size


def anchored(text: str, bench: Bench, body: dict) -> str:
    """Paths of a case that came from a file are made whole: the job's copy lies elsewhere.

    Parameters
    ----------
    text : str
        Case as TOML.
    bench : Bench
    body : dict
        Of the request: `base` says what it came from.

    Returns
    -------
    str
        The same case.
    """
    base = bench.base(body.get("base"))
    if base is None:
        return text
    tables = read_tables(text)
    part = tables["part"]
    for key, value in part.items():
        found = base.path.parent / value if isinstance(value, str) else None
        named = key == "material" and str(value).endswith(".toml")
        if found is not None and (NAMES_A_FILE.search(key) or named) and found.is_file():
            part[key] = str(found.resolve())
    return tomli_w.dumps(tables)


def shown_job(bench: Bench, job: Job, me: str) -> dict:
    """A job as the page lists it.

    Parameters
    ----------
    bench : Bench
    job : Job
    me : str
        The browser that asks.

    Returns
    -------
    dict
        Of plain values.
    """
    queue, now = bench.queue, time.time()
    progress = queue.progress.get(job.id)
    lane = PREVIEWS if job.is_preview else COMPUTED
    ahead = [j for j in queue.store.listed()
             if j.kind in lane and j.state in BEFORE and j.number < job.number]  # fmt: skip
    out = {
        "id": job.id, "kind": job.kind, "title": job.title, "state": job.state, "made": job.made,
        "parent": job.parent, "change": job.change, "error": job.error, "began": job.began,
        "ended": job.ended, "mine": job.owner == me, "share": 0.0, "text": "", "left": None,
        "stopping": queue.stopping(job.id), "ahead": len(ahead), "starts": job.starts,
        "solved": job.solved, "later": job.state == "drawing" and job.id not in queue.runs.running,
    }  # fmt: skip
    if progress is not None and job.state in ("running", "drawing"):
        left = progress.left(now)
        if left is not None and job.kind == "run" and job.state == "running":
            left += queue.speed.pictures()
        out.update(share=progress.share, text=progress.text, left=left)
    if out["later"]:
        out.update(share=0.0, text=LATER, left=None)
    return out


def jobs(bench: Bench, asked: Asked) -> Answer:
    """The queue."""
    return {"jobs": [shown_job(bench, job, asked.me) for job in bench.queue.store.listed()]}


def one_job(bench: Bench, asked: Asked) -> Answer:
    """A job; without a state where the id is that of a run from before the page."""
    id = asked.path["id"]
    if id not in bench.queue.store.jobs:
        bench.folder(id)
        return {"id": id, "state": ""}
    return shown_job(bench, _known(bench, id), asked.me)


def _known(bench: Bench, id: str) -> Job:
    job = bench.queue.store.jobs.get(id) if ID.fullmatch(id) else None
    if job is None:
        raise WeldsimError("no such job")
    return job


def act(bench: Bench, asked: Asked) -> Answer:
    """Stop a job, resume it, or take it off the list."""
    job, what = _known(bench, asked.path["id"]), asked.path["what"]
    if bench.lan and job.owner != asked.me:
        return refusal("that job was started in another browser", 403)
    if what == "stop":
        bench.queue.stop(job.id)
    elif what == "resume":
        bench.queue.go_on(job.id)
    elif what == "forget":
        bench.queue.remove(job.id)
        return {"id": job.id}
    else:
        raise WeldsimError(f"{what!r} is not allowed, allowed: stop, resume, forget")
    return shown_job(bench, bench.queue.store.jobs[job.id], asked.me)
