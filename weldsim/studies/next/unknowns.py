"""What a shop does not know about a case, and the case with more or less of it; see `next_study`.

An unknown is a factor on a key of the case. Every place that states the key is multiplied: what
[arc] says, and what a [[weld]] of its own says instead. A bar has no [arc]; all its beads state
theirs.
"""

from __future__ import annotations

import tomllib

from weldsim.case.overrides import apply_overrides
from weldsim.studies.next.estimate import SPREADS, Unknown
from weldsim.studies.plan.space import Plan, parse_plan
from weldsim.units import parse

UNITS = {"speed": ("speed", "m/s"), "root_gap": ("length", "m"), "stiffness": ("stiffness", "N/m")}


def settled(plan: Plan, unknown: Unknown | None = None, factor: float = 1.0) -> Plan:
    """A plan whose first setting is part of its case, with one unknown multiplied there.

    Workers read its text, so what it says must not be varied once more: nothing may vary in it.
    """
    import tomli_w

    raw = _tables(plan)
    if unknown is not None:
        for table, key in _places(raw, unknown.key):
            table[key] = _times(key, table[key], factor)
    return parse_plan(tomli_w.dumps(raw), plan.case.source_file)


def _tables(plan: Plan) -> dict:
    """Tables of the case with all changes and those of the first setting."""
    raw = tomllib.loads(plan.case.source_text)
    apply_overrides(raw, (*plan.case.overrides, *plan.settings[0].changes))
    raw["plan"]["vary"] = {}
    return raw


def _places(raw: dict, path: str) -> list[tuple[dict, str]]:
    """Tables that state a key, with the key: "arc.speed", "part.root_gap", "clamp.NAME.KEY"."""
    section, *name, key = path.split(".")
    if section == "arc":
        tables = [raw.get("arc", {}), *raw.get("weld", ())]
    elif section == "clamp":
        tables = [c for c in raw["clamp"] if c["name"] == ".".join(name)]
    else:
        tables = [raw[section]]
    return [(t, key) for t in tables if key in t]


def _times(key: str, value, factor: float):
    """A value as a case states it, multiplied."""
    if key not in UNITS:
        return float(f"{factor * value:.9g}")
    kind, unit = UNITS[key]
    return f"{factor * parse(value, kind):.9g} {unit}"


def unknowns_of(plan: Plan) -> tuple[Unknown, ...]:
    """What a shop does not know about this case."""
    out = [Unknown(n, f"arc.{n}", *SPREADS[n]) for n in ("efficiency", "speed")]
    case = settled(plan).case
    if getattr(case.part, "root_gap", 0.0) > 0:
        out.append(Unknown("root gap", "part.root_gap", 0.3, 0.0, 3.0))
    for clamp in case.clamps:
        if clamp.kind == "spring":
            key = f"clamp.{clamp.name}.stiffness"
            out.append(Unknown(f"stiffness of {clamp.name}", key, 0.5, 0.1, 5.0))
    return tuple(out)


def largest_efficiency(plan: Plan) -> float:
    """Of all arcs of a plan whose one setting is part of its case."""
    return max(w.efficiency for w in plan.case.welds)
