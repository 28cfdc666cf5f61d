"""Why a gauge ends where it ends: its final reading as a sum over welds, slices, heating, cooling.

By reciprocity (Betti): a unit load that does work on the gauge moves the final, cold part by the
influence field; stress of that field times the strain that is locked in, summed over the volume,
is what the gauge reads. Locked in is whatever strain stays without stress: plastic strain and the
strain at which filler and soft metal became stress-free. Which weld locked in what, and whether
while a point was warming or cooling, is counted by running the case again step by step.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from weldsim.errors import StoreError
from weldsim.runs.result import Result, read_result
from weldsim.schema.column import Column
from weldsim.simulation.model import Model
from weldsim.simulation.seam_filler import seam_distance
from weldsim.simulation.state import State
from weldsim.simulation.steps import simulate, start_state
from weldsim.studies.influence import (
    Tally,
    elastic_properties,
    influence,
    locked_in,
    quadrature_places,
)

SLICES_OF_LONGEST = 12  # along the longest weld; shorter ones have as many as fit
CLAMPS = "clamps off or on"  # stands for a weld where a clamp's change made the metal yield
BY_TIME = "by time, from a second run of the case"
BY_PLACE = "by place, from the last state alone"

Progress = Callable[[float, str], None]


@dataclass(frozen=True)
class Row:
    """What one slice of one weld adds to a reading.

    Attributes
    ----------
    weld, seam, number : str, str, int
        Name, seam and pass.
    slice : int
        From 1, along the direction of welding.
    begin, finish : float
        Along the weld from where its arc started. [m]
    heating, cooling : float or None
        Added while the metal grew warmer and cooler; None without the split. [rad or m]
    value : float
        Both together. [rad or m]
    """

    weld: str
    seam: str
    number: int
    slice: int
    begin: float
    finish: float
    heating: float | None
    cooling: float | None
    value: float


@dataclass(frozen=True)
class Reading:
    """One column of a gauge taken apart.

    Attributes
    ----------
    column : Column
    value : float
        Final reading of the state that is explained. [rad or m]
    rows : tuple of Row
        Parts by weld and slice.
    others : dict of str to float
        Parts that belong to no weld: warmth left, land that presses, clamps, preset. [rad or m]
    density : ndarray, shape (C,)
        What each cell's locked-in strain adds, for each volume. [rad/m3 or m/m3]
    shown_unit : str
        In which it is shown, where that is not the column's own.
    """

    column: Column
    value: float
    rows: tuple[Row, ...]
    others: dict[str, float]
    density: np.ndarray
    shown_unit: str = ""

    @property
    def gauge(self) -> str:
        """Name of the gauge."""
        return self.column.gauge

    @property
    def unit(self) -> str:
        """Unit in which the reading is shown."""
        return self.shown_unit or self.column.unit

    @property
    def called(self) -> str:
        """Name for people: gauge, of a pointer with its side."""
        side = self.column.component if self.column.component in ("up", "right") else ""
        return f"{self.column.gauge} {side}".replace("_", " ").strip()

    @property
    def sum(self) -> float:
        """All parts together."""
        return sum(r.value for r in self.rows) + sum(self.others.values())

    @property
    def residual(self) -> float:
        """What the parts leave unexplained."""
        return self.value - self.sum

    def of_weld(self, name: str) -> float:
        """What all slices of a weld add."""
        return sum(r.value for r in self.rows if r.weld == name)

    @property
    def shown(self) -> Reading:
        """The same in the unit of the column, mrad or mm, for records."""
        return self._scaled(self.column.factor)

    def at(self, distance: float | None) -> Reading:
        """The same for words and pictures: a tilt in mm at a target so far away. [m]"""
        if not distance or self.column.unit != "mrad":
            return self.shown
        return replace(self._scaled(1e3 * distance), shown_unit="mm")

    def _scaled(self, factor: float) -> Reading:

        def scaled(value: float | None) -> float | None:
            return None if value is None else factor * value

        rows = tuple(
            replace(r, heating=scaled(r.heating), cooling=scaled(r.cooling), value=factor * r.value)
            for r in self.rows
        )
        others = {k: factor * v for k, v in self.others.items()}
        return Reading(self.column, factor * self.value, rows, others, factor * self.density)


@dataclass(frozen=True)
class Why:
    """All mechanical readings of a run taken apart.

    Attributes
    ----------
    title, how : str
        Of the case; how the parts were told from each other.
    readings : tuple of Reading
    replay_gap : dict of Column to float
        Reading of the second run less that of the first; empty without one. [rad or m]
    errors : dict of Column to float
        Estimated error of the run's reading; the parts have none of their own. [rad or m]
    distances : dict of str to float
        Gauge -> how far its target is from the part, of those that have one. [m]
    """

    title: str
    how: str
    readings: tuple[Reading, ...]
    replay_gap: dict[Column, float] = field(default_factory=dict)
    errors: dict[Column, float] = field(default_factory=dict)
    distances: dict[str, float] = field(default_factory=dict)

    def shown(self, reading: Reading) -> Reading:
        """A reading as a bench sees it: of a pointer at its target."""
        return reading.at(self.distances.get(reading.gauge))

    def reading(self, column: Column | str) -> Reading:
        """The reading of a column, or of its name as in gauges.csv."""
        return next(r for r in self.readings if str(r.column) == str(column))


def explain(
    run: Result | str | Path,
    replay: bool = True,
    progress: Progress | None = None,
    threads: int | None = None,
) -> Why:
    """Take the final readings of a run apart.

    Parameters
    ----------
    run : Result or path
        A run, in memory or in its folder.
    replay : bool
        Run the case again, for what each weld did while metal warmed and cooled. Otherwise the
        last state is taken apart by place: each point belongs to the nearest weld.
    progress : callable(share, text), optional
        Told how far the work is, 0 to 1.
    threads : int, optional
        Of a run in a folder.

    Returns
    -------
    Why
        Every reading of a movement as a sum of parts.

    Raises
    ------
    StoreError
        If the folder is no run, is not complete (with `replay`), or holds no state.
    CaseError
        If no gauge reads a movement.
    """
    tell = progress or (lambda share, text: None)
    result = run if isinstance(run, Result) else read_result(run, threads)
    if replay and result.status != "complete":
        raise StoreError(
            f"{result.path}: the run is not complete: resume it, or have its last state explained "
            "by place alone"
        )
    tell(0.0, "meshing")
    if replay:
        found = explain_case(result.model, tell)
        gap = {r.column: r.value - float(result.gauges[r.column][-1]) for r in found.readings}
        found = replace(found, replay_gap=gap)
    else:
        state = result.state  # before the mesh: a folder may hold none
        found = explain_state(result.model, state)
    return replace(found, errors=_stated_errors(result))


def _stated_errors(result: Result) -> dict[Column, float]:
    """Errors that a run folder states; none is computed for this."""
    if result.path is None:
        return {}
    stated = result.record.errors
    return {c: stated[c.name] / c.factor for c in result.gauges if c.name in stated}


def explain_case(model: Model, progress: Progress | None = None) -> Why:
    """Run a model's case and take its final readings apart by weld, slice, heating and cooling."""
    tell = progress or (lambda share, text: None)
    state = start_state(model)
    tally = Tally(model, state)
    for step in simulate(model, state):
        tally.add(step)
        state = step.state
        tell(0.98 * step.progress, f"{step.phase}, {step.time:.0f} s")
    tell(0.98, "influence of each place")
    return taken_apart(model, state, tally)


