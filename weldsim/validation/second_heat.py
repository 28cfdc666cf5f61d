"""The heat of a run computed again with FElupe, a general finite-element library.

Taken over from the run: mesh, moments, nodal power of the arc (the source has rows of its own),
curves of the metal. FElupe's own: shape functions, quadrature, volumes, faces. Newton's method here
shares nothing with weldsim's: its tangent is a full one, with the slope of the conductivity, so
that the balance closes with the conductivities at the temperatures that come out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from weldsim.errors import ConvergenceError, MeshError
from weldsim.simulation.events import Event, next_event
from weldsim.simulation.model import Model
from weldsim.simulation.state import State
from weldsim.simulation.steps import advance, start_state

STEFAN_BOLTZMANN = 5.670374419e-8  # W/(m2 K4)
CLOSE = 1e-7  # power left over, of what is stored, supplied and lost
MOST = 120  # iterations of a step
LEAST_SHARE = 0.02  # of a step of Newton's method that the search along it tries


@dataclass(frozen=True)
class Recorded:
    """A step of a run: the states before and after, and the event carried out between them."""

    before: State
    after: State
    event: Event


def recorded(model: Model) -> list[Recorded]:
    """A run of weldsim, step by step."""
    state, kept, out = start_state(model), None, []
    while (event := next_event(model, state)) is not None:
        new, effort = advance(model, state, event, kept)
        kept = effort.kept
        if event.kind in ("weld", "rest"):
            event = replace(event, duration=new.time - state.time)
        out.append(Recorded(state, new, event))
        state = new
    return out


class HeatAgain:
    """Steps of heat flow on FElupe's regions.

    Parameters
    ----------
    model : Model
        Of the run.
    own_way : bool
        Conductivity at each quadrature point, film and radiation integrated over the faces, as
        FElupe's users would; otherwise as weldsim does: conductivity once a cell, at its mean
        temperature, film and radiation lumped at the corners.
    """

    def __init__(self, model: Model, own_way: bool = False) -> None:
        import felupe

        self.own_way = own_way

        self.felupe, self.model = felupe, model
        self.points = model.heat.points
        # scikit-fem's corners of a brick in the order that FElupe wants
        local = 2.0 * model.part.heat_mesh.elem.refdom.p.T - 1
        way = handedness(self.points, model.heat.cells, local)
        self.cells = model.heat.cells[:, order_of(local, CORNERS * way)]
        material = model.material
        self.enthalpy = material.table("enthalpy")
        self.conductivity = material.table("conductivity")
        self.density = material.density
        self.kept_for: np.ndarray | None = None

    def begin_with(self, active: np.ndarray, closed: tuple[str, ...]) -> None:
        """Regions of the cells that are there."""
        key = np.append(active, [hash(closed) % 2])
        if self.kept_for is not None and np.array_equal(key, self.kept_for):
            return
        fem, self.kept_for = self.felupe, key
        mesh = fem.Mesh(self.points, self.cells[active], "hexahedron")
        self.region = fem.RegionHexahedron(mesh)
        self.field = fem.Field(self.region, dim=1)
        self.volume = np.zeros(len(self.points))
        share = np.einsum(
            "aqc,qc->ca",
            np.broadcast_to(self.region.h, (*self.region.h.shape[:2], self.region.dV.shape[1])),
            self.region.dV,
        )
        np.add.at(self.volume, mesh.cells, share)
        self.there = self.volume > 0
        self.faces = [(fem.RegionHexahedronBoundary(mesh), 1.0, None)]
        for name in closed:
            nodes, conductance = self.model.heat.clamp_contacts[name]
            mask = np.zeros(len(self.points), dtype=bool)
            mask[nodes] = True
            under = fem.RegionHexahedronBoundary(mesh, mask=np.flatnonzero(mask))
            self.faces += [(under, -1.0, None), (under, 1.0, conductance)]

    def heat(self, temperature: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Enthalpy and its slope, the last stretch of the table going on. [J/kg, J/(kg K)]"""
        return _on_table(*self.enthalpy, temperature)

    def joined(self, temperature: np.ndarray, old: np.ndarray) -> np.ndarray:
        """Temperatures once metal at ambient has joined: the heat at a node is shared."""
        ambient = self.model.heat.ambient_temperature
        added = np.maximum(self.volume - old, 0.0)
        new = added > 1e-15
        cold = self.heat(np.array([ambient]))[0][0]
        mixed = old * self.heat(temperature)[0] + added * cold
        out = temperature.copy()
        t, h = self.enthalpy
        out[new] = np.interp(mixed[new] / self.volume[new], h, t)
        return out

    def _loss(self, temperature: np.ndarray):
        """Power through the faces by node, and its tangent."""
        from scipy.sparse import coo_matrix

        heat = self.model.heat
        count, ambient = len(self.points), heat.ambient_temperature
        out, rows, columns, values = np.zeros(count), [], [], []
        for region, sign, conductance in self.faces:
            cells, h, dv = region.mesh.cells, region.h[:, :, 0], region.dV
            if not len(cells):
                continue
            if not self.own_way:  # every corner has its share of the area
                h, dv = np.eye(h.shape[0]), np.einsum("aq,qc->ac", h, dv)
            at = np.einsum("aq,ca->qc", h, temperature[cells])
            if conductance is None:
                radiate = heat.emissivity * STEFAN_BOLTZMANN
                flux = heat.film_coefficient * (at - ambient) + radiate * (at**4 - ambient**4)
                slope = heat.film_coefficient + 4 * radiate * at**3
            else:
                flux, slope = conductance * (at - ambient), np.full_like(at, conductance)
            np.add.at(out, cells, sign * np.einsum("aq,qc->ca", h, flux * dv))
            block = sign * np.einsum("aq,bq,qc->cab", h, h, slope * dv)
            rows.append(np.broadcast_to(cells[:, :, None], block.shape).ravel())
            columns.append(np.broadcast_to(cells[:, None, :], block.shape).ravel())
            values.append(block.ravel())
        where = (np.concatenate(rows), np.concatenate(columns))
        return out, coo_matrix((np.concatenate(values), where), shape=(count, count)).tocsr()

    def _conduction(self, temperature: np.ndarray):
        """Power that conduction takes from each node, and its tangent with the slope of k(T)."""
        from scipy.sparse import coo_matrix

        region, count = self.region, len(self.points)
        cells, dhdx, dv = region.mesh.cells, region.dhdX, region.dV
        corners = temperature[cells]
        weight = region.h[:, :, 0] if self.own_way else np.full(region.h.shape[:2], 1 / 8)
        t, k = self.conductivity
        at = np.einsum("aq,ca->qc", weight, corners)
        held = (at < t[0]) | (at > t[-1])
        value, slope = np.interp(at, t, k), np.where(held, 0.0, _on_table(t, k, at)[1])
        out_of = np.einsum("ajqc,jqc->aqc", dhdx, np.einsum("ajqc,ca->jqc", dhdx, corners))
        out = np.zeros(count)
        np.add.at(out, cells, np.einsum("aqc,qc->ca", out_of, value * dv))
        block = np.einsum("ajqc,bjqc,qc->cab", dhdx, dhdx, value * dv, optimize=True)
        block += np.einsum("aqc,bq,qc->cab", out_of, weight, slope * dv, optimize=True)
        rows = np.broadcast_to(cells[:, :, None], block.shape).ravel()
        columns = np.broadcast_to(cells[:, None, :], block.shape).ravel()
        return out, coo_matrix((block.ravel(), (rows, columns)), shape=(count, count)).tocsr()

    def step(self, temperature: np.ndarray, power: np.ndarray, duration: float) -> np.ndarray:
        """One implicit step by Newton's method with a search along its direction."""
        from scipy.sparse import diags
        from scipy.sparse.linalg import splu

        free = np.flatnonzero(self.there)
        mass = self.density * self.volume / duration
        old = self.heat(temperature)[0]
        guess = temperature.copy()
        scale = np.abs(power).sum() + 1.0

        def left(t):
            """Power missing at each node, and the tangent of what takes it."""
            (taken, inner), (lost, outer) = self._conduction(t), self._loss(t)
            heat, capacity = self.heat(t)
            tangent = inner + outer + diags(mass * capacity)
            return power - mass * (heat - old) - taken - lost, tangent

        residual, tangent = left(guess)
        for _ in range(MOST):
            size = np.abs(residual[free]).sum()
            stored = np.abs(mass * (self.heat(guess)[0] - old)).sum()
            if size < CLOSE * (scale + stored):
                return guess
            change = splu(tangent.tocsc()[free][:, free]).solve(residual[free])
            share = 1.0
            while share > LEAST_SHARE:
                tried = guess.copy()
                tried[free] += share * change
                residual, tangent = left(tried)
                if np.abs(residual[free]).sum() < size:
                    break
                share /= 2
            guess = tried
        raise ConvergenceError(f"the second heat step did not converge: {size / scale:.1e} left")


