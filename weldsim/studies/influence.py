"""What a unit load at a gauge does to the final part, and which strain is locked in where.

By reciprocity (Betti) the stress of the influence field times the locked-in strain, summed over
the volume, is what the gauge reads. `Tally` counts the locked-in strain step by step.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from weldsim.errors import CaseError
from weldsim.physics.plasticity import InternalVariables, Properties
from weldsim.physics.residual_kernel import symmetric_product
from weldsim.physics.springs import solve_with_springs
from weldsim.schema.column import Column
from weldsim.simulation.model import Model
from weldsim.simulation.state import State
from weldsim.simulation.steps import Step


def locked_in(model: Model, state: State) -> np.ndarray:
    """Strain that stays without stress in metal that carries, thermal strain apart, (C, Q, 6)."""
    internal_variables = state.internal_variables
    strain = internal_variables.plastic_strain + internal_variables.reference_strain
    return np.where(model.active_points(state)[..., None], strain, 0.0)


@dataclass(frozen=True)
class Influence:
    """Answer of the final part to a unit load at each reading. R readings.

    Attributes
    ----------
    columns : (R,) of them
    stress : (R, C, Q, 6) stress of the influence field times volume: weights of a strain, with
        shears counted twice [rad or m per unit strain]
    others : for each reading what is no strain: "contact faces at the root", "clamps", "preset"
    """

    columns: tuple[Column, ...]
    stress: np.ndarray
    others: tuple[dict[str, float], ...]


def influence(model: Model, state: State) -> Influence:
    """Influence fields of all mechanical readings at a state.

    Parameters
    ----------
    model : weldsim.simulation.model.Model
    state : weldsim.simulation.state.State
        At rest, as a run leaves it.

    Notes
    -----
    Stiffness is that of the metal at the state's temperature, without flow. Land that presses is
    taken with its tangent; what its law adds beyond the tangent is the part
    "contact faces at the root". Springs
    that were anchored off, and faces clamped where they had moved to, are the part "clamps".
    """
    m = model.history.mechanics(state.closed_clamps)
    properties, internal_variables = elastic_properties(model, state)
    fixed = model.supports(state.closed_clamps)
    fixed_unknowns, u = fixed.ravel(), state.displacement
    springs = model.springs(state)
    data = m.evaluate(u, properties, internal_variables, True).tangent
    resting = np.where(fixed, u, 0.0)
    excess = _contact_excess(m, u, data).ravel()
    clamped = -symmetric_product(m.pattern, data, resting.ravel()).reshape(
        -1, 3
    )  # clamped points that stand off
    for s in springs:
        force = s.mean.T @ (s.stiffness * s.anchor)
        np.add.at(clamped, s.points, force.reshape(-1, 3))
    columns, rows, others = [], [], []
    solve = _solver(m, data, fixed_unknowns, springs)
    weight = np.concatenate([np.ones(3), np.full(3, 2.0)])
    for probe in model.probes:
        if probe.displacement_map is None:
            continue
        for column, row in zip(probe.columns, np.asarray(probe.displacement_map.todense()),
                                  strict=True):  # fmt: skip
            load = np.where(fixed_unknowns, 0.0, row)
            answer = solve(load)
            answer[fixed_unknowns] = 0.0
            strain = m.strain(answer.reshape(-1, 3))
            rows.append(_stress(properties, strain) * m.weight[..., None] * weight)
            columns.append(column)
            others.append(
                {
                    "contact faces at the root": float(answer @ excess),
                    "clamps": float(answer @ clamped.ravel() + row @ resting.ravel()),
                    "preset": float(row @ model.gauges.preset.ravel()),
                }
            )
    if not columns:
        raise CaseError(
            f"{model.case.source_file} [[gauge]]: none reads a movement, allowed: a pointer, dial, "
            "bow or gap"
        )
    return Influence(tuple(columns), np.array(rows), tuple(others))


def elastic_properties(model: Model, state: State) -> tuple[Properties, InternalVariables]:
    """Properties at a state without flow, and its internal variables."""
    at_points = model.at_quadrature(state.temperature)
    softens = model.case.solve.model != "elastic"
    found = Properties.of(model.material, at_points, model.active_points(state), softens=softens)
    return replace(found, yield_stress=np.full_like(at_points, np.inf)), state.internal_variables


def _contact_excess(mechanics, u, data) -> np.ndarray:
    """Force of pressing land and table beyond their tangent, on the right side, (N, 3). [N]"""
    pressing = [p for p in (mechanics.bound_contact, mechanics.bound_table) if p is not None]
    if not pressing:
        return np.zeros_like(u)
    force, only = np.zeros_like(u), np.zeros_like(data)
    for touch in pressing:
        touch.add(u, force, only)
    return symmetric_product(mechanics.pattern, only, u.ravel()).reshape(-1, 3) - force


def _solver(mechanics, data, fixed_unknowns, springs):
    """A function that solves with one tangent for many loads."""
    if springs:
        return lambda load: solve_with_springs(
            mechanics.solver, data.copy(), fixed_unknowns, load, springs
        )
    ready = data.copy()
    mechanics.solver.hold(ready, fixed_unknowns)
    mechanics.solver.factor(ready)
    return mechanics.solver.solve


def _stress(properties, strain) -> np.ndarray:
    """Elastic stress (C, Q, 6) of a strain with tensor shears. [Pa]"""
    trace = strain[..., :3].sum(axis=-1, keepdims=True)
    out = 2 * properties.shear[..., None] * strain
    out[..., :3] += (properties.bulk - 2 / 3 * properties.shear)[..., None] * trace
    return out


class Tally:
    """Strain locked in while each weld was the last to have started, warming and cooling apart.

    `heating` and `cooling` map a weld's number to (C, Q, 6); -1 stands for changes of clamps.
    What is set as metal joins counts as heating, like the squashing of the metal beside it.
    """

    def __init__(self, model: Model, state: State) -> None:
        self._model = model
        self._last = self._seen(state)
        self.heating: dict[int, np.ndarray] = {}
        self.cooling: dict[int, np.ndarray] = {}

    def _seen(self, state: State) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        model = self._model
        return (
            locked_in(model, state),
            model.at_quadrature(state.temperature),
            model.active_points(state),
        )

    def add(self, step: Step) -> None:
        """Count an accepted step (`pipeline.Step`)."""
        old, was, carried = self._last
        self._last = new, now, carries = self._seen(step.state)
        change = new - old
        if step.phase in ("release", "grip"):
            owner = -1
        else:
            started = np.where(np.isnan(step.state.starts), -np.inf, step.state.starts)
            owner = int(np.argmax(started)) if started.size else -1
        warming = (now > was) | (carries & ~carried)
        for book, mask in ((self.heating, warming), (self.cooling, ~warming)):
            share = np.where(mask[..., None], change, 0.0)
            book[owner] = book[owner] + share if owner in book else share


def quadrature_places(model: Model) -> np.ndarray:
    """Places of the quadrature points, (C, Q, 3). [m]"""
    at = model.part.mesh.mapping().F(model.mechanics.quadrature.T)
    return np.moveaxis(at, 0, -1)
