"""A correction in words: which line to draw or bead to lay, and where it brings the part."""

from __future__ import annotations

from weldsim.studies.correction import Correction
from weldsim.text.cautions import beside


def correction_words(found: Correction) -> list[str]:
    """In plain words what to do and where it ends."""
    target = found.target
    start = f"{target.gauge.name} stands {target.said(found.before_size)} off after welding."
    best = found.best
    if best is None:
        tried = len(found.outcomes)
        return [start, f"None of {len(found.promise)} {found.kind}s helps ({tried} runs in full)."]
    how = f"A {best.words} with {best.power:.0f} W into the part"
    if found.limit is not None:
        how += f" (hottest spot {best.peak - 273.15:.0f} degC, limit {found.limit - 273.15:.0f})"
    act, asked = {
        "line": ("Draw one line", "this metal may be heated at all, and how far,"),
        "bead": ("Lay one bead", "one more weld may lie there"),
    }[found.kind]
    words = [start, f"{how} brings it to {target.said(best.size)}, {_how_sure(found)}."]
    if found.error is not None and found.before_size - best.size < found.error:
        words.append("It gains less than the estimated error: whether it helps is not sure.")
    return [
        *words,
        f"{act}, let it cool, measure, then decide about the next.",
        f"Whether {asked} is for its standard and the qualified procedure to say.",
    ]


def _how_sure(found: Correction) -> str:
    if found.error is None:
        return found.estimate.how
    return (
        f"estimated error {found.shown_error:.2g} ({found.estimate.how}): "
        f"{beside(found.verdict)}, tolerance {found.target.tolerance}"
    )