def explain_state(model: Model, state: State) -> Why:
    """Take the readings of a state apart by the nearest weld and slice.

    Parameters
    ----------
    model : Model
        The state is of.
    state : State
        At rest, as a run leaves it.

    Returns
    -------
    Why
        Every reading of a movement as a sum of parts.
    """
    return taken_apart(model, state, None)


def taken_apart(model: Model, state: State, tally: Tally | None = None) -> Why:
    """Take the readings of a state apart, by a `Tally` of its run or else by place."""
    answer = influence(model, state)
    values = model.read(state)
    places = quadrature_places(model)
    slices = [_slices(model, places, i) for i in range(len(model.case.welds))]
    properties, _ = elastic_properties(model, state)
    final = locked_in(model, state)
    warmth = np.zeros_like(final)
    warmth[..., :3] = properties.thermal_strain[..., None]
    loose = (
        state.internal_variables.plastic_strain + state.internal_variables.reference_strain - final
    )
    readings = []
    for column, weights, others in zip(answer.columns, answer.stress, answer.others, strict=True):
        if tally is None:
            rows = _rows_by_place(model, places, slices, (weights * final).sum(axis=-1))
        else:
            rows = _rows_by_time(model, slices, tally, weights, others)
        others["warmth left in the part"] = float((weights * warmth).sum())
        others["metal not laid"] = float((weights * loose).sum())
        volume = model.mechanics.weight.sum(axis=1)
        density = (weights * final).sum(axis=(1, 2)) / volume
        readings.append(Reading(column, values[column], tuple(rows), others, density))
    how = BY_PLACE if tally is None else BY_TIME
    distances = {g.name: float(g.throw) for g in model.case.gauges if g.throw}
    return Why(model.case.title, how, tuple(readings), distances=distances)


