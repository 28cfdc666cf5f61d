"""Checks carried out in processes beside each other, and kept as they come."""

from __future__ import annotations

import hashlib
import json
import os
import re
import time
from collections.abc import Callable
from itertools import islice
from pathlib import Path

from weldsim.errors import StoreError, WeldsimError
from weldsim.studies.plan.executor import LocalExecutor
from weldsim.system.files import write_json
from weldsim.system.threads import cores
from weldsim.validation.catalogue import CHECKS, checks_of
from weldsim.validation.rows import Check, Found, Row

KEPT = "rows"  # folder of finished rows inside the one that is written
OPTIONAL = ("felupe",)  # packages that a check may want and a user may not have
Tell = Callable[[float, str], None]


def carry_out(job: tuple[str, bool]) -> dict:
    """Rows of one check, as JSON holds them; what stands in the way of a check fails it.

    Parameters
    ----------
    job : (str, bool)
        Name of the check, and whether the quick form is wanted.

    Returns
    -------
    dict
        `name`, and `rows` as records.
    """
    name, quick = job
    check = next(c for c in CHECKS if c.name == name)
    begin = _processor_time()
    try:
        found = check.run(quick)
    except ModuleNotFoundError as error:
        if (error.name or "").partition(".")[0] not in OPTIONAL:
            raise
        found = Found(state="not run", note=f"needs the package {error.name}: the extra validate")
    except WeldsimError as error:
        found = Found(state="fails", note=f"could not be computed: {error}")
    several = found if isinstance(found, list) else [found]
    spent = (_processor_time() - begin) / max(len(several), 1)
    return {"name": name, "rows": [Row.of(check, f, spent).record() for f in several]}


def _processor_time() -> float:
    """Of this process and those it waited for. [s]"""
    spent = os.times()
    return spent.user + spent.system + spent.children_user + spent.children_system


def validate(
    only: list[str] | None = None,
    quick: bool = False,
    folder: Path | None = None,
    workers: int | None = None,
    resume: bool = False,
    progress: Tell | None = None,
) -> list[Row]:
    """Carry checks out.

    Parameters
    ----------
    only : list of str, optional
        Names of checks, or of groups; all when left out.
    quick : bool
        Those alone that fit into ten minutes on two cores.
    folder : path, optional
        Where finished checks are kept at once; nowhere when left out.
    workers : int, optional
        Processes; one a core when left out.
    resume : bool
        Take what `folder` holds of the same program instead of computing it again.
    progress : callable(share, text), optional
        Told after each check.

    Returns
    -------
    list of Row
        In the order of the catalogue.

    Raises
    ------
    WeldsimError
        For a name that no check has.
    """
    chosen = checks_of(only, quick)
    mark = fingerprint()
    done = kept(folder, chosen, quick, mark) if resume and folder is not None else {}
    left = [c for c in chosen if c.name not in done]
    left.sort(key=lambda c: -c.seconds)  # the longest first, so that none is waited for at the end
    total = sum(c.seconds for c in chosen) or 1.0
    gone = total - sum(c.seconds for c in left)
    if left:
        at_once = min(workers or cores(), len(left))
        with LocalExecutor(at_once, carry_out) as executor:
            # no more than there are workers: one that dies takes along what stands in line
            ahead, waiting = iter(left), {}
            while len(done) < len(chosen):
                for check in islice(ahead, at_once - len(waiting)):
                    waiting[executor.submit((check.name, quick))] = check
                for future in executor.wait(set(waiting)):
                    check = waiting.pop(future)
                    done[check.name] = _rows_of(check, future)
                    gone += check.seconds
                    # what a worker took along when it died is computed again on resuming
                    if folder is not None and not executor.died(future.exception()):
                        _keep(folder, check, quick, mark, done[check.name])
                    if progress is not None:
                        progress(gone / total, check.title)
    return [row for check in chosen for row in done[check.name]]


def _rows_of(check: Check, future) -> list[Row]:
    """Rows of a finished check; a process that died is a row that fails."""
    try:
        return [Row.from_record(r) for r in future.result()["rows"]]
    except Exception as error:  # a bug in one check leaves the others standing
        note = f"ended with {type(error).__name__}: {error}"
        return [Row.of(check, Found(state="fails", note=note), 0.0)]


def fingerprint() -> str:
    """Of all of the program's own files: kept rows of another program are of no use."""
    digest = hashlib.sha256()
    root = Path(__file__).resolve().parents[1]
    for path in sorted(p for p in root.rglob("*") if p.suffix in (".py", ".toml")):
        digest.update(path.relative_to(root).as_posix().encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def _place(folder: Path, check: Check, quick: bool) -> Path:
    name = re.sub(r"[^\w.-]+", "-", check.name) + ("_quick" if quick else "")
    return folder / KEPT / f"{name}.json"


def _keep(folder: Path, check: Check, quick: bool, mark: str, rows: list[Row]) -> None:
    write_json(
        _place(folder, check, quick),
        {"program": mark, "time": time.time(), "rows": [r.record() for r in rows]},
    )


def kept(folder: Path, checks: list[Check], quick: bool, mark: str) -> dict[str, list[Row]]:
    out = {}
    for check in checks:
        path = _place(folder, check, quick)
        if not path.exists():
            continue
        try:
            record = json.loads(path.read_text(encoding="utf-8"))
            rows = [Row.from_record(r) for r in record["rows"]]
        except (ValueError, KeyError, TypeError) as error:
            raise StoreError(f"{path}: no rows of a validation: {error}") from None
        if record.get("program") == mark:
            out[check.name] = rows
    return out
