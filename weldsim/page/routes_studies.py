"""Addresses of studies: the best sequence, how to go on after a reading, why it moved, presets."""

from __future__ import annotations

import json
import time
from typing import Any

import tomli_w

from weldsim.errors import CaseError, WeldsimError
from weldsim.page import sheets, studies, study_request
from weldsim.page.band_task import GRADE, check_band
from weldsim.page.band_task import scatter as band_scatter
from weldsim.page.bench import CHECK_LIMIT, Answer, Asked, Bench
from weldsim.page.case_form import read_tables
from weldsim.page.files import file_response
from weldsim.page.fit_jobs import ask_fit
from weldsim.page.job_store import STUDIES
from weldsim.page.routes_case import opened
from weldsim.page.routes_jobs import anchored, mistakes, priced, shown_job
from weldsim.studies.fit.records import FINER

OF_CASE = (
    "plan",
    "preset",
    "clamps",
    "correct",
    "heats",
    "band",
)  # the others are about a run or a plan
CHECKED = ("preset", "clamps", "correct")  # that look for something to end true


def plan(bench: Bench, asked: Asked) -> Answer:
    """What a [plan] section asks for, or what is wrong with it; a usual one where there is none."""
    text, where = _case(bench, asked.body)
    usual = bench.reader.call(study_request.usual_plan, text, where, limit=CHECK_LIMIT)
    if "plan" not in read_tables(text):
        return {"ok": False, "messages": [], "usual": usual}
    return {**_plan_check(bench, text, where), "usual": usual}


def _plan_check(bench: Bench, text: str, where: str) -> dict[str, Any]:
    return bench.reader.call(study_request.plan_check, text, where, limit=CHECK_LIMIT)


def _case(bench: Bench, body: dict) -> tuple[str, str]:
    """Text of the case a request brings, and the file it would lie in; refused where wrong."""
    text, where = bench.form_text(body)
    checked = bench.check(text, where)
    if not checked["ok"]:
        raise CaseError("\n".join(m["text"] for m in checked["messages"]))
    return text, where


def ask_study(bench: Bench, asked: Asked) -> Answer:
    """Put a study into the queue."""
    kind = asked.body.get("kind")
    if kind not in STUDIES:
        raise WeldsimError(f"kind: {kind!r} is not allowed, allowed: {', '.join(STUDIES)}")
    if kind == "fit":
        return ask_fit(bench, asked)
    options = study_request.options_of(kind, asked.body)
    if kind in OF_CASE:
        return _ask_about_case(bench, asked, kind, options)
    return _ask_about_folder(bench, asked, kind, options)


def _ask_about_case(bench: Bench, asked: Asked, kind: str, options: dict[str, Any]) -> Answer:
    """A study of the case that the request brings."""
    body = asked.body
    text, where = _case(bench, body)
    title = str(bench.check(text, where).get("title", ""))
    if kind == "plan":
        checked = _plan_check(bench, text, where)
        if not checked["ok"]:
            return mistakes(checked["messages"])
    _checked(bench, kind, text, where, options)
    found = priced(bench, text, where, kind, options)
    text = bench.commented(body, anchored(text, bench, body))
    each = bench.queue.runs.threads if found and found["processes"] else 1
    cost = found["seconds"] / each if found else 0.0
    told = json.dumps(options)
    job = bench.queue.submit(kind, title, text, asked.me, options=told, cost=cost)
    return shown_job(bench, job, asked.me)


def _checked(bench: Bench, kind: str, text: str, where: str, options: dict[str, Any]) -> None:
    """Refuse what cannot be computed; a plan's band becomes its folder."""
    call, limit = bench.reader.call, CHECK_LIMIT
    if kind in CHECKED:
        call(study_request.check_target, text, where, options, limit=limit)
    if kind == "band":
        if options.get("grade", GRADE) not in FINER:
            raise WeldsimError(f"grade: {options['grade']!r} is not allowed: {', '.join(FINER)}")
        call(check_band, text, where, options, limit=4 * limit)
    if options.get("band"):
        options["band"] = str(bench.folder(options["band"]).resolve())
        call(study_request.check_spread, text, where, options["band"], limit=limit)


def scatter(bench: Bench, asked: Asked) -> Answer:
    """What scatters about a case from part to part, and how far."""
    text, where = _case(bench, asked.body)
    return {"scatter": bench.reader.call(band_scatter, text, where, limit=4 * CHECK_LIMIT)}


