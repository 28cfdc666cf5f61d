"""How to go on after a reading, in words."""

from __future__ import annotations

from weldsim.schema.column import Column
from weldsim.schema.tolerance import SCALES
from weldsim.studies.next.advice import Advice
from weldsim.studies.next.given import ASSUMED_SHARE
from weldsim.studies.plan.space import LARGEST_FULL_STUDY, Plan


def advice_lines(plan: Plan, advice: Advice, most: int = 5) -> list[str]:
    """The advice in words, one line each.

    Parameters
    ----------
    plan : Plan
        Of the study that was asked.
    advice : Advice
        What it answered.
    most : int, optional
        Ways to go on that are listed.

    Returns
    -------
    list of str
        Lines for people.
    """
    found = advice.estimate
    lines = []
    for column, value, was in zip(advice.columns, advice.reading, advice.expected, strict=True):
        lines.append(
            f"{_side(column)}: read {column.to_display(value):.3g} {column.unit}, expected "
            f"{column.to_display(was):.3g}"
        )
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
    for n, ahead in enumerate(advice.directions[:most], 1):
        under = f" ({plan.settings[ahead.setting].label})" if len(plan.settings) > 1 else ""
        lines.append(
            f"{n}. {plan.text(ahead.moves)}{under}: expected {scale * ahead.off:.2g} {unit} off, "
            f"{_chance(ahead.chance)} chance of {plan.tolerance}"
        )
    if advice.looked_at is not None:
        lines.append(
            f"there are more than {LARGEST_FULL_STUDY} ways on: only the {advice.looked_at} that "
            "the study looked at are compared"
        )
    return [*lines, _spread_words(plan, advice)]


def _side(column: Column) -> str:
    """A reading's name for people; a bow has but one."""
    return f"{column.gauge}_{column.component}".replace("_", " ")


def _unread(plan: Plan, columns: tuple[Column, ...]) -> list[str]:
    """Sides of the measure that no reading is of."""
    read = {(c.gauge, c.component) for c in columns}
    return [_side(c) for c in plan.measure_columns if (c.gauge, c.component) not in read]


def _spread_words(plan: Plan, advice: Advice) -> str:
    """What the spread of a prediction rests on."""
    words = (
        "spread of a prediction: reading, unknowns, and the study's stated error, of which at most "
        f"{ASSUMED_SHARE:.0%} of a movement count: a mesh that is rough makes all ways too short "
        "alike"
        if advice.drift is not None
        else f"spread of a prediction: reading, unknowns, and {ASSUMED_SHARE:.0%} of the movement "
        "to come, a guess: no finer run has been compared"
    )
    if len(plan.settings) > 1:
        words += f"; what lies behind was welded with {plan.settings[0].label}"
    return words


def _chance(value: float) -> str:
    """A chance in per cent; nothing is certain."""
    if value > 0.99:
        return "over 99 %"
    return "under 1 %" if value < 0.01 else f"{100 * value:.0f} %"
