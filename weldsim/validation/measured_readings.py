"""What was measured on the block of forty beads, and the same read off runs of it.

Files of `cases/measured/n1`; places, heights and who measured what stand in its README. Stress is
compared along the beads, averaged over the width that each method averaged over.
"""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np

from weldsim.geometry.grades import GRADES
from weldsim.runs.result import Result
from weldsim.simulation.events import next_event
from weldsim.simulation.heat_stage import heat_to_limit
from weldsim.simulation.model import Model
from weldsim.simulation.steps import start_state

N1 = Path(__file__).resolve().parents[2] / "cases" / "measured" / "n1"
LAYER_ENDS = (743.0, 1607.0, 2453.0, 3359.0)  # s, from the log: where the arc goes off
COUPLES = tuple(f"TC{k}" for k in range(1, 11))
FIRST_BEADS = 150.0  # s: two beads are laid, and their heat has come across to the far edge
FAR_EDGE = ("TC7", "TC8", "TC9", "TC10")  # couples on it; the others are fitted to then
NEAR = 1e-4  # of the power, that a heat step may miss; the readings are good to 0.1 K
# couples lie 30 mm and more from the beads: cells of three widths, steps of six (4 s)
FAR = replace(GRADES["sketch"], travel_cell=3.0, torch_step=6.0, rest_growth=0.6, through_cells=0.5)
SLAB = 0.030  # m to either side of a plane, over which the stress is even along the bar: two cells
# of grade sketch, since stress may go up and down from cell to cell at mid-length
LEVEL = 1e-5  # m, within which points lie at one height


def _rows(name: str) -> list[dict[str, str]]:
    with (N1 / name).open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def logged() -> dict[str, np.ndarray]:
    """The log: "time" from the first arc [s], couples and table ("TC11") [K]."""
    rows = _rows("temperatures.csv")
    out = {"time": np.array([float(r["time_s"]) for r in rows])}
    for couple in (*COUPLES, "TC11"):
        out[couple] = np.array([float(r[f"{couple}_degC"]) + 273.15 for r in rows])
    return out


def measured_heights() -> tuple[np.ndarray, np.ndarray]:
    """Places along the bar and height of its underside after release. [m]"""
    rows = _rows("bow.csv")
    return tuple(1e-3 * np.array([float(r[k]) for r in rows]) for k in ("x_mm", "height_mm"))


def measured_stress() -> dict[tuple[str, int], tuple[np.ndarray, np.ndarray]]:
    """(method, place along the bar [mm]) -> heights over the welded face [m] and stress [Pa]."""
    rows = _rows("stress.csv")
    out = {}
    for key in dict.fromkeys((r["method"], int(r["x_mm"])) for r in rows):
        own = [r for r in rows if (r["method"], int(r["x_mm"])) == key]
        z, stress = (np.array([float(r[k]) for r in own]) for k in ("z_mm", "stress_MPa"))
        out[key] = (1e-3 * z, 1e6 * stress)
    return out


def couples_heated(model: Model, until: float) -> dict[str, np.ndarray]:
    """Couples over time by the heat alone: nothing that moves changes it. [s, K]"""
    model = model.with_stepping(replace(model.stepping, heat_tolerance=NEAR))
    state = start_state(model)
    times, readings = [0.0], [model.gauges.read(state)]
    while state.time < until:
        event = next_event(model, state)
        if event is None or event.kind not in ("weld", "rest"):
            break
        state = replace(heat_to_limit(model, state, event)[0], steps=state.steps + 1)
        times.append(state.time)
        readings.append(model.gauges.read(state))
    columns = {c.gauge: c for c in readings[0]}
    out = {"time": np.array(times)}
    return out | {c: np.array([r[columns[c]] for r in readings]) for c in COUPLES}


def rises(
    found: dict[str, np.ndarray],
    times: tuple[float, ...] = LAYER_ENDS,
    couples: tuple[str, ...] = COUPLES,
) -> list[tuple[str, float, float, float]]:
    """(couple, time, measured rise, computed rise), usually at the ends of layers. [s, K]"""
    log = logged()
    before = log["time"] < 0
    return [
        (
            couple, at, float(np.interp(at, log["time"], log[couple]) - log[couple][before].mean()),
            float(np.interp(at, found["time"], found[couple]) - found[couple][0]),
        )
        for couple in couples
        for at in times
    ]  # fmt: skip


def heights_of(result: Result) -> np.ndarray:
    """Heights of the underside at the end of a run, at the places that were measured. [m]"""
    end = {c.gauge: v for c, v in result.gauges.end.items()}
    return np.array([end[f"H{1e3 * x:.0f}"] for x in measured_heights()[0]])


def sag(x: np.ndarray, height: np.ndarray, span: float) -> float:
    """How far the middle lies under the chord of a span about it; a turn of the bar is no sag."""
    middle = (x[0] + x[-1]) / 2
    ends = np.interp([middle - span / 2, middle + span / 2], x, height)
    return float(ends.mean() - np.interp(middle, x, height))


def levelled(height: np.ndarray) -> np.ndarray:
    """Heights without the shift and the turn of the whole bar. [m]"""
    x = measured_heights()[0]
    return np.asarray(height - np.polyval(np.polyfit(x, height, 1), x))


def stress_through(result: Result, along: float, half_width: float):
    """Stress along the beads by height, mean over a width and a short length of the bar.

    Parameters
    ----------
    result : Result
        Of a finished run.
    along : float
        Place along the bar. [m]
    half_width : float
        To either side of its middle. [m]

    Returns
    -------
    heights, stress : ndarray
        At the levels of the quadrature points; zero height is the welded face. [m, Pa]
    """
    model, stress = result.model, result.state.stress[..., 0]
    at = model.part.mesh.mapping().F(model.mechanics.quadrature.T)
    near = (np.abs(at[0] - along) < SLAB) & (np.abs(at[1]) < half_width)
    weight, level = model.mechanics.weight, LEVEL * np.round(at[2] / LEVEL)
    heights = np.unique(level[near])
    rows = [near & (np.abs(level - z) < LEVEL / 2) for z in heights]
    return heights, np.array([np.average(stress[r], weights=weight[r]) for r in rows])