def _on_table(x: np.ndarray, y: np.ndarray, at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Value and slope of a table, its first and last stretch going on."""
    i = np.clip(np.searchsorted(x, at, side="right") - 1, 0, len(x) - 2)
    slope = (y[i + 1] - y[i]) / (x[i + 1] - x[i])
    return y[i] + slope * (at - x[i]), slope


CORNERS = np.array([[-1, -1, -1], [1, -1, -1], [1, 1, -1], [-1, 1, -1],
                    [-1, -1, 1], [1, -1, 1], [1, 1, 1], [-1, 1, 1]])  # fmt: skip


def handedness(points: np.ndarray, cells: np.ndarray, local: np.ndarray) -> np.ndarray:
    """-1 or 1 for the third axis of local coordinates, so that FElupe finds positive volumes.

    scikit-fem does not mind which way round a brick is; FElupe does. `local` are our reference
    coordinates from -1 to 1 of the points of a cell.
    """
    corner = [int(np.abs(local - c).sum(axis=1).argmin()) for c in CORNERS]
    p = points[cells[:, corner]]
    way = np.linalg.det(np.stack([p[:, 1] - p[:, 0], p[:, 3] - p[:, 0], p[:, 4] - p[:, 0]], axis=1))
    if not (np.all(way > 0) or np.all(way < 0)):
        raise MeshError("the cells of the mesh do not all run the same way round")
    return np.array([1.0, 1.0, np.sign(way[0])])


def order_of(local: np.ndarray, wanted: np.ndarray) -> list[int]:
    """Which of our local places each wanted one is."""
    return [int(np.abs(local - w).sum(axis=1).argmin()) for w in wanted]


def heat_again(model: Model, steps: list[Recorded], own_way: bool = False) -> list[np.ndarray]:
    """Temperatures after each step, from the start on with nothing but FElupe's own."""
    again = HeatAgain(model, own_way)
    temperature = steps[0].before.temperature.copy()
    again.begin_with(model.active_cells(steps[0].before), steps[0].before.closed_clamps)
    out = []
    for one in steps:
        if one.event.kind in ("weld", "rest"):
            old = again.volume
            active = model.active_cells(one.after)
            again.begin_with(active, one.before.closed_clamps)
            temperature = again.joined(temperature, old)
            substeps = model.stepping.heat_substeps
            length = one.event.duration / substeps
            for k in range(substeps):
                power = np.zeros_like(temperature)
                if one.event.kind == "weld":
                    begin = one.before.time - one.after.starts[one.event.weld] + k * length
                    power = model.history.arc_power(one.event.weld, active, begin, begin + length)[
                        0
                    ]
                temperature = again.step(temperature, power, length)
        out.append(temperature.copy())
    return out
