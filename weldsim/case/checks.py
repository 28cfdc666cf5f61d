"""Checks between the sections of a case: can it happen, and does it end.

What could not be read is nan or None here. Each check is written so that a nan gives no complaint:
every comparison with it is false.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from weldsim.case.tables import Tables
from weldsim.schema.records import Clamp, Surroundings, Weld
from weldsim.schema.section_checks import nearest

HOTTEST = 873.15  # K; preheat of any procedure lies well below
LEAST_ABOVE = 1.0  # K over ambient; nothing cools nearer to it in a time worth computing


def _degc(value: float) -> str:
    """A temperature in words."""
    return f"{value - 273.15:.4g} °C"


def check_surroundings(air: Surroundings, tables: Tables) -> None:
    """Whether air and preheat are temperatures of a workshop.

    Parameters
    ----------
    air : Surroundings
        As the case states them.
    tables : Tables
        Where mistakes are noted.
    """
    for key, value in (("ambient", air.ambient), ("preheat", air.preheat)):
        if value > HOTTEST:
            text = f"{_degc(value)} is not allowed: at most {_degc(HOTTEST)}"
            tables.say("surroundings", "", key, value, text)


def check_times(records: Mapping[str, Any], written: Sequence[str], tables: Tables) -> None:
    """Whether every weld starts, every clamp comes on and off, and the run ends.

    Parameters
    ----------
    records : mapping
        Keyword arguments of `weldsim.case.load.Case`.
    written : sequence of str
        Names of all [[weld]] sections, also of those that could not be read.
    tables : Tables
        Where mistakes are noted.
    """
    welded = {w.name.split(".")[0] for w in records["welds"]}
    unread = set(written) - welded
    _check_starts(records["welds"], records["surroundings"], unread, tables)
    _check_clamps(records["clamps"], [w.name for w in records["welds"]], unread, tables)
    _check_end(records, tables)


def _check_starts(
    welds: Sequence[Weld], air: Surroundings, unread: set[str], tables: Tables
) -> None:
    names = [w.name for w in welds]
    for name in sorted({n for n in names if names.count(n) > 1}):
        tables.say("schedule", "", "order", name, f"{name!r} stands there twice")
    for i, weld in enumerate(welds):
        rule = weld.start
        if rule.weld is not None and rule.weld not in names[:i] and rule.weld not in unread:
            known = ", ".join(names[:i]) or "a time, since this weld is the first"
            text = f"{rule.weld!r} is not a weld before this one, allowed: {known}"
            tables.say("weld", weld.name, "start", rule.weld, text)
        if rule.kind == "below" and rule.limit <= air.ambient + LEAST_ABOVE:
            text = (
                f"{_degc(rule.limit)} is never reached, allowed: over {LEAST_ABOVE:.0f} K "
                f"above ambient, {_degc(air.ambient)}"
            )
            tables.say("weld", weld.name, "start", rule.limit, text)


def _check_clamps(
    clamps: Sequence[Clamp], names: Sequence[str], unread: set[str], tables: Tables
) -> None:
    for clamp in clamps:
        for key, rule in (("on", clamp.on), ("off", clamp.off)):
            if rule.weld is not None and rule.weld not in (*names, *unread):
                text = f"{rule.weld!r} is no weld{nearest(rule.weld, names)}"
                tables.say("clamp", clamp.name, key, rule.weld, text)


def _check_end(records: Mapping[str, Any], tables: Tables) -> None:
    """Whether the part cools at all where something waits for that."""
    air, solve = records["surroundings"], records["solve"]
    sealed = air.film_coefficient == 0 and air.emissivity == 0
    sealed = sealed and not any(c.conductance for c in records["clamps"])
    waits = any(w.start.kind in ("below", "cold") for w in records["welds"])
    for clamp in records["clamps"]:
        stays = clamp.conductance and clamp.temperatures and clamp.off.kind in ("never", "cold")
        if stays and clamp.temperatures[-1][1] > air.ambient + LEAST_ABOVE:
            if solve.end == "cold" or waits or clamp.off.kind == "cold":
                warm = _degc(clamp.temperatures[-1][1])
                text = (
                    f"stays at {warm}, so the part never gets cold, allowed: at last at most "
                    f"{LEAST_ABOVE:.0f} K above ambient, {_degc(air.ambient)}, or off at a time"
                )
                tables.say("clamp", clamp.name, "temperature", warm, text)
    if sealed and (solve.end == "cold" or waits):
        text = (
            "nothing takes heat away (film, emissivity and conductance are zero), so the part "
            'never cools, allowed: a time such as "300 s" and welds started by time'
        )
        tables.say("solve", "", "end", solve.end, text)
