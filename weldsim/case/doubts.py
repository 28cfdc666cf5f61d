"""What of a case is hardly meant: arcs far from what their process is used with."""

from __future__ import annotations

from dataclasses import fields, is_dataclass

from weldsim.case.load import Case
from weldsim.schema.bands import Doubt, doubts
from weldsim.schema.process import PROCESSES

SIZES = ("wall", "thickness")  # how keys of a part end that say how thick it is
UNITS = {"current": ("A", 1.0), "voltage": ("V", 1.0), "speed": ("mm/s", 1e3),
         "efficiency": ("", 1.0)}  # fmt: skip


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
    return out


def _sentence(weld: str, process: str, doubt: Doubt) -> str:
    unit, factor = UNITS[doubt.key]
    value, low, high = (f"{factor * v:.4g}" for v in (doubt.value, doubt.low, doubt.high))
    usual = f"usual for {PROCESSES[process][0]} ({process}){doubt.usual_for}"
    unit = unit and f" {unit}"
    return (
        f"weld {weld}: {doubt.key} {value}{unit} is hardly meant, {doubt.why}; {usual}: {low} to "
        f"{high}{unit}"
    )
