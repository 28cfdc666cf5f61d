"""The sheet a light spot is read on: four ring marks whose distances are known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# A mark is a black ring about a black disc: outer, inner and disc diameter over the outer one.
# Three outlines about one centre are rare in a workshop and are found at any exposure.
RING_INSIDE = 0.70
DISC = 0.40


@dataclass(frozen=True)
class TargetSheet:
    """Where the marks of a target are. Immutable.

    Attributes
    ----------
    width, height : float
        Between the centres of the marks, across and up. [m]
    mark : float
        Outer diameter of a mark. [m]
    """

    width: float
    height: float
    mark: float = 0.020

    def __post_init__(self) -> None:
        if not (0.02 <= self.width <= 10.0 and 0.02 <= self.height <= 10.0):
            raise ValueError(
                f"marks {1e3 * self.width:g} mm by {1e3 * self.height:g} mm apart, "
                f"allowed: 20 mm to 10 m each way"
            )

    @property
    def marks(self) -> Floats:
        """Centres: upper left, upper right, lower right, lower left; (4, 2), right and up. [m]"""
        w, h = 0.5 * self.width, 0.5 * self.height
        return np.array([[-w, h], [w, h], [w, -h], [-w, -h]])


@dataclass(frozen=True)
class Paper:
    """A size of paper and the sheet that fits on it.

    Attributes
    ----------
    width, height : float
        Of the paper, upright. [m]
    sheet : TargetSheet
        Its marks keep 20 mm or more from the edges, which printers leave white.
    """

    width: float
    height: float
    sheet: TargetSheet


PAPERS = {  # ISO 216 and ANSI/ASME Y14.1 sizes
    "A4": Paper(0.210, 0.297, TargetSheet(0.160, 0.240)),
    "A3": Paper(0.297, 0.420, TargetSheet(0.240, 0.360)),
    "letter": Paper(0.2159, 0.2794, TargetSheet(0.160, 0.220)),
    "tabloid": Paper(0.2794, 0.4318, TargetSheet(0.220, 0.360)),
}
