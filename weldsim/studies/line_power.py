"""How strongly a line may be heated on a finished part so that it stays under a temperature."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from weldsim.case.load import Case
from weldsim.errors import CaseError, ConvergenceError
from weldsim.materials.material import load_material
from weldsim.simulation.events import next_event
from weldsim.simulation.heat_stage import heat_through
from weldsim.simulation.model import Model
from weldsim.simulation.state import State

BAND_UNDER_LIMIT = 25.0  # K below the limit that a line may stay
MOST_POWERS_TRIED = 8


def limit_of(case: Case, stated: float | None = None) -> float:
    """Highest temperature under a heating line for the case's material. [K]

    Parameters
    ----------
    case : Case
    stated : float, optional
        The material's own when left out. [K]

    Raises
    ------
    CaseError
        If the material has none, or what is stated makes no sense.
    """
    material = load_material(case.material_path)
    own = material.straightening_limit if stated is None else stated
    if own is None:
        raise CaseError(
            f"correct: no temperature limit for straightening {case.material_path} is known, "
            'allowed: --limit with one, such as "650 degC"'
        )
    least, most = case.surroundings.ambient + 2 * BAND_UNDER_LIMIT, material.solidus
    if not least <= own <= most:
        raise CaseError(
            f"correct: a limit of {own - 273.15:.4g} °C is not allowed: {least - 273.15:.4g} to "
            f"{most - 273.15:.4g} °C, below where the metal melts"
        )
    return own


def without_welds(state: State, numbers: Iterable[int]) -> State:
    """The state with some welds marked as over though their metal never joined."""
    starts, stops = state.starts.copy(), state.stops.copy()
    starts[list(numbers)] = stops[list(numbers)] = 0.0
    return replace(state, starts=starts, stops=stops)


def opened(state: State, weld: int) -> State:
    """The finished state with a line still ahead; peak temperatures count anew."""
    starts, stops = state.starts.copy(), state.stops.copy()
    starts[weld] = stops[weld] = np.nan
    return replace(state, starts=starts, stops=stops, peak_temperature=state.temperature.copy())


def with_power(model: Model, weld: int, power: float) -> Model:
    """The model with another power under one weld. [W]"""
    welds = list(model.case.welds)
    spec = welds[weld]
    welds[weld] = replace(
        spec, arc=replace(spec.arc, current=spec.arc.current * power / spec.arc.power)
    )
    return model.for_case(replace(model.case, welds=tuple(welds)))


def peak_under(model: Model, state: State, weld: int) -> float:
    """Hottest metal while a line is drawn, from the heat alone. [K]"""
    while np.isnan(state.stops[weld]):
        state, _ = heat_through(model, state, next_event(model, state))
    return float(state.peak_temperature.max())


def power_for(model: Model, state: State, weld: int, limit: float) -> tuple[float, float]:
    """Power with which a line stays within `BAND_UNDER_LIMIT` under a limit, and its peak. [W, K]

    Raises
    ------
    ConvergenceError
        If none is found in a few tries.
    """
    power, cold = model.case.welds[weld].arc.power, float(state.temperature.max())
    for _ in range(MOST_POWERS_TRIED):
        peak = peak_under(with_power(model, weld, power), state, weld)
        if limit - BAND_UNDER_LIMIT <= peak <= limit:
            return power, peak
        power *= (limit - BAND_UNDER_LIMIT / 2 - cold) / (peak - cold)
    raise ConvergenceError(
        f"correct: {model.case.welds[weld].name}: no power keeps it at {limit - 273.15:.0f} °C"
    )
