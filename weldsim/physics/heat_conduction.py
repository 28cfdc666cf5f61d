"""Transient heat flow: rho dH(T)/dt = div(k(T) grad T) + q on what is laid so far.

Enthalpy form with latent heat, backward Euler, lumped capacity (temperatures stay between their
neighbours), conductivity at the mean temperature of each heat cell. Convection and radiation act
on the outer skin of the laid cells, contact conductance where a clamp grips. Filler joins at
ambient temperature ahead of the arc, whose heat includes melting it. Left out: flow in the pool
(imitated by the material's raised liquid conductivity), evaporation, shrinkage of the volume.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from weldsim.errors import ConvergenceError
from weldsim.physics.kernels import add_heat_matrix, heat_flow
from weldsim.physics.linear_solver import LinearSolver, SymmetricPattern, symmetric_pattern

STEFAN_BOLTZMANN = 5.670374419e-8  # W/(m2 K4), CODATA 2018
TOLERANCE = 1e-6  # residual power over the power stored, supplied and lost in the step
MAX_ITERATIONS = 40
REACH = 6.0  # semi-axes beyond which an arc's heat is below the last bit of its peak
SETTLE = 5  # iteration after which the conductivity is not updated any more in a step


@dataclass(frozen=True)
class EnergyBalance:
    """Where the heat went since the start, all in J; `supplied` = `stored` + `lost`."""

    supplied: float = 0.0
    lost: float = 0.0
    stored: float = 0.0

    @property
    def gap(self) -> float:
        """Heat not accounted for over the heat supplied (over the heat lost without an arc)."""
        scale = max(abs(self.supplied), abs(self.lost), 1e-30)
        return abs(self.supplied - self.stored - self.lost) / scale


@dataclass(frozen=True)
class HeatTables:
    """Material tables for the heat solve: piecewise linear in temperature. [K, J/kg, W/(m K)]"""

    density: float
    enthalpy: tuple[np.ndarray, np.ndarray]
    conductivity: tuple[np.ndarray, np.ndarray]

    @classmethod
    def of(cls, material) -> HeatTables:
        return cls(material.density, material.table("enthalpy"), material.table("conductivity"))

    def heat(self, temperature):
        """Specific enthalpy [J/kg] and its slope [J/(kg K)], shape of `temperature`."""
        t, h = self.enthalpy
        i = np.clip(np.searchsorted(t, temperature, side="right") - 1, 0, t.size - 2)
        slope = (h[i + 1] - h[i]) / (t[i + 1] - t[i])
        return h[i] + slope * (temperature - t[i]), slope

    def temperature(self, enthalpy):
        """Temperature at a specific enthalpy, inverse of `heat`. [K]"""
        t, h = self.enthalpy
        i = np.clip(np.searchsorted(h, enthalpy, side="right") - 1, 0, t.size - 2)
        return t[i] + (enthalpy - h[i]) * (t[i + 1] - t[i]) / (h[i + 1] - h[i])

    def conduct(self, temperature):
        return np.interp(temperature, *self.conductivity)


@dataclass(frozen=True)
class SurfaceExchange:
    """Where heat leaves, for one set of laid cells: areas at the nodes. [m2]"""

    film_area: np.ndarray  # (Nh,) open to air
    contact: np.ndarray  # (Nh,) contact conductance times area [W/K]
    volume: np.ndarray  # (Nh,) volume of laid cells lumped to the nodes [m3]
    active: np.ndarray  # (Nh,) bool, node of a laid cell
    film_coefficient: float | None = (
        None  # film coefficient where it is not the model's own [W/(m2 K)]
    )


@dataclass(frozen=True)
class Reach:
    """Heat cells near a seam and the seam coordinates of their quadrature points. [m]"""

    cells: np.ndarray  # (K,)
    local: tuple[np.ndarray, np.ndarray, np.ndarray]  # along, across, inward, each (K, Q)


class HeatModel:
    """Everything about the heat solve that does not change while a case runs.

    Parameters
    ----------
    points : ndarray, shape (Nh, 3)
        [m]
    cells : ndarray of int, shape (H, n)
        Linear cells: 8 corners (scikit-fem order) or 4.
    tables : HeatTables
    ambient_temperature, film_coefficient, emissivity : float
        [K, W/(m2 K), 1]
    grips : dict of name -> (node numbers, conductance)
        Outer faces held by a clamp: contact conductance instead of film and radiation.
        [W/(m2 K)]
    threads : int
        For the factorisation.
    """

    tolerance = TOLERANCE  # a quick look sets a looser one on its own copy

    def __init__(
        self,
        points,
        cells,
        tables: HeatTables,
        ambient_temperature: float,
        film_coefficient: float = 0.0,
        emissivity: float = 0.0,
        clamp_contacts=None,
        threads: int = 2,
        back_end: str | None = None,
    ):
        import skfem

        self.points, self.cells, self.tables = points, np.asarray(cells, dtype=np.int32), tables
        self.ambient = ambient_temperature
        self.film_coefficient, self.emissivity = film_coefficient, emissivity
        self.clamp_contacts = dict(clamp_contacts or {})
        bricks = cells.shape[1] == 8
        mesh = (skfem.MeshHex1 if bricks else skfem.MeshTet1)(
            points.T.copy(), np.asarray(cells).T.astype(np.int64).copy()
        )
        self.mesh = mesh
        element = skfem.ElementHex1() if bricks else skfem.ElementTetP1()
        basis = skfem.Basis(mesh, element, intorder=3 if bricks else 2)
        values = [np.broadcast_to(np.asarray(b[0]), basis.dx.shape)[0] for b in basis.basis]
        self.shape = np.array(values).T
        self.weight = basis.dx
        self.position = np.moveaxis(np.asarray(basis.global_coordinates()), 0, -1)
        grad = np.array([b[0].grad for b in basis.basis])  # (n, 3, H, Q)
        first, second = np.triu_indices(cells.shape[1])
        self.unit = np.einsum("pdhq,pdhq,hq->hp", grad[first], grad[second], basis.dx)
        self.corner_volume = self.weight @ self.shape  # (H, n), lumped
        self.pattern: SymmetricPattern = symmetric_pattern(self.cells, points.shape[0], 1)
        self.solver = LinearSolver(self.pattern, threads, back_end)
        self._facets(mesh)

    def _facets(self, mesh) -> None:
        """Area share of each facet at its corners, and the cells on its two sides."""
        p = mesh.p.T[mesh.facets.T]  # (F, 4 or 3, 3)
        if p.shape[1] == 4:  # scikit-fem lists a quadrilateral's corners around the loop
            area = 0.5 * np.linalg.norm(np.cross(p[:, 2] - p[:, 0], p[:, 3] - p[:, 1]), axis=1)
        else:
            area = 0.5 * np.linalg.norm(np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]), axis=1)
        self.facet_share = area / p.shape[1]
        self.facet_cells = mesh.f2t
        self.facet_nodes = mesh.facets.T

    def exchange(self, active: np.ndarray, closed_clamps: tuple[str, ...] = ()) -> SurfaceExchange:
        """Areas, contacts and volumes when the cells in `laid` (H,) are there. Pure."""
        count = self.points.shape[0]
        volume = np.bincount(
            self.cells[active].ravel(), self.corner_volume[active].ravel(), minlength=count
        )
        one, two = self.facet_cells
        open_side = active[one] ^ np.where(two >= 0, active[two], False)
        film_coefficient = np.zeros(count)
        contact = np.zeros(count)
        clamped = np.zeros(self.facet_nodes.shape[0], dtype=bool)
        for name in closed_clamps:
            nodes, conductance = self.clamp_contacts[name]
            on = np.zeros(count, dtype=bool)
            on[nodes] = True
            facets = open_side & on[self.facet_nodes].all(axis=1)
            clamped |= facets
            self._spread(contact, facets, conductance)
        self._spread(film_coefficient, open_side & ~clamped, 1.0)
        return SurfaceExchange(film_coefficient, contact, volume, volume > 0)

    def _spread(self, out: np.ndarray, facets: np.ndarray, value: float) -> None:
        nodes = self.facet_nodes[facets]
        np.add.at(out, nodes, value * self.facet_share[facets][:, None])

    def loss(self, temperature, exchange: SurfaceExchange):
        """Heat leaving each node and its slope, shapes (Nh,). [W, W/K]"""
        a = self.ambient
        rise = temperature - a
        radiate = self.emissivity * STEFAN_BOLTZMANN
        film_coefficient = (
            self.film_coefficient
            if exchange.film_coefficient is None
            else exchange.film_coefficient
        )
        out = exchange.film_area * (film_coefficient * rise + radiate * (temperature**4 - a**4))
        out += exchange.contact * rise
        slope = (
            exchange.film_area * (film_coefficient + 4 * radiate * temperature**3)
            + exchange.contact
        )
        return out, slope

    def reach(self, source) -> Reach:
        """Cells an arc's heat can reach, with their places along, across and below its seam."""
        shape = self.weight.shape
        local = [v.reshape(shape) for v in source.seam.local(self.position.reshape(-1, 3))]
        aside = np.abs(local[1]) - source.weave
        size = np.maximum(aside, 0) / source.half_width, np.abs(local[2]) / source.depth
        near = np.flatnonzero((np.hypot(*size) < REACH).any(axis=1))
        return Reach(near, tuple(v[near] for v in local))

    def power(self, active, source, begin, end, reach=None):
        """Nodal power of the arc from `begin` to `end` after its start, and its rescale factor."""
        from weldsim.physics.heat_source import nodal_power

        reach = reach or self.reach(source)
        there = active[reach.cells]
        cells = reach.cells[there]
        local = tuple(v[there].ravel() for v in reach.local)
        return nodal_power(
            self.position[cells], self.weight[cells], self.shape, self.cells[cells],
            self.points.shape[0], begin, end, source, local,
        )  # fmt: skip

    def stored(self, temperature, exchange: SurfaceExchange) -> float:
        """Heat content of what is laid, counted from the zero of the enthalpy table. [J]"""
        return float(
            self.tables.density * (exchange.volume * self.tables.heat(temperature)[0]).sum()
        )

    def lay(self, temperature, old: SurfaceExchange, new: SurfaceExchange):
        """Temperature after cold filler joins: the heat at each node is shared, none is made."""
        added = new.volume - old.volume
        if not np.any(added > 0):
            return temperature
        cold = self.tables.heat(np.full(1, self.ambient))[0][0]
        mixed = old.volume * self.tables.heat(temperature)[0] + added * cold
        hit = added > 0
        out = temperature.copy()
        out[hit] = self.tables.temperature(mixed[hit] / new.volume[hit])
        return out


