"""What a person notes down from a run: where each gauge ends, how far it went, when it settled.

Pure: readings and a timetable in, a dictionary of numbers out (summary.json).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from weldsim.case.load import Case

Array = NDArray[np.float64]

SETTLED = 0.02  # share of the total travel within which a gauge counts as settled
HOT, COLD = 800.0, 500.0  # degC; the two temperatures of the cooling time t8/5
KELVIN = 273.15
NO_TOLERANCE = "no tolerance in the case"


def summarise(
    gauges: Mapping[str, Array],
    timetable: list[dict[str, Any]],
    case: Case,
    interpass: Mapping[str, float] | None = None,
    solidus: float = np.inf,
) -> dict[str, Any]:
    """Numbers read off the gauges of a run, and what each weld was.

    Parameters
    ----------
    gauges : dict of ndarray, shape (N,)
        Columns of gauges.csv, `time_s` first. `<weld>_middle_degC` is the temperature under the
        middle of a bead; all others are gauge readings, unit last in the name.
    timetable : list of dict
        `name`, `start` and `end` of each arc so far; `end` is None while it burns. [s]
    case : Case
        Its `welds` give arc energy and heat input. [J/m]
    interpass : dict, optional
        Weld name -> temperature of the bead's base when its arc started. [K]
    solidus : float, optional
        Of the material. t8/5 says nothing about metal that is liquid at 800 degC. [K]

    Returns
    -------
    dict
        `gauges`: column -> see `read_off`; `welds`: list, see `_weld_entry`; `tolerances`:
        `verdicts` and the reason when there are none.

    Notes
    -----
    Settled means: from then on within 2 % of the total travel (highest minus lowest reading) of
    the final reading. Between two readings the history is taken as straight.
    """
    times = np.asarray(gauges["time_s"], dtype=float)
    under = {f"{weld.name}_middle_degC" for weld in case.welds}
    stops = [entry["end"] for entry in timetable if entry["end"] is not None]
    last_stop = max(stops, default=None)
    columns = [name for name in gauges if name != "time_s" and name not in under]
    return {
        "gauges": {name: read_off(times, gauges[name], last_stop) for name in columns},
        "welds": [
            _weld_entry(times, gauges, timetable, w, interpass or {}, solidus > HOT + KELVIN)
            for w in case.welds
        ],
        "last_arc_stop_s": last_stop,
        "tolerances": {"verdicts": [], "reason": NO_TOLERANCE},
    }  # fmt: skip


def read_off(
    times: Array, values: ArrayLike, last_stop: float | None = None
) -> dict[str, float | None]:
    """Final reading, extreme, travel and time to settle of one history.

    Parameters
    ----------
    times, values : ndarray, shape (N,)
        [s], unit of the gauge.
    last_stop : float, optional
        When the last arc stopped. [s]

    Returns
    -------
    dict
        `final`; `extreme`, the reading farthest from the first one, at `extreme_time_s`; `travel`,
        highest minus lowest; `settled_s` since the first reading's clock; `settled_after_arc_s`
        since the last arc stop, 0 when it had settled before, None when it still burns.
    """
    values = np.asarray(values, dtype=float)
    farthest = int(np.argmax(np.abs(values - values[0])))
    settled = settling_time(times, values)
    after = None if last_stop is None else max(settled - last_stop, 0.0)
    return {
        "final": float(values[-1]),
        "extreme": float(values[farthest]),
        "extreme_time_s": float(times[farthest]),
        "travel": float(np.ptp(values)),
        "settled_s": settled,
        "settled_after_arc_s": after,
    }


def settling_time(times: Array, values: ArrayLike, share: float = SETTLED) -> float:
    """When a history last enters the band around its end.

    Parameters
    ----------
    times : ndarray, shape (N,)
        [s]
    values : array_like, shape (N,)
        In any unit.
    share : float, optional
        Half width of the band over the travel, the highest less the lowest reading.

    Returns
    -------
    float
        Straight between two readings. [s]
    """
    band = share * np.ptp(np.asarray(values, dtype=float))
    values = np.asarray(values, dtype=float)
    off = np.abs(values - values[-1])
    outside = np.flatnonzero(off > band)
    if outside.size == 0:
        return float(times[0])
    i = int(outside[-1])
    part = (off[i] - band) / (off[i] - off[i + 1])
    return float(times[i] + part * (times[i + 1] - times[i]))


def cooling_time(
    times: Array, temperature: ArrayLike, begin: float = -np.inf, end: float = np.inf
) -> float | None:
    """Time from 800 to 500 degC of one thermal cycle, t8/5. [s]

    Parameters
    ----------
    times, temperature : ndarray, shape (N,)
        [s], [degC]
    begin, end : float, optional
        Where the peak is looked for: from the start of the arc to that of the next one. [s]

    Returns
    -------
    float or None
        None when the peak is not over 800 degC, a later arc heats beyond 800 degC again before
        500 degC is reached, or it is not reached.
    """
    temperature = np.asarray(temperature, dtype=float)
    own = np.flatnonzero((times >= begin) & (times <= end))
    if own.size == 0:
        return None
    peak = int(own[np.argmax(temperature[own])])
    t, temperature = times[peak:], temperature[peak:]
    if temperature[0] <= HOT:
        return None
    hot, cold = _falls_through(t, temperature, HOT), _falls_through(t, temperature, COLD)
    if hot is None or cold is None:
        return None
    between = (t > hot) & (t < cold)
    if np.any(temperature[between] > HOT):
        return None
    return float(cold - hot)


def _falls_through(times: Array, temperature: Array, limit: float) -> float | None:
    """First time a cooling history passes a limit, straight between readings; None if never."""
    under = np.flatnonzero(temperature <= limit)
    if under.size == 0:
        return None
    i = int(under[0])
    part = (temperature[i - 1] - limit) / (temperature[i - 1] - temperature[i])
    return float(times[i - 1] + part * (times[i] - times[i - 1]))


def _weld_entry(
    times: Array,
    gauges: Mapping[str, Array],
    timetable: list[dict[str, Any]],
    weld: Any,
    interpass: Mapping[str, float],
    solid: bool,
) -> dict[str, Any]:
    """One weld: arc times [s], energies [kJ/mm], t8/5 [s], highest interpass [degC]."""
    arcs = {entry["name"]: entry for entry in timetable}
    arc = arcs.get(weld.name)
    history = gauges.get(f"{weld.name}_middle_degC")
    cooling = None
    if solid and arc is not None and history is not None:
        later = [e["start"] for e in timetable if e["start"] > arc["start"]]
        cooling = cooling_time(times, history, arc["start"], min(later, default=np.inf))
    before = interpass.get(weld.name)
    if before is not None and not np.isfinite(before):
        before = None
    return {
        "name": weld.name,
        "start_s": None if arc is None else arc["start"],
        "end_s": None if arc is None else arc["end"],
        "arc_energy_kJ_mm": weld.arc.arc_energy / 1e6,
        "heat_input_kJ_mm": weld.arc.heat_input / 1e6,
        "t8_5_s": cooling,
        "highest_interpass_degC": None if before is None else float(before) - KELVIN,
    }
