"""Joint kinds: each module turns the part of a case into blocks with named regions and faces."""

from __future__ import annotations

from weldsim.errors import CaseError


def joint_module(kind: str):
    """Module of a joint kind; `CaseError` names the kinds there are."""
    if kind == "bar":
        from weldsim.joints import bar

        return bar
    raise CaseError(f"[part] kind: {kind}: unknown joint, allowed: bar")


def blocks_of(case, grade):
    """Blocks of the case's joint at a grade."""
    return joint_module(case.part.kind).blocks(case, grade)


def seams_of(case):
    """Seam of every weld of the case, in order (see `weldsim.path.Seam`)."""
    module = joint_module(case.part.kind)
    return tuple(module.seam(case, weld) for weld in case.welds)
