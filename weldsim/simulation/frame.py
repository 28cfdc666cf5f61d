"""Fields of a state on the heat cells, for pictures and files."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from weldsim.physics.arrays import Flags, Floats
from weldsim.physics.plasticity import von_mises
from weldsim.simulation.model import Model
from weldsim.simulation.state import State


@dataclass(frozen=True)
class Frame:
    """Fields on Nh lattice points and H heat cells.

    Attributes
    ----------
    time : float
        [s]
    temperature : ndarray, shape (Nh,)
        [K]
    displacement : ndarray, shape (Nh, 3)
        Filler drawn riding on the part: melt has no shape to keep. [m]
    active : ndarray of bool, shape (H,)
        Cells that are there.
    von_mises : ndarray, shape (H,)
        [Pa]
    equivalent_plastic_strain : ndarray, shape (H,)
        Zero in the `elastic` model. [1]
    inherent_strain : ndarray, shape (H,), optional
        Of the `elastic` model, negative for shrinkage; None in the `plastic` one. [1]
    stress : ndarray, shape (H, 6), optional
        xx yy zz xy yz xz, the order of a symmetric tensor in VTK's files; None where not kept. [Pa]
    plastic_strain : ndarray, shape (H, 6), optional
        In that order, shears of the tensor. [1]
    """

    time: float
    temperature: Floats
    displacement: Floats
    active: Flags
    von_mises: Floats
    equivalent_plastic_strain: Floats
    inherent_strain: Floats | None = None
    stress: Floats | None = None
    plastic_strain: Floats | None = None


def field_frame(model: Model, state: State) -> Frame:
    """Fields of a state, stress and strain taken at the cells' own quadrature points.

    Parameters
    ----------
    model : Model
        Of the state.
    state : State
        At any time.

    Returns
    -------
    Frame
        On the heat cells.
    """
    displacement = model.discretisation.spread @ state.displacement
    displacement[model.activation.riders] = displacement[model.activation.carriers]
    strain = state.internal_variables.equivalent_plastic_strain
    return Frame(
        state.time,
        state.temperature,
        displacement,
        model.active_cells(state),
        _on_children(model, von_mises(state.stress)),
        _on_children(model, strain),
        None if model.shrinkage is None else _on_children(model, state.inherent_strain),
        _on_children(model, state.stress),
        _on_children(model, state.internal_variables.plastic_strain),
    )


def _on_children(model: Model, values: Floats) -> Floats:
    """Values at quadrature points (C, Q) or (C, Q, 6) on the heat cells (H,) or (H, 6)."""
    children = len(model.part.lattice.children)
    if values.shape[1] == children:  # one quadrature point lies in each child
        return values[:, model.discretisation.child_points].reshape(-1, *values.shape[2:])
    return np.repeat(values.mean(axis=1), children, axis=0)
