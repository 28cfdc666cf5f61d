"""Joint kinds: each module turns the part of a case into a mesh with named regions and seams."""

from __future__ import annotations

from importlib import import_module

from weldsim.errors import CaseError

# kind -> module; a new kind is one line here and one module (see DEVELOPERS.md)
KINDS = {
    "bar": "bar",
    "square-tube-tee": "square_tube_tee",
    "round-tube-saddle": "round_tube_saddle",
    "round-tube-butt": "round_tube_butt",
    "plate-butt": "plate_butt",
    "plate-tee": "plate_tee",
    "tube-socket": "tube_socket",
    "mesh": "own_mesh.kind",
    "step": "own_step.kind",
}


FADE = 10e-3  # m of height over which a leaning piece goes over into its cut foot


def kind_of(raw: dict) -> str:
    """Kind of the part in the tables of a case file; bar where it is not a known one."""
    part = raw.get("part")
    kind = part.get("kind") if isinstance(part, dict) else None
    return kind if isinstance(kind, str) and kind in KINDS else "bar"


def joint_module(kind: str):
    """Module of a joint kind; `CaseError` names the kinds there are."""
    if kind not in KINDS:
        raise CaseError(f"[part] kind: {kind}: unknown joint, allowed: {', '.join(KINDS)}")
    return import_module(f"weldsim.joints.{KINDS[kind]}")


def blocks_of(case, grade):
    """Blocks of the case's joint at a grade."""
    return joint_module(case.part.kind).blocks(case, grade)


def seams_of(case):
    """Seam of every weld of the case in its direction of travel (see `weldsim.geometry.path`)."""
    module = joint_module(case.part.kind)
    if hasattr(module, "seam"):  # a bar's seams are where its beads are
        return tuple(module.seam(case, weld) for weld in case.welds)
    lines = module.seam_lines(case.part)
    return tuple(
        lines[w.seam].cut(w.begin, w.finish, w.direction, w.number if w.filler else 1)
        for w in case.welds
    )


def faces_of(part) -> tuple[str, ...]:
    """Named end faces of a part, for clamps and pointers."""
    module = joint_module(part.kind)
    return tuple(module.faces(part)) if hasattr(module, "faces") else tuple(module.FACES)


def lean_of(case, points):
    """How far a preset puts points (P, 3) off the straight part, (P, 3). [m]

    The free piece turns as a whole, for small angles: a point goes aside by the lean times its
    distance from the joint, and along the piece by the lean times its distance from the axis. The
    latter fades out toward the joint, where the piece is cut to stand as it leans.
    """
    import numpy as np

    module = joint_module(case.part.kind)
    if not hasattr(module, "free_height"):
        raise CaseError(f"[preset]: a {case.part.kind} has no free piece that could lean")
    axis, height = module.free_height(case, points)
    lean = np.array(case.preset, dtype=float)
    lean[axis] = 0.0
    height = np.maximum(height, 0.0)
    out = height[:, None] * np.tan(lean)
    out[:, axis] = -(points @ np.tan(lean)) * np.clip(height / FADE, 0.0, 1.0)
    return out
