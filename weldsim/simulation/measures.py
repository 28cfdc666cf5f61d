"""What a state says of itself: where a result leaves the ground the model stands on."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from weldsim.physics.plasticity import SOFT_RANGE
from weldsim.simulation.model import Model
from weldsim.simulation.state import State

# K, hottest temperature from which metal counts as weld zone: a choice; in it the stress is of the
# order of the yield stress, and cells shear by percents, which turns them without turning the part
WELD_ZONE = 873.15
# K, where the main metal boils at one atmosphere (CRC Handbook of Chemistry and Physics: iron
# 2861 degC, aluminium 2519 degC; from memory). A pool stays some hundred kelvin below: it
# evaporates, which the model leaves out.
IRON_BOILS, ALUMINIUM_BOILS = 3134.0, 2792.0
LIGHT_METAL = 1000.0  # K; alloys that melt below are of aluminium here
LEAST_SHARE = 0.01  # of the points of a piece; less than that is a splash, not a part of it


def largest_rotation(model: Model, state: State) -> float:
    """Largest rotation of a cell of the part that never was in the weld zone.

    Parameters
    ----------
    model : Model
        Of the part.
    state : State
        At the end of a run.

    Returns
    -------
    float
        From the cell's mean displacement gradient. Filler is left out: it moves with the part and
        shears by percents as it joins. [rad]
    """
    m = model.mechanics
    u = state.displacement[m.cells]
    h = np.einsum("cqdn,cni,cq->cid", m.grad, u, m.weight) / m.weight.sum(axis=1)[:, None, None]
    spin = 0.5 * (h - np.swapaxes(h, 1, 2))
    size = np.sqrt(0.5 * (spin**2).sum(axis=(1, 2)))
    cold = model.at_quadrature(state.peak_temperature).max(axis=1) < WELD_ZONE
    cold &= model.active_points(state).all(axis=1)
    stiff = np.zeros(len(size), dtype=bool)
    stiff[model.part.regions["part"]] = True
    return float(size[stiff & cold].max(initial=0.0))


def hottest(state: State) -> float:
    """Highest temperature the metal had so far.

    Parameters
    ----------
    state : State
        At any time.

    Returns
    -------
    float
        [K]
    """
    return float(state.peak_temperature.max())


def boiling_temperature(model: Model) -> float:
    """Temperature at which the main metal of the part boils.

    Parameters
    ----------
    model : Model
        Of the part.

    Returns
    -------
    float
        Of iron, or of aluminium where the alloy melts below 1000 K. [K]
    """
    return ALUMINIUM_BOILS if model.material.solidus < LIGHT_METAL else IRON_BOILS


class PartingWatch:
    """Looks out for a part that falls in two because a whole cross-section is liquid.

    Points of the part that are below the liquidus are joined where they share a cell. Where they
    make other pieces than all points of the part do, a cross-section between is liquid through and
    through; what holds less than `LEAST_SHARE` of the piece it belonged to is no piece. Filler does
    not count: a bead that bridges two pieces is liquid at first.

    Parameters
    ----------
    model : Model
        Of the part.
    """

    def __init__(self, model: Model) -> None:
        lattice, part = model.part.lattice, model.part
        self._liquidus = float(model.material.liquidus)
        self._soft = float(model.material.softening_temperature) + SOFT_RANGE
        cells = lattice.heat_cells[np.isin(lattice.heat_parent, part.regions["part"])]
        self._points, corners = np.unique(cells, return_inverse=True)
        self._corners = corners.reshape(cells.shape)
        every = np.ones(len(self._points), dtype=bool)
        self._home = np.unique(self._labels(every), return_inverse=True)[1]
        self._least = LEAST_SHARE * np.bincount(self._home)

    def parts(self, state: State) -> bool:
        """Whether a cross-section is liquid, so that nothing solid holds the part together.

        Parameters
        ----------
        state : State
            At any time.

        Returns
        -------
        bool
            True where the solid metal makes other pieces than the part does.
        """
        return self._apart(state.temperature[self._points] < self._liquidus)

    def hinges(self, state: State) -> bool:
        """Whether a cross-section is too hot through and through to carry anything.

        Parameters
        ----------
        state : State
            At any time.

        Returns
        -------
        bool
            True where the metal that carries makes other pieces than the part does.
        """
        return self._apart(state.temperature[self._points] < self._soft)

    def _apart(self, solid: NDArray[np.bool_]) -> bool:
        """Whether the solid points make other pieces than all points do."""
        if solid.all():
            return False
        _, first, count = np.unique(
            self._labels(solid)[solid], return_index=True, return_counts=True
        )
        home = self._home[solid][first]
        return int((count > self._least[home]).sum()) != len(self._least)

    def _labels(self, solid: NDArray[np.bool_]) -> NDArray[np.int32]:
        """Number of the piece that each point belongs to where the solid ones hold together."""
        from scipy.sparse import coo_matrix
        from scipy.sparse.csgraph import connected_components

        cells, point = len(self._corners), self._corners.ravel()
        cell = np.repeat(np.arange(cells), point.size // max(cells, 1))
        held = solid[point]
        size = cells + len(solid)
        entries = (np.ones(int(held.sum())), (cell[held], cells + point[held]))
        label = connected_components(coo_matrix(entries, (size, size)), directed=False)[1]
        return np.asarray(label[cells:])
