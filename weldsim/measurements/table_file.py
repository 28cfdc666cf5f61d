"""A table of numbers in a text file somebody else wrote: bounded, one line on what is wrong."""

from __future__ import annotations

import csv
import stat
from collections.abc import Iterable
from pathlib import Path

from weldsim.errors import MeasurementError

LARGEST_FILE = 64 * 2**20  # bytes; an hour at 100 Hz of ten gauges has 40 MB
MOST_COLUMNS = 500
MOST_ROWS = 1_000_000
LONGEST_CELL = 200  # characters
DELIMITERS = ",;\t"


def read_table(path: Path) -> tuple[list[str], list[tuple[int, list[str]]], str]:
    """Headers and rows of a file.

    Parameters
    ----------
    path : Path
        Cells parted by commas, semicolons or tabs; lines that begin with "#" are left out.

    Returns
    -------
    headers : list of str
        As they stand, trimmed.
    rows : list of tuple of int and list of str
        Number of the line, and as many cells as there are headers.
    delimiter : str
        What parts the cells.

    Raises
    ------
    MeasurementError
        If it cannot be read, is too large, or a row has another number of cells.
    """
    lines = _lines(path)
    kept = [(n, t) for n, t in enumerate(lines, 1) if t.strip() and not t.lstrip().startswith("#")]
    if not kept:
        raise MeasurementError(f"{path}: nothing in it, allowed: a line of headers and rows")
    delimiter = max(DELIMITERS, key=kept[0][1].count)
    cells = csv.reader((t for _, t in kept), delimiter=delimiter, strict=True)
    try:
        table = [[c.strip() for c in row] for row in cells]
    except csv.Error as error:
        raise MeasurementError(f"{path}: not a table: {error}") from None
    if len(table) != len(kept):
        raise MeasurementError(f"{path}: a cell goes over several lines, allowed: one line a row")
    headers = table[0]
    _check_headers(path, headers)
    rows = list(zip((n for n, _ in kept[1:]), table[1:], strict=True))
    for number, row in rows:
        while len(row) > len(headers) and not row[-1]:
            row.pop()  # loggers end their lines with a delimiter
        if len(row) != len(headers):
            raise MeasurementError(
                f"{path} line {number}: {len(row)} cells, allowed: {len(headers)} as in the headers"
            )
    return headers, rows, delimiter


def _lines(path: Path) -> list[str]:
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):
            raise MeasurementError(f"{path}: not a file, allowed: a table as text (.csv)")
        if status.st_size > LARGEST_FILE:
            raise MeasurementError(
                f"{path}: {status.st_size / 2**20:.0f} MB, allowed: up to "
                f"{LARGEST_FILE // 2**20} MB; keep every tenth reading"
            )
        with open(path, "rb") as handle:
            raw = handle.read(LARGEST_FILE + 1)
        text = raw.decode("utf-8-sig")
    except OSError as error:
        raise MeasurementError(f"{path}: cannot be read: {error.strerror}") from None
    except UnicodeDecodeError:
        raise MeasurementError(f"{path}: not text in UTF-8, allowed: a table as text") from None
    if any(ord(c) < 32 and c not in "\t\r\n" for c in text[:4096]) or "\0" in text:
        raise MeasurementError(f"{path}: control characters in it, allowed: a table as text")
    lines = text.splitlines()
    if len(lines) > MOST_ROWS:
        raise MeasurementError(f"{path}: {len(lines)} lines, allowed: up to {MOST_ROWS}")
    return lines


def _check_headers(path: Path, headers: list[str]) -> None:
    if len(headers) > MOST_COLUMNS:
        raise MeasurementError(f"{path}: {len(headers)} columns, allowed: up to {MOST_COLUMNS}")
    if any(not h or len(h) > LONGEST_CELL or not h.isprintable() for h in headers):
        raise MeasurementError(
            f"{path}: a column has no proper header, allowed: a name with its unit, such as "
            f"time_s or pointer_up_mm"
        )
    twice = sorted({h for h in headers if headers.count(h) > 1})
    if twice:
        raise MeasurementError(f"{path}: column {twice[0]!r} stands there twice")


def number(text: str, delimiter: str) -> float | None:
    """A cell as a number; None where it says that there is none.

    Parameters
    ----------
    text : str
        "1.5", "1,5" where cells are not parted by commas, or one of "", "-", "na", "nan", "n/a".
    delimiter : str
        What parts the cells.

    Returns
    -------
    float or None
        Finite.

    Raises
    ------
    ValueError
        If it is neither.
    """
    if text.lower() in ("", "-", "na", "nan", "n/a", "none"):
        return None
    if delimiter != ",":
        text = text.replace(",", ".")
    if len(text) > 40 or "_" in text:
        raise ValueError(text[:40])
    value = float(text)
    if value - value != 0.0:
        raise ValueError(text)
    return value


def listed(names: Iterable[str], most: int = 12) -> str:
    """Names for the end of a message, the first of them where they are many.

    Parameters
    ----------
    names : iterable of str
        What is allowed.
    most : int
        How many are said.

    Returns
    -------
    str
        Parted by commas.
    """
    all_names = list(names)
    rest = len(all_names) - most
    return ", ".join(all_names[:most]) + (f" and {rest} more" if rest > 0 else "")
