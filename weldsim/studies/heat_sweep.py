"""Where a bead's pull toward its own side and the pull along its travel change places with heat.

A bar is run at several currents. Plotted over the heat it takes up for each length of bead and
thickness squared, the tilt toward the bead leads where little heat goes in, and the tilt along the
travel where much does.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from weldsim.case.load import Case
from weldsim.errors import CaseError, ConvergenceError
from weldsim.geometry.path import Seam
from weldsim.joints.registry import kind_of_case
from weldsim.schema.column import Column
from weldsim.schema.records import Gauge
from weldsim.simulation.gauges import unit_axis
from weldsim.simulation.steps import Step, build_model, start_state
from weldsim.studies.kept_runs import KeptRuns, run_on
from weldsim.studies.targets import until_cold

CURRENT_SHARES = (0.45, 0.65, 0.85, 1.0, 1.2)  # on the currents of the case


@dataclass(frozen=True)
class Point:
    """One run of the row.

    Attributes
    ----------
    power : heat the part takes up under the first arc [W]
    heat : the same for each length of bead [J/m]
    density : heat over thickness squared [J/m3]
    along, toward : tilt along the travel and toward the bead [rad]; None where the run failed
    trouble : why it failed
    """

    power: float
    heat: float
    density: float
    along: float | None = None
    toward: float | None = None
    trouble: str = ""


@dataclass(frozen=True)
class Crossover:
    """The row of runs, and the density at which both tilts are alike [J/m3]; None if none is."""

    title: str
    grade: str
    gauge: str
    points: tuple[Point, ...]
    at: float | None


def crossover(
    case: Case,
    powers: Sequence[float] | None = None,
    grade: str = "quick",
    progress: Callable[[float, str], None] | None = None,
    threads: int | None = None,
    kept: KeptRuns | None = None,
) -> Crossover:
    """Run a bar at several heats and split its tilt along the travel and toward the bead.

    Parameters
    ----------
    case : Case
        A bar with a pointer; all welds on one face and travelling one way.
    powers : sequence of float, optional
        Heat the part takes up under the first arc [W]; the currents of all welds are scaled
        alike. Shares of the case's own when left out.
    grade : str
    progress : callable(share, text), optional
    threads : int, optional
        Of the solver.
    kept : KeptRuns, optional
        Where its runs are kept, so that a row that was stopped resumes.

    Raises
    ------
    CaseError
        If the case is no such bar.
    """
    pointer = swept_pointer(case)
    first = case.welds[0]
    wanted = [f * first.arc.power for f in CURRENT_SHARES] if powers is None else sorted(powers)
    if any(not p > 0 for p in wanted):
        raise CaseError("crossover: a power is not allowed: it must be greater than zero")
    points = []
    for i, power in enumerate(wanted):

        def tell(share: float, text: str, i: int = i) -> None:
            if progress:
                progress((i + share) / len(wanted), text)

        points.append(_run(case, pointer, power / first.arc.power, grade, tell, threads, kept))
    return Crossover(case.title, grade, pointer.name, tuple(points), crossing(points))


def swept_pointer(case: Case) -> Gauge:
    """The pointer of a case that can be asked; `CaseError` for any other.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Gauge
        Its first pointer.
    """
    where = case.source_file
    if not kind_of_case(case).heated_through:
        raise CaseError(f'{where} [part] kind: {case.part.kind!r} is not allowed here: "bar" only')
    pointers = [g for g in case.gauges if g.kind == "pointer"]
    if not pointers:
        raise CaseError(f"{where} [[gauge]]: missing, allowed: a pointer to read the tilt from")
    if len({(b.face, w.travel) for b, w in zip(case.part.beads, case.welds, strict=True)}) > 1:
        raise CaseError(
            f"{where} [[weld]]: the beads differ in face or travel, allowed: one face and one way"
        )
    return pointers[0]


def _run(
    case: Case, pointer: Gauge, factor: float, grade: str, progress: Callable[[float, str], None],
    threads: int | None, kept: KeptRuns | None,
) -> Point:  # fmt: skip
    scaled = case.with_changes(
        {f"weld.{w.name}.current": factor * w.arc.current for w in case.welds}
    )
    first, cold = scaled.welds[0], until_cold(scaled)
    heat = first.arc.line_energy
    density = heat / case.part.thickness**2
    model = build_model(cold, grade, threads)

    def tell(step: Step) -> None:
        progress(step.progress, f"{first.arc.current:.0f} A, {step.time:.0f} s")

    known = kept.get(cold, grade) if kept else None
    try:
        readings = known[0] if known else model.read(run_on(model, start_state(model), tell, kept))
    except ConvergenceError as error:
        return Point(first.arc.power, heat, density, trouble=str(error))
    if kept and not known:
        kept.put(cold, grade, readings)
        kept.drop_state(model)
    along, toward = tilts(pointer, model.seams[0], readings)
    return Point(first.arc.power, heat, density, along, toward)


def tilts(pointer: Gauge, seam: Seam, readings: Mapping[Column, float]) -> tuple[float, float]:
    """Tilt of a pointer along a seam's travel and out of the face it lies on. [rad]"""
    aim, up = unit_axis(pointer.aim), unit_axis(pointer.up)
    tilt = readings[Column(pointer.name, "up", "mrad")] * up + readings[
        Column(pointer.name, "right", "mrad")
    ] * np.cross(aim, up)
    return float(tilt @ seam.travel), float(-tilt @ seam.inward)


def crossing(points: Sequence[Point]) -> float | None:
    """Density at which |along| and |toward| are alike, straight between runs; None if none. [J/m3]

    The last change from toward leading to along leading counts.
    """
    good = [p for p in points if p.along is not None]
    out = None
    for a, b in zip(good, good[1:], strict=False):
        low, high = (abs(p.along) - abs(p.toward) for p in (a, b))
        if low < 0 <= high:
            out = a.density + (b.density - a.density) * low / (low - high)
    return out
