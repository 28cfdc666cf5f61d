"""A case gone through quickly, while somebody waits: preview, and a run at grade coarse.

Both take the plastic model: an elastic one with shrinkage from each point's own peak temperature
loses what the direction of travel does, and bends a bar that is heated through to the wrong side.
The preview has the mesh of grade sketch and few, long steps; the other is of grade coarse,
several times slower. Neither has an error estimate: they show which way, not how much.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from weldsim.case.load import Case
from weldsim.simulation.model import Model, build_model
from weldsim.simulation.state import State
from weldsim.simulation.steps import simulate, start_state

PREVIEW_GRADES = {"look": "sketch", "rough": "coarse"}
MOST_STEPS = 24  # of one arc in a preview; a longer seam goes in longer steps
REST_GROWTH = 0.6  # length of a step of a pause as a share of the time since the arc stopped
TOLERANCE = 1e-4  # of equilibrium, where a run asks for 1e-8
HEAT_TOLERANCE = 1e-4  # of the heat, where a run asks for 1e-6


def preview_model(case: Case, kind: str = "look") -> Model:
    """A model of a case that is over soon.

    Parameters
    ----------
    case : Case
        Its grade and model of the metal do not count.
    kind : {"look", "rough"}
        Preview, or a run at grade coarse.

    Returns
    -------
    Model
        Plastic, whatever the case says.
    """
    case = replace(case, solve=replace(case.solve, model="plastic", error_estimate=False))
    model = build_model(case, PREVIEW_GRADES[kind])
    stepping = replace(model.stepping, longest_last_rest=np.inf)
    if kind == "look":
        torch = stepping.torch_step
        for i, source in enumerate(model.sources):
            steps = source.duration / model.torch_time(i) * stepping.torch_step
            torch = max(torch, steps / MOST_STEPS)
        stepping = replace(
            stepping, torch_step=torch, heat_substeps=1, rest_growth=REST_GROWTH,
            tolerance=TOLERANCE, heat_tolerance=HEAT_TOLERANCE,
        )  # fmt: skip
    return model.with_stepping(stepping)


def equilibrium_states(model: Model) -> Iterator[tuple[State, str]]:
    """States in equilibrium from the start to the end of a case.

    Parameters
    ----------
    model : Model
        Of the case.

    Yields
    ------
    tuple of State and str
        The state, and what led to it: `start` or the kind of an event.
    """
    yield start_state(model), "start"
    for step in simulate(model):
        if not step.state.steps_since_equilibrium:
            yield step.state, step.phase.partition(" ")[0]
