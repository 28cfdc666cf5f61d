"""What of a case is hardly meant: arcs far from what their process is used with, air, contact."""

from __future__ import annotations

import math
from dataclasses import fields, is_dataclass

from weldsim.case.load import Case
from weldsim.schema.bands import Doubt, doubts
from weldsim.schema.process import PROCESSES

SIZES = ("wall", "thickness")  # how keys of a part end that say how thick it is
UNITS = {"current": ("A", 1.0), "voltage": ("V", 1.0), "speed": ("mm/s", 1e3),
         "efficiency": ("", 1.0)}  # fmt: skip
# Common practice and orders of handbooks of heat transfer, from memory, with room on both sides
SPOT = (0.3e-3, 60e-3)  # m, what an arc heats: fine plasma to submerged arc with several wires
SPOT_KEYS = ("front_length", "rear_length", "half_width", "depth")
AMBIENT = (223.15, 333.15)  # K
STILL_AIR, DRAUGHT = (5.0, 25.0), 250.0  # W/(m2 K)
PRESSED = (1e3, 5e4)  # W/(m2 K), metal on metal
# key -> most in SI and as it is said, and why
LONG = {
    "weave_rate": (20.0, "20 Hz", "no hand and few machines weave faster"),
    "dwell": (60.0, "60 s", "an arc that stands still burns through"),
    "crater": (60.0, "60 s", "an arc that stands still burns through"),
    "pause": (86400.0, "a day", "the part is cold long before"),
    "cooling_film_coefficient": (2e4, "20000 W/m2/K", "a spray of water takes no more"),
    "throw": (100.0, "100 m", "no shop is longer"),
    "tilt": (math.radians(5.0), "5 deg", "rotations are taken as small"),
}


def thinnest(part: object) -> float | None:
    """Least thickness that a part states. [m]

    Parameters
    ----------
    part : record
        Of a joint kind.

    Returns
    -------
    float or None
        None for a mesh of one's own, which states none.
    """
    names = [f.name for f in fields(part)] if is_dataclass(part) else list(dict(part))  # type: ignore[call-overload]
    found = [getattr(part, name) for name in names if name.rpartition("_")[2] in SIZES]
    return min((v for v in found if isinstance(v, float) and v > 0), default=None)


def case_doubts(case: Case) -> list[tuple[str, str, str]]:
    """Entries of a case to ask about, once for welds that burn alike.

    Parameters
    ----------
    case : Case
        As it would be run.

    Returns
    -------
    list of (str, str, str)
        Weld, key of it or of [arc], and one sentence without full stop, in metric units.
    """
    thickness, seen = thinnest(case.part), set()
    out = []
    for weld in case.welds:
        arc = weld.arc
        values = (arc.process, arc.current, arc.voltage, arc.speed, arc.efficiency)
        if values in seen or weld.tack >= 0 or not weld.filler:
            continue
        seen.add(values)
        for doubt in doubts(*values[:4], thickness, arc.efficiency):
            out.append((weld.name, doubt.key, _sentence(weld.name, arc.process, doubt)))
    return [*out, *_spots(case), *_around(case), *_long(case), *_lone_tack(case)]


def _spots(case: Case) -> list[tuple[str, str, str]]:
    """Arcs that heat a spot as no arc does; beads that are lumped are spread on purpose."""
    low, high = SPOT
    out, seen = [], set()
    for weld in case.welds:
        for key in SPOT_KEYS:
            size = getattr(weld.arc, key)
            if low <= size <= high or weld.arc.beads > 1 or (key, size) in seen:
                continue
            seen.add((key, size))
            said = (
                f"weld {weld.name}: {key} {1e3 * size:.4g} mm is hardly meant; an arc heats a spot "
                f"of {1e3 * low:g} to {1e3 * high:g} mm"
            )
            out.append((weld.name, key, said))
    return out


def _around(case: Case) -> list[tuple[str, str, str]]:
    """Air and clamps that take more heat than air and clamps do."""
    air = case.surroundings
    out = []
    if not AMBIENT[0] <= air.ambient <= AMBIENT[1]:
        low, high = (v - 273.15 for v in AMBIENT)
        said = (
            f"ambient {air.ambient - 273.15:.4g} degC is hardly meant; usual: {low:g} to {high:g}"
        )
        out.append(("surroundings", "ambient", f"{said} degC"))
    if air.film_coefficient > DRAUGHT:
        low, high = STILL_AIR
        said = (
            f"film_coefficient {air.film_coefficient:.4g} W/m2/K is hardly meant; still air takes "
            f"{low:g} to {high:g} W/m2/K, a draught up to {DRAUGHT:g} W/m2/K"
        )
        out.append(("surroundings", "film_coefficient", said))
    contacts = [("clamping", case.clamping.conductance)]
    contacts += [(f"clamp {clamp.name}", clamp.conductance) for clamp in case.clamps]
    low, high = PRESSED
    values = {value: name for name, value in reversed(contacts)}  # each once, where it is stated
    for value, name in values.items():
        if value > high:
            said = (
                f"{name}: conductance {value:.4g} W/m2/K is hardly meant; metal pressed on metal "
                f"passes {low:.0f} to {high:.0f} W/m2/K"
            )
            out.append((name, "conductance", said))
    return out


def _lone_tack(case: Case) -> list[tuple[str, str, str]]:
    """A joint on a single tack, which filler that is not laid yet would hold as well."""
    if len(case.tacks) != 1:
        return []
    text = (
        "the joint stands on one tack: until more of it is welded, how it turns is not determined, "
        "so do not rely on the movement; tack it on all sides"
    )
    return [(case.tacks[0].seam, "tack", text)]


def _long(case: Case) -> list[tuple[str, str, str]]:
    """What is longer, faster or farther than `LONG`, each once."""
    stated = [("schedule", "cooling_film_coefficient", case.cooling_film_coefficient or 0.0)]
    stated += [("preset", "tilt", max(map(abs, case.preset)))]
    stated += [(f"gauge {g.name}", "throw", g.throw or 0.0) for g in case.gauges]
    for weld in case.welds:
        arc, name = weld.arc, f"weld {weld.name}"
        stated += [(name, key, getattr(arc, key)) for key in ("weave_rate", "dwell", "crater")]
        stated += [(name, "pause", weld.start.seconds if weld.start.kind == "after" else 0.0)]
    out = {}
    for name, key, value in stated:
        most, said, why = LONG[key]
        if value > most and (key, value) not in out:
            text = f"{name}: {key} of more than {said} is hardly meant; {why}"
            out[key, value] = (name.removeprefix("weld "), key, text)
    return list(out.values())


def _sentence(weld: str, process: str, doubt: Doubt) -> str:
    unit, factor = UNITS[doubt.key]
    value, low, high = (f"{factor * v:.4g}" for v in (doubt.value, doubt.low, doubt.high))
    usual = f"usual for {PROCESSES[process][0]} ({process}){doubt.usual_for}"
    unit = unit and f" {unit}"
    return (
        f"weld {weld}: {doubt.key} {value}{unit} is hardly meant, {doubt.why}; {usual}: {low} to "
        f"{high}{unit}"
    )
