"""A meshed part taken to the card.

The modules with kernels load numba's compiler for cards, which takes a second: only where a card is
used.
"""

from __future__ import annotations

from dataclasses import replace
from importlib import import_module

from weldsim.physics.heat_mesh import HeatMesh
from weldsim.physics.mechanics_model import MechanicsModel


def on_a_card(heat_mesh: HeatMesh, mechanics: MechanicsModel) -> tuple[HeatMesh, MechanicsModel]:
    """The same mesh with a copy on the card, which takes the steps from here on.

    Parameters
    ----------
    heat_mesh : HeatMesh
        Of the part.
    mechanics : MechanicsModel
        Of the part, faces that may touch included.

    Returns
    -------
    heat_mesh : HeatMesh
        With its card.
    mechanics : MechanicsModel
        With its card.
    """
    heat, search = (import_module(f"{__package__}.{name}") for name in ("heat", "search"))
    return (
        replace(heat_mesh, card=heat.CardHeat(heat_mesh)),
        replace(mechanics, card=search.Card(mechanics)),
    )
