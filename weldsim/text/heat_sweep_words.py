"""A row of runs at several heats, in one sentence."""

from __future__ import annotations

import math

from weldsim.studies.heat_sweep import Crossover
from weldsim.text.quantities import in_mm, per_mm, words


def crossover_words(found: Crossover) -> str:
    """The outcome in one sentence."""
    good = [p for p in found.points if p.along is not None]
    if found.at is not None:
        squared = good[0].heat / good[0].density
        return words(
            "Up to {} taken up by this bar, {} thick, the tilt toward the bead is the larger one; "
            "above it the tilt along the travel. In other bars that heat goes with the square of "
            "the thickness.",
            per_mm(found.at * squared, ".2f"), in_mm(math.sqrt(squared)),
        )  # fmt: skip
    if not good:
        return "No run of the row came to its end."
    leads = "along the travel" if abs(good[0].along) > abs(good[0].toward) else "toward the bead"
    return f"The tilts do not change places in this row: that {leads} leads throughout or first."
