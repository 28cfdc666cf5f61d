"""How far from zero a gauge or the measure of a plan ends, as a bench reads it."""

from __future__ import annotations

from weldsim.schema.tolerance import SCALES
from weldsim.studies.plan.space import Plan
from weldsim.studies.targets import Target
from weldsim.text.cautions import beside
from weldsim.text.quantities import Words, as_written, words
from weldsim.text.tilts import sized, spot_words, tilt_words, tolerance_words

ANGLES = ("angle", "slope")  # measures that a pointer's target shows


def size_words(target: Target, size: float, most: int = 3) -> Words:
    """How far a gauge ends from zero, of a pointer at its target first. [SI]"""
    if target.unit == "mrad":
        return tilt_words(size, target.gauge.throw, most)
    return Words(sized(target.shown(size), target.unit, most))


def short_size(target: Target, size: float, most: int = 2) -> Words:
    """The same in one number, beside one that was said in full. [SI]"""
    if target.unit == "mrad":
        return spot_words(size, target.gauge.throw, most)
    return Words(sized(target.shown(size), target.unit, most))


def error_said(target: Target, error: float | None, how: str) -> Words:
    """An estimated error with how it was found. [SI]"""
    if error is None:
        return as_written(how)
    return words("estimated error {} ({})", short_size(target, error), as_written(how))


def verdict_said(error: float | None, verdict: str) -> str:
    """A verdict; without an estimated error nothing can be said."""
    return "cannot be told" if error is None else beside(verdict)


def tolerance_said(target: Target) -> Words:
    """The tolerance of a target, of a pointer as what it leaves there."""
    return tolerance_words(target.tolerance, getattr(target.gauge, "throw", None))


def plan_tolerance(plan: Plan) -> Words:
    """The tolerance of a plan's measure, of a pointer as what it leaves at its target."""
    return tolerance_words(plan.tolerance, target_distance(plan))


def measure_words(plan: Plan, value: float, most: int = 3) -> Words:
    """A value of a plan's measure, of a pointer at its target first. [SI]"""
    if plan.tolerance.measure in ANGLES:
        return tilt_words(value, target_distance(plan), most)
    return short_measure(plan, value, most)


def short_measure(plan: Plan, value: float, most: int = 3) -> Words:
    """The same in one number, for tables and beside one that was said in full. [SI]"""
    if plan.tolerance.measure in ANGLES:
        return spot_words(value, target_distance(plan), most)
    scale, unit = SCALES[plan.tolerance.measure]
    return Words(sized(scale * value, unit, most))


def axis_unit(plan: Plan) -> tuple[float, str]:
    """Factor from SI and unit of the measure on an axis: of a pointer at its target."""
    distance = target_distance(plan)
    if plan.tolerance.measure in ANGLES and distance:
        return 1e3 * distance, "mm"
    return SCALES[plan.tolerance.measure]


def target_distance(plan: Plan) -> float | None:
    """How far the target of a plan's pointer is from the part.

    Parameters
    ----------
    plan : Plan

    Returns
    -------
    float or None
        None where the measure is of no pointer. [m]
    """
    names = {c.gauge for c in plan.measure_columns}
    return next((g.throw for g in plan.case.gauges if g.name in names), None)
