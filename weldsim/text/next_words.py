"""How to go on after a reading, in words."""

from __future__ import annotations

from weldsim.schema.tolerance import SCALES
from weldsim.studies.next.advice import Advice
from weldsim.studies.plan.space import Plan


def advice_lines(plan: Plan, advice: Advice, most: int = 5) -> list[str]:
    """The advice in words, one line each."""
    found = advice.estimate
    lines = []
    for column, value, was in zip(advice.columns, advice.reading, advice.expected, strict=True):
        stem, _, unit = column.rpartition("_")
        lines.append(f"{stem.replace('_', ' ')}: read {value:.3g} {unit}, expected {was:.3g}")
    if found.contradictory:
        lines.append(
            f"the readings lie {found.misfit:.1f} standard deviations from anything the unknowns "
            "explain: read again, check that order and travel are those given, and trust nothing "
            "below until they agree"
        )
    for unknown, factor, spread in zip(advice.unknowns, found.factors, found.spread, strict=True):
        note = " (at its bound)" if unknown.name in found.at_bound else ""
        lines.append(f"{unknown.name}: {factor:.3f} +- {spread:.3f} times what the case says{note}")
    unread = _unread(plan, advice.columns)
    if unread:
        lines.append(f"not read, so taken from the model: {', '.join(unread)}")
    scale, unit = SCALES[plan.tolerance.measure]
    for n, way in enumerate(advice.directions[:most], 1):
        under = f" ({plan.settings[way.setting].label})" if len(plan.settings) > 1 else ""
        lines.append(
            f"{n}. {plan.text(way.moves)}{under}: expected {scale * way.off:.2g} {unit} off, "
            f"{_chance(way.chance)} chance of {plan.tolerance}"
        )
    return [*lines, *advice.notes]


def _unread(plan: Plan, columns) -> list[str]:
    """Sides of the measure that no reading is of."""
    read = {c.rpartition("_")[0] for c in columns}
    sides = [c.rpartition("_")[0] for c in plan.measure_columns]
    return [s.replace("_", " ") for s in sides if s not in read]


def _chance(value: float) -> str:
    """A chance in per cent; nothing is certain."""
    if value > 0.99:
        return "over 99 %"
    return "under 1 %" if value < 0.01 else f"{100 * value:.0f} %"
