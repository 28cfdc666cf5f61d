"""The beads of a deposit: straight lines on a plate, layer on layer, from a list or a CSV file.

A line is laid from one place to another, along x or along y, and its metal is a block as wide as a
bead and as high as a layer. What joins the lines of a zigzag is left out. `at_once` neighbouring
lines of a layer may be laid as one row, along all their length at once: see `rows_of_lines`.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import Annotated, Any

import numpy as np
from pydantic import BeforeValidator

from weldsim.joints.own_parts.refusal import NotAllowed
from weldsim.system.files import is_file
from weldsim.units import parse

MOST_LINES = 2000
MOST_BYTES = 1_000_000  # of a path file: 2,000 lines take a tenth of it
COLUMNS = ("from_x", "from_y", "to_x", "to_y")
FORM = '[layer, "from x", "from y", "to x", "to y"], with a pause such as "2 s" if there is one'
HEADER = "layer, from_x_mm, from_y_mm, to_x_mm, to_y_mm, and pause_s if there is one"
SLACK = 1e-7  # m; lines in inches are not round in metres


@dataclass(frozen=True)
class Line:
    """One bead: its layer from 1, where it begins and ends on the plate, and the wait before it.

    `begin` and `finish` are (x, y) [m]; `pause` follows the bead before [s], None where the
    schedule says it.
    """

    layer: int
    begin: tuple[float, float]
    finish: tuple[float, float]
    pause: float | None = None

    @property
    def axis(self) -> int:
        """Axis it runs along: 0 or 1."""
        return int(np.argmax(np.abs(np.subtract(self.finish, self.begin))))

    @property
    def sign(self) -> int:
        """1 where it runs toward the axis, else -1."""
        return 1 if self.finish[self.axis] > self.begin[self.axis] else -1

    @property
    def span(self) -> tuple[float, float]:
        """Lowest and highest place along it. [m]"""
        low, high = sorted((self.begin[self.axis], self.finish[self.axis]))
        return low, high

    @property
    def aside(self) -> float:
        """Its place across. [m]"""
        return self.begin[1 - self.axis]

    @property
    def length(self) -> float:
        """From end to end. [m]"""
        return self.span[1] - self.span[0]


@dataclass(frozen=True)
class Row:
    """Neighbouring beads laid as one.

    Attributes
    ----------
    name : str
        Of its seam: layer and beads, "L2B3" or "L2B1-5".
    lines : tuple of Line
        One, unless beads are laid at once.
    """

    name: str
    lines: tuple[Line, ...]

    @property
    def first(self) -> Line:
        """The bead it begins with."""
        return self.lines[0]

    @property
    def middle(self) -> float:
        """Its place across. [m]"""
        return float(np.mean([line.aside for line in self.lines]))

    @property
    def waits(self) -> tuple[float | None, ...]:
        """Pauses between its beads, None for that of the schedule. [s]"""
        return tuple(line.pause for line in self.lines[1:])


def read_lines(rows: Any) -> tuple[Line, ...]:
    """Lines as a case has them.

    Parameters
    ----------
    rows : list of list
        `FORM`.

    Returns
    -------
    tuple of Line
        In order of laying.

    Raises
    ------
    ValueError
        Naming the first row that cannot be read.
    """
    if not isinstance(rows, list | tuple) or not rows:
        raise ValueError(f"{rows!r} is not allowed: write a list of lines, each {FORM}")
    if all(isinstance(row, Line) for row in rows):
        return tuple(rows)
    _check_count(len(rows))
    out = []
    for number, row in enumerate(rows, 1):
        if not isinstance(row, list | tuple) or len(row) not in (5, 6):
            raise ValueError(f"line {number}: {row!r} is not allowed: write {FORM}")
        try:
            out.append(_line(row[0], *row[1:]))
        except ValueError as error:
            raise ValueError(f"line {number}: {error}") from None
    return tuple(out)


Lines = Annotated[Any, BeforeValidator(read_lines)]


def _line(layer: Any, *values: Any) -> Line:
    if isinstance(layer, bool) or not isinstance(layer, int) or layer < 1:
        raise ValueError(f"layer {layer!r} is not allowed: write a whole number from 1")
    x0, y0, x1, y1 = (parse(v, "length") for v in values[:4])
    pause = parse(values[4], "time") if len(values) > 4 else None
    if pause is not None and pause < 0:
        raise ValueError(f"pause {values[4]!r} is not allowed: it must not be negative")
    return Line(layer, (x0, y0), (x1, y1), pause)


def _check_count(count: int) -> None:
    if count > MOST_LINES:
        raise ValueError(f"{count} lines are not allowed: up to {MOST_LINES}")


def _places(values: Any) -> tuple[float, ...]:
    if not isinstance(values, list | tuple):
        raise ValueError(f'{values!r} is not allowed: write a list such as ["30 mm", "90 mm"]')
    return tuple(v if isinstance(v, float) else parse(v, "length") for v in values)


Places = Annotated[Any, BeforeValidator(_places)]


def read_path(path: Path) -> tuple[Line, ...]:
    """Lines of a CSV file: a header with units, `HEADER`, and a row a bead.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    tuple of Line
        In order of laying.

    Raises
    ------
    NotAllowed
        Saying what stops it from being read.
    """
    if not is_file(path):
        raise NotAllowed("path", f"{str(path)!r} is not found, allowed: a file beside the case")
    if path.stat().st_size > MOST_BYTES:
        raise NotAllowed("path", f"{path.name} is too large, allowed: up to {MOST_LINES} lines")
    try:
        text = path.read_text(encoding="utf-8-sig")
        return _rows(text.splitlines())
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise NotAllowed("path", f"{path.name} cannot be read: {error}") from None
    except ValueError as error:
        raise NotAllowed("path", f"{path.name}: {error}") from None


def _rows(text: Iterable[str]) -> tuple[Line, ...]:
    """Lines of the text of a CSV file."""
    rows = [row for row in csv.reader(text) if any(cell.strip() for cell in row)]
    if len(rows) < 2:
        raise ValueError(f"no lines, allowed: the header {HEADER}, and a row for each bead")
    _check_count(len(rows) - 1)
    columns = _columns([cell.strip() for cell in rows[0]])
    out = []
    for number, row in enumerate(rows[1:], 2):
        if len(row) != len(rows[0]):
            text = f"row {number} has {len(row)} values, allowed: as many as the header"
            raise ValueError(f"{text}, {len(rows[0])}")
        try:
            layer = row[columns["layer"][0]].strip()
            cells = {
                key: f"{row[at].strip()} {unit}"
                for key, (at, unit) in columns.items()
                if key != "layer" and row[at].strip()
            }
            if missing := [key for key in COLUMNS if key not in cells]:
                raise ValueError(f"{missing[0]} is empty, allowed: a number")
            pause = [cells["pause"]] if "pause" in cells else []
            whole = int(layer) if layer.isascii() and layer.isdecimal() else layer
            out.append(_line(whole, *(cells[key] for key in COLUMNS), *pause))
        except ValueError as error:
            raise ValueError(f"row {number}: {error}") from None
    return tuple(out)


def _columns(header: Sequence[str]) -> dict[str, tuple[int, str]]:
    """Number and unit of each column by its name without the unit."""
    out = {}
    for at, name in enumerate(header):
        stem, _, unit = name.rpartition("_")
        out["layer" if name == "layer" else stem] = (at, unit)
    known = ("layer", *COLUMNS)
    missing = [key for key in known if key not in out]
    unknown = [k for k in out if k not in (*known, "pause")]
    if missing or unknown:
        what = f"no column {missing[0]}" if missing else f"column {header[out[unknown[0]][0]]!r}"
        raise ValueError(f"{what} in the header, allowed: {HEADER}")
    return out


def rows_of_lines(lines: Sequence[Line], at_once: int, bead_width: float) -> tuple[Row, ...]:
    """Beads as they are laid: one by one, or neighbours of a layer together.

    Parameters
    ----------
    lines : sequence of Line
        In order of laying.
    at_once : int
        How many neighbours are laid as one; 0 and 1 for each alone.
    bead_width : float
        From one bead to its neighbour. [m]

    Returns
    -------
    tuple of Row
        In order of laying.

    Raises
    ------
    NotAllowed
        Where beads that are to be laid as one do not lie side by side.
    """
    out: list[Row] = []
    step = max(at_once, 1)
    for layer, found in groupby(lines, key=lambda line: line.layer):
        beads = list(found)
        for k in range(0, len(beads), step):
            group = tuple(beads[k : k + step])
            _check_side_by_side(group, k + 1, bead_width)
            number = f"{k + 1}" if len(group) == 1 else f"{k + 1}-{k + len(group)}"
            out.append(Row(f"L{layer}B{number}", group))
    return tuple(out)


def _check_side_by_side(group: tuple[Line, ...], number: int, bead_width: float) -> None:
    one = group[0]
    asides = np.sort([line.aside for line in group])
    alike = all(
        line.axis == one.axis and np.allclose(line.span, one.span, atol=SLACK) for line in group
    )
    if not alike or not np.allclose(np.diff(asides), bead_width, atol=SLACK):
        raise NotAllowed(
            "at_once", f"{len(group)} cannot lay beads {number} to {number + len(group) - 1} of "
            f"layer {one.layer} as one: they do not lie side by side from end to end, allowed: 0 "
            "or 1"
        )  # fmt: skip
