"""Addresses of measurements: bring a file, see it beside a run, read a film, keep a shop."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import aclosing
from pathlib import Path
from typing import Any, BinaryIO

from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response

from weldsim.errors import WeldsimError
from weldsim.measurements.target_sheet import PAPERS
from weldsim.page import measured_tasks, shops, study_request
from weldsim.page.bench import CHECK_LIMIT, Answer, Asked, Bench, refusal
from weldsim.page.files import file_response
from weldsim.page.fit_jobs import READ_LIMIT
from weldsim.page.measured_store import CLIP, Measured, as_json, new_measured
from weldsim.page.security import UPLOADS
from weldsim.studies.fit.records import FINER
from weldsim.text.quantities import UNITS
from weldsim.units import parse

UPLOAD_LIMIT = 900.0  # s for one file to come in
CHUNK = 1 << 20  # bytes that are written at once
RATES = (0.1, 60.0)  # readings a second of a film


async def upload(request: Request) -> Response:
    """Take in a table or a film, straight to a file of a folder of its own.

    Parameters
    ----------
    request : Request
        The file as its body, its name in the query.

    Returns
    -------
    Response
        The measurement, or why it was not taken.
    """
    bench: Bench = request.app.state.bench
    kind = request.url.path.rpartition("/")[2]
    name, me = request.query_params.get("name", ""), request.scope.get("me", "")
    try:
        folder = await run_in_threadpool(bench.measured.begin, kind)
    except WeldsimError as error:
        return refusal(str(error), 409)
    kept = new_measured(folder, kind, name, me)
    whole = False
    try:
        async with asyncio.timeout(UPLOAD_LIMIT):
            size = await _take_in(request, folder / (kept.table or CLIP))
        whole = size > 0
    except ClientDisconnect:  # gone, or it grew beyond what may come in
        most = UPLOADS[request.url.path] // 2**20
        return refusal(f"{kept.name}: it did not come in whole; at most {most} MB", 413)
    except TimeoutError:
        return refusal(f"{kept.name}: it did not come in within {UPLOAD_LIMIT:.0f} s", 408)
    except OSError as error:
        return refusal(f"{kept.name}: the disk refuses: {error.strerror}", 507)
    finally:
        await run_in_threadpool(bench.measured.end, folder, kept if whole else None)
    if not whole:
        return refusal(f"{kept.name}: nothing in it", 409)
    return JSONResponse(as_json(kept, me))


async def _take_in(request: Request, path: Path) -> int:
    """Bytes of a request's body that were written to a file."""
    size, held = 0, bytearray()
    file: BinaryIO = await run_in_threadpool(path.open, "xb")
    try:
        stream: AsyncIterator[bytes] = request.stream()
        async with aclosing(stream):  # type: ignore[type-var]
            async for part in stream:
                size += len(part)
                held += part
                if len(held) >= CHUNK:
                    await run_in_threadpool(file.write, bytes(held))
                    held.clear()
        await run_in_threadpool(file.write, bytes(held))
    finally:
        await run_in_threadpool(file.close)
    return size


def _shown(bench: Bench, measured: Measured, me: str) -> dict[str, Any]:
    reading = bench.films.of(measured.id)
    found = as_json(measured, me)
    if reading is None:
        return {**found, "reading": None}
    told = {"share": reading.share, "text": reading.text, "error": reading.error}
    return {**found, "reading": {**told, "over": reading.over}}


def listed(bench: Bench, asked: Asked) -> Answer:
    """What was brought, newest first, and the shops that are kept."""
    return {
        "measured": [_shown(bench, m, asked.me) for m in bench.measured.listed()],
        "papers": list(PAPERS), "grades": list(FINER), "finer": FINER,
        "shops": shops.listed(bench.work),
    }  # fmt: skip


def target(bench: Bench, asked: Asked) -> Answer:
    """The sheet a light spot is filmed on, to be printed at true size."""
    paper, of = asked.path["paper"], asked.query.get("of", "")
    if paper not in PAPERS:
        raise WeldsimError(f"paper: {paper[:40]!r} is not allowed, allowed: {', '.join(PAPERS)}")
    units = asked.query.get("units", "metric")
    if units not in UNITS:
        raise WeldsimError(f"units: {units[:40]!r} is not allowed, allowed: {', '.join(UNITS)}")
    folder = str(bench.folder(of)) if of else ""
    call, task = bench.worker.call, measured_tasks.target_sheet
    data = bench.keep(
        (task, paper, folder, units), lambda: call(task, paper, folder, units, limit=READ_LIMIT)
    )
    return file_response(data, f"target_{paper}.pdf", "application/pdf", shown=True)


def one(bench: Bench, asked: Asked) -> Answer:
    """One of them; how far a film is."""
    return _shown(bench, bench.measured.get(asked.path["id"]), asked.me)


