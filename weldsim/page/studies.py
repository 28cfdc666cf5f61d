"""Folders of studies as the page lists and shows them: plans, and answers of the other kinds."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Iterable
from pathlib import Path
from stat import S_ISREG
from typing import Any

from weldsim.errors import StoreError, WeldsimError
from weldsim.page.files import file_stem
from weldsim.page.fit_values import with_values
from weldsim.page.job_store import Job
from weldsim.page.runs import LISTED, id_of, source_of
from weldsim.page.study_task import ANSWER
from weldsim.page.worker_process import Tell
from weldsim.report.plan_record import NAME as PLAN
from weldsim.runs.reading import MANIFEST
from weldsim.runs.stored import read_json_file
from weldsim.studies.plan.space import parse_plan
from weldsim.studies.stored_studies import StoredPlan, read_answer, read_study

MOST_ROWS = 400  # of a plan that a page is given
FILES = {  # what can be fetched -> file and media type
    "page": ("plan.html", "text/html; charset=utf-8"),
    "sheet": ("bench_sheet.pdf", "application/pdf"),
    "ends": ("where_they_end.svg", "image/svg+xml"),
    "drawing": ("recommended.png", "image/png"),
    "plan": (PLAN, "application/json"),
    "answer": (ANSWER, "application/json"),
    "chart": ("crossover.png", "image/png"),
    "fit": ("fit.html", "text/html; charset=utf-8"),
    "fitted": ("fit.json", "application/json"),
    "shop": ("shop.toml", "application/toml"),
    "draws": ("draws.csv", "text/csv; charset=utf-8"),
    "band": ("band.html", "text/html; charset=utf-8"),
    "shares": ("shares.png", "image/png"),
    "banded": ("band.json", "application/json"),
    "curves": ("band.csv", "text/csv; charset=utf-8"),
}


def plan_folders(work: Path) -> dict[str, Path]:
    """Folders of plans that lie in the work folder, newest first, id -> path.

    Parameters
    ----------
    work : Path
        The work folder.

    Returns
    -------
    dict of str to Path
        Links that lead elsewhere are left out.
    """
    found = []
    for path in Path(work).iterdir():
        try:
            state = (path / PLAN).stat()
        except OSError:  # no plan, or taken away at this moment
            continue
        if S_ISREG(state.st_mode) and not path.is_symlink():
            found.append((state.st_mtime, path))
    found.sort(reverse=True)
    return {id_of(path): path for _, path in found}


def listed_plans(work: Path, jobs: Iterable[Job] = ()) -> list[dict[str, Any]]:
    """Title and age of the newest plans; a plan of a job goes by the id of that job.

    Parameters
    ----------
    work : Path
        The work folder.
    jobs : iterable of Job, optional
        Of the queue.

    Returns
    -------
    list of dict
        `id`, `name`, `title`, `made` [s since 1970], `status` and the `first` row in words.
    """
    of_job = {job.run: job for job in jobs}
    out = []
    for id, path in list(plan_folders(work).items())[:LISTED]:
        try:
            found, made = read_study(path / PLAN, StoredPlan), (path / PLAN).stat().st_mtime
        except (StoreError, OSError):
            continue
        first = next((row.get("schedule", "") for row in found.get("rows", [])), "")
        job = of_job.get(path.name)
        out.append({"id": job.id if job else id, "name": path.name, "made": made, "first": first,
                    "title": str(found.get("title", path.name)),
                    "status": str(found.get("status", "complete"))})  # fmt: skip
    return out


def answer_of(folder: Path) -> dict[str, Any] | None:
    """What a study has come to, as far as it has; None where there is nothing yet.

    Parameters
    ----------
    folder : Path
        Of a study.

    Returns
    -------
    dict or None
        Of a plan its plan.json with fewer rows, without the text of its case.
    """
    try:
        if (folder / ANSWER).is_file():
            return with_values(read_answer(folder / ANSWER))
        if not (folder / PLAN).is_file():
            return None
        found = read_study(folder / PLAN, StoredPlan)
    except StoreError as error:  # the page names no folder
        raise StoreError(str(error).replace(f"{folder}{os.sep}", "")) from None
    found = {k: v for k, v in found.items() if k not in ("case", "source_file")}
    rows = found.get("rows", [])
    return {**found, "kind": "plan", "more": max(0, len(rows) - MOST_ROWS),
            "rows": rows[:MOST_ROWS]}  # fmt: skip


def case_of(folder: Path) -> tuple[str, str]:
    """Title and text of the case of a plan or a run.

    Parameters
    ----------
    folder : Path
        Of the plan or the run.

    Returns
    -------
    tuple of str
        The case as TOML.
    """
    if (folder / PLAN).is_file():
        kept = read_study(folder / PLAN, StoredPlan)
        return str(kept.get("title", "")), str(kept.get("case", ""))
    manifest = read_json_file(folder / MANIFEST)
    title = str(manifest.get("title", folder.name)) if isinstance(manifest, dict) else folder.name
    try:
        return title, source_of(folder)
    except StoreError:  # an old run, or one that was copied in part
        return title, ""


def case_with(
    text: str, source_file: str, folder: str, row: int, tell: Tell | None = None
) -> dict[str, Any]:
    """Tables of a case with an answer put into it; a worker's task.

    Parameters
    ----------
    text, source_file : str
        The case as `parse_case` takes it.
    folder : str
        Of the study.
    row : int
        Of a plan's table, from 0; else not used.
    tell : callable, optional
        Not used.

    Returns
    -------
    dict
        As a form takes them.
    """
    found = answer_of(Path(folder))
    if found is None:
        raise WeldsimError("this study has no answer yet")
    if found["kind"] == "plan":
        return _with_sequence(text, source_file, found, row)
    tables = tomllib.loads(text)
    lines = found.get("record", {}).get("case_lines")
    if not lines:
        raise WeldsimError("nothing of this answer goes into a case")
    for section, value in tomllib.loads("\n".join(lines)).items():
        if isinstance(value, list):
            tables[section] = [*tables.get(section, []), *value]
        else:
            tables[section] = {**tables.get(section, {}), **value}
    return tables


def _with_sequence(text: str, source_file: str, found: dict[str, Any], row: int) -> dict[str, Any]:
    """The case welded in the sequence of a row, under its setting."""
    if row >= len(found["rows"]):
        raise WeldsimError("no such row")
    wanted = found["rows"][row]
    plan = parse_plan(text, source_file)
    written = [list(map(list, s.written)) for s in plan.settings]
    setting = plan.settings[written.index([list(p) for p in wanted["setting"]])]
    bound = plan.bound(setting, tuple((s, int(w)) for s, w in wanted["moves"]))
    return dict(bound.tables)


def file_path(folder: Path, what: str) -> Path:
    """Path of a file of a study.

    Parameters
    ----------
    folder : Path
        Of the study.
    what : str
        A key of `FILES`.

    Returns
    -------
    Path
        Where it lies.

    Raises
    ------
    WeldsimError
        If there is no such file, or not yet.
    """
    if what in FILES and (folder / FILES[what][0]).is_file():
        return folder / FILES[what][0]
    raise WeldsimError("this study has no such file, or not yet")


def files_of(folder: Path) -> list[str]:
    """Which files a study has.

    Parameters
    ----------
    folder : Path
        Of the study.

    Returns
    -------
    list of str
        Keys of `FILES`.
    """
    return [what for what, (name, _) in FILES.items() if (folder / name).is_file()]


def file_name(folder: Path, what: str) -> str:
    """A name for a file that is saved: after the title, so that it is known again.

    Parameters
    ----------
    folder : Path
        Of the study.
    what : str
        A key of `FILES`.

    Returns
    -------
    str
        Without a folder.
    """
    try:
        title = case_of(folder)[0]
    except (StoreError, WeldsimError, OSError):
        title = ""
    return file_stem(title, folder.name) + "_" + FILES[what][0]


def change_words(kind: str, options: dict[str, Any]) -> str:
    """What a study was asked, in a few words.

    Parameters
    ----------
    kind : str
        Of the study.
    options : dict
        See `study_request`.

    Returns
    -------
    str
        Blank where its kind says it all.
    """
    if kind == "next":
        parts = (reading.partition("=") for reading in options["readings"])
        said = ", ".join(f"{side.replace('.', ' ')} {value}" for side, _, value in parts)
        return f"after {options['after'].replace(':', ' ')}: read {said}"
    return ""
