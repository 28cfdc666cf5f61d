"""Why a gauge ends where it ends: its final reading as a sum over welds, slices, heating, cooling.

By reciprocity (Betti): a unit load that does work on the gauge moves the final, cold part by the
influence field; stress of that field times the strain that is locked in, summed over the volume,
is what the gauge reads. Locked in is whatever strain stays without stress: plastic strain and the
strain at which filler and soft metal became stress-free. Which weld locked in what, and whether
while a point was warming or cooling, is counted by running the case again step by step.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from weldsim.case.load import parse_case
from weldsim.errors import StoreError
from weldsim.runs.reading import last_checkpoint, read_json_file, read_run
from weldsim.simulation.seam_filler import seam_distance
from weldsim.simulation.state import State
from weldsim.simulation.steps import build_model, simulate, start_state
from weldsim.studies.influence import (
    Tally,
    elastic_properties,
    influence,
    locked_in,
    quadrature_places,
)

SLICES = 12  # along the longest weld
CLAMPS = "clamps off or on"  # stands for a weld where a clamp's change made the metal yield
SPLIT, REGION = "by time, from a second run of the case", "by place, from the last state alone"


@dataclass(frozen=True)
class Row:
    """What one slice of one weld adds to a reading, in the unit of the reading.

    Attributes
    ----------
    weld, seam, number : name, seam and pass
    slice : number from 1, along the direction of welding
    begin, finish : along the weld from where its arc started [m]
    heating, cooling : added while the metal grew warmer and cooler; None without the split
    value : both together
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
    column, gauge, unit : name of the column, of its gauge, its unit
    value : final reading of the state that is explained
    rows : parts by weld and slice
    others : parts that belong to no weld: warmth left, land that presses, clamps, preset
    density : (C,) what each cell's locked-in strain adds, for each volume [unit/m3]
    """

    column: str
    gauge: str
    unit: str
    value: float
    rows: tuple[Row, ...]
    others: dict[str, float]
    density: np.ndarray

    @property
    def called(self) -> str:
        """Name for people: gauge and component."""
        return self.column.removesuffix(f"_{self.unit}").replace("_", " ")

    @property
    def sum(self) -> float:
        return sum(r.value for r in self.rows) + sum(self.others.values())

    @property
    def residual(self) -> float:
        """What the parts leave unexplained."""
        return self.value - self.sum

    def of_weld(self, name: str) -> float:
        return sum(r.value for r in self.rows if r.weld == name)


@dataclass(frozen=True)
class Why:
    """All mechanical readings of a run taken apart.

    Attributes
    ----------
    title, how : of the case; how the parts were told from each other
    readings : tuple of Reading
    replay_gap : column -> reading of the second run less that in the folder; empty without one
    errors : column -> estimated error of the run's reading; the parts have none of their own
    """

    title: str
    how: str
    readings: tuple[Reading, ...]
    replay_gap: dict[str, float]
    errors: dict[str, float]

    def reading(self, column: str) -> Reading:
        return next(r for r in self.readings if r.column == column)


def explain(run_folder, replay: bool = True, progress=None, threads=None) -> Why:
    """Take the final readings of a run apart.

    Parameters
    ----------
    run_folder : path
    replay : bool
        Run the case again, for what each weld did while metal warmed and cooled. Otherwise the
        last checkpoint is taken apart by place: each point belongs to the nearest weld.
    progress : callable(share, text), optional

    Raises
    ------
    StoreError
        If the folder is no run, is not complete (with `replay`), or holds no state.
    CaseError
        If no gauge reads a movement.
    """
    record = read_run(run_folder)
    if replay and not record.complete:
        raise StoreError(
            f"{record.path}: the run is not complete: resume it, or have its last state explained "
            "by place alone"
        )
    kept = read_json_file(record.path / "case.json")
    case = parse_case(kept["source"], kept["source_file"], kept["overrides"])
    progress = progress or (lambda share, text: None)
    progress(0.0, "meshing")
    model = build_model(case, threads=threads)
    if replay:
        found = explain_case(model, progress)
        gap = {r.column: r.value - float(record.gauges[r.column][-1]) for r in found.readings}
        return replace(found, replay_gap=gap, errors=dict(record.errors))
    state = last_checkpoint(record.path)
    if state is None:
        raise StoreError(f"{record.path}: holds no state to explain: resume the run or run it anew")
    found = explain_state(model, State.from_arrays(state[0]))
    return replace(found, errors=dict(record.errors))


def explain_case(model, progress=None) -> Why:
    """Run a model's case and take its final readings apart by weld, slice, heating and cooling."""
    progress = progress or (lambda share, text: None)
    state = start_state(model)
    tally = Tally(model, state)
    for step in simulate(model, state):
        tally.add(step)
        state = step.state
        progress(0.98 * step.progress, f"{step.phase}, {step.time:.0f} s")
    progress(0.98, "influence of each place")
    return taken_apart(model, state, tally)


def explain_state(model, state) -> Why:
    """Take the readings of a state apart by the nearest weld and slice."""
    return taken_apart(model, state, None)


def taken_apart(model, state, tally=None) -> Why:
    """Take the readings of a state apart, by a `Tally` of its run or else by place."""
    answer = influence(model, state)
    values = model.read(state).display()
    places = quadrature_places(model)
    slices = [_slices(model, places, i) for i in range(len(model.case.welds))]
    properties, _ = elastic_properties(model, state)
    final = locked_in(model, state)
    warmth = np.zeros_like(final)
    warmth[..., :3] = properties.thermal_strain[..., None]
    loose = (
        state.internal_variables.plastic_strain + state.internal_variables.reference_strain - final
    )
    gauges = sorted((g.name for g in model.case.gauges), key=len, reverse=True)
    readings = []
    for name, weights, others in zip(answer.columns, answer.stress, answer.others, strict=True):
        if tally is None:
            rows = _rows_by_place(model, places, slices, (weights * final).sum(axis=-1))
        else:
            rows = _rows_by_time(model, slices, tally, weights, others)
        others["warmth left in the part"] = float((weights * warmth).sum())
        others["metal not laid"] = float((weights * loose).sum())
        volume = model.mechanics.weight.sum(axis=1)
        density = (weights * final).sum(axis=(1, 2)) / volume
        gauge = next(g for g in gauges if name.startswith(f"{g}_"))
        unit = name.rpartition("_")[2]
        readings.append(Reading(name, gauge, unit, values[name], tuple(rows), others, density))
    how = REGION if tally is None else SPLIT
    return Why(model.case.title, how, tuple(readings), {}, {})


def _slices(model, places, weld: int):
    """Slice of each quadrature point along a weld (C, Q), and how many there are."""
    longest = max(s.length for s in model.seams)
    seam = model.seams[weld]
    count = max(1, round(SLICES * seam.length / longest))
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
