"""Rows that are checks of the test suite: each function of its verification files is one.

The tests stay where a developer looks for them; what they compare is read off while they run
(`compared`). They come with the source tree, so a program without it says that they were not run.
"""

from __future__ import annotations

import contextlib
import json
import math
import os
import subprocess
import sys
import tempfile
from functools import partial
from pathlib import Path

from weldsim.system.threads import single_thread_environment
from weldsim.validation.rows import Check, Comparison, Found
from weldsim.validation.spoken import in_unit
from weldsim.validation.suite_files import FILES, KINDS_OF_TESTS, TITLES, File

ROOT = Path(__file__).resolve().parents[2]
NO_DEVIATION = "Small bodies with constant or standard properties where the closed form asks so."
KEPT = 30  # comparisons of a test that are shown, the furthest off
SAYING = 200  # letters of what a failing test says


def run_file(file: File, quick: bool) -> list[Found]:
    """One row for each test function of a file."""
    path = ROOT / "tests" / file.path
    if not path.exists():
        return [Found(state="not run", note="needs the source tree with its tests")]
    _forget_compiled(path)
    with tempfile.TemporaryDirectory() as folder:
        kept = Path(folder) / "compared.json"
        done = subprocess.run(
            [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-p",
             "weldsim.validation.compared", "-o", "enable_assertion_pass_hook=true", "--compared",
             str(kept), "-m", "not slow" if quick else "", str(path)],
            cwd=ROOT, capture_output=True, text=True, stdin=subprocess.DEVNULL,
            env={**os.environ, **single_thread_environment(), "PYTHONPATH": str(ROOT),
                 "PYTHONDONTWRITEBYTECODE": "1"},
        )  # fmt: skip
        if not kept.exists():
            if "No module named pytest" in done.stderr:
                return [Found(state="not run", note="needs pytest: the extra test")]
            return [Found(state="fails", note=f"its tests did not start: {_tail(done)}")]
        record = json.loads(kept.read_text(encoding="utf-8"))
    # a test of a refusal compares nothing, and is no row
    run = {
        name: entry for name, entry in record.items()
        if entry["numbers"] or entry["conditions"] or "failed" in entry["outcomes"]
    }  # fmt: skip
    if not run:
        return [Found(state="not run", note="all of its tests are in the full list")]
    return [_found(file, name, entry) for name, entry in run.items()]


def _forget_compiled(path: Path) -> None:
    """Drop what pytest kept of a test file: it does not tell its conditions, as its manual says."""
    for kept in (path.parent / "__pycache__").glob(f"{path.stem}.*-pytest-*.pyc"):
        with contextlib.suppress(OSError):
            kept.unlink()


def _tail(done: subprocess.CompletedProcess) -> str:
    lines = (done.stdout + done.stderr).strip().splitlines()
    return lines[-1] if lines else f"exit {done.returncode}"


def _found(file: File, name: str, entry: dict) -> Found:
    """The row of a test function, all its cases together."""
    comparisons = tuple(
        _comparison(*number) for number in entry["numbers"] if all(map(math.isfinite, number[1::2]))
    )
    outcomes = entry["outcomes"]
    failed = "failed" in outcomes
    skipped = not failed and "passed" not in outcomes
    says = " ".join(entry.get("says", "").split())
    # a number that a test looks at on the way to its verdict is no comparison of its own
    comparisons = comparisons if failed else tuple(c for c in comparisons if c.holds)
    several = len(comparisons)
    comparisons = tuple(sorted(comparisons, key=lambda c: -c.share))[:KEPT]
    notes = [says] if says else []
    if several > KEPT:
        notes.append(f"Of {several} comparisons these are the {KEPT} furthest off.")
    if not comparisons and entry["conditions"]:
        notes.append("Conditions: " + "; ".join(entry["conditions"]))
    if failed:
        notes.append("The test says: " + " ".join(entry["said"].split())[-SAYING:])
    return Found(
        comparisons, " ".join(notes), part=name, title=_title(name), kinds=_kinds(file, name),
        state="not run" if skipped else "fails" if failed else "holds",
    )  # fmt: skip


def _comparison(asked: str, expected: float, actual: float, room: float) -> Comparison:
    """A number of a test in the unit that a row shows."""
    quantity, factor, unit = in_unit(asked)
    expected, actual, room = (factor * v for v in (expected, actual, room))
    return Comparison(quantity, expected, actual, expected - room, expected + room, unit)


def _title(name: str) -> str:
    """The name of a test in words."""
    name = name.rpartition("::")[2].removeprefix("test_")
    words = name.replace("_", " ")
    return TITLES.get(name, words[:1].upper() + words[1:])


def _kinds(file: File, name: str) -> tuple[str, ...]:
    """Of a file about several kinds: those that a test is about, as its name says."""
    if len(file.kinds) < 2:
        return file.kinds
    named = [k for word, kinds in KINDS_OF_TESTS.items() if word in name for k in kinds]
    return tuple(k for k in dict.fromkeys(named) if k in file.kinds) or file.kinds


def _check(file: File) -> Check:
    name = "tests-" + Path(file.path).stem.removeprefix("test_").replace("_", "-")
    return Check(
        name, file.group, file.title, file.source, file.known, NO_DEVIATION,
        partial(run_file, file), file.kinds, file.seconds, file.quick, file.against, file.tolerance,
        file.links,
    )  # fmt: skip


CHECKS = tuple(_check(file) for file in FILES)
