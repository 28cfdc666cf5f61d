"""A case gone through quickly and roughly, while somebody waits: quick look and rough run.

The quick look takes the elastic model: shrinkage from each point's own peak temperature. It knows
where the heat goes and in which order, and loses what the direction of travel does. On a bar that
is heated through, its sideways bow comes out on the wrong side; it is for playing only. The rough
run takes the plastic model in the steps of the coarse grade: several times slower, right in sign.
Neither has an error estimate.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from weldsim.case.load import Case
from weldsim.simulation.model import Model, build_model
from weldsim.simulation.state import State
from weldsim.simulation.steps import simulate, start_state

PREVIEW_GRADES = {"look": "sketch", "rough": "coarse"}  # at coarse a quick look takes twice as long
TORCH_STEP = 1.2  # bead widths of travel in a step; with 0.8 the demo's end is 1.4 times as far
MOST_STEPS = 24  # of one arc; a longer seam goes in longer steps
REST_GROWTH = 1.0  # length of a step of a pause as a share of the time since the arc stopped
HEAT_TOLERANCE = 1e-3  # residual power; a thousand times that of a run, a quarter fewer iterations
REST_STEPS_PER_EQUILIBRIUM = 2  # while an arc burns each has its own


def preview_model(case: Case, kind: str = "look") -> Model:
    """A model of a case that is over soon.

    Parameters
    ----------
    case : Case
        Its grade and model of the metal do not count.
    kind : {"look", "rough"}
        Quick look or rough run.

    Returns
    -------
    Model
        Elastic for the quick look, plastic for the rough run.
    """
    law = "elastic" if kind == "look" else "plastic"
    case = replace(case, solve=replace(case.solve, model=law, companion=False))
    model = build_model(case, PREVIEW_GRADES[kind])
    stepping = replace(model.stepping, longest_last_rest=np.inf)
    if kind == "look":
        torch = TORCH_STEP
        for i, source in enumerate(model.sources):
            steps = source.duration / model.torch_time(i) * stepping.torch_step
            torch = max(torch, steps / MOST_STEPS)
        stepping = replace(
            stepping, torch_step=torch, heat_substeps=1, rest_growth=REST_GROWTH,
            heat_tolerance=HEAT_TOLERANCE, rest_steps_per_equilibrium=REST_STEPS_PER_EQUILIBRIUM,
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
