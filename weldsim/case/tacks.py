"""[[tack]] sections: what joins the pieces before the welds."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from weldsim.case.tables import Tables
from weldsim.geometry.path import SeamLine
from weldsim.schema.records import Tack
from weldsim.schema.section_checks import is_known, nearest
from weldsim.units import parse

SLACK = 1e-9  # m; lengths in inches are not round in metres


def read_tacks(tables: Tables, part: Any, lines: Mapping[str, SeamLine]) -> tuple[Tack, ...]:
    """Tacks of the case, or the usual ones of its joint where it writes none.

    Parameters
    ----------
    tables : Tables
        Where they stand, and where mistakes are noted.
    part : record of a joint kind
        What is welded.
    lines : mapping of str to SeamLine
        Seams of the part by name.

    Returns
    -------
    tuple of Tack
        In the order of the case.
    """
    if "tack" not in tables.kind.sections:
        return ()
    if "tack" not in tables.raw:
        return tuple(tables.kind.default_tacks(part)) if part.tacks == "usual" else ()
    read = (_tack(tables, name, s, lines) for name, s in tables.many("tack", needed=True))
    return tuple(tack for tack in read if tack is not None)


def _tack(tables: Tables, name: str, section: Any, lines: Mapping[str, SeamLine]) -> Tack | None:
    if section.seam not in lines:
        if is_known(section.seam):
            text = f"{section.seam!r} is unknown{nearest(section.seam, lines)}"
            tables.say("tack", name, "seam", section.seam, text)
        return None
    if not is_known(section.length) or not is_known(section.size):
        return None
    room, length = lines[section.seam].length, section.length
    if length >= room:
        text = f"{1e3 * length:.4g} mm is not allowed: shorter than the seam, {1e3 * room:.4g} mm"
        tables.say("tack", name, "length", length, text)
        return None
    begin = _begin(tables, name, section, room)
    if begin is None:
        return None
    if begin < -SLACK or begin + length > room + SLACK:
        text = (
            "the tack lies beyond the end of its seam, allowed: "
            f"{500 * length:.4g} to {1e3 * (room - length / 2):.4g} mm"
        )
        tables.say("tack", name, "at", section.at, text)
        return None
    return Tack(section.seam, max(begin, 0.0), begin + length, section.size, section.arc)


def _begin(tables: Tables, name: str, section: Any, room: float) -> float | None:
    """Where a tack begins along its seam. [m]"""
    length = float(section.length)
    words = {"start": 0.0, "end": room - length, "middle": (room - length) / 2}
    if isinstance(section.at, str) and section.at in words:
        return float(words[section.at])
    try:
        return parse(section.at, "length") - length / 2
    except ValueError:
        text = (
            f'{section.at!r} is not allowed: write "start", "middle", "end" or how far along the '
            'seam its middle lies, such as "20 mm"'
        )
        tables.say("tack", name, "at", section.at, text)
        return None