def heat_step(
    model: HeatModel,
    temperature,
    exchange: SurfaceExchange,
    active,
    power,
    time_step: float,
    held=None,
):
    """One backward Euler step.

    Parameters
    ----------
    temperature : ndarray, shape (Nh,)
        At the start. [K]
    skin : Skin
        Of the laid cells.
    laid : ndarray of bool, shape (H,)
    power : ndarray, shape (Nh,)
        Mean nodal power over the step. [W]
    time_step : float
        [s]
    held : (nodes, temperatures), optional
        Nodes at a prescribed temperature at the end of the step (verification problems).

    Returns
    -------
    temperature : ndarray, shape (Nh,)
    lost : float
        Heat that left during the step. [J]
    iterations : int

    Raises
    ------
    ConvergenceError
        With the residual history.
    """
    tables, pattern = model.tables, model.pattern
    mass = tables.density * exchange.volume / time_step
    old_heat = tables.heat(temperature)[0]
    fixed = ~exchange.active
    guess = temperature.copy()
    if held is not None:
        fixed = fixed.copy()
        fixed[held[0]] = True
        guess[held[0]] = held[1]
    free = ~fixed
    entries = _fixed_entries(model, fixed)
    history = []
    conductivity = np.zeros(len(active))
    for iteration in range(MAX_ITERATIONS):
        heat, capacity = tables.heat(guess)
        if iteration <= SETTLE:  # a steep k(T) may swing for ever: later on it stands still
            fresh = np.where(active, tables.conduct(guess[model.cells].mean(axis=1)), 0.0)
            conductivity = fresh if iteration < SETTLE else 0.5 * (fresh + conductivity)
        flow = np.zeros_like(guess)
        heat_flow(pattern.cells, model.unit, conductivity, guess, flow)
        loss, loss_slope = model.loss(guess, exchange)
        change = mass * (heat - old_heat)
        residual = power - change - flow - loss
        scale = np.abs(power[free]).sum() + np.abs(change[free]).sum() + np.abs(loss[free]).sum()
        scale += np.abs(residual[fixed]).sum()  # heat through held nodes; none through unlaid ones
        left = np.abs(residual[free]).sum()
        history.append(left / max(scale, 1e-12))
        if left <= model.tolerance * scale or left < 1e-9:
            return guess, float(loss.sum() * time_step), iteration
        data = np.zeros(pattern.nnz)
        add_heat_matrix(
            pattern.cells, pattern.pair_slot, pattern.indptr, model.unit, conductivity, data
        )
        data[pattern.diagonal] += mass * capacity + loss_slope
        data[entries] = 0.0
        data[pattern.diagonal[fixed]] = 1.0
        residual[fixed] = 0.0
        model.solver.factor(data)
        guess = _safe_update(tables, guess, heat, capacity, model.solver.solve(residual))
    raise ConvergenceError(
        f"heat step of {time_step:.3g} s did not converge in {MAX_ITERATIONS} iterations; "
        f"residuals {', '.join(f'{r:.1e}' for r in history[-6:])}"
    )


def _safe_update(tables: HeatTables, guess, heat, capacity, change):
    """Newton update that cannot jump back and forth over a kink of the enthalpy curve.

    Going from a shallow to a steep stretch (into melting) the change is taken as one of heat, the
    other way as one of temperature: of the two temperatures the one nearer to the old is used.
    """
    plain = guess + change
    by_heat = tables.temperature(heat + capacity * change)
    return np.where(np.abs(by_heat - guess) < np.abs(change), by_heat, plain)


def _fixed_entries(model: HeatModel, fixed: np.ndarray) -> np.ndarray:
    """Off-diagonal places of fixed nodes, kept while the set does not change."""
    from weldsim.physics.linear_solver import fixed_entries

    key = fixed.tobytes()
    cached = getattr(model, "_fixed_cache", None)
    if cached is None or cached[0] != key:
        model._fixed_cache = (key, fixed_entries(model.pattern, fixed))
    return model._fixed_cache[1]
