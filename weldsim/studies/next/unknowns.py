"""What a shop does not know about a case, and the case with more or less of it.

An unknown is a factor on a key of the case. Every place that states the key is multiplied: what
[arc] says, and what a [[weld]] of its own says instead. A bar has no [arc]; all its beads state
theirs. A root gap of 0 has no factor: there the unknown is the gap itself, above 0 alone.
"""

from __future__ import annotations

from collections.abc import Iterator

from weldsim.case.load import Case
from weldsim.studies.band.uncertain import REACH, may_gape
from weldsim.studies.next.estimate import Unknown
from weldsim.studies.plan.space import Plan, plan_of
from weldsim.studies.spreads import SPREADS
from weldsim.units import parse

QUANTITIES = {"speed": "speed", "root_gap": "length", "stiffness": "stiffness"}  # kinds of keys


def settled(plan: Plan, unknown: Unknown | None = None, factor: float = 1.0) -> Plan:
    """A plan whose first setting is part of its case, with one unknown multiplied there.

    Nothing varies in it any more, so that what was multiplied stays so.

    Raises
    ------
    CaseError
        If the case does not allow what it is multiplied to.
    """
    case = plan.case_under(plan.settings[0])
    changes = {"plan.vary": {}}
    if unknown is not None:
        changes |= {
            key: unknown.times(factor, _number(key, value))
            for key, value in _places(case, unknown.key)
        }
        if unknown.zero:  # most cases leave it to its default
            changes[unknown.key] = unknown.times(factor, 0.0)
    return plan_of(case.with_changes(changes))


def _places(case: Case, path: str) -> Iterator[tuple[str, object]]:
    """Where a key is stated, with its value: "arc.speed", "part.root_gap", "clamp.NAME.KEY"."""
    tables, (section, *name, key) = case.tables, path.split(".")
    if section == "clamp":
        yield from ((path, c[key]) for c in tables["clamp"] if c["name"] == name[0] and key in c)
        return
    if key in tables.get(section, {}):
        yield path, tables[section][key]
    if section == "arc":
        for number, weld in enumerate(tables.get("weld", ()), 1):
            if key in weld:
                yield f"weld.{weld.get('name', number)}.{key}", weld[key]


def _number(path: str, value: object) -> float:
    """A value as a case states it, in SI."""
    quantity = QUANTITIES.get(path.rpartition(".")[2])
    return parse(value, quantity) if quantity else float(value)


def unknowns_of(plan: Plan) -> tuple[Unknown, ...]:
    """What a shop does not know about this case."""
    out = [Unknown(n, f"arc.{n}", *SPREADS[f"arc.{n}"].factor) for n in ("efficiency", "speed")]
    case = plan.case_under(plan.settings[0])
    if hasattr(case.part, "root_gap") and may_gape(case):
        out.append(_root_gap(case.part.root_gap))
    for clamp in case.clamps:
        if clamp.kind == "spring":
            key = f"clamp.{clamp.name}.stiffness"
            out.append(
                Unknown(f"stiffness of {clamp.name}", key, *SPREADS["clamp.stiffness"].factor)
            )
    return tuple(out)


def _root_gap(stated: float) -> Unknown:
    """Of a gap as the case states it [m]; one of 0 is opened, by as much as a fit-up may leave."""
    known = SPREADS["part.root_gap"]
    if stated > 0:
        return Unknown("root gap", known.key, *known.factor)
    most = 1.0 + REACH * known.size
    return Unknown("root gap", known.key, known.size, 1.0, most, known.at_zero / known.size)


def largest_efficiency(plan: Plan) -> float:
    """Of all arcs of a plan whose one setting is part of its case."""
    return max(w.arc.efficiency for w in plan.case.welds)