def _slices(model, places, weld: int):
    """Slice of each quadrature point along a weld (C, Q), and how many there are."""
    longest = max(s.length for s in model.seams)
    seam = model.seams[weld]
    count = max(1, round(SLICES_OF_LONGEST * seam.length / longest))
    along = seam.local(places.reshape(-1, 3))[0].reshape(places.shape[:2])
    number = np.clip((along / seam.length * count).astype(np.int64), 0, count - 1)
    return number, count


def _rows_by_time(model, slices, tally, weights, others) -> list[Row]:
    rows = []
    for i in range(len(model.case.welds)):
        number, count = slices[i]
        shares = [
            np.bincount(number.ravel(), (weights * book[i]).sum(axis=-1).ravel(), count)
            if i in book else np.zeros(count)
            for book in (tally.heating, tally.cooling)
        ]  # fmt: skip
        rows += _rows(model, i, count, *shares)
    others[CLAMPS] = float(
        sum((weights * book[-1]).sum() for book in (tally.heating, tally.cooling) if -1 in book)
    )
    return rows


def _rows_by_place(model, places, slices, parts) -> list[Row]:
    flat = places.reshape(-1, 3)
    away = np.array([seam_distance(seam, flat) for seam in model.seams])
    owner = away.argmin(axis=0).reshape(parts.shape)
    rows = []
    for i, (number, count) in enumerate(slices):
        mine = owner == i
        total = np.bincount(number[mine], parts[mine], count)
        rows += _rows(model, i, count, None, None, total)
    return rows


def _rows(model, weld: int, count: int, heating, cooling, total=None) -> list[Row]:
    spec, length = model.case.welds[weld], model.seams[weld].length
    total = heating + cooling if total is None else total
    return [
        Row(
            spec.name, spec.seam, spec.number, k + 1, k * length / count, (k + 1) * length / count,
            None if heating is None else float(heating[k]),
            None if cooling is None else float(cooling[k]), float(total[k]),
        )
        for k in range(count)
    ]  # fmt: skip


def main_readings(why: Why) -> list[Reading]:
    """One reading a gauge, the largest; a pointer's is its tilt."""
    out = []
    for gauge in dict.fromkeys(r.gauge for r in why.readings):
        own = [r for r in why.readings if r.gauge == gauge]
        tilt = [r for r in own if r.unit == "mrad"]
        out.append(max(tilt or own, key=lambda r: abs(r.value)))
    return out
