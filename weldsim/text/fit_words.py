"""What a fit learnt, in words."""

from __future__ import annotations

import math

import numpy as np

from weldsim.schema.column import Column
from weldsim.studies.fit.records import CurveFit, Fit
from weldsim.studies.fit.unknowns import Unknown
from weldsim.studies.spreads import value_name
from weldsim.text.grade_words import grade_words
from weldsim.text.quantities import (
    Number,
    Quantity,
    Words,
    as_written,
    difference,
    quantity,
    words,
)

NARROW = 0.8  # of the believed interval left: hardly anything was learnt
GOOD_SHARE = 0.9  # of held-back readings that a 90 % band should hold


# SI unit of an uncertain value -> the unit it is said in, and factor
SAID_IN = {
    "m": ("mm", 1e3), "m/s": ("mm/s", 1e3), "N/m": ("kN/mm", 1e-6), "Pa": ("MPa", 1e-6),
    "N*m/rad": ("kN m/rad", 1e-3), "rad": ("mrad", 1e3),
}  # fmt: skip


def column_name(column: Column) -> str:
    """A curve as people call it: gauge and side."""
    return f"{column.gauge} {column.component}".replace("_", " ")


def value_words(unknown: Unknown, value: float) -> Words:
    """A value as a person writes it. [SI]"""
    return said_value(unknown.unit, value)


def said_value(unit: str, value: float) -> Words:
    """A value of an SI unit, empty for a number, as a person writes it. [SI]"""
    if unit == "K":
        return words("{}", quantity(value - 273.15, "°C", ".0f"))
    return _said(unit, value)


def _said(unit: str, value: float) -> Words:
    """Three figures with the unit of the bench, whole numbers from a thousand on."""
    shown, factor = SAID_IN.get(unit, (unit.replace("^", ""), 1.0))
    size = factor * value
    form = ".3g" if abs(size) < 1000 else ".0f"
    return words("{}", quantity(size, shown, form)) if shown else Words(format(size, form))


def figures(unknown: Unknown, value: float) -> str:
    """A value in metric text, for pictures. [SI]"""
    return str(value_words(unknown, value))


def value_lines(found: Fit) -> list[str]:
    """One line an unknown: its value, its interval, what was believed before."""
    out: list[str] = []
    for k, u in enumerate(found.unknowns):
        best, low, high = (value_words(u, float(v[k])) for v in (found.best, found.low, found.high))
        if k in found.learnable.frozen:
            pattern = "{}: kept at {}; these measurements cannot hold it (believed before: {})"
            out.append(words(pattern, value_name(u.key), best, prior_words(u)))
            continue
        bound = at_bound(found, k)
        out.append(
            words(
                "{}: {}, 90 % between {} and {} (before: {}){}",
                value_name(u.key), best, low, high, prior_words(u),
                "; it runs into a bound: widen it, or doubt the measurement" if bound else "",
            )
        )  # fmt: skip
    return out


def prior_words(unknown: Unknown) -> Words:
    """What was believed of an unknown before."""
    low, high = (value_words(unknown, v) for v in (unknown.low, unknown.high))
    if unknown.spread is None:
        return words("anywhere from {} to {}", low, high)
    if unknown.unit == "K":
        spread = words("{}", difference(unknown.spread))
    else:
        spread = _said(unknown.unit, unknown.spread)
    usual = value_words(unknown, unknown.usual)
    return words("{}, standard deviation {}, within {} to {}", usual, spread, low, high)


def source_lines(found: Fit) -> list[str]:
    """Where the bounds and spreads beforehand are from."""
    by_source: dict[str, list[str]] = {}
    for u in found.unknowns:
        by_source.setdefault(u.source, []).append(value_name(u.key))
    return [
        as_written(f"before the fit, {', '.join(names)}: {source}")
        for source, names in by_source.items()
    ]


