"""Rigid motion of a set of points: their mean shift and turn, and how to stop it."""

from __future__ import annotations

import numpy as np

from weldsim.physics.arrays import Flags, Floats


def rigid_rotation(points: Floats) -> Floats:
    """Linear map from displacements to the best rigid rotation of some points.

    Parameters
    ----------
    points : ndarray, shape (P, 3)
        Not all on one line. [m]

    Returns
    -------
    ndarray, shape (3, 3 P)
        Least squares of u = t + theta x (r - centre) over the points. [rad/m]
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
    return np.asarray(np.linalg.pinv(design)[:3], dtype=np.float64)


def mean_motion(points: Floats) -> Floats:
    """Linear map from displacements of some points to their mean shift and turn.

    Parameters
    ----------
    points : ndarray, shape (P, 3)
        Not all on one line. [m]

    Returns
    -------
    ndarray, shape (6, 3 P)
        Three rows of shift, three of `rigid_rotation`. [1, rad/m]
    """
    shift = np.tile(np.eye(3) / len(points), len(points))
    return np.vstack([shift, rigid_rotation(points)])


def minimal_supports(points: Floats) -> Flags:
    """Six unknowns that stop rigid motion and nothing else.

    Parameters
    ----------
    points : ndarray, shape (N, 3)
        Not all on one line. [m]

    Returns
    -------
    ndarray of bool, shape (N, 3)
        Of three far-apart points the first is held in x, y, z, the second in the two directions
        across the line to it, the third in the direction out of the plane of the three. The axes
        nearest to those directions are used, so the supports carry no reaction on a free part.
    """
    fixed = np.zeros(points.shape, dtype=bool)
    first = int(np.argmin(points.sum(axis=1)))
    second = int(np.argmax(np.linalg.norm(points - points[first], axis=1)))
    line = points[second] - points[first]
    off = np.cross(points - points[first], line)
    third = int(np.argmax(np.linalg.norm(off, axis=1)))
    fixed[first] = True
    along = int(np.argmax(np.abs(line)))
    rest = [i for i in range(3) if i != along]
    fixed[second, rest] = True
    normal = np.abs(np.cross(line, points[third] - points[first]))
    fixed[third, rest[int(np.argmax(normal[rest]))]] = True
    return fixed
