"""Gauges: what a person can read off the part, as SI numbers under a `Column`.

A pointer is a light beam fixed to a patch of the part. Its rotation is the least-squares rigid
rotation of the patch; the spot on a target at distance `throw` moves by throw times the tilt of
the beam plus the movement of the patch itself. Up and right are as seen looking along the aim,
right = aim x up. Dial, bow and thermocouple read interpolated displacement and temperature.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from weldsim.errors import CaseError
from weldsim.schema.column import Column

AXES = {"x": 0, "y": 1, "z": 2}


def unit_axis(text: str) -> np.ndarray:
    """Unit vector of an axis written like "+x" or "-z", shape (3,)."""
    out = np.zeros(3)
    out[AXES[text[-1]]] = -1.0 if text.startswith("-") else 1.0
    return out


@dataclass(frozen=True)
class Probe:
    """A gauge bound to a mesh: linear maps from displacement or temperature to its readings.

    Attributes
    ----------
    columns : one for each reading
    displacement_map : sparse matrix (readings, 3 N) or None
    temperature_map : sparse matrix (readings, Nh) or None
    reaction_map : sparse matrix (readings, 3 N) or None
    """

    columns: tuple[Column, ...]
    displacement_map: object = None
    temperature_map: object = None
    reaction_map: object = None

    def read(self, temperature, displacement, reaction=None) -> dict[Column, float]:
        """Readings at a temperature (Nh,) [K], displacement (N, 3) [m], reaction (N, 3) [N].

        In SI: [rad, m, K, N, N m].
        """
        if self.reaction_map is not None:
            values = self.reaction_map @ reaction.ravel()
        elif self.displacement_map is not None:
            values = self.displacement_map @ displacement.ravel()
        else:
            values = self.temperature_map @ temperature
        return {c: float(v) for c, v in zip(self.columns, values, strict=True)}


def rigid_rotation(points: np.ndarray) -> np.ndarray:
    """Linear map from displacements of points (P, 3) to their best rigid rotation, (3, 3 P).

    Least squares of u = t + theta x (r - centre) over the points.
    """
    arm = points - points.mean(axis=0)
    count = len(points)
    spin = np.zeros((count, 3, 3))  # theta -> theta x arm
    spin[:, 0, 1], spin[:, 0, 2] = arm[:, 2], -arm[:, 1]
    spin[:, 1, 0], spin[:, 1, 2] = -arm[:, 2], arm[:, 0]
    spin[:, 2, 0], spin[:, 2, 1] = arm[:, 1], -arm[:, 0]
    design = np.zeros((3 * count, 6))
    design[:, :3] = spin.reshape(-1, 3)
    design[:, 3:] = np.tile(np.eye(3), (count, 1))
    return np.linalg.pinv(design)[:3]


def pointer(name, points, patch, aim, up, throw) -> Probe:
    """Probe of a light beam fixed to the points in `patch`.

    Parameters
    ----------
    points : ndarray, shape (N, 3)
        Displacement points. [m]
    patch : ndarray of int
    aim, up : ndarray, shape (3,)
        Unit vectors.
    throw : float
        Distance from the patch to the target. [m]
    """
    import scipy.sparse as sp

    if abs(np.dot(aim, up)) > 1e-9:
        raise CaseError(f"gauge {name}: up must be at right angles to aim")
    right = np.cross(aim, up)
    rotation = rigid_rotation(points[patch])
    tilt = np.array([np.cross(aim, e) for e in (up, right)])  # (theta x aim).e = theta.(aim x e)
    angles = tilt @ rotation
    shift = np.zeros((2, 3 * len(patch)))
    for i, e in enumerate((up, right)):
        shift[i] = np.tile(e / len(patch), len(patch))
    rows = np.vstack([angles, throw * angles + shift])
    columns = (3 * patch[:, None] + np.arange(3)).ravel()
    full = sp.lil_matrix((4, 3 * len(points)))
    full[:, columns] = rows
    read = [Column(name, d, unit) for unit in ("mrad", "mm") for d in ("up", "right")]
    return Probe(tuple(read), full.tocsr())


def reaction_probe(name, points, clamped) -> Probe:
    """Force and moment of a clamp on the part, the moment about the middle of what it grips."""
    import scipy.sparse as sp

    arm = points[clamped] - points[clamped].mean(axis=0)
    full = sp.lil_matrix((6, 3 * len(points)))
    for i in range(3):
        full[i, 3 * clamped + i] = 1.0
        j, k = (i + 1) % 3, (i + 2) % 3  # moment i = arm j force k - arm k force j
        full[3 + i, 3 * clamped + k] = arm[:, j]
        full[3 + i, 3 * clamped + j] = -arm[:, k]
    read = [Column(name, f"F{a}", "N") for a in "xyz"] + [
        Column(name, f"M{a}", "Nm") for a in "xyz"
    ]
    return Probe(tuple(read), reaction_map=full.tocsr())


def mean_motion(points: np.ndarray) -> np.ndarray:
    """Linear map from displacements of points (P, 3) to mean shift and rotation, (6, 3 P)."""
    shift = np.tile(np.eye(3) / len(points), len(points))
    return np.vstack([shift, rigid_rotation(points)])


def _displacement_rows(model, places, weights, direction):
    """Sum of weighted displacement along a direction at places (K, 3), one row."""
    import scipy.sparse as sp

    values = model.locate(places)  # (K, Nh) interpolation on lattice points
    combined = sp.csr_matrix(np.asarray(weights)[None, :]) @ values @ model.spread  # (1, N)
    return sp.kron(combined, sp.csr_matrix(direction[None, :]), format="csr")


def bind(gauge, model) -> Probe:
    """Bind a gauge of the case to a model's mesh.

    `model` offers `points` (N, 3), `boundaries`, `locate(places)` -> interpolation matrix on the
    lattice points, `spread` -> displacement points to lattice points, `place(at)` -> coordinates.
    """
    if gauge.kind == "pointer":
        patch = model.boundaries[gauge.at]
        patch = patch[patch < len(model.points)]
        return pointer(
            gauge.name, model.points, patch, unit_axis(gauge.aim), unit_axis(gauge.up), gauge.throw
        )
    if gauge.kind == "thermocouple":
        rows = model.locate(model.place(gauge.at)[None, :])
        return Probe((Column(gauge.name, "temperature", "degC"),), temperature_map=rows)
    if gauge.kind == "gap":
        import scipy.sparse as sp

        below, above = (np.asarray(p, dtype=float) for p in model.gap_places(gauge.at))
        direction = (above - below) / np.linalg.norm(above - below)
        one, two = model.nearest_points([below, above])
        rows = sp.lil_matrix((1, 3 * len(model.points)))
        rows[0, 3 * one : 3 * one + 3] = -direction
        rows[0, 3 * two : 3 * two + 3] = direction
        return Probe((Column(gauge.name, "opening", "mm"),), rows.tocsr())
    if gauge.kind == "reaction":
        return reaction_probe(gauge.name, model.points, model.clamp_points(gauge.at))
    direction = unit_axis(gauge.direction)
    if gauge.kind == "dial":
        rows = _displacement_rows(model, model.place(gauge.at)[None, :], [1.0], direction)
        return Probe((Column(gauge.name, "travel", "mm"),), rows)
    if gauge.kind == "bow":
        places = np.array([model.place(n) for n in model.bow_places()])
        rows = _displacement_rows(model, places, [-0.5, 1.0, -0.5], direction)
        return Probe((Column(gauge.name, "bow", "mm"),), rows)
    raise CaseError(f"gauge {gauge.name}: kind {gauge.kind} is unknown")