def _ask_about_folder(bench: Bench, asked: Asked, kind: str, options: dict[str, Any]) -> Answer:
    """A study of a run, or of a plan, that is there."""
    of = str(asked.body.get("of") or "")
    folder = bench.folder(of)
    if options.get("band"):
        options["band"] = str(bench.folder(options["band"]).resolve())
    if kind == "next":
        bench.reader.call(study_request.check_reading, str(folder), options, limit=CHECK_LIMIT)
    else:
        options.setdefault("replay", True)
    title, text = studies.case_of(folder)
    options["folder"] = str(folder.resolve())
    job = bench.queue.submit(
        kind, title, text, asked.me, of, studies.change_words(kind, options), json.dumps(options)
    )
    return shown_job(bench, job, asked.me)


def study(bench: Bench, asked: Asked) -> Answer:
    """A study: its job, how far it is, and its answer as far as there is one."""
    id = asked.path["id"]
    job = bench.queue.store.jobs.get(id)
    folder = bench.folder(id)
    shown = shown_job(bench, job, asked.me) if job else {"id": id, "kind": "plan", "state": ""}
    return {
        "job": shown, "answer": studies.answer_of(folder), "now": time.time(),
        "files": studies.files_of(folder), "folder": folder.name,
        "about": _about(bench, id),
    }  # fmt: skip


def _about(bench: Bench, id: str) -> list[dict[str, Any]]:
    """Studies that were asked about this one, oldest first: readings after welds."""
    return [
        {"id": j.id, "kind": j.kind, "state": j.state, "change": j.change}
        for j in bench.queue.store.listed()
        if j.is_study and j.parent == id
    ]


def plan_words(bench: Bench, asked: Asked) -> Answer:
    """What a plan that is there holds: seams, words for travel, sides of gauges to be read."""
    folder = bench.folder(asked.path["id"])
    _, text = studies.case_of(folder)
    source, tables = str(folder / "case.toml"), read_tables(text)
    if "plan" not in tables:  # a run: its own seams and its first gauge that reads movement
        call, task = bench.reader.call, study_request.usual_plan
        tables["plan"] = call(task, text, source, limit=CHECK_LIMIT)["plan"]
        text = tomli_w.dumps(tables)
    found = bench.reader.call(study_request.plan_check, text, source, limit=CHECK_LIMIT)
    return {**found, **_bands(bench, asked.path["id"])}


def _bands(bench: Bench, id: str) -> dict[str, Any]:
    """Bands that a reading may count, newest first, and that which a plan counts itself."""
    store = bench.queue.store
    done = [j for j in reversed(store.listed()) if j.kind == "band" and j.state == "done"]
    own = store.jobs.get(id)
    counted = json.loads(own.options or "{}").get("band") if own else None
    mine = [j.id for j in done if str(store.run_folder(j).resolve()) == counted]
    return {
        "bands": [{"id": j.id, "title": j.title, "made": j.made} for j in done],
        "band": mine[0] if mine else "",
    }


def study_case(bench: Bench, asked: Asked) -> Answer:
    """The case of a study with one of its answers put into it, to be set up or run."""
    id, row = asked.path["id"], asked.path["row"]
    folder = bench.folder(id)
    if not row.isdigit():
        raise WeldsimError("no such row")
    job = bench.queue.store.jobs.get(id)
    text = bench.queue.store.case_text(job) if job else studies.case_of(folder)[1]
    call, task = bench.reader.call, studies.case_with
    tables = call(task, text, str(folder / "case.toml"), str(folder), int(row), limit=CHECK_LIMIT)
    return opened(tables, None, text)


def fetch(bench: Bench, asked: Asked) -> Answer:
    """A file of a study."""
    if asked.path["what"] == "sheet":
        folder, data = bench.sheet(asked)
        name = studies.file_name(folder, "sheet")
        return file_response(data, name, sheets.KIND, bool(asked.query.get("open")))
    folder, what = bench.folder(asked.path["id"]), asked.path["what"]
    data = studies.file_path(folder, what).read_bytes()
    name, kind = studies.file_name(folder, what), studies.FILES[what][1]
    return file_response(data, name, kind, bool(asked.query.get("open")))
