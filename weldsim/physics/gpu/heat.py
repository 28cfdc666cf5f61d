"""The heat of a part on the card: the steps of `heat_conduction`, temperature in and out."""

from __future__ import annotations

from functools import partial
from typing import Any

import numpy as np

from weldsim.errors import ConvergenceError
from weldsim.physics.arrays import Flags, Floats
from weldsim.physics.gpu.card import Recorded, array_module, on_card, on_host, view
from weldsim.physics.gpu.cudss import CardSolver
from weldsim.physics.gpu.gathering import gathering, whole_rows
from weldsim.physics.gpu.heat_kernels import balance, complete, conduct, enthalpies, update
from weldsim.physics.gpu.kernels import gather, grid, product
from weldsim.physics.heat_conduction import FREEZE_CONDUCTIVITY, MAX_ITERATIONS, HeatModel
from weldsim.physics.heat_mesh import HeatMesh
from weldsim.physics.heat_system import HeatSystem
from weldsim.physics.heat_tables import HeatTables
from weldsim.physics.surface_exchange import STEFAN_BOLTZMANN, SurfaceExchange
from weldsim.physics.symmetric_pattern import SymmetricPattern

OWN_FACTOR_BELOW = 30_000  # nodes; a factor is then as cheap as the iterations in its place
GRADIENTS = 3  # conjugate gradients in one iteration of Newton's method
MOST_ON_ONE = 8  # iterations of a step after which every one has its own factor
# arrays of a number a node
NODES = tuple(
    "temperature old_heat volume film_area contact power flow residual heat capacity diagonal "
    "change towards image".split()
)


