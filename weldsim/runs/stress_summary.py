"""Stress left in the metal and what the clamps hold, as summary.json states them."""

from __future__ import annotations

from typing import Any

import numpy as np

from weldsim.physics.plasticity import von_mises
from weldsim.simulation.gauges import reaction_probe
from weldsim.simulation.measures import WELD_ZONE
from weldsim.simulation.model import Model
from weldsim.simulation.state import State


def locked_in(model: Model, state: State) -> dict[str, Any]:
    """Stress left in the metal and what the clamps hold. [MPa, N, N m]

    Stress has no estimated error.

    Parameters
    ----------
    model : Model
    state : State

    Returns
    -------
    dict
        `largest_von_mises_MPa`, `mean_weld_zone_MPa` (mean over the volume), `reactions` (clamp ->
        `force_N`, `moment_Nm`).
    """
    mises, carries = von_mises(state.stress), model.active_points(state)
    zone = carries & (model.at_quadrature(state.peak_temperature) > WELD_ZONE)
    weight = model.mechanics.weight
    mean = float((mises * weight)[zone].sum() / weight[zone].sum()) if zone.any() else 0.0
    return {
        "largest_von_mises_MPa": float(mises[carries].max(initial=0.0)) / 1e6,
        "mean_weld_zone_MPa": mean / 1e6,
        "reactions": _reactions(model, state),
    }


def _reactions(model: Model, state: State) -> dict[str, dict[str, float]]:
    out = {}
    for clamp in model.case.clamps:
        if clamp.name not in state.closed_clamps:
            continue
        probe = reaction_probe(clamp.name, model.points, model.clamp_points(clamp.name))
        values = list(probe.read(None, None, state.reaction).values())
        out[clamp.name] = {
            "force_N": float(np.linalg.norm(values[:3])),
            "moment_Nm": float(np.linalg.norm(values[3:])),
        }
    return out
