"""Rules of a case for when something happens, read from their text."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from weldsim.schema.mistakes import Mistake
from weldsim.schema.records import StartRule
from weldsim.units import parse

_AFTER = re.compile(r"\s*(.+?)\s+after\s+(\S+)\s*")
_BELOW = re.compile(r"\s*when\s+(\S+)\s+below\s+(.+?)\s*")


def start_rule(value: object) -> StartRule:
    """Read "0 s", "60 s after A" or "when A below 150 degC".

    Parameters
    ----------
    value : str or SI
        Text of a case, or seconds.

    Returns
    -------
    StartRule
        In SI.

    Raises
    ------
    ValueError
        In words, with examples of what is allowed.
    """
    try:
        if isinstance(value, str) and (found := _BELOW.fullmatch(value)):
            return StartRule("below", 0.0, found[1], parse(found[2], "temperature"))
        found = _AFTER.fullmatch(value) if isinstance(value, str) else None
        seconds = parse(found[1] if found else value, "time")
        if seconds < 0:
            raise ValueError("negative")
        return StartRule("after", seconds, found[2]) if found else StartRule("time", seconds)
    except ValueError:
        raise ValueError(
            f'{value!r} is not allowed: write "0 s", "60 s after A" or "when A below 150 degC"'
        ) from None


def clamp_rule(value: object) -> StartRule:
    """Read "never", "cold", or what `start_rule` reads.

    Parameters
    ----------
    value : str or SI
        Text of a case, or seconds.

    Returns
    -------
    StartRule
        In SI.
    """
    return StartRule(value) if value in ("never", "cold") else start_rule(value)


def read_rule(
    read: Callable[[Any], StartRule],
    value: object,
    section: str,
    name: str,
    key: str,
    mistakes: list[Mistake],
) -> StartRule:
    """A rule as a case has it; where it is wrong that is noted.

    Parameters
    ----------
    read : callable
        `start_rule` or `clamp_rule`.
    value : str or SI
        As the case has it.
    section, name, key : str
        Where it stands; see `Mistake`.
    mistakes : list of Mistake
        Added to.

    Returns
    -------
    StartRule
        The beginning where it is wrong.
    """
    try:
        return read(value)
    except ValueError as error:
        mistakes.append(Mistake(section, name, key, value, str(error)))
        return StartRule("time", 0.0)
