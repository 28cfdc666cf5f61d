"""The four marks of a target in a picture: found once, then followed from frame to frame."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from weldsim.measurements.clip_frames import image_library
from weldsim.measurements.target_sheet import DISC, RING_INSIDE

Floats = NDArray[np.float64]

SMALLEST_MARK = 8.0  # outer diameter in pixels; below it the rings run into each other
AREA_BAND = 2.2  # inner areas may be off by this factor: blur eats the disc, light the ring
OFF_CENTRE = 0.2  # of the outer radius, between the centres of the three outlines
NOT_ROUND = 0.2  # share by which an outline's area may miss that of its ellipse


def find_marks(grey: NDArray[np.uint8]) -> tuple[Floats, float] | None:
    """Marks anywhere in a picture.

    Parameters
    ----------
    grey : ndarray of uint8, shape (H, W)
        The camera upright to within 40 degrees.

    Returns
    -------
    centres : ndarray, shape (4, 2)
        Upper left, upper right, lower right, lower left; to a fraction of a pixel. [pixel]
    radius : float
        Mean outer radius. [pixel]
        None in place of both where the four are not there.
    """
    cv2 = image_library()
    soft = cv2.GaussianBlur(grey, (0, 0), 0.8)
    block = max(31, (min(grey.shape) // 8) | 1)
    pictures = [
        cv2.threshold(soft, 0, 255, cv2.THRESH_BINARY_INV + cv2.THRESH_OTSU)[1],
        cv2.adaptiveThreshold(
            soft, 255, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY_INV, block, 7
        ),
    ]
    for picture in pictures:
        found = _ringed(cv2, picture)
        if len(found) >= 4:
            corners = _corners(np.array(found))
            if corners is not None:
                radius = float(corners[:, 2].mean())
                centres = follow_marks(grey, corners[:, :2], radius)
                return (corners[:, :2] if centres is None else centres), radius
    return None


def _ringed(cv2: Any, picture: NDArray[np.uint8]) -> list[tuple[float, float, float]]:
    """Centre and radius of each disc in a ring."""
    outlines, tree = cv2.findContours(picture, cv2.RETR_TREE, cv2.CHAIN_APPROX_NONE)
    out: list[tuple[float, float, float]] = []
    if tree is None:
        return out
    areas = [cv2.contourArea(c) for c in outlines]
    for k in range(len(outlines)):
        hole = tree[0][k][2]
        if hole < 0 or areas[k] < np.pi * (SMALLEST_MARK / 2) ** 2:
            continue
        while tree[0][hole][0] >= 0 and tree[0][hole][2] < 0:  # specks beside the hole
            hole = tree[0][hole][0]
        disc = tree[0][hole][2]
        if disc < 0:
            continue
        disc = max(_siblings(tree[0], disc), key=lambda j: areas[j])
        shares = areas[hole] / areas[k] / RING_INSIDE**2, areas[disc] / areas[k] / DISC**2
        if not all(1.0 / AREA_BAND < s < AREA_BAND for s in shares):
            continue
        centres = [_centre(cv2, outlines[j]) for j in (k, hole, disc)]
        radius = float(np.sqrt(areas[k] / np.pi))
        spread = max(np.hypot(*(a - centres[0])) for a in centres[1:])
        if spread < max(OFF_CENTRE * radius, 1.0) and _round(cv2, outlines[k], areas[k]):
            out.append((*centres[0], radius))
    return out


def _siblings(tree: Any, first: int) -> list[int]:
    out = [first]
    while tree[out[-1]][0] >= 0:
        out.append(tree[out[-1]][0])
    return out


def _centre(cv2: Any, outline: Any) -> Floats:
    m = cv2.moments(outline)
    if m["m00"] == 0:
        return np.asarray(outline.reshape(-1, 2).mean(axis=0), dtype=np.float64)
    return np.array([m["m10"] / m["m00"], m["m01"] / m["m00"]])


def _round(cv2: Any, outline: Any, area: float) -> bool:
    if len(outline) < 8:
        return False
    _, (a, b), _ = cv2.fitEllipse(outline)
    ellipse = np.pi * a * b / 4.0
    if ellipse <= 0 or min(a, b) <= 0.35 * max(a, b):
        return False
    return bool(abs(area / ellipse - 1.0) < NOT_ROUND)


def _corners(found: Floats) -> Floats | None:
    """Four of the marks as corners in order; None where they are no quadrangle."""
    if len(found) > 4:  # something else has rings: the four of most equal size
        order = np.argsort(found[:, 2])
        sizes = found[order, 2]
        k = int(np.argmin(sizes[3:] / sizes[:-3]))
        found = found[order[k : k + 4]]
    x, y = found[:, 0], found[:, 1]
    picks = [np.argmin(x + y), np.argmax(x - y), np.argmax(x + y), np.argmin(x - y)]
    return found[picks] if len(set(map(int, picks))) == 4 else None


def follow_marks(grey: NDArray[np.uint8], last: Floats, radius: float) -> Floats | None:
    """Marks near where they were.

    Parameters
    ----------
    grey : ndarray of uint8, shape (H, W)
        The next picture.
    last : ndarray, shape (4, 2)
        Centres in the one before. [pixel]
    radius : float
        Outer radius. [pixel]

    Returns
    -------
    ndarray or None, shape (4, 2)
        Centres as the centre of darkness, which blur does not shift; None where one is hidden or
        has gone farther than its own radius.
    """
    out = np.array(last, dtype=float)
    for k in range(4):
        start = out[k].copy()
        for _ in range(6):
            centre = _darkness(grey, out[k], 1.35 * radius)
            if centre is None or np.hypot(*(centre - start)) > 1.5 * radius:
                return None
            moved = float(np.hypot(*(centre - out[k])))
            out[k] = centre
            if moved < 0.01:
                break
    return out


def _darkness(grey: NDArray[np.uint8], centre: Floats, reach: float) -> Floats | None:
    """Centre of what is darker than its surroundings, within a disc whose rim fades out."""
    h, w = grey.shape
    x0, y0 = int(np.floor(centre[0] - reach - 1)), int(np.floor(centre[1] - reach - 1))
    x1, y1 = int(np.ceil(centre[0] + reach + 1)) + 1, int(np.ceil(centre[1] + reach + 1)) + 1
    if x0 < 0 or y0 < 0 or x1 > w or y1 > h:
        return None
    window = grey[y0:y1, x0:x1].astype(np.float64)
    y, x = np.mgrid[y0:y1, x0:x1]
    inside = np.clip(reach - np.hypot(x - centre[0], y - centre[1]) + 0.5, 0.0, 1.0)
    seen = window[inside > 0.5]
    white, black = np.percentile(seen, (85, 10))
    if white - black < 12.0:  # grey levels: nothing that could be told from noise
        return None
    weight = inside * np.clip((white - window) / (white - black) - 0.15, 0.0, 1.0)
    total = float(weight.sum())
    return np.array([float((weight * x).sum()), float((weight * y).sum())]) / total