def at_bound(found: Fit, k: int) -> bool:
    """Whether an unknown was driven to the end of what is allowed."""
    u = found.unknowns[k]
    return u.spread is None and not 0.03 < u.share(float(found.best[k])) < 0.97


def learnt_words(found: Fit) -> list[str]:
    """What these measurements can tell and what they cannot."""
    out = []
    told = found.learnable
    for a, b, r in told.alike(found.unknowns):
        how = "together" if r > 0 else "against each other"
        out.append(
            f"{value_name(a)} and {value_name(b)} cannot be told apart by these measurements: "
            f"they may move {how} (correlation {r:+.2f}); another gauge or another setting would "
            "part them"
        )
    for k, u in enumerate(found.unknowns):
        if k not in told.frozen and told.narrowed[k] < 1.0 - NARROW:
            out.append(
                f"{value_name(u.key)}: these measurements hardly say anything about it; its "
                "interval is what was believed before"
            )
    return out


def _readings(column: Column, value: float, form: str) -> Quantity:
    """A difference of readings of a column. [SI]"""
    unit = "K" if column.unit == "degC" else column.unit
    size = column.factor * value
    return Quantity((Number(size, format(size, form), difference=True),), unit)


def curve_words(fitted: CurveFit) -> Words:
    """How far the model is from one curve."""
    c, o = fitted.observed.column, fitted.observed
    rms = math.sqrt(float((fitted.residual**2).mean()))
    gross = f", {o.gross} gross errors left out" if o.gross else ""
    return words(
        "{}: measured less computed {} (root mean square over {} {}{}); up to {} of it no value of "
        "what was fitted can mend",
        column_name(c), _readings(c, rms, ".3g"), o.taken,
        "reading" if o.taken == 1 else "readings", gross,
        _readings(c, float(np.abs(fitted.unmended).max()), ".2g"),
    )  # fmt: skip


def score_words(found: Fit) -> Words | str:
    """How a curve that was held back is predicted."""
    s = found.score
    if s is None:
        return "score: one curve alone, nothing could be held back"
    column = next(c.observed.column for c in found.curves if c.observed.column.name == s.name)
    judged = "as it should" if s.inside >= GOOD_SHARE - 0.15 else "too few: doubt the intervals"
    return words(
        "score: fitted without {}, it is predicted to {} (its extent is {}); {} % of its readings "
        "lie in the predicted 90 % band, {}",
        column_name(column), _readings(column, s.miss, ".3g"), _readings(column, s.extent, ".3g"),
        f"{100 * s.inside:.0f}", judged,
    )  # fmt: skip


def fit_lines(found: Fit) -> list[str]:
    """All of a fit in words.

    Parameters
    ----------
    found : Fit
        From `weldsim.studies.fit.fitting.fit`.

    Returns
    -------
    list of str
        One a line.
    """
    out: list[str] = [*value_lines(found), *learnt_words(found)]
    out += [
        f"clock of {name}: {best:+.2f} s ahead of the run's (90 % {low:+.2f} to {high:+.2f} s)"
        for name, (best, low, high) in found.clocks.items()
    ]
    out += [curve_words(c) for c in found.curves]
    out.append(score_words(found))
    for name, miss in found.surrogate_miss.items():
        column = next(c.observed.column for c in found.curves if c.observed.column.name == name)
        out.append(
            words(
                "between runs {} is known to {}, by runs that were left out",
                column_name(column), _readings(column, miss, ".2g"),
            )
        )  # fmt: skip
    finer = found.settings.finer
    graded = "no finer grade was run" if finer == "none" else f"the step to grade {finer} counted"
    out.append(f"{found.runs} runs at {grade_words(found.settings.grade)}, {graded}")
    if found.settings.grade == "sketch":
        out.append(
            "Warning: the time steps of grade sketch are longer than a swing; values may lie "
            "outside their intervals, fit at coarse or finer"
        )
    out += source_lines(found)
    if found.failed:
        out.append(f"{len(found.failed)} runs failed: {next(iter(found.failed.values()))}")
    return out