def offered(bench: Bench, asked: Asked) -> Answer:
    """What may vary in a fit to a run, and its pointers."""
    folder, call = str(bench.folder(asked.path["id"])), bench.reader.call
    return {"vary": call(measured_tasks.offer, folder, limit=4 * CHECK_LIMIT),
            "pointers": call(measured_tasks.pointers, folder, limit=CHECK_LIMIT)}  # fmt: skip


def curves(bench: Bench, asked: Asked) -> Answer:
    """What was measured beside what a run computed."""
    measured = bench.measured.get(asked.path["id"])
    path = bench.measured.table(measured.id)
    rules = asked.body.get("rules", {})
    if fault := study_request.rules_fault(rules):
        raise WeldsimError(fault)
    folder = bench.folder(str(asked.body.get("of") or ""))
    call, task = bench.worker.call, measured_tasks.overlay
    return call(task, str(path), measured.name, str(folder), rules, limit=READ_LIMIT)


def read_film(bench: Bench, asked: Asked) -> Answer:
    """Begin to read a film."""
    measured, body = bench.measured.get(asked.path["id"]), asked.body
    if measured.kind != "clip":
        raise WeldsimError(f"{measured.name}: is no film")
    across, up = marks_of(body.get("marks"))
    gauge = _pointer(bench, str(body.get("of") or ""), body.get("gauge"))
    rate = body.get("rate", 10.0)
    number = isinstance(rate, (int, float)) and not isinstance(rate, bool)
    if not number or not RATES[0] <= rate <= RATES[1]:
        raise WeldsimError(f"readings a second: allowed: {RATES[0]:g} to {RATES[1]:g}")
    mirrored = body.get("mirrored") is True
    options = {"across": across, "up": up, "rate": float(rate), "mirrored": mirrored}
    bench.films.begin(measured, gauge, options)
    return _shown(bench, measured, asked.me)


def _pointer(bench: Bench, of: str, gauge: object) -> str:
    folder = str(bench.folder(of))
    known = bench.reader.call(measured_tasks.pointers, folder, limit=CHECK_LIMIT)
    if gauge not in known:
        raise WeldsimError(
            f"pointer: {str(gauge)[:40]!r} is not in this case, allowed: "
            f"{', '.join(known) or 'none, this case has no pointer'}"
        )
    return str(gauge)


def marks_of(text: object) -> tuple[float, float]:
    """How far the marks of a target are apart.

    Parameters
    ----------
    text : object
        A paper that `weldsim target` prints, or two lengths such as "300 mm x 200 mm".

    Returns
    -------
    across, up : float
        [m]

    Raises
    ------
    WeldsimError
        One line where it is neither.
    """
    if isinstance(text, str) and text in PAPERS:
        sheet = PAPERS[text].sheet
        return sheet.width, sheet.height
    parts = text.lower().replace("by", "x").split("x") if isinstance(text, str) else []
    try:
        across, up = (parse(p.strip(), "length") for p in parts)
        if not (0.02 <= across <= 10.0 and 0.02 <= up <= 10.0):
            raise ValueError
    except ValueError:
        raise WeldsimError(
            f"marks: {str(text)[:40]!r} is not allowed: {', '.join(PAPERS)}, or how far they are "
            'apart, across and up, 20 mm to 10 m: "300 mm x 200 mm"'
        ) from None
    return across, up


def act(bench: Bench, asked: Asked) -> Answer:
    """Stop reading a film, or take a measurement off the list."""
    measured, what = bench.measured.get(asked.path["id"]), asked.path["what"]
    if bench.lan and measured.owner != asked.me:
        return refusal("that file was brought by another browser", 403)
    if what == "stop":
        bench.films.stop(measured.id)
    elif what == "forget":
        reading = bench.films.of(measured.id)
        if reading is not None and not reading.over:
            raise WeldsimError("stop it first")
        waits = [j for j in bench.queue.store.listed() if j.is_open and measured.id in j.options]
        if waits:
            raise WeldsimError(f"a fit uses {measured.name}: stop it first")
        bench.measured.remove(measured.id)
        return {"id": measured.id}
    else:
        raise WeldsimError(f"{what!r} is not allowed, allowed: stop, forget")
    return _shown(bench, measured, asked.me)


def shops_kept(bench: Bench, asked: Asked) -> Answer:
    """Calibrated shops of the work folder."""
    return {"shops": shops.listed(bench.work)}


def keep_shop(bench: Bench, asked: Asked) -> Answer:
    """Keep what a fit learnt under a name."""
    body = asked.body
    folder = bench.folder(str(body.get("of") or ""))
    name = body.get("name")
    return shops.keep(bench.work, folder, name if isinstance(name, str) else "",
                      body.get("again") is True)  # fmt: skip
