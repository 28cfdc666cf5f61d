"""What a fit learnt, in words."""

from __future__ import annotations

import math

import numpy as np

from weldsim.studies.fit.records import CurveFit, Fit
from weldsim.studies.fit.unknowns import Unknown

NARROW = 0.8  # of the believed interval left: hardly anything was learnt
GOOD_SHARE = 0.9  # of held-back readings that a 90 % band should hold


def figures(unknown: Unknown, value: float) -> str:
    """A value as a person writes it, temperatures in degC."""
    if unknown.unit == "K":
        return f"{value - 273.15:.0f} degC"
    text = f"{value:.3g}" if abs(value) < 1000 else f"{value:.0f}"
    return f"{text} {unknown.unit.replace('^', '')}".strip()


def value_lines(found: Fit) -> list[str]:
    """One line an unknown: its value, its interval, what was believed before."""
    out = []
    for k, u in enumerate(found.unknowns):
        if k in found.learnable.frozen:
            out.append(
                f"{u.key}: kept at {figures(u, found.best[k])}; these measurements cannot hold it "
                f"(believed before: {prior_words(u)})"
            )
            continue
        text = (
            f"{u.key} = {figures(u, found.best[k])}, 90 % between {figures(u, found.low[k])} and "
            f"{figures(u, found.high[k])} (before: {prior_words(u)})"
        )
        if at_bound(found, k):
            text += "; it runs into a bound: widen it, or doubt the measurement"
        out.append(text)
    return out


def prior_words(unknown: Unknown) -> str:
    """What was believed of an unknown before."""
    bounds = f"{figures(unknown, unknown.low)} to {figures(unknown, unknown.high)}"
    if unknown.spread is None:
        return f"anywhere from {bounds}"
    spread = f"{unknown.spread:.3g} {unknown.unit}".strip()
    return f"{figures(unknown, unknown.usual)}, standard deviation {spread}, within {bounds}"


def source_lines(found: Fit) -> list[str]:
    """Where the bounds and spreads beforehand are from."""
    by_source: dict[str, list[str]] = {}
    for u in found.unknowns:
        by_source.setdefault(u.source, []).append(u.key)
    return [f"before the fit, {', '.join(keys)}: {source}" for source, keys in by_source.items()]


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
            f"{a} and {b} cannot be told apart by these measurements: they may move {how} "
            f"(correlation {r:+.2f}); another gauge or another setting would part them"
        )
    for k, u in enumerate(found.unknowns):
        if k not in told.frozen and told.narrowed[k] < 1.0 - NARROW:
            out.append(
                f"{u.key}: these measurements hardly say anything about it; its interval is what "
                f"was believed before"
            )
    return out


def curve_words(fitted: CurveFit) -> str:
    """How far the model is from one curve."""
    c, o = fitted.observed.column, fitted.observed
    rms = c.factor * math.sqrt(float((fitted.residual**2).mean()))
    off = c.factor * float(np.abs(fitted.unmended).max())
    text = f"{c.name}: read less computed {rms:.3g} {c.unit} (root mean square over {o.taken} "
    text += "reading" if o.taken == 1 else "readings"
    if o.gross:
        text += f", {o.gross} gross errors left out"
    return f"{text}); up to {off:.2g} {c.unit} of it no value of what was fitted can mend"


def score_words(found: Fit) -> str:
    """How a curve that was held back is predicted."""
    s = found.score
    if s is None:
        return "score: one curve alone, nothing could be held back"
    unit = next(c.observed.column for c in found.curves if c.observed.column.name == s.name)
    judged = "as it should" if s.inside >= GOOD_SHARE - 0.15 else "too few: doubt the intervals"
    return (
        f"score: fitted without {s.name}, it is predicted to {unit.factor * s.miss:.3g} "
        f"{unit.unit} (its extent is {unit.factor * s.extent:.3g}); {100 * s.inside:.0f} % of its "
        f"readings lie in the predicted 90 % band, {judged}"
    )


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
    out = [*value_lines(found), *learnt_words(found)]
    out += [
        f"clock of {name}: {best:+.2f} s ahead of the run's (90 % {low:+.2f} to {high:+.2f} s)"
        for name, (best, low, high) in found.clocks.items()
    ]
    out += [curve_words(c) for c in found.curves]
    out.append(score_words(found))
    for name, miss in found.surrogate_miss.items():
        column = next(c.observed.column for c in found.curves if c.observed.column.name == name)
        out.append(
            f"between runs {name} is known to {column.factor * miss:.2g} {column.unit}, "
            f"by runs that were left out"
        )
    finer = found.settings.finer
    graded = "no finer grade was run" if finer == "none" else f"the step to grade {finer} counted"
    out.append(f"{found.runs} runs at grade {found.settings.grade}, {graded}")
    if found.settings.grade == "sketch":
        out.append(
            "Warning: the time steps of grade sketch are longer than a swing; values may lie "
            "outside their intervals, fit at coarse or finer"
        )
    out += source_lines(found)
    if found.failed:
        out.append(f"{len(found.failed)} runs failed: {next(iter(found.failed.values()))}")
    return out
