"""Does the estimated error of a tee's tilt cover what a finer mesh and finer steps change?

    python benchmarks/tee_convergence.py [--small] [--levels coarse,halved,quick,finer]

First seam of the square-tube tee on the front, then rest until cold. Prints Markdown: tilt of the
branch end at each level, what it still differs from the finest one, and the error estimate that a
run at quick grade states (quick less coarse). `--small` takes the tubes that the test takes.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from common import header, machine, row

from weldsim.case.load import load_case
from weldsim.geometry.grades import GRADES
from weldsim.simulation.steps import build_model, simulate

CASE = Path(__file__).resolve().parent / "cases" / "mast_stub.toml"
FIRST = ('schedule.order=["front:+x"]',)
# The same wall, leg, arc and tacks on smaller tubes: as much happens in a cross-section, over a
# seam half as long.
SMALL = (
    "part.branch_width=20 mm", "part.branch_length=60 mm", "part.chord_width=30 mm",
    "part.chord_length=100 mm",
)  # fmt: skip

_coarse, _quick = GRADES["coarse"], GRADES["quick"]
LEVELS = {
    "coarse": _coarse,
    "halved": replace(_coarse, name="halved", torch_step=0.5 * _coarse.torch_step),
    "quick": _quick,
    # cells along the travel and steps two thirds as long as quick's
    "closer": replace(
        _quick, name="closer", travel_cell=0.33, growth=0.35, coarsest=2.25, torch_step=0.165,
        rest_growth=0.17,
    ),
    # between quick and normal: a second cell through walls and land, shorter cells and steps
    "finer": replace(
        _quick, name="finer", travel_cell=0.40, through_cells=2, growth=0.35, coarsest=2.25,
        torch_step=0.20, rest_growth=0.17,
    ),
}  # fmt: skip
WORDS = {
    "coarse": "coarse", "halved": "coarse, torch steps half as long", "quick": "quick",
    "closer": "closer: cells along the seam and steps two thirds as long as quick's",
    "finer": "finer: two cells through, cells and steps 0.8 times as long as quick's",
}  # fmt: skip


@dataclass(frozen=True)
class Found:
    """One run.

    Attributes
    ----------
    tilt : ndarray, shape (2,)
        Along the chord (+x) and across it (toward the seam). [mrad]
    hot : ndarray, shape (2,)
        Farthest out of either on the way. [mrad]
    unknowns, steps, iterations : int
    simulated, wall : float [s]
    """

    tilt: np.ndarray
    hot: np.ndarray
    unknowns: int
    steps: int
    iterations: int
    simulated: float
    wall: float


def first_seam(changes=(), level: str = "quick", threads: int | None = None) -> Found:
    """Tilt of the branch end after the first seam, cold.

    Parameters
    ----------
    changes : sequence of str
        As for `--set`.
    level : one of `LEVELS`
    """
    case, grade = load_case(CASE, [*FIRST, *changes]), LEVELS[level]
    begin, usual = time.perf_counter(), dict(GRADES)
    try:
        GRADES[grade.name] = grade  # a model asks for its grade by name
        model = build_model(case, grade.name, threads)
    finally:
        GRADES.clear()
        GRADES.update(usual)
    steps = iterations = 0
    way = []
    for step in simulate(model):
        steps, iterations = steps + 1, iterations + step.iterations
        way.append([1e3 * step.gauges["pointer", "up"], 1e3 * step.gauges["pointer", "right"]])
    way = np.array(way)
    hot = way[np.argmax(np.abs(way), axis=0), [0, 1]]
    wall = time.perf_counter() - begin
    return Found(way[-1], hot, int(model.mechanics.points.size), steps, iterations, step.time, wall)


def table(found: dict[str, Found]) -> str:
    """Markdown: a row a level, and what the last level leaves of the others."""
    finest = list(found.values())[-1]
    lines = [
        header("level", "equations", "steps", "iterations", "wall",
               "along, mrad", "across, mrad", "off the last row, mrad")
    ]  # fmt: skip
    for name, one in found.items():
        off = np.linalg.norm(one.tilt - finest.tilt)
        lines.append(
            row(WORDS[name], f"{one.unknowns:,}", one.steps, one.iterations, f"{one.wall:.0f} s",
                f"{one.tilt[0]:+.3f}", f"{one.tilt[1]:+.3f}",
                "" if one is finest else f"{off:.3f}")
        )  # fmt: skip
    return "\n".join(lines)


def estimate(found: dict[str, Found]) -> str:
    """The error estimate of quick held against the finer value, one line a direction."""
    stated = np.abs(found["quick"].tilt - found["coarse"].tilt)
    finest = list(found)[-1]
    if finest == "quick":
        return f"estimated error, quick: {stated[0]:.3f} along, {stated[1]:.3f} across; none finer"
    lines = [header("tilt", "quick", "estimated error", f"changes to {finest}", "covered")]
    for i, name in enumerate(("along", "across")):
        change = found[finest].tilt[i] - found["quick"].tilt[i]
        lines.append(
            row(name, f"{found['quick'].tilt[i]:+.3f}", f"{stated[i]:.3f}", f"{change:+.3f}",
                "yes" if abs(change) <= stated[i] else "no")
        )  # fmt: skip
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--small", action="store_true")
    parser.add_argument("--levels", default="coarse,halved,quick,finer")
    options = parser.parse_args()
    levels = [name.strip() for name in options.levels.split(",")]
    unknown = [name for name in levels if name not in LEVELS]
    if unknown:
        parser.error(f"--levels: {unknown[0]} is unknown, known: {', '.join(LEVELS)}")
    print(f"{machine()}\n", flush=True)
    found = {}
    for name in levels:
        found[name] = first_seam(SMALL if options.small else (), name)
        one = found[name]
        print(f"{name}: {one.tilt.round(4)} mrad cold, {one.hot.round(3)} farthest, "
              f"{one.unknowns} unknowns, {one.wall:.0f} s\n", flush=True)  # fmt: skip
    print(table(found))
    if {"coarse", "quick"} <= set(found):
        print("\n" + estimate(found))


if __name__ == "__main__":
    main()
