"""A correction in words: which line to draw or bead to lay, and where it brings the part."""

from __future__ import annotations

from weldsim.studies.correction import Correction
from weldsim.text.cautions import beside
from weldsim.text.measure_words import error_said, size_words, tolerance_said
from weldsim.text.quantities import Words, as_written, quantity, words


def correction_words(found: Correction) -> list[str]:
    """In plain words what to do and where it ends."""
    target, best = found.target, found.best
    before = size_words(target, found.before_size)
    start = words("{} stands {} from zero after welding.", target.gauge.name, before)
    if best is None:
        tried = len(found.outcomes)
        return [start, f"None of {len(found.promise)} {found.kind}s helps ({tried} runs in full)."]
    how = words("A {} with {} W into the part", as_written(best.words), f"{best.power:.0f}")
    if found.limit is not None:
        hottest, limit = (quantity(t - 273.15, "degC", ".0f") for t in (best.peak, found.limit))
        how = words("{} (hottest spot {}, limit {})", how, hottest, limit)
    act, asked = {
        "line": ("Draw one line", "this metal may be heated at all, and how far,"),
        "bead": ("Lay one bead", "one more weld may lie there"),
    }[found.kind]
    lines = [
        start,
        words("{} brings it to {}, {}.", how, size_words(target, best.size), _how_sure(found)),
    ]
    if found.error is not None and found.before_size - best.size < found.error:
        lines.append("It gains less than the estimated error: whether it helps is not sure.")
    return [
        *lines,
        f"{act}, let it cool, measure, then decide about the next.",
        f"Whether {asked} is for its standard and the qualified procedure to say.",
    ]


def _how_sure(found: Correction) -> Words:
    sure = error_said(found.target, found.error, found.estimate.how)
    if found.error is None:
        return sure
    limit = tolerance_said(found.target)
    return words("{}: {}, tolerance {}", sure, beside(found.verdict), limit)
