"""Columns of a table of the bench: which gauge each is of, in which unit, and its times."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from weldsim.errors import MeasurementError
from weldsim.measurements.table_file import LONGEST_CELL, listed, number
from weldsim.schema.column import Column
from weldsim.units import to_si

Floats = NDArray[np.float64]
Rows = list[tuple[int, list[str]]]

# display unit of a column -> the SI unit of its kind as `units.to_si` has it
SI_OF = {"mrad": "rad", "mm": "m", "degC": "K", "N": "N", "Nm": "N*m"}
TIME_NAMES = ("time", "t")
CLOCK_NAMES = ("clock", "time of day")
NOISE = "noise"  # "pointer_up_noise_mm": standard deviation of each reading

_BRACKETED = re.compile(r"(.*?)\s*[\[(]\s*([^\])]*?)\s*[\])]")
_CLOCK = re.compile(r"(\d{1,2}):(\d{2}):(\d{2}(?:[.,]\d+)?)")


@dataclass(frozen=True)
class ReadingRules:
    """How a file is to be taken where it does not say so itself.

    Attributes
    ----------
    names : mapping of str to str
        Header -> name of a gauge's reading: "dial 1" -> "tip_up".
    units : mapping of str to str
        Header -> unit.
    time_unit : str, optional
        Of the time column.
    noise : mapping of str to float
        Header -> standard deviation of its readings, in the unit of the column.
    unused : collection of str
        Headers of columns that are left alone.
    """

    names: Mapping[str, str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    time_unit: str | None = None
    noise: Mapping[str, float] = field(default_factory=dict)
    unused: Collection[str] = ()


def check_rules(path: Path, headers: list[str], rules: ReadingRules) -> None:
    """Refuse rules for columns that are not there.

    Parameters
    ----------
    path : Path
        The file, for the message.
    headers : list of str
        Of its columns.
    rules : ReadingRules
        To be checked.

    Raises
    ------
    MeasurementError
        Naming the header and those that are there.
    """
    for header in (*rules.names, *rules.units, *rules.noise):
        if header not in headers:
            raise MeasurementError(
                f"{path}: no column {header[:LONGEST_CELL]!r}, allowed: {listed(headers)}"
            )


def _parted(header: str) -> tuple[str, str]:
    """Name and unit of a header: "pointer_up_mm", "pointer up [mm]", "pointer up (mm)"."""
    found = _BRACKETED.fullmatch(header)
    if found:
        return found[1], found[2]
    name, _, unit = header.rpartition("_")
    return (name, unit) if name else (header, "")


def _plain(name: str) -> str:
    return re.sub(r"[\s_]+", "_", name.strip().lower())


def read_times(
    path: Path,
    headers: list[str],
    rows: Rows,
    delimiter: str,
    rules: ReadingRules,
) -> tuple[int | None, Floats | None]:
    """Times of the rows.

    Parameters
    ----------
    path : Path
        The file, for messages.
    headers : list of str
        Of its columns.
    rows : list of tuple of int and list of str
        Line and cells.
    delimiter : str
        What parts the cells.
    rules : ReadingRules
        Unit of the time where the header has none.

    Returns
    -------
    place : int or None
        Of the time column; None where there is none.
    times : ndarray or None, shape (N,)
        Rising; from the first row on where they are of a clock. [s]

    Raises
    ------
    MeasurementError
        If a time is no number, or runs back.
    """
    for k, header in enumerate(headers):
        name, unit = _parted(header)
        if header.lower() in CLOCK_NAMES:
            return k, _checked_times(path, header, rows, [_clock(path, n, r[k]) for n, r in rows])
        if header.lower() in TIME_NAMES or _plain(name) in TIME_NAMES:
            unit = rules.time_unit or ("" if header.lower() in TIME_NAMES else unit)
            factor = to_si(1.0, unit, "s") if unit else None
            if factor is None:
                said = f"{unit!r} is no unit of time" if unit else "has no unit"
                raise MeasurementError(f"{path}: {header!r} {said}, allowed: time_s, time_min")
            times = []
            for n, r in rows:
                try:
                    value = number(r[k], delimiter)
                except ValueError:
                    value = None
                if value is None:
                    raise MeasurementError(
                        f"{path} line {n}: {header} = {r[k][:40]!r}, allowed: a number"
                    )
                times.append(value * factor)
            return k, _checked_times(path, header, rows, times)
    return None, None


def _clock(path: Path, line: int, text: str) -> float:
    found = _CLOCK.fullmatch(text)
    if not found:
        raise MeasurementError(f"{path} line {line}: clock = {text[:40]!r}, allowed: hh:mm:ss")
    return 3600.0 * int(found[1]) + 60.0 * int(found[2]) + float(found[3].replace(",", "."))


def _checked_times(path: Path, header: str, rows: Rows, times: list[float]) -> Floats:
    out = np.array(times)
    if header.lower() in CLOCK_NAMES:
        out = out - out[0]
        out[out < -43200.0] += 86400.0  # past midnight
    back = np.flatnonzero(np.diff(out) <= 0.0)
    if back.size:
        line = rows[int(back[0]) + 1][0]
        raise MeasurementError(
            f"{path} line {line}: {header} runs back or stands still, allowed: rising times"
        )
    return out


def column_of(
    header: str, columns: Sequence[Column], rules: ReadingRules
) -> tuple[Column, tuple[float, float]]:
    """The case's column a header is of, and how its numbers become SI.

    Parameters
    ----------
    header : str
        Of the file.
    columns : sequence of Column
        What the gauges of the case read.
    rules : ReadingRules
        Name and unit where the header does not say.

    Returns
    -------
    column : Column
        Of the case.
    to_si : tuple of float
        Factor and offset.

    Raises
    ------
    ValueError
        In words, if there is no such gauge, or the unit does not fit.
    """
    asked = rules.names.get(header, header)
    unit = rules.units.get(header)
    exact = next((c for c in columns if c.name == asked), None)
    if exact and unit is None:
        bracketed = _BRACKETED.fullmatch(header)
        unit = bracketed[2] if bracketed else exact.unit
    name, ending = _parted(asked)
    alike = [c for c in columns if _plain(f"{c.gauge}_{c.component}") == _plain(asked)]
    if not alike:
        alike = [c for c in columns if _plain(f"{c.gauge}_{c.component}") == _plain(name)]
        unit = unit or ending
    if not alike:
        raise ValueError(
            f"column {header!r}: no gauge of the case, allowed: {listed(c.name for c in columns)}; "
            "delete a column that is no reading"
        )
    unit = unit or (_parted(header)[1] if _BRACKETED.fullmatch(header) else "")
    for c in alike if exact is None else [exact, *alike]:
        if unit and to_si(1.0, unit, SI_OF[c.unit]) is not None:
            return c, _to_si(c, unit)
    said = f"unit {unit!r} does not fit" if unit else "has no unit"
    raise ValueError(f"column {header!r}: {said}, allowed: {listed(c.name for c in alike)}")


def _to_si(column: Column, unit: str) -> tuple[float, float]:
    """Factor and offset from a unit to the SI unit of a column."""
    zero, one = (to_si(x, unit, SI_OF[column.unit]) for x in (0.0, 1.0))
    if zero is None or one is None:  # checked by the caller
        raise ValueError(f"{unit!r} is no unit of {column.name}")
    return one - zero, zero


def read_values(header: str, rows: Rows, k: int, delimiter: str, to: tuple[float, float]) -> Floats:
    """Numbers of a column in SI.

    Parameters
    ----------
    header : str
        Of the column, for messages.
    rows : list of tuple of int and list of str
        Line and cells.
    k : int
        Place of the column.
    delimiter : str
        What parts the cells.
    to : tuple of float
        Factor and offset to SI.

    Returns
    -------
    ndarray, shape (N,)
        nan where there is a gap.

    Raises
    ------
    ValueError
        In words, where a cell is neither a number nor a gap.
    """
    out = np.full(len(rows), np.nan)
    for i, (line, row) in enumerate(rows):
        try:
            value = number(row[k], delimiter)
        except ValueError:
            raise ValueError(
                f"line {line}: {header} = {row[k][:40]!r}, allowed: a number or nothing"
            ) from None
        if value is not None:
            out[i] = value * to[0] + to[1]
    return out


def noise_columns(headers: list[str]) -> dict[str, int]:
    """Columns that hold the standard deviation of another's readings.

    Parameters
    ----------
    headers : list of str
        "pointer_up_noise_mm" belongs to "pointer_up_mm".

    Returns
    -------
    dict of str to int
        Header of the reading -> place of its standard deviation.
    """
    out = {}
    for header in headers:
        name, unit = _parted(header)
        for k, other in enumerate(headers):
            if other == f"{name}_{NOISE}_{unit}":
                out[header] = k
    return out
