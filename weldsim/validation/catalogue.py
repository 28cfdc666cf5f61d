"""All checks, in the order in which they are shown, and what was never compared."""

from __future__ import annotations

from weldsim.errors import WeldsimError
from weldsim.validation import (
    bridge,
    cooling,
    measured_block,
    second_mechanics,
    shrinkage,
    suite,
    tendon,
    thick_plate,
    tracks,
    tube_joints,
)
from weldsim.validation.rows import GROUPS, Check

CHECKS: tuple[Check, ...] = (
    *tracks.CHECKS, *thick_plate.CHECKS, *bridge.CHECKS, *cooling.CHECKS, *tendon.CHECKS,
    *shrinkage.CHECKS, *tube_joints.CHECKS, *suite.CHECKS, *second_mechanics.CHECKS,
    *measured_block.CHECKS,
)  # fmt: skip

# What no row speaks about. Plain sentences: a stranger should not have to guess.
NEVER_COMPARED = (
    "The movement of a welded bar, tee, frame, saddle, butt or socket with measurements of one "
    "like it: the rules and closed forms here are about plates, bars and single beads.",
    "Which sequence of welds ends best, with a measured pair of sequences: orders and sides are "
    "compared in sign alone, with common practice.",
    "Residual stress of a welded joint with measured stress; that of one block of beads is.",
    "Springs of clamps, forced cooling and clamps that open while the part is hot, with "
    "measurements.",
    "Gaps that open and close, tacks that crack, and fit-up, with measurements.",
    "Stainless steel and aluminium, with measured movements; their curves come from standards.",
    "Buckling of thin plates: strains and rotations are small in all of weldsim.",
    "The shape of the weld pool and of the bead, with sections of arc welds.",
)


def checks_of(only: list[str] | None, quick: bool) -> list[Check]:
    """Checks by name or by group.

    Parameters
    ----------
    only : list of str, optional
        Names or groups; all when left out.
    quick : bool
        Leave out the long ones, unless they are named.

    Returns
    -------
    list of Check
        In the order of the catalogue.

    Raises
    ------
    WeldsimError
        For a name that is neither.
    """
    names = {c.name for c in CHECKS}
    for wanted in only or ():
        if wanted not in names and wanted not in GROUPS:
            allowed = ", ".join([*GROUPS, *sorted(names)])
            raise WeldsimError(f"--only {wanted!r} is not allowed, allowed: {allowed}")
    if not only:
        return [c for c in CHECKS if c.quick or not quick]
    return [
        c for c in CHECKS
        if c.name in only or (c.group in only and (c.quick or not quick))
    ]  # fmt: skip
