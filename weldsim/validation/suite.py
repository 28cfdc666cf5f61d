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
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from weldsim.system.threads import single_thread_environment
from weldsim.validation.rows import Check, Comparison, Found

ROOT = Path(__file__).resolve().parents[2]
DERIVED = "derived for the check and recomputed a second way"
FACT = "common practice of the trade: signs and orders, wide brackets"
NO_DEVIATION = "Small bodies with constant or standard properties where the closed form asks so."
KEPT = 30  # comparisons of a test that are shown, the furthest off
SAYING = 200  # letters of what a failing test says


@dataclass(frozen=True)
class File:
    """A file of tests: what it supports, where its numbers come from, and how long it takes."""

    path: str
    group: str
    source: str
    known: str
    seconds: float
    kinds: tuple[str, ...] = ()
    quick: bool = True


KINDS_OF_TESTS = {  # word in a test's name -> the joint kinds that it is about
    "butt": ("plate-butt",), "tee": ("square-tube-tee",), "stem": ("plate-tee",),
    "fillet_on_a_tee": ("plate-tee",), "girth": ("round-tube-butt",), "bead": ("bar",),
    "saddle": ("round-tube-saddle",), "boxed": ("square-tube-tee",),
    "kink_of_a_tube": ("square-tube-tee", "square-tube-frame"),
    "seam": ("square-tube-tee",),
}  # fmt: skip

FILES = (
    File("verification/test_source.py", "heat", "Goldak, Chakravarti, Bibby, Metall. Trans. B 15 "
         "(1984) 299-305; the integral of its formula", DERIVED, 15.0),
    File("verification/test_source_motion.py", "heat", "the same source along a path, integrated "
         "in closed form", DERIVED, 10.0),
    File("verification/test_heat_nafems.py", "heat", "The Standard NAFEMS Benchmarks, Rev. 3 "
         "(1990): T2, T3, T4", "published targets, and the exact solution beside them", 15.0),
    File("verification/test_heat_closed_forms.py", "heat", "Carslaw and Jaeger (1959); Rosenthal, "
         "Trans. ASME 68 (1946); double ellipsoid after Fachinotti, Anca, Cardona (2011)",
         "formulas re-derived; tables recomputed by finite volumes", 15.0),
    File("verification/test_heat_books.py", "heat", "Carslaw and Jaeger (1959), chapters II, III, "
         "XI: slabs, films, melting front; conservation of energy", DERIVED, 25.0),
    File("verification/test_heat_properties.py", "heat", "what any heat flow must hold: energy, "
         "mirrors, superposition, uniform and linear fields", "follows from the equation", 25.0),
    File("verification/test_heat_rates.py", "heat", "rates of convergence of the method: second "
         "order in the cell, first in the step", "theory of finite elements and of Euler steps",
         20.0),
    File("verification/test_mech_patch.py", "mechanics", "MacNeal and Harder (1985): patch tests "
         "and beams; NAFEMS LE10", "from memory, consistent in itself; LE10 in part seen", 25.0),
    File("verification/test_mech_thermoelastic.py", "mechanics", "Timoshenko (1925): two-metal "
         "strip; free and held bodies, thick cylinder", DERIVED, 20.0),
    File("verification/test_mech_bars.py", "mechanics", "strength of materials: restrained bar, "
         "three bars, bar heated along one edge; EN 1993-1-2:2005 curves", DERIVED, 30.0),
    File("verification/test_mech_plastic.py", "mechanics", "Hill (1950): thick sphere and "
         "cylinder; plastic strain path of NAFEMS R0049",
         "closed forms recomputed; strain path reproduced to four decimals", 40.0),
    File("verification/test_mech_must_hold.py", "mechanics", "what any mechanics must hold: "
         "equilibrium, frames, mirrors, order of loads", "follows from the equations", 40.0),
    File("verification/test_elastic_model.py", "mechanics", "beam with a strip of inherent "
         "strain", DERIVED, 10.0),
    File("verification/test_tubes.py", "mechanics", "beam statics and shell theory: kink of a "
         "square tube, girth band, springs and contact", "formulas from memory, recomputed", 20.0,
         ("square-tube-tee", "square-tube-frame", "round-tube-saddle", "round-tube-butt")),
    File("verification/test_table.py", "mechanics", "beam statics: a strip that curls on a table, "
         "pushed by it and not pulled", DERIVED, 10.0, ("deposit",)),
    File("verification/test_cooling_time.py", "cooling", "EN 1011-2:2001, Annex D", "formulas "
         "seen in several public copies", 10.0, ("bar",)),
    File("verification/test_joint_cooling.py", "cooling", "EN 1011-2:2001, Annex D, butt and "
         "fillet", "formulas seen, shape factors in part", 60.0, ("plate-butt", "plate-tee"),
         False),
    File("verification/test_plate_shrinkage.py", "shrinkage", "strip of inherent strain in a plate",
         DERIVED, 10.0, ("plate-butt", "plate-tee", "bar")),
    File("facts/test_plate_facts.py", "shrinkage", "Satoh and Terasaki (1976), Okerblom, White and "
         "Leggatt, King, Masubuchi, Blodgett: rules of shrinkage", "rules from memory, good to "
         "half or twice", 300.0, ("plate-butt", "plate-tee", "round-tube-butt", "bar"), False),
    File("facts/test_bar_facts.py", "joints", "a bar with a bead: which way it moves, when it "
         "turns back", FACT, 200.0, ("bar",), False),
    File("facts/test_joint_facts.py", "joints", "tees of tubes and saddles: side, travel, order",
         FACT, 600.0, ("square-tube-tee", "round-tube-saddle"), False),
    File("facts/test_joint_symmetry.py", "joints", "a mirrored joint ends mirrored", "follows from "
         "the equations", 200.0, (), False),
)  # fmt: skip


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
        Comparison(asked, expected, actual, expected - room, expected + room)
        for asked, expected, actual, room in entry["numbers"]
        if all(map(math.isfinite, (expected, room)))
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


def _title(name: str) -> str:
    """The name of a test in words."""
    words = name.rpartition("::")[2].removeprefix("test_").replace("_", " ")
    return words[:1].upper() + words[1:]


def _kinds(file: File, name: str) -> tuple[str, ...]:
    """Of a file about several kinds: those that a test is about, as its name says."""
    if len(file.kinds) < 2:
        return file.kinds
    named = [k for word, kinds in KINDS_OF_TESTS.items() if word in name for k in kinds]
    return tuple(k for k in dict.fromkeys(named) if k in file.kinds) or file.kinds


def _check(file: File) -> Check:
    name = "tests-" + Path(file.path).stem.removeprefix("test_").replace("_", "-")
    return Check(
        name, file.group, f"Tests in tests/{file.path}", file.source, file.known, NO_DEVIATION,
        partial(run_file, file), file.kinds, file.seconds, file.quick,
    )  # fmt: skip


CHECKS = tuple(_check(file) for file in FILES)
