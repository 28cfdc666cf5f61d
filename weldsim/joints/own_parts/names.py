"""Names of seams and regions, as a file writes them and as the case does.

A seam's name becomes that of its weld, so its spaces are read as `_`.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable

from weldsim.joints.kit import fill
from weldsim.joints.own_parts.refusal import NotAllowed
from weldsim.schema.section_checks import nearest


def seam_name(name: str) -> str:
    """A seam's name as the case writes it."""
    return "_".join(name.split())


def check_seam_names(names: Iterable[str]) -> None:
    """Refuse names that cannot be those of welds, and two that become one.

    Raises
    ------
    NotAllowed
        With the name.
    """
    seen: dict[str, str] = {}
    for name in names:
        short = seam_name(name)
        letters = short.replace("_", "").replace("-", "")
        if not (short.isascii() and letters.isalnum()):
            raise NotAllowed(
                "seams", f"{name!r} is not allowed: letters, digits, spaces, - and _ only"
            )
        if seen.setdefault(short, name) != name:
            raise NotAllowed("seams", f"{name!r} and {seen[short]!r} are the same seam")


def region_of(volume: str, seams: Collection[str]) -> str:
    """Region of a named volume: `part`, `land`, or filler of a pass on seams there are.

    Parameters
    ----------
    volume : str
        Name of the volume, such as ``fill 2 long side``.
    seams : collection of str
        Names of the seams as the case writes them.

    Returns
    -------
    str
        Such as ``fill 2 long_side``.

    Raises
    ------
    NotAllowed
        If the name says neither, or names no seam.
    """
    words = volume.split()
    if words in (["part"], ["land"]):
        return words[0]
    if not words or words[0] != "fill":
        raise NotAllowed(
            "file", f"volume {volume!r} is unknown, allowed: part, land, fill NAME, fill 1 NAME"
        )
    number, rest = 1, words[1:]
    if rest and rest[0].isdecimal() and "_".join(rest) not in seams:
        number, rest = int(rest[0]), rest[1:]
    owners = []
    while rest:
        fits = [n for n in range(len(rest), 0, -1) if "_".join(rest[:n]) in seams]
        if not fits:
            break
        owners.append("_".join(rest[: fits[0]]))
        rest = rest[fits[0] :]
    if rest or not owners or number < 1:
        raise NotAllowed(
            "file", f"volume {volume!r} names no seam{nearest(' '.join(rest), tuple(seams))}"
        )
    return fill(number, *owners)
