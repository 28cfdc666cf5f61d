"""A row of runs at several heats, in one sentence."""

from __future__ import annotations

from weldsim.studies.heat_sweep import Crossover


def crossover_words(found: Crossover) -> str:
    """The outcome in one sentence."""
    good = [p for p in found.points if p.along is not None]
    if found.at is not None:
        return (
            f"Under {1e-9 * found.at:.3g} J/mm of travel for each mm2 of (thickness x thickness), "
            "the tilt toward the bead is the larger one; above it the tilt along the travel."
        )
    if not good:
        return "No run of the row came to its end."
    leads = "along the travel" if abs(good[0].along) > abs(good[0].toward) else "toward the bead"
    return f"The tilts do not change places in this row: that {leads} leads throughout or first."
