"""A fit as a job: what is asked for, checked before it waits, and what it takes."""

from __future__ import annotations

import json
from typing import Any

from weldsim.errors import CaseError, StoreError, WeldsimError
from weldsim.page import studies, study_request
from weldsim.page.bench import Answer, Asked, Bench
from weldsim.page.costs import fit_price
from weldsim.page.experiments import check_fit, folders_of
from weldsim.page.routes_jobs import PRICE_LIMIT, shown_job
from weldsim.studies.fit.records import FINER
from weldsim.studies.spreads import value_name

READ_LIMIT = 90.0  # s for reading tables of 64 MB


def fit_options(bench: Bench, body: dict[str, Any]) -> dict[str, Any]:
    """Options of a fit out of a request, its measurements found.

    Parameters
    ----------
    bench : Bench
    body : dict
        Of the request.

    Returns
    -------
    dict
        `folder` of the run and `files` among them.

    Raises
    ------
    WeldsimError
        One line for what is missing or not allowed.
    """
    options = study_request.options_of("fit", body)
    if "measured" not in options:
        raise WeldsimError("measured: missing: bring a table or a film first")
    if "vary" not in options:
        raise WeldsimError("vary: missing: choose at least one value that is to be learnt")
    if options.get("grade", "quick") not in FINER:
        raise WeldsimError(f"grade: {options['grade']!r} is not allowed: {', '.join(FINER)}")
    asked, of = options.pop("measured"), str(body.get("of") or "")
    options["files"] = [
        [str(bench.measured.table(m.get("id")).resolve()), bench.measured.get(m.get("id")).name,
         m.get("rules", {}), str(bench.folder(m.get("of") or of).resolve())]
        for m in asked
    ]  # fmt: skip
    options["folder"] = str(bench.folder(of).resolve())
    return options


def ask_fit(bench: Bench, asked: Asked) -> Answer:
    """Put a fit to the case of a run into the queue.

    Parameters
    ----------
    bench : Bench
    asked : Asked
        `of` the run, `measured`, `vary` and settings in its body; a measurement of another run says
        `of` which.

    Returns
    -------
    dict
        The job.
    """
    options, of = fit_options(bench, asked.body), str(asked.body.get("of") or "")
    bench.worker.call(check_fit, options, limit=READ_LIMIT)
    try:
        title, text = studies.case_of(bench.folder(of))
    except (StoreError, CaseError):
        raise WeldsimError("the case of this run cannot be read any more") from None
    names = ", ".join(file[1] for file in options["files"])
    change = f"{', '.join(map(value_name, options['vary']))} from {names}"
    priced = bench.known(_key(options)) or {"seconds": 0.0}
    seconds = priced["seconds"] / bench.queue.runs.threads
    job = bench.queue.submit("fit", title, text, asked.me, of, change, json.dumps(options), seconds)
    return shown_job(bench, job, asked.me)


def _key(options: dict[str, Any]) -> tuple:
    counted = [options.get(k) for k in ("grade", "finer", "design")]
    return ("price", "fit", *folders_of(options), *counted, len(options["vary"]))


def fit_cost(bench: Bench, asked: Asked) -> Answer:
    """What a fit would take on this machine, before it is asked for.

    Parameters
    ----------
    bench : Bench
    asked : Asked
        As for `ask_fit`.

    Returns
    -------
    dict
        `seconds`, `runs` and `note`.
    """
    options = fit_options(bench, asked.body)
    call, lane = bench.worker.call, bench.queue
    found = bench.keep(
        _key(options), lambda: call(fit_price, folders_of(options), options, limit=PRICE_LIMIT)
    )
    seconds = lane.speed.seconds("fit", found["seconds"] / lane.runs.threads)
    return {**found, "seconds": seconds, "pictures": 0.0, "known": lane.speed.known}
