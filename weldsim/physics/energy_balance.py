"""Where the heat of a run went."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class EnergyBalance:
    """Heat since the start; `supplied` = `stored` + `lost`.

    Attributes
    ----------
    supplied : float
        By the arcs. [J]
    lost : float
        To the air and into the clamps. [J]
    stored : float
        Taken up by the metal, each piece counted from the heat it came with: the part from its
        preheat, filler from the ambient temperature at which it joined. [J]
    """

    supplied: float = 0.0
    lost: float = 0.0
    stored: float = 0.0

    @property
    def gap(self) -> float:
        """Heat not accounted for over the heat supplied (over the heat lost without an arc)."""
        scale = max(abs(self.supplied), abs(self.lost), 1e-30)
        return abs(self.supplied - self.stored - self.lost) / scale
