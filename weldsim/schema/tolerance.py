"""How far off is still good: general tolerances of ISO 13920 and a verdict on a reading.

A tolerance is written as a number with its unit ("1 mrad", "0.5 mm") or as a class
("ISO 13920 B", "ISO 13920-BF"), which gives a number once the size of what is measured is known.
All limits are plus or minus.
"""

from __future__ import annotations

import math
import re
import tomllib
from bisect import bisect_left
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from weldsim.errors import CaseError
from weldsim.units import parse

SI = {"mm": 1e-3, "arcmin": math.pi / 10800, "mm/m": 1e-3}
CONFIRM = "from memory: check the standard"
SCALES = {  # factor from SI and unit in which a measure is said
    "length": (1e3, "mm"), "angle": (1e3, "mrad"), "slope": (1e3, "mm/m"),
    "time": (1.0, "s"), "reaction": (1.0, "N"), "stress": (1e-6, "MPa"),
}  # fmt: skip
ONE_SIDED = ("time", "reaction", "stress")  # limits of a plan that have no other side
_SLOPE = re.compile(r"\s*([0-9.eE+-]+)\s*mm/m\s*")
_CLASSES = re.compile(r"\s*ISO\s*13920\s*[-: ]\s*([A-Z]{1,2})\s*", re.IGNORECASE)


@dataclass(frozen=True)
class Tolerance:
    """How far a reading may be off.

    Attributes
    ----------
    text : as it was written
    value : plus or minus [m, rad, or m per m]; at most [s, N, Pa]
    measure : "length", "angle" or "slope"; "time", "reaction" or "stress" of a plan
    note : where the number is from; holds "from memory: check the standard" where it needs that
    """

    text: str
    value: float
    measure: str
    note: str = ""

    def __str__(self) -> str:
        scale, unit = SCALES[self.measure]
        own = f"{scale * self.value:.3g} {unit}"
        words = own if self.text == own else f"{self.text}, {own}"
        words = f"at most {words}" if self.measure in ONE_SIDED else f"±{words}"
        return f"{words} ({CONFIRM})" if CONFIRM in self.note else words


@cache
def tables() -> dict[str, Any]:
    """Tables of ISO 13920.

    Returns
    -------
    dict
        As data/iso13920.toml holds them.
    """
    path = files("weldsim") / "data" / "iso13920.toml"
    return tomllib.loads(path.read_text(encoding="utf-8"))


def kinds() -> tuple[str, ...]:
    """What there are limits for.

    Returns
    -------
    tuple of str
        Kinds of `limit`.
    """
    return tuple(k for k, v in tables().items() if isinstance(v, dict))


def limit(kind: str, cls: str, nominal: float) -> float:
    """Limit of a class of ISO 13920 for a nominal size.

    Parameters
    ----------
    kind : {"linear", "angle", "slope", "straightness"}
        "straightness" stands for flatness and parallelism too; "slope" is the angle in mm per m
        as the standard rounds it.
    cls : str
        A to D; E to H for straightness.
    nominal : float
        Size of what is measured; for angles the length of the shorter leg. [m]

    Returns
    -------
    float
        Plus or minus [m; rad for "angle"; m per m for "slope"].

    Raises
    ------
    CaseError
        One line for an unknown kind or class, or a size that the table does not cover.
    """
    if kind not in kinds():
        raise CaseError(f"ISO 13920: {kind}: unknown kind, allowed: {', '.join(kinds())}")
    table = tables()[kind]
    if cls not in table["classes"]:
        known = ", ".join(table["classes"])
        raise CaseError(f"ISO 13920: {cls}: no class for {table['words']}, allowed: {known}")
    size = round(1e3 * nominal, 9) if math.isfinite(nominal) else math.nan  # 0.03 m is 30 mm
    least = table["from"]
    if not (size > 0 and size >= least):
        what = f"{least} mm or more" if least else "more than zero"
        raise CaseError(f"ISO 13920: {table['by']} {size:.4g} mm is not covered, allowed: {what}")
    return table["classes"][cls][bisect_left(table["up_to"], size)] * SI[table["unit"]]


