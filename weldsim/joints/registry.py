"""Joint kinds by their name in a case file, and what is asked of any of them."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

import numpy as np

from weldsim.errors import CaseError

if TYPE_CHECKING:
    from weldsim.geometry.path import CurvedSeam, Seam, SeamLine
    from weldsim.joints.protocol import JointKind

# kind -> module; a new kind is one line here and one module that ends in `KIND`
KINDS = {
    "bar": "bar",
    "square-tube-tee": "square_tube_tee",
    "square-tube-frame": "square_tube_frame",
    "round-tube-saddle": "round_tube_saddle",
    "round-tube-butt": "round_tube_butt",
    "plate-butt": "plate_butt",
    "deposit": "deposit",
    "plate-tee": "plate_tee",
    "tube-socket": "tube_socket",
    "mesh": "own_mesh.kind",
    "step": "own_step.kind",
}
FADE = 10e-3  # m of height over which a leaning piece goes over into its cut foot


def kind_of(tables: dict[str, Any]) -> str:
    """Kind of the part in the tables of a case file.

    Parameters
    ----------
    tables : dict
        As TOML gives them, right or wrong.

    Returns
    -------
    str
        One of `KINDS`; bar where it is not a known one.
    """
    part = tables.get("part")
    kind = part.get("kind") if isinstance(part, dict) else None
    return kind if isinstance(kind, str) and kind in KINDS else "bar"


def joint_kind(kind: str) -> JointKind:
    """What a joint kind answers.

    Parameters
    ----------
    kind : str
        One of `KINDS`.

    Returns
    -------
    weldsim.joints.protocol.JointKind
        The same one each time.

    Raises
    ------
    CaseError
        Naming the kinds there are.
    """
    if kind not in KINDS:
        raise CaseError(f"[part] kind: {kind}: unknown joint, allowed: {', '.join(KINDS)}")
    found: JointKind = import_module(f"weldsim.joints.{KINDS[kind]}").KIND
    return found


def kind_of_case(case: Any) -> JointKind:
    """What the joint of a case answers.

    Parameters
    ----------
    case : weldsim.case.load.Case
        Whose part says its kind.

    Returns
    -------
    weldsim.joints.protocol.JointKind
        See `joint_kind`.
    """
    return joint_kind(case.part.kind)


def seam_lines_of(case: Any) -> dict[str, SeamLine]:
    """All seams of a case's part, welded or not.

    Parameters
    ----------
    case : weldsim.case.load.Case
        With its part.

    Returns
    -------
    dict of str to weldsim.geometry.path.SeamLine
        In the usual order of the kind.
    """
    return dict(kind_of_case(case).seam_lines(case.part))


def seams_of(case: Any) -> tuple[Seam | CurvedSeam, ...]:
    """Seam of every weld of a case in its direction of travel.

    Parameters
    ----------
    case : weldsim.case.load.Case
        With its part and welds.

    Returns
    -------
    tuple of Seam or CurvedSeam
        One a weld; see `weldsim.geometry.path`.
    """
    lines = seam_lines_of(case)
    return tuple(
        lines[w.seam].cut(w.begin, w.finish, w.direction, w.number if w.filler else 1)
        for w in case.welds
    )


def faces_of(part: Any) -> tuple[str, ...]:
    """Named end faces of a part, for clamps and pointers.

    Parameters
    ----------
    part : record of a joint kind
        As a case has it.

    Returns
    -------
    tuple of str
        Names.
    """
    return tuple(joint_kind(part.kind).faces(part))


def clamped_places(case: Any) -> list[np.ndarray]:
    """Middles of the clamped faces that are named places of the part.

    Parameters
    ----------
    case : weldsim.case.load.Case
        With its clamps.

    Returns
    -------
    list of ndarray, shape (3,)
        [m]
    """
    kind = kind_of_case(case)
    faces = [face for clamp in case.clamps for face in clamp.at]
    return [kind.place(case.part, face) for face in faces if kind.has_place(case.part, face)]


def lean_of(case: Any, points: np.ndarray) -> np.ndarray:
    """How far a preset puts points off the straight part.

    The free piece turns as a whole, for small angles: a point goes aside by the lean times its
    distance from the joint, and along the piece by the lean times its distance from the axis. The
    latter fades out toward the joint, where the piece is cut to stand as it leans.

    Parameters
    ----------
    case : weldsim.case.load.Case
        With its preset.
    points : ndarray, shape (P, 3)
        On the straight part. [m]

    Returns
    -------
    ndarray, shape (P, 3)
        [m]

    Raises
    ------
    CaseError
        If the joint has no piece that could lean.
    """
    free_height = kind_of_case(case).free_height
    if free_height is None:
        raise CaseError(f"[preset]: a {case.part.kind} has no free piece that could be tilted")
    axis, height = free_height(case, points)
    lean = np.array(case.preset, dtype=float)
    lean[axis] = 0.0
    height = np.maximum(height, 0.0)
    out: np.ndarray = height[:, None] * np.tan(lean)
    out[:, axis] = -(points @ np.tan(lean)) * np.clip(height / FADE, 0.0, 1.0)
    return out
