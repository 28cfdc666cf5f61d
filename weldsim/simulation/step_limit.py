"""How many steps a run may take, and what to change where it would take more."""

from __future__ import annotations

import math

from weldsim.errors import CaseError, ConvergenceError, MeshError
from weldsim.schema.mistakes import Mistake
from weldsim.simulation.model import Model
from weldsim.simulation.state import State

MOST_ARC_STEPS = 50_000  # of all arcs: a day and more of the smallest part on two cores
MOST_STEPS = 4 * MOST_ARC_STEPS  # of a run with its pauses, which grow with the cooling
MOST_RESCALE = 1e3  # more, and the heat lies where the quadrature happens to meet the arc


def check_arc_steps(model: Model) -> None:
    """Refuse arcs that take too many steps, before the first of them.

    Parameters
    ----------
    model : Model
        Of the case.

    Raises
    ------
    CaseError
        In one line, with the weld that takes most and what to change.
    """
    counts = [math.ceil(s.duration / model.torch_time(n)) for n, s in enumerate(model.sources)]
    total = sum(counts)
    if total <= MOST_ARC_STEPS:
        return
    worst = counts.index(max(counts))
    weld, duration = model.case.welds[worst], model.sources[worst].duration
    text = (
        f"its arc burns {duration:.3g} s, which takes {counts[worst]} steps at grade "
        f"{model.grade.name} and {total} with the other arcs, allowed: up to {MOST_ARC_STEPS}; "
        "a shorter dwell or crater fill time, fewer or wider beads or a coarser grade"
    )
    mistake = Mistake("weld", weld.name, "", None, text)
    raise CaseError(f"{model.case.source_file} {mistake}", [mistake])


def check_steps_so_far(state: State) -> None:
    """Refuse to go on with a run that would never end.

    Parameters
    ----------
    state : State
        Now.

    Raises
    ------
    ConvergenceError
        With step and time.
    """
    if state.steps >= MOST_STEPS:
        raise ConvergenceError(
            f"step {state.steps} at {state.time:.4g} s: a run has at most {MOST_STEPS} steps; "
            'state an end, such as end = "2 h"'
        )


def check_rescale(model: Model, weld: int, factor: float) -> None:
    """Refuse an arc whose heat the mesh hardly meets.

    Parameters
    ----------
    model : Model
        Of the case.
    weld : int
        Number of the weld whose arc burns.
    factor : float
        What the heat found by quadrature had to be multiplied with; infinite where none was.

    Raises
    ------
    MeshError
        In one line, with what to change.
    """
    if factor <= MOST_RESCALE:
        return
    name, often = model.case.welds[weld].name, f" ({factor:.2g} times too little)"
    raise MeshError(
        f"[weld.{name}]: its arc's heat falls between the points of the mesh at grade "
        f"{model.grade.name}{often if math.isfinite(factor) else ''}; larger half_width, depth, "
        "front_length and rear_length, or a finer grade"
    )
