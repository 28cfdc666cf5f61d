"""Where the torch is: straight seams with a local frame.

The frame of a seam: `travel` along the bead in the direction of welding, `inward` from the
surface into the part, `across` completing a right-handed set.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Seam:
    """A straight seam on a surface.

    Attributes
    ----------
    start, end : ndarray, shape (3,)
        First and last place of the arc on the base surface. [m]
    inward : ndarray, shape (3,)
        Unit vector from the surface into the part.
    """

    start: np.ndarray
    end: np.ndarray
    inward: np.ndarray

    @property
    def length(self) -> float:
        return float(np.linalg.norm(self.end - self.start))

    @property
    def travel(self) -> np.ndarray:
        return (self.end - self.start) / self.length

    @property
    def across(self) -> np.ndarray:
        return np.cross(self.inward, self.travel)

    def local(self, points: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Distance along the seam, across it and into the part, each of shape (P,). [m]"""
        d = points - self.start
        return d @ self.travel, d @ self.across, d @ self.inward