def note_on(kind: str, cls: str) -> str:
    """Where a limit is from, and whether it has to be looked up again.

    Parameters
    ----------
    kind, cls : str
        See `limit`.

    Returns
    -------
    str
        Standard, table and class.
    """
    table = tables()[kind]
    note = f"{tables()['source']}, {table['words']}, class {cls}"
    return f"{note}: {CONFIRM}" if cls in table["confirm"] else note


def read_tolerance(
    text: str, kind: str = "angle", nominal: float | None = None, distance: float | None = None
) -> Tolerance:
    """A tolerance from a number with its unit or a class.

    Parameters
    ----------
    text : str
        "1 mrad", "0.5 mm", "ISO 13920 B" or "ISO 13920-BF" (the letter that suits is taken).
    kind : {"linear", "angle", "slope", "straightness"}
        What is measured; see `limit`.
    nominal : float, optional
        Size for a class. [m]
    distance : float, optional
        Of the target that a beam turned by an angle meets: a length is then taken as read there,
        and gives the angle over this distance, for small angles. [m]

    Returns
    -------
    Tolerance
        In SI, with where it is from.

    Raises
    ------
    CaseError
        In one line.
    """
    if kind not in kinds():
        raise CaseError(f"tolerance: {kind}: unknown kind, allowed: {', '.join(kinds())}")
    found = _CLASSES.fullmatch(text) if isinstance(text, str) else None
    measure = kind if kind in ("angle", "slope") else "length"
    if found:
        fitting = [c for c in found[1].upper() if c in tables()[kind]["classes"]]
        if not fitting:
            known = ", ".join(tables()[kind]["classes"])
            words = tables()[kind]["words"]
            raise CaseError(f"tolerance: {text!r} has no class for {words}, allowed: {known}")
        if nominal is None:
            by = tables()[kind]["by"]
            raise CaseError(f"tolerance: {text!r} needs a size, allowed: the {by}")
        value = limit(kind, fitting[0], nominal)
        return Tolerance(text.strip(), value, measure, note_on(kind, fitting[0]))
    slope = _SLOPE.fullmatch(text) if measure == "slope" and isinstance(text, str) else None
    at_target = _length(text) if measure == "angle" and distance else None
    try:
        if measure == "slope":
            value = 1e-3 * float(slope[1] if slope else "none")
        elif at_target is not None and distance:
            value = at_target / distance
        else:
            value = parse(text, measure)
    except ValueError:
        such = _such(measure, distance)
        raise CaseError(f"tolerance: {text!r} is not allowed: such as {such}") from None
    if value <= 0:
        raise CaseError(f"tolerance: {text!r} is not allowed: it must be greater than zero")
    return Tolerance(text.strip(), value, measure, "as stated")


def _such(measure: str, distance: float | None) -> str:
    """Examples of what is allowed."""
    target = ', "5 mm" at the target' if distance else ""
    known = {"angle": f'"1 mrad", "0.1 deg"{target}', "slope": '"5 mm/m"', "length": '"0.5 mm"'}
    return f'{known[measure]} or "ISO 13920 B"'


def _length(text: object) -> float | None:
    """A length [m]; None for what is none."""
    try:
        return parse(text, "length") if isinstance(text, str) else None
    except ValueError:
        return None


def verdict(value: float, error: float | None, tolerance: Tolerance) -> str:
    """Whether a reading is good, as far as its error lets one say.

    Parameters
    ----------
    value, error : float
        How far off it is and the estimated error of that, both in the tolerance's unit; without
        an error (None) nothing can be called. [m, rad]
    tolerance : Tolerance
        What is still good.

    Returns
    -------
    {"inside", "outside", "too close to call"}
        The last where the error reaches over the limit.
    """
    if error is None or not math.isfinite(value) or not math.isfinite(error):
        return "too close to call"
    if abs(value) + abs(error) <= tolerance.value:
        return "inside"
    if abs(value) - abs(error) > tolerance.value:
        return "outside"
    return "too close to call"
