"""Heat of the arc at an instant, put together from its two shapes.

The program itself only needs averages over a step; what they average is checked here.
"""

import numpy as np

from weldsim.physics.heat_source import DoubleEllipsoid, along, cross_section, laps


def heat_density(position: np.ndarray, time: float, arc: DoubleEllipsoid) -> np.ndarray:
    """Heat per volume at places (P, 3) [m] at a time after the start of travel [s]. [W/m3]"""
    way, y, z = arc.seam.local(position)
    here = sum(along(way + lap - arc.speed * time, arc) for lap in laps(arc.seam))
    return arc.power * here * cross_section(y, z, arc)
