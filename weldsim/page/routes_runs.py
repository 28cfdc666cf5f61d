"""Addresses of what has been computed: words, readings, scene and files of a run."""

from __future__ import annotations

from starlette.responses import Response

from weldsim.errors import StoreError, WeldsimError
from weldsim.page import runs, sheets, shops
from weldsim.page.bench import Answer, Asked, Bench
from weldsim.page.case_form import names_files, read_tables
from weldsim.page.files import file_response
from weldsim.page.routes_case import opened

MOST_FRAMES_LIVE, MOST_FRAMES = 24, 60  # of a scene: while a run goes on, and when it is over


def run(bench: Bench, asked: Asked) -> Answer:
    """A run in words, or as far as it has come."""
    folder, store = bench.folder(asked.path["id"]), bench.queue.store
    job = next((j for j in store.listed() if store.run_folder(j) == folder), None)
    return runs.summary_of(folder, job)


def run_case(bench: Bench, asked: Asked) -> Answer:
    """The case of a run as tables, to change something and try again."""
    id, store = asked.path["id"], bench.queue.store
    job = store.jobs.get(id)
    text = store.case_text(job) if job is not None else runs.source_of(bench.folder(id))
    tables = shops.as_kept(read_tables(text), bench.work)
    base = id if names_files(tables) else None
    return {**opened(tables, base, text), "form": None}


def scene(bench: Bench, asked: Asked) -> Answer:
    """What the 3-D view shows; answered anew only when there is something new."""
    folder = bench.folder(asked.path["id"])
    stamp = runs.stamp_of(folder)
    tag = f'"{stamp[:24]}"'
    if asked.headers.get("if-none-match") == tag:
        return Response(status_code=304, headers={"etag": tag})
    live = bool(asked.query.get("live"))
    most = MOST_FRAMES_LIVE if live else MOST_FRAMES
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


def fetch(bench: Bench, asked: Asked) -> Answer:
    """A file of a run."""
    if asked.path["what"] == "sheet":
        folder, data = bench.sheet(asked)
        name = f"{runs.stem_of(folder)}_bench_sheet.pdf"
        return file_response(data, name, sheets.KIND, bool(asked.query.get("open")))
    if asked.path["what"] not in runs.FILES:
        raise WeldsimError("this run has no such file")
    data, name, kind = runs.fetch(bench.folder(asked.path["id"]), asked.path["what"])
    return file_response(data, name, kind, bool(asked.query.get("open")))
