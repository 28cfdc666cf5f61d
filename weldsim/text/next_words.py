"""How to go on after a reading, in words."""

from __future__ import annotations

from weldsim.schema.column import Column
from weldsim.studies.next.advice import Advice
from weldsim.studies.next.cost import AdviceCost
from weldsim.studies.next.given import ASSUMED_SHARE
from weldsim.studies.plan.odds import EVEN, odds_text
from weldsim.studies.plan.space import LARGEST_FULL_STUDY, Plan
from weldsim.studies.spreads import spread_of, value_name
from weldsim.text.describe import time_words
from weldsim.text.measure_words import measure_words, plan_tolerance
from weldsim.text.quantities import words
from weldsim.text.tilts import sized


def advice_cost_line(cost: AdviceCost, processes: int | None) -> str:
    """What an advice takes, before it is begun.

    Parameters
    ----------
    cost : AdviceCost
        Of it.
    processes : int or None
        Side by side; None where they are not known, on a cluster.

    Returns
    -------
    str
        One line.
    """
    if not cost.welds:
        return "All of it was computed before."
    sure = "as those before took" if cost.measured else "good to a factor of two"
    welds = f"{cost.welds} weld{'s' if cost.welds > 1 else ''} to compute"
    if processes is None:
        return f"{welds}, about {time_words(cost.each)} each ({sure})."
    side = min(processes, cost.welds)
    beside = f", {side} side by side" if side > 1 else ""
    return f"Expect about {time_words(cost.seconds / side)}: {welds}{beside} ({sure})."


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
        read, expected = (sized(column.to_display(v), column.unit) for v in (value, was))
        lines.append(words("{}: read {}, expected {}", _side(column), read, expected))
    if found.contradictory:
        lines.append(
            f"the readings lie {found.misfit:.1f} standard deviations from anything that heat, "
            "speed, gap and clamps explain: read again, check that sequence and travel are those "
            "given, and trust nothing below until they agree"
        )
    for unknown, factor, spread in zip(advice.unknowns, found.factors, found.spread, strict=True):
        note = " (at its bound)" if unknown.name in found.at_bound else ""
        name = value_name(unknown.key)
        if unknown.zero:
            gap, off = (sized(1e3 * unknown.zero * v, "mm") for v in (factor - 1, spread))
            lines.append(words("{}: {} ±{}, where the case says 0{}", name, gap, off, note))
            continue
        lines.append(f"{name}: {factor:.3f} ±{spread:.3f} times what the case says{note}")
    unread = _unread(plan, advice.columns)
    if unread:
        lines.append(f"not read, so taken from the model: {', '.join(unread)}")
    for n, ahead in enumerate(advice.directions[:most], 1):
        under = f" ({plan.settings[ahead.setting].label})" if len(plan.settings) > 1 else ""
        lines.append(
            words(
                "{}. weld {}{}: expected to end {} from zero, {} chance of ending within {}",
                n, plan.text(ahead.moves), under, measure_words(plan, ahead.off, 2),
                _chance(ahead.chance), plan_tolerance(plan),
            )
        )  # fmt: skip
    if advice.looked_at is not None:
        lines.append(
            f"more than {LARGEST_FULL_STUDY} sequences are left: only the {advice.looked_at} that "
            "the study looked at are compared"
        )
    if advice.odds is not None:
        lines.append(_odds_words(plan, advice, advice.odds))
    return [*lines, *_source_lines(advice), _spread_words(plan, advice)]


def _odds_words(plan: Plan, advice: Advice, chance: float) -> str:
    """How sure it is that the first way ends nearer to zero than the second."""
    text = odds_text(chance)
    better, other = (1, 2) if chance >= 0.5 else (2, 1)
    said = (
        f"{text} between 1 and 2: it is not known which of them ends nearer to zero"
        if text == EVEN
        else f"{better} ends nearer to zero than {other} with {text}"
    )
    if advice.spread is None:
        return f"{said}; hand and fit-up from here on are not in it: no spread was given"
    return f"{said}; hand, fit-up and metal scatter as in the band of {advice.spread.title}"


def _source_lines(advice: Advice) -> list[str]:
    """How far each uncertain shop value was let go, and where that is from."""
    out = []
    for unknown in advice.unknowns:
        known = spread_of(unknown.key)
        source = known.source if known is not None else "our choice"
        out.append(
            f"{value_name(unknown.key)} was let vary by {_percent(unknown.spread)} (standard "
            f"deviation) within {unknown.low:g} to {unknown.high:g} times what the case says: "
            f"{source}"
        )
    return out


def _side(column: Column) -> str:
    """A reading's name for people; a bow has but one."""
    return f"{column.gauge}_{column.component}".replace("_", " ")


def _unread(plan: Plan, columns: tuple[Column, ...]) -> list[str]:
    """Sides of the measure that no reading is of."""
    read = {(c.gauge, c.component) for c in columns}
    return [_side(c) for c in plan.measure_columns if (c.gauge, c.component) not in read]


def _spread_words(plan: Plan, advice: Advice) -> str:
    """What the spread of a prediction rests on."""
    parts = "spread of a prediction: reading, uncertain shop values"
    if advice.spread is not None:
        parts += f", how parts of this shop scatter (band of {advice.spread.title})"
    if advice.drift is not None and advice.drift.carried:
        said = (
            f"{parts}, and the study's estimated error; the model's readings are carried over to "
            f"grade {plan.section.confirm_grade} as the study found it"
        )
        return said + _settings_words(plan)
    said = (
        f"{parts}, and the study's estimated error, at most {_percent(ASSUMED_SHARE)} of a "
        "movement, since a coarse mesh shortens the movements of all sequences by much the same "
        "share"
        if advice.drift is not None
        else f"{parts}, and {_percent(ASSUMED_SHARE)} of the movement to come, a guess: no finer "
        "run has been compared"
    )
    return said + _settings_words(plan)


def _settings_words(plan: Plan) -> str:
    """Under which setting the welds behind were made."""
    if len(plan.settings) == 1:
        return ""
    return f"; what is done was welded with {plan.settings[0].label}"


def _chance(value: float) -> str:
    """A chance in per cent; nothing is certain."""
    if value > 0.99:
        return "over 99 %"
    return "under 1 %" if value < 0.01 else f"{100 * value:.0f} %"


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"
