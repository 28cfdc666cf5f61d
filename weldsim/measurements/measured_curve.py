"""Curves measured on a bench: a table with a time column and one column a gauge.

Headers are those of gauges.csv ("pointer_up_mrad"), the same with another unit of the same kind
("pointer_up_in", "pointer up [in]"), or names of the bench that are mapped to them. A table of one
row without a time is taken for readings of the cold part.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from weldsim.errors import MeasurementError
from weldsim.measurements.bench_columns import (
    ReadingRules,
    Rows,
    check_rules,
    column_of,
    noise_columns,
    read_times,
    read_values,
)
from weldsim.measurements.table_file import listed, read_table
from weldsim.schema.column import Column

Floats = NDArray[np.float64]

NO_TIME = (
    "no time column, allowed: time_s, time_min, clock (hh:mm:ss), or one row of readings of the "
    "cold part"
)
UNDER_TORCH = "_middle_degC"  # ends what a run writes of each weld beside its gauges
FLAG = "flag"  # a row with something in this column is left out
ENOUGH_FOR_NOISE = 8  # readings from which their scatter can be told


@dataclass(frozen=True)
class MeasuredCurve:
    """What one gauge read. Immutable.

    Attributes
    ----------
    column : Column
        Which reading of the case it is to be compared with.
    times : ndarray, shape (N,)
        On the clock of the bench, rising; one nan where it is a reading of the cold part. [s]
    values : ndarray, shape (N,)
        [rad, m, K, N, N m]
    noise : ndarray, shape (N,)
        Standard deviation of each reading, nan where it is not known; same unit.
    noise_from : str
        Where it is from: "given", "scatter" or "unknown".
    """

    column: Column
    times: Floats
    values: Floats
    noise: Floats
    noise_from: str

    @property
    def cold(self) -> bool:
        """Whether it is one reading of the cold part, without a time."""
        return bool(self.times.size == 1 and np.isnan(self.times[0]))


@dataclass(frozen=True)
class Measurement:
    """What one file holds. Immutable.

    Attributes
    ----------
    path : Path
        The file.
    curves : tuple of MeasuredCurve
        In the order of its columns.
    left_out : tuple of str
        In words, what of the file is not used and why.
    """

    path: Path
    curves: tuple[MeasuredCurve, ...]
    left_out: tuple[str, ...]


def read_measurement(
    path: str | Path,
    columns: Sequence[Column],
    arc_starts: float | None = None,
    rules: ReadingRules | None = None,
) -> Measurement:
    """Read what was measured.

    Parameters
    ----------
    path : path-like
        Table as text: a time column and one column a gauge, or one row of readings when cold.
        Empty cells are gaps, a filled "flag" column leaves its row out.
    columns : sequence of Column
        What the gauges of the case read.
    arc_starts : float, optional
        A curve that ends before it is refused: it cannot tell anything. [s]
    rules : ReadingRules, optional
        Names, units and noise the file does not give.

    Returns
    -------
    Measurement
        In SI.

    Raises
    ------
    MeasurementError
        One line a mistake, with the file, the column and what is allowed.
    """
    path, rules = Path(path), rules or ReadingRules()
    headers, rows, delimiter = read_table(path)
    check_rules(path, headers, rules)
    flag = next((k for k, h in enumerate(headers) if h.lower() == FLAG), None)
    kept = [(n, r) for n, r in rows if flag is None or not r[flag]]
    left_out = [f"{len(rows) - len(kept)} rows that are flagged"] if len(kept) < len(rows) else []
    if not kept:
        raise MeasurementError(f"{path}: no row of readings, allowed: at least one")
    clock, times = read_times(path, headers, kept, delimiter, rules)
    if times is None and len(kept) > 1:
        raise MeasurementError(f"{path}: {NO_TIME}")
    noise = noise_columns(headers)
    used = [k for k in range(len(headers)) if k not in (flag, clock, *noise.values())]
    unread = {*rules.unused, *_under_torch(headers, columns)}
    left_out += [f"column {headers[k]}" for k in used if headers[k] in unread]
    used = [k for k in used if headers[k] not in unread]
    curves: list[MeasuredCurve] = []
    mistakes: list[str] = []
    for k in used:
        header = headers[k]
        try:
            found, to = column_of(header, columns, rules)
            values = read_values(header, kept, k, delimiter, to)
            spread = _given_noise(header, kept, noise.get(header), delimiter, to, rules)
            curves.append(_curve(header, found, times, values, spread, arc_starts))
        except ValueError as error:
            mistakes.append(f"{path}: {error}")
    _check_together(path, curves, mistakes, columns)
    return Measurement(path, tuple(curves), tuple(left_out))


def _under_torch(headers: Sequence[str], columns: Sequence[Column]) -> set[str]:
    """Columns of a run's own gauges.csv that no gauge reads: temperatures under the torch."""
    gauges = {c.name for c in columns}
    return {h for h in headers if h.endswith(UNDER_TORCH) and h not in gauges}


