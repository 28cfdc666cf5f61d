"""In words, where a result leaves the ground it stands on."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from weldsim.case.doubts import case_doubts
from weldsim.simulation.measures import boiling_temperature, hottest, largest_rotation
from weldsim.simulation.model import Model
from weldsim.simulation.state import State

CELSIUS_ZERO = 273.15  # K
ON_MELT = 0.1  # share of a gauge's reading from metal that was soft, up to which it is trusted
ROTATION_LIMIT = 0.02  # rad; small-strain results are good to about half its square above that
RESCALE_LIMITS = (0.5, 2.0)  # of the arc's heat by the mesh; beyond, the ellipsoid does not fit
# Over the boiling point: the model leaves out the vapour that holds a sound pool below it, so the
# few hottest points of one pass it by some per cent.
WITHOUT_VAPOUR = 1.25
PRESSED_IN = 0.02  # mm by which faces of a land may press into each other unmentioned
LEAST_WEAVES = 1.0  # a torch step; fewer is no even spread of the heat


def warnings_of(
    model: Model,
    state: State,
    retries: int = 0,
    parted: Sequence[Any] = (),
    hinged: Sequence[Any] = (),
) -> list[str]:
    """Warnings on the end of a run.

    Parameters
    ----------
    model : Model
    state : State
        The last one.
    retries : int, optional
        Steps that had to be halved.
    parted : sequence, optional
        When [s] and in which phase a cross-section was first liquid; empty for never.
    hinged : sequence, optional
        The same for one too hot to carry anything.

    Returns
    -------
    list of str
        One line each, without full stop.
    """
    out = [*_too_hot(model, state), *_parted(parted), *([] if parted else _hinged(hinged))]
    out += [*_rotation(model, state), *_rescaled(state), *_pressed(model, state)]
    for name in gauges_on_melt(model, state):
        out.append(
            f"gauge {name} stands on metal that melted, which keeps no shape of its own: its "
            "reading means nothing, put it beside the weld"
        )
    out += [said for _, _, said in case_doubts(model.case)]
    out += _slow_weaves(model)
    if retries:
        out.append(f"{retries} steps had to be halved to find equilibrium")
    if model.case.solve.model == "elastic":
        out.append(
            "model elastic takes shrinkage from each point's own peak temperature: the pull in the "
            "direction of travel is lost; use model plastic for numbers"
        )
    return out


def _too_hot(model: Model, state: State) -> list[str]:
    most, allowed = hottest(state), boiling_temperature(model)
    if most <= WITHOUT_VAPOUR * allowed:
        return []
    return [
        f"the metal comes to {_celsius(most)} °C, hotter than metal can get (it boils at "
        f"{_celsius(allowed)} °C): the source is too small or too strong"
    ]


def _celsius(kelvin: float) -> str:
    return f"{kelvin - CELSIUS_ZERO:.0f}"


def _parted(parted: Sequence[Any]) -> list[str]:
    if not parted:
        return []
    time, phase = parted
    return [
        f"{phase} melts through at {time:.0f} s: there the whole cross-section is liquid, and the "
        "part would part"
    ]


def _hinged(hinged: Sequence[Any]) -> list[str]:
    if not hinged:
        return []
    time, phase = hinged
    return [
        f"{phase} softens the part through at {time:.0f} s: there the whole cross-section is too "
        "hot to carry anything and bends like a hinge, so where it ends is not determined and the "
        "estimated error does not hold; weld with less heat, or in shorter stretches"
    ]


def _rotation(model: Model, state: State) -> list[str]:
    rotation = largest_rotation(model, state)
    if rotation <= ROTATION_LIMIT:
        return []
    return [
        f"the part turns by {1e3 * rotation:.0f} mrad, more than the "
        f"{1e3 * ROTATION_LIMIT:.0f} mrad up to which small-rotation results are good to a few "
        "parts in ten thousand"
    ]


def _rescaled(state: State) -> list[str]:
    low, high = state.rescale
    if low >= RESCALE_LIMITS[0] and high <= RESCALE_LIMITS[1]:
        return []
    return [
        f"the arc's heat had to be rescaled by {low:.2f} to {high:.2f}: the ellipsoid is large "
        "against the mesh or overhangs the part"
    ]


def _pressed(model: Model, state: State) -> list[str]:
    if model.contact is None:
        return []
    deep = model.contact.closing(state.displacement) - model.contact.gap
    worst = 1e3 * float(deep.max(initial=0.0))
    if worst <= PRESSED_IN:
        return []
    return [
        f"contact faces at the root overlap by {worst:.2g} mm: contact is modelled as a stiff "
        "spring, so a gap is good to that"
    ]


def _slow_weaves(model: Model) -> list[str]:
    return [
        f"the weave of {weld.name} is slower than a torch step of "
        f"{model.torch_time(i):.2g} s: spreading its heat evenly is not what happens"
        for i, weld in enumerate(model.case.welds)
        if weld.arc.weave > 0 and weld.arc.weave_rate * model.torch_time(i) < LEAST_WEAVES
    ]


def gauges_on_melt(model: Model, state: State) -> list[str]:
    """Gauges that read the movement of metal that was soft in between.

    Parameters
    ----------
    model : Model
    state : State

    Returns
    -------
    list of str
        Their names.
    """
    if model.case.solve.model == "elastic":
        return []
    peak = state.peak_temperature[: len(model.points)]
    soft = peak >= model.material.softening_temperature
    out = []
    for gauge, probe in zip(model.case.gauges, model.probes, strict=True):
        if probe.displacement_map is None:
            continue
        share = np.asarray(abs(probe.displacement_map).sum(axis=0)).reshape(-1, 3).sum(axis=1)
        if share[soft].sum() > ON_MELT * share.sum():
            out.append(gauge.name)
    return out
