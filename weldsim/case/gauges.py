"""[[gauge]] sections: what is read off the part."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from weldsim.case.tables import Tables
from weldsim.errors import CaseError
from weldsim.schema.records import Clamp, Gauge
from weldsim.schema.section_checks import is_known, near_to, such_as
from weldsim.schema.tolerance import Tolerance, read_tolerance
from weldsim.units import parse

# keys of each kind, beside its name and tolerance
GAUGE_KEYS = {
    "pointer": ("at", "aim", "up", "throw"),
    "dial": ("at", "direction"),
    "thermocouple": ("at",),
    "bow": ("direction",),
    "gap": ("at",),
    "reaction": ("at",),
}
# what the tolerance of a kind limits
TOLERANCED = {"pointer": "angle", "bow": "straightness", "dial": "linear", "gap": "linear"}
ANYWHERE = ("dial", "thermocouple")  # kinds that may sit at coordinates


def read_gauges(tables: Tables, part: Any, clamps: tuple[Clamp, ...]) -> tuple[Gauge, ...]:
    """Gauges of the case, those left out that could not be read.

    Parameters
    ----------
    tables : Tables
        Where they stand, and where mistakes are noted.
    part : record of a joint kind
        What is welded.
    clamps : tuple of Clamp
        Whose reactions can be read.

    Returns
    -------
    tuple of Gauge
        In the order of the case.
    """
    out = []
    for name, section in tables.many("gauge", needed=True):
        if not is_known(section.kind):
            continue
        gauge = _with_its_keys(tables, name, section, part)
        if gauge.kind not in tables.kind.gauge_kinds:
            allowed = ", ".join(tables.kind.gauge_kinds)
            text = f"a {tables.kind_name} has no {gauge.kind}, allowed: {allowed}"
            tables.say("gauge", name, "kind", gauge.kind, text)
            continue
        placed = _placed(tables, gauge, part, clamps)
        if placed is not None:
            for key, text in tables.kind.gauge_faults(part, placed):
                tables.say("gauge", name, key, getattr(placed, key), text)
            out.append(placed)
    return tuple(out)


def _with_its_keys(tables: Tables, name: str, section: Any, part: Any) -> Gauge:
    """A gauge with the keys its kind needs and no others."""
    values = {**dict(section), "name": name}
    size = values.pop("size")
    values["tolerance"] = _tolerance(tables, name, section, size)
    wanted = GAUGE_KEYS[section.kind]
    if section.kind == "pointer" and values["up"] is None and isinstance(section.aim, str):
        values["up"] = _upward(section.aim, part, tables.kind.pointer.get("up"))
    for key in ("at", "aim", "up", "throw", "direction"):
        if key in wanted and values[key] is None:
            text = f"missing key for a {section.kind}{such_as('gauge', key)}"
            tables.say("gauge", name, key, None, text)
        if key not in wanted and values[key] is not None:
            text = f"a {section.kind} has no such key, allowed: {', '.join(wanted)}"
            tables.say("gauge", name, key, values[key], text)
            values[key] = None
    aim, up = section.aim, values["up"]
    if section.kind == "pointer" and isinstance(aim, str) and isinstance(up, str):
        if aim[1] == up[1]:
            text = f"{up!r} is not allowed: it must be at right angles to aim, {aim!r}"
            tables.say("gauge", name, "up", up, text)
    return Gauge(**values)


def _upward(aim: str, part: Any, usual: str | None) -> str:
    """Up on the target where the case does not say: up in the workshop, unless the beam is."""
    up = str(getattr(part, "up", None) or "+z")
    return next(way for way in (up, usual or "+x", "+x", "+y") if way[1] != aim[1])


def _tolerance(tables: Tables, name: str, section: Any, size: Any) -> Tolerance | None:
    """The tolerance of a gauge, from its text and the size that a class asks for."""
    written = section.tolerance
    if written is None or not is_known(written):
        return None
    if section.kind not in TOLERANCED:
        text = f"a {section.kind} has none, allowed with: {', '.join(TOLERANCED)}"
        tables.say("gauge", name, "tolerance", written, text)
        return None
    try:
        distance = section.throw if is_known(section.throw) else None
        known = size if is_known(size) else None
        return read_tolerance(written, TOLERANCED[section.kind], known, distance)
    except CaseError as error:
        key, _, text = str(error).partition(": ")
        tables.say("gauge", name, key, written, text)
        return None


def _placed(tables: Tables, gauge: Gauge, part: Any, clamps: tuple[Clamp, ...]) -> Gauge | None:
    """A gauge at its place: a name, or three coordinates [m]; None where that is wrong."""
    at: Any = gauge.at
    if at is None or gauge.kind == "bow":
        return gauge
    if gauge.kind == "gap":
        allowed = tuple(tables.kind.gap_places(part))
    elif gauge.kind == "reaction":
        allowed = tuple(c.name for c in clamps)
    else:
        allowed = tables.kind.places_for(part, gauge.kind)
    if isinstance(at, str) and at in allowed:
        return gauge
    if isinstance(at, list) and len(at) == 3 and gauge.kind in ANYWHERE:
        try:
            x, y, z = (parse(v, "length") for v in at)
            return replace(gauge, at=(x, y, z))
        except ValueError as error:
            tables.say("gauge", gauge.name, "at", at, str(error))
            return None
    listed = " or ".join(f'"{n}"' for n in allowed) or "nothing: this joint has none"
    if gauge.kind in ANYWHERE:
        listed += ' or three lengths like ["75 mm", "3 mm", "0 mm"]'
    text = f"{at!r} is not allowed: write {listed}{near_to(at, allowed)}"
    tables.say("gauge", gauge.name, "at", at, text)
    return None
