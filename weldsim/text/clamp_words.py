"""A clamp search in words: what to clamp, where the gauge ends, and what the others gave."""

from __future__ import annotations

from weldsim.studies.clamp_search import ClampSearch, clamp_tables
from weldsim.text.measure_words import (
    error_said,
    short_size,
    size_words,
    tolerance_said,
    verdict_said,
)
from weldsim.text.quantities import words
from weldsim.text.tilts import sized


def clamp_lines(found: ClampSearch) -> list[str]:
    """What to paste into the case."""
    lines = []
    for clamp in clamp_tables(found.best.faces):
        lines += ["[[clamp]]", *(f'{k} = "{v}"' for k, v in clamp.items())]
    return lines


def clamp_words(found: ClampSearch) -> list[str]:
    """In plain words what to do, where it ends, how sure that is, and what the others gave."""
    best, target = found.best, found.target
    lines: list[str] = ["Clamp nothing more."]
    if best.faces:
        places = " and the ".join(best.faces)
        lines = [
            words(
                "Clamp the {} until the part is cold; the clamps bear up to {}.",
                places, sized(float(f"{best.force:.1e}"), "N", 2),
            )
        ]  # fmt: skip
    lines.append(
        words(
            "{} then ends {} from zero, tolerance {}: {}; {}.",
            target.gauge.name, size_words(target, best.size, 2), tolerance_said(target),
            verdict_said(found.error, found.verdict),
            error_said(target, found.error, found.estimate.how),
        )
    )  # fmt: skip
    for other in found.choices[1:]:
        name = " and ".join(other.faces) or "nothing more"
        ends = f"not computed: {other.error}"
        if not other.error:
            ends = words("ends {} from zero", short_size(target, other.size))
        lines.append(words("  {} clamped: {}", name, ends))
    if found.untried:
        lines.append(f"  {found.untried} larger sets of faces were not tried")
    if best.faces:
        lines.append(
            "What is clamped keeps stress instead of moving: stand clear and loosen clamps bit by "
            "bit."
        )
    return lines