class CardHeat:
    """Buffers on the card for the heat of one part.

    Parameters
    ----------
    mesh : HeatMesh
        Of the part.
    """

    def __init__(self, mesh: HeatMesh) -> None:
        xp = array_module()
        nodes, cells = mesh.points.shape[0], mesh.cells.shape[0]
        self.solver = CardSolver(mesh.pattern)
        self._sizes = nodes, cells
        self._buffers: dict[str, Any] = {name: xp.zeros(nodes) for name in NODES}
        self._buffers |= {
            "sums": xp.zeros((3, nodes)), "conductivity": xp.zeros(cells),
            "active": xp.zeros(cells, dtype=bool), "there": xp.zeros(nodes, dtype=bool),
            "cells": on_card(mesh.cells), "numbers": xp.zeros(5),
        }  # fmt: skip
        self._views = {k: view(v) for k, v in self._buffers.items()}
        self._conduction, self._rows = _maps(mesh.pattern, mesh.unit_conduction)
        self._gather = [view(a) for a in self._conduction]
        self._product = [view(a) for a in self._rows]
        self._metal: HeatTables | None = None
        self._system: HeatSystem | None = None  # for which the factor was made
        self._multiplied = Recorded(self._multiply)
        self._exchange: SurfaceExchange | None = None

    def step(
        self,
        model: HeatModel,
        temperature: Floats,
        exchange: SurfaceExchange,
        active: Flags,
        power: Floats,
        time_step: float,
        system: HeatSystem | None = None,
    ) -> tuple[Floats, float, int]:
        """One backward Euler step, see `heat_conduction.heat_step`.

        Parameters
        ----------
        model : HeatModel
            Metal and surroundings.
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
        system : HeatSystem, optional
            Of steps of the same length one after the other, which share a factor.

        Returns
        -------
        temperature : ndarray, shape (Nh,)
            At the end. [K]
        lost : float
            Heat that left during the step. [J]
        iterations : int
            Systems solved.
        """
        self._load(model, temperature, exchange, active, power)
        numbers = _numbers(model, exchange, time_step)
        self._set("numbers", numbers)
        self._begun()
        history: list[float] = []
        for iteration in range(MAX_ITERATIONS):
            self._freeze(numbers, iteration)
            self._evaluated()
            left, scale, loss = on_host(self._buffers["sums"].sum(axis=1))
            history.append(left / max(scale, 1e-12))
            if left <= model.tolerance * scale or left < 1e-9:
                lost = float(loss) * time_step
                return on_host(self._buffers["temperature"]), lost, iteration
            self._buffers["change"][...] = self._change(system, iteration)
            self._updated()
        raise _refused(time_step, history)

    def _load(
        self,
        model: HeatModel,
        temperature: Floats,
        exchange: SurfaceExchange,
        active: Flags,
        power: Floats,
    ) -> None:
        """What a step begins with to the card, and the metal's tables when it is another metal."""
        self._set("temperature", temperature)
        self._set("power", power)
        self._set("active", active)
        if self._exchange is not exchange:
            self._exchange = exchange
            self._set("volume", exchange.volume)
            self._set("film_area", exchange.film_area)
            self._set("contact", exchange.contact)
            self._set("there", exchange.active)
        if self._metal is not model.tables:
            self._metal = model.tables
            tables = model.tables.enthalpy, model.tables.conductivity
            self._tables = [[on_card(a) for a in table] for table in tables]
            enthalpy, conductivity = ([view(a) for a in table] for table in self._tables)
            self._begun = Recorded(partial(self._begin, enthalpy))
            self._evaluated = Recorded(partial(self._evaluate, enthalpy, conductivity))
            self._updated = Recorded(partial(self._update, enthalpy))

    def _change(self, system: HeatSystem | None, iteration: int) -> Any:
        """Change of the temperature that would close the balance: with a factor of its own, or by
        conjugate gradients on that of an earlier system of the event. Not checked: a wrong one
        shows in the next residual."""
        residual = self._buffers["residual"]
        alike = system is not None and system is self._system
        small = self._sizes[0] < OWN_FACTOR_BELOW
        if small or iteration >= MOST_ON_ONE or not (alike or iteration):
            self.solver.factor()
            self._system = system
            return self.solver.back_substitute(residual)
        x, left = array_module().zeros_like(residual), residual.copy()
        z = self.solver.back_substitute(left)
        towards, size = z, left @ z
        for k in range(GRADIENTS):
            self._buffers["towards"][...] = towards
            self._multiplied()
            share = size / (towards @ self._buffers["image"])
            x += share * towards
            if k + 1 == GRADIENTS:
                break
            left -= share * self._buffers["image"]
            z = self.solver.back_substitute(left)
            before, size = size, left @ z
            towards = z + (size / before) * towards
        return x

    def _multiply(self, stream: Any) -> None:
        """Image of a direction under the system's matrix."""
        v = self._views
        nodes = grid(self._sizes[0], stream)
        product[nodes](*self._product, self.solver.values, v["towards"], v["image"])

    def _freeze(self, numbers: Floats, iteration: int) -> None:
        """A steep k(T) may swing for ever, so later the conductivity stands still."""
        if iteration in (FREEZE_CONDUCTIVITY, FREEZE_CONDUCTIVITY + 1):
            numbers[4] = 0.5 if iteration == FREEZE_CONDUCTIVITY else 1.0
            self._set("numbers", numbers)

    def _set(self, name: str, values: Any) -> None:
        to = self._buffers[name]
        if isinstance(to, np.ndarray):
            to[...] = values
        else:
            to.set(np.ascontiguousarray(values, dtype=to.dtype))

    def _begin(self, table: list[Any], stream: Any) -> None:
        """Enthalpy at the start of a step."""
        v = self._views
        enthalpies[grid(self._sizes[0], stream)](v["temperature"], *table, v["old_heat"])

    def _evaluate(self, enthalpy: list[Any], conductivity: list[Any], stream: Any) -> None:
        """Balance of the nodes, and the system's matrix."""
        v = self._views
        nodes, cells = (grid(n, stream) for n in self._sizes)
        conduct[cells](
            v["cells"], v["active"], v["temperature"], *conductivity, v["numbers"],
            v["conductivity"],
        )  # fmt: skip
        values = self.solver.values
        gather[grid(len(self._gather[0]), stream)](*self._gather, v["conductivity"], values)
        product[nodes](*self._product, values, v["temperature"], v["flow"])
        balance[nodes](
            v["temperature"], v["old_heat"], v["volume"], v["film_area"], v["contact"], v["power"],
            v["flow"], v["there"], *enthalpy, v["numbers"], v["residual"], v["sums"], v["heat"],
            v["capacity"], v["diagonal"],
        )  # fmt: skip
        complete[nodes](
            self.solver.indptr_view, self.solver.indices_view, v["there"], v["diagonal"], values
        )

    def _update(self, table: list[Any], stream: Any) -> None:
        """The next guess."""
        v = self._views
        update[grid(self._sizes[0], stream)](
            v["temperature"], v["heat"], v["capacity"], v["change"], *table
        )


def _refused(time_step: float, history: list[float]) -> ConvergenceError:
    return ConvergenceError(
        f"heat step of {time_step:.3g} s did not converge in {MAX_ITERATIONS} iterations; "
        f"residuals {', '.join(f'{r:.1e}' for r in history[-6:])}"
    )


def _numbers(model: HeatModel, exchange: SurfaceExchange, time_step: float) -> Floats:
    """What the kernels take besides arrays, see `heat_kernels`."""
    stated = exchange.film_coefficient
    film = model.film_coefficient if stated is None else stated
    radiate = model.emissivity * STEFAN_BOLTZMANN
    rate = model.tables.density / time_step
    return np.array([rate, film, radiate, model.ambient_temperature, 0.0])


def _maps(pattern: SymmetricPattern, unit: Floats) -> tuple[list[Any], list[Any]]:
    """From the cells' conductivities to the matrix, and its whole rows, both on the card."""
    first, second = np.triu_indices(pattern.cells.shape[1])
    row = np.minimum(pattern.cells[:, first], pattern.cells[:, second])
    entry = pattern.indptr[row] + pattern.pair_slot
    cell = np.repeat(np.arange(len(pattern.cells)), len(first))
    sums = gathering(entry.ravel(), cell, unit.ravel())
    return [on_card(a) for a in sums], [on_card(a) for a in whole_rows(pattern)]