def _check_together(
    path: Path, curves: list[MeasuredCurve], mistakes: list[str], columns: Sequence[Column]
) -> None:
    names = [c.column.name for c in curves]
    twice = sorted({name for name in names if names.count(name) > 1})
    mistakes = mistakes + [f"{path}: two columns give {name}, allowed: one" for name in twice]
    if mistakes:
        raise MeasurementError("\n".join(mistakes))
    if not curves:
        known = listed(c.name for c in columns)
        raise MeasurementError(f"{path}: no gauge in it, allowed: {known}")


def scatter(times: Floats, values: Floats) -> float:
    """Standard deviation of readings about a smooth curve.

    Each reading is compared with the straight line between its neighbours (T. Gasser, L. Sroka and
    C. Jennen-Steinmetz, Biometrika 73 (1986) 625-633, from memory); the median of what is left
    lets outliers be. A gauge that reads in steps scatters by at least the step over sqrt(12).

    Parameters
    ----------
    times : ndarray, shape (N,)
        Rising. [s]
    values : ndarray, shape (N,)
        Any unit.

    Returns
    -------
    float
        In the unit of the values; nan with fewer than `ENOUGH_FOR_NOISE` readings.
    """
    if len(values) < ENOUGH_FOR_NOISE:
        return float("nan")
    share = (times[2:] - times[1:-1]) / (times[2:] - times[:-2])
    off = values[1:-1] - share * values[:-2] - (1.0 - share) * values[2:]
    off = off / np.sqrt(1.0 + share**2 + (1.0 - share) ** 2)
    steps = np.diff(np.unique(values))
    step = float(steps.min()) if steps.size else 0.0
    return max(float(np.median(np.abs(off))) / 0.6745, step / math.sqrt(12.0))


def _given_noise(
    header: str,
    rows: Rows,
    k: int | None,
    delimiter: str,
    to: tuple[float, float],
    rules: ReadingRules,
) -> Floats | None:
    if k is not None:
        out = read_values(header, rows, k, delimiter, (to[0], 0.0))
    elif header in rules.noise:
        out = np.full(len(rows), rules.noise[header] * to[0])
    else:
        return None
    if np.any(out <= 0.0):
        raise ValueError(f"column {header!r}: noise of 0 or less, allowed: more than 0")
    return out


def _curve(
    header: str,
    column: Column,
    times: Floats | None,
    values: Floats,
    spread: Floats | None,
    arc_starts: float | None,
) -> MeasuredCurve:
    there = np.isfinite(values)
    if not there.any():
        raise ValueError(f"column {header!r}: no reading in it, allowed: at least one number")
    when = np.full(1, np.nan) if times is None else times[there]
    if times is not None and arc_starts is not None and when[-1] <= arc_starts:
        raise ValueError(
            f"column {header!r}: ends at {when[-1]:g} s, before the arc starts, allowed: readings "
            f"after {arc_starts:g} s (or cold readings in one row without a time)"
        )
    if spread is not None:
        return MeasuredCurve(column, when, values[there], spread[there], "given")
    told = scatter(when, values[there])
    source = "unknown" if np.isnan(told) else "scatter"
    return MeasuredCurve(column, when, values[there], np.full(int(there.sum()), told), source)


def as_table(curves: Iterable[MeasuredCurve]) -> dict[str, Floats]:
    """Curves of the same times by the names and units of gauges.csv.

    Parameters
    ----------
    curves : iterable of MeasuredCurve
        At least one, all read at the same times.

    Returns
    -------
    dict of ndarray, shape (N,)
        `time_s` first, unless they are readings of the cold part.
    """
    all_curves = list(curves)
    out = {} if all_curves[0].cold else {"time_s": all_curves[0].times}
    return out | {c.column.name: c.column.to_display(c.values) for c in all_curves}
