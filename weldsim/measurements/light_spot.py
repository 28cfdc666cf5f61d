"""The light spot on a target seen straight on: where, to a fraction of a pixel, and how surely."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from weldsim.measurements.clip_frames import image_library

Pixels = NDArray[np.float32]

SEEN = 8.0  # times the scatter of the paper from which a peak is taken for the spot
WIDEST_SPOT = 0.030  # diameter that still counts as a spot; what is wider is glare [m]
CORE = 0.4  # share of the peak above which light counts for the centre
RIVAL = 0.8  # share of the peak at which a second spot makes the frame useless
SIGNALS = ("bright", "red", "green")


class SpotSeen(NamedTuple):
    """What one frame shows.

    Attributes
    ----------
    x, y : float
        Centre. [pixel]
    surety : float
        Height of its peak over the scatter of the paper.
    area : float
        Of what is brighter than half its peak. [pixel^2]
    flag : str
        Empty where it can be used; "lost", "glare" or "two spots" where not.
    """

    x: float
    y: float
    surety: float
    area: float
    flag: str


def spot_signal(picture: NDArray[np.uint8], kind: str, scale: float) -> Pixels:
    """What stands out of the paper as a small bright spot.

    Parameters
    ----------
    picture : ndarray of uint8, shape (H, W, 3)
        Target seen straight on; blue, green, red.
    kind : str
        One of `SIGNALS`: brighter, redder or greener than its surroundings.
    scale : float
        [pixel/m]

    Returns
    -------
    ndarray of float32, shape (H, W)
        Zero where nothing stands out. [grey levels]
    """
    cv2 = image_library()
    blue, green, red = cv2.split(picture.astype(np.float32))
    level = {
        "bright": (blue + green + red) / 3.0,
        "red": red - 0.5 * (green + blue),
        "green": green - 0.5 * (red + blue),
    }[kind]
    soft = cv2.GaussianBlur(level, (0, 0), 1.0)
    size = max(5, int(1.5 * WIDEST_SPOT * scale) | 1)
    kernel = cv2.getStructuringElement(cv2.MORPH_RECT, (size, size))
    out: Pixels = cv2.morphologyEx(soft, cv2.MORPH_TOPHAT, kernel, borderType=cv2.BORDER_REPLICATE)
    return out


def find_spot(signal: Pixels, usable: NDArray[np.bool_], scale: float) -> SpotSeen:
    """The spot in what stands out.

    Parameters
    ----------
    signal : ndarray of float32, shape (H, W)
        From `spot_signal`.
    usable : ndarray of bool, shape (H, W)
        Where it may be: not on the marks.
    scale : float
        [pixel/m]

    Returns
    -------
    SpotSeen
        With a flag where it is not to be used.
    """
    cv2 = image_library()
    level = np.where(usable, signal, 0.0).astype(np.float32)
    paper = level[usable]
    middle = float(np.median(paper))
    noise = 1.4826 * float(np.median(np.abs(paper - middle))) + 0.5  # half a grey level at least
    at = int(np.argmax(level))
    row, column = divmod(at, level.shape[1])
    peak = float(level[row, column]) - middle
    surety = peak / noise
    if surety < SEEN:
        return SpotSeen(float(column), float(row), surety, 0.0, "lost")
    core = (level - middle > CORE * peak).astype(np.uint8)
    count, names = cv2.connectedComponents(core, connectivity=8)
    own = names == names[row, column]
    weight = np.where(own, level - middle - CORE * peak, 0.0)
    rows, columns = np.nonzero(own)
    w = weight[rows, columns]
    x, y = float((w * columns).sum() / w.sum()), float((w * rows).sum() / w.sum())
    area = float(np.count_nonzero(own & (level - middle > 0.5 * peak)))
    rest = np.where(own, 0.0, level - middle)
    flag = ""
    if area > np.pi / 4.0 * (WIDEST_SPOT * scale) ** 2:
        flag = "glare"
    elif count > 2 and float(rest.max()) > RIVAL * peak:
        flag = "two spots"
    return SpotSeen(x, y, surety, area, flag)
