"""Transient heat flow: rho dH(T)/dt = div(k(T) grad T) + q in the metal that is there so far.

Enthalpy form with latent heat, backward Euler, lumped capacity (temperatures stay between their
neighbours), conductivity at the mean temperature of each heat cell. Convection and radiation act
on the outer faces of the active cells, contact conductance where a clamp grips. Filler joins at
ambient temperature ahead of the arc, whose heat includes melting it. Left out: flow in the pool
(imitated by the material's raised liquid conductivity), evaporation, shrinkage of the volume.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from weldsim.errors import ConvergenceError
from weldsim.physics.arrays import Flags, Floats, Integers
from weldsim.physics.heat_kernels import add_heat_matrix, heat_flow
from weldsim.physics.heat_mesh import HeatMesh
from weldsim.physics.heat_system import HeatSystem
from weldsim.physics.heat_tables import HeatTables
from weldsim.physics.surface_exchange import STEFAN_BOLTZMANN, SurfaceExchange

TOLERANCE = 1e-6  # residual power over the power stored, supplied and lost in the step
MAX_ITERATIONS = 40
FREEZE_CONDUCTIVITY = 5  # iteration of a step after which k(T) is not updated any more


@dataclass(frozen=True)
class HeatModel:
    """A heat mesh in its surroundings, filled with a metal.

    Attributes
    ----------
    mesh : HeatMesh
        Points, cells, solver.
    tables : HeatTables
        Of the metal.
    ambient_temperature : float
        [K]
    film_coefficient, emissivity : float
        Of the outer faces. [W/(m2 K), 1]
    clamp_contacts : mapping of name to (ndarray of int, float)
        Nodes under each clamp and contact conductance while it is closed. [W/(m2 K)]
    tolerance : float
        Residual power over the power stored, supplied and lost in a step.
    """

    mesh: HeatMesh
    tables: HeatTables
    ambient_temperature: float
    film_coefficient: float = 0.0
    emissivity: float = 0.0
    clamp_contacts: Mapping[str, tuple[Integers, float]] = field(default_factory=dict)
    tolerance: float = TOLERANCE

    @property
    def points(self) -> Floats:
        """Heat points, (Nh, 3). [m]"""
        return self.mesh.points

    @property
    def cells(self) -> Integers:
        """Corners of the heat cells, (H, n)."""
        return self.mesh.cells

    def exchange(self, active: Flags, closed_clamps: tuple[str, ...] = ()) -> SurfaceExchange:
        """Areas, contacts and volumes while some cells are there.

        Parameters
        ----------
        active : ndarray of bool, shape (H,)
            Cells that are there.
        closed_clamps : tuple of str
            Names of the clamps that grip.

        Returns
        -------
        SurfaceExchange
            See `HeatMesh.exchange`.
        """
        return self.mesh.exchange(active, [self.clamp_contacts[n] for n in closed_clamps])

    def loss(self, temperature: Floats, exchange: SurfaceExchange) -> tuple[Floats, Floats]:
        """Heat leaving each node and its slope.

        Parameters
        ----------
        temperature : ndarray, shape (Nh,)
            [K]
        exchange : SurfaceExchange
            Of the active cells.

        Returns
        -------
        loss, slope : ndarray, each shape (Nh,)
            [W, W/K]
        """
        a = self.ambient_temperature
        rise = temperature - a
        radiate = self.emissivity * STEFAN_BOLTZMANN
        stated = exchange.film_coefficient
        film = self.film_coefficient if stated is None else stated
        out = exchange.film_area * (film * rise + radiate * (temperature**4 - a**4))
        out += exchange.contact * rise
        slope = exchange.film_area * (film + 4 * radiate * temperature**3) + exchange.contact
        return out, slope

    def stored(self, temperature: Floats, exchange: SurfaceExchange) -> float:
        """Heat content of the active cells, counted from the zero of the enthalpy table.

        Parameters
        ----------
        temperature : ndarray, shape (Nh,)
            [K]
        exchange : SurfaceExchange
            Of the active cells.

        Returns
        -------
        float
            [J]
        """
        enthalpy = self.tables.heat(temperature)[0]
        return float(self.tables.density * (exchange.volume * enthalpy).sum())

    def activate(
        self, temperature: Floats, old: SurfaceExchange, new: SurfaceExchange
    ) -> tuple[Floats, float]:
        """Let filler join at ambient temperature.

        Parameters
        ----------
        temperature : ndarray, shape (Nh,)
            Before. [K]
        old, new : SurfaceExchange
            Of the cells active before and now.

        Returns
        -------
        temperature : ndarray, shape (Nh,)
            After: the heat at each node is shared between what was there and what joins. [K]
        brought : float
            Heat content the filler brought, counted from the zero of the enthalpy table; that of
            the metal has grown by it. [J]
        """
        added = new.volume - old.volume
        joins = added > 0
        if not np.any(joins):
            return temperature, 0.0
        cold = float(self.tables.heat(np.full(1, self.ambient_temperature))[0][0])
        mixed = old.volume * self.tables.heat(temperature)[0] + added * cold
        out = temperature.copy()
        out[joins] = self.tables.temperature(mixed[joins] / new.volume[joins])
        return out, float(self.tables.density * cold * added[joins].sum())


def heat_step(
    model: HeatModel,
    temperature: Floats,
    exchange: SurfaceExchange,
    active: Flags,
    power: Floats,
    time_step: float,
    held: tuple[Integers, Floats] | None = None,
    system: HeatSystem | None = None,
) -> tuple[Floats, float, int]:
    """One backward Euler step.

    Parameters
    ----------
    model : HeatModel
        Mesh, metal, surroundings.
    temperature : ndarray, shape (Nh,)
        At the start. [K]
    exchange : SurfaceExchange
        Of the active cells.
    active : ndarray of bool, shape (H,)
        Cells that are there.
    power : ndarray, shape (Nh,)
        Mean nodal power over the step. [W]
    time_step : float
        [s]
    held : (ndarray of int, ndarray), optional
        Nodes at a prescribed temperature at the end of the step. [K]
    system : HeatSystem, optional
        Of a step of the same length just before, whose factor serves here too.

    Returns
    -------
    temperature : ndarray, shape (Nh,)
        At the end. [K]
    lost : float
        Heat that left during the step. [J]
    iterations : int
        Systems solved.

    Raises
    ------
    ConvergenceError
        With the residual history.
    """
    old_heat, system = model.tables.heat(temperature)[0], system or HeatSystem(model.mesh.solver)
    step = _Step(model, exchange, active, power, time_step, old_heat, system)
    fixed, guess = _start(temperature, exchange, held)
    history, conductivity = [], np.zeros(len(active))
    for iteration in range(MAX_ITERATIONS):
        conductivity = step.conductivity(guess, iteration, conductivity)
        now = step.evaluate(guess, conductivity, fixed)
        left = float(np.abs(now.residual[~fixed]).sum())
        history.append(left / max(now.scale, 1e-12))
        if left <= model.tolerance * now.scale or left < 1e-9:
            return guess, now.lost, iteration
        change = step.newton_step(now, conductivity, fixed)
        guess = _safe_update(model.tables, guess, now.heat, now.capacity, change)
    raise ConvergenceError(_no_heat(time_step, history))


def _start(
    temperature: Floats, exchange: SurfaceExchange, held: tuple[Integers, Floats] | None
) -> tuple[Flags, Floats]:
    """Nodes that do not take part, and the temperature to start from."""
    fixed, guess = ~exchange.active, temperature.copy()
    if held is not None:
        fixed[held[0]] = True
        guess[held[0]] = held[1]
    return fixed, guess


def _no_heat(time_step: float, history: list[float]) -> str:
    return (
        f"heat step of {time_step:.3g} s did not converge in {MAX_ITERATIONS} iterations; "
        f"residuals {', '.join(f'{r:.1e}' for r in history[-6:])}"
    )


class _Guess(NamedTuple):
    """What a guess of the temperature at the end of a step means.

    `residual` is the power missing at each node [W], `scale` what to measure it by [W], `lost` the
    heat lost in the step [J], `heat` and `capacity` the enthalpy and its slope, `diagonal` what the
    system matrix has besides conduction [W/K].
    """

    residual: Floats
    scale: float
    lost: float
    heat: Floats
    capacity: Floats
    diagonal: Floats


@dataclass(frozen=True)
class _Step:
    """What the iterations of one step share; `old_heat` is the enthalpy at its start. [J/kg]"""

    model: HeatModel
    exchange: SurfaceExchange
    active: Flags
    power: Floats
    time_step: float
    old_heat: Floats
    system: HeatSystem

    def conductivity(self, guess: Floats, iteration: int, before: Floats) -> Floats:
        """Conductivity of the cells; a steep k(T) may swing for ever, so later it stands still."""
        if iteration > FREEZE_CONDUCTIVITY:
            return before
        mean = guess[self.model.mesh.cells].mean(axis=1)
        fresh = np.where(self.active, self.model.tables.conduct(mean), 0.0)
        return fresh if iteration < FREEZE_CONDUCTIVITY else 0.5 * (fresh + before)

    def evaluate(self, guess: Floats, conductivity: Floats, fixed: Flags) -> _Guess:
        """How far a guess is from closing the balance at every node."""
        mesh, tables = self.model.mesh, self.model.tables
        heat, capacity = tables.heat(guess)
        mass = tables.density * self.exchange.volume / self.time_step
        flow = np.zeros_like(guess)
        heat_flow(mesh.pattern.cells, mesh.unit_conduction, conductivity, guess, flow)
        loss, loss_slope = self.model.loss(guess, self.exchange)
        change = mass * (heat - self.old_heat)
        residual = self.power - change - flow - loss
        free = ~fixed
        scale = np.abs(self.power[free]).sum() + np.abs(change[free]).sum()
        scale += np.abs(loss[free]).sum()
        scale += np.abs(residual[fixed]).sum()  # through held nodes; inactive ones carry none
        lost = float(loss.sum() * self.time_step)
        return _Guess(residual, float(scale), lost, heat, capacity, mass * capacity + loss_slope)

    def newton_step(self, now: _Guess, conductivity: Floats, fixed: Flags) -> Floats:
        """Change of the temperature that would close the balance if nothing else changed. [K]"""
        mesh = self.model.mesh
        pattern = mesh.pattern
        data = np.zeros(pattern.nnz)
        add_heat_matrix(
            pattern.cells, pattern.pair_slot, pattern.indptr, mesh.unit_conduction, conductivity,
            data,
        )  # fmt: skip
        data[pattern.diagonal] += now.diagonal
        return self.system.solve(data, fixed, np.where(fixed, 0.0, now.residual))


def _safe_update(
    tables: HeatTables, guess: Floats, heat: Floats, capacity: Floats, change: Floats
) -> Floats:
    """Newton update that cannot jump back and forth over a kink of the enthalpy curve.

    Going from a shallow to a steep stretch (into melting) the change is taken as one of heat, the
    other way as one of temperature: of the two temperatures the one nearer to the old is used.
    """
    plain = guess + change
    by_heat = tables.temperature(heat + capacity * change)
    return np.where(np.abs(by_heat - guess) < np.abs(change), by_heat, plain)
