"""What does not change while a case runs: meshes, solvers, seams, gauges, and lookups on them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from weldsim import gauge, shrinkage
from weldsim.joints import joint_module, seams_of
from weldsim.material import load_material
from weldsim.mechanical import (
    MaterialState,
    MechanicsModel,
    Properties,
    default_threads,
    minimal_supports,
    set_threads,
)
from weldsim.mesh import GRADES, Grade, Part, build_part
from weldsim.source import DoubleEllipsoid
from weldsim.state import State
from weldsim.thermal import HeatModel, HeatTables, Skin

COLD = 2.0  # K above ambient, what `end = "cold"` means


@dataclass(frozen=True)
class Frame:
    """Fields on the heat cells for pictures and files.

    Attributes
    ----------
    time : [s]
    temperature : (Nh,) [K]
    displacement : (Nh, 3), filler drawn riding on the part: melt has no shape to keep [m]
    laid : (H,) bool
    von_mises : (H,) [Pa]
    equivalent_plastic_strain : (H,)
    """

    time: float
    temperature: np.ndarray
    displacement: np.ndarray
    laid: np.ndarray
    von_mises: np.ndarray
    equivalent_plastic_strain: np.ndarray


class Model:
    """A case bound to its meshes and solvers. Treat as immutable."""

    def __init__(self, case, part: Part, material, grade: Grade, threads: int = 2):
        self.case, self.part, self.material, self.grade = case, part, material, grade
        lattice = part.lattice
        count = lattice.displacement_points
        surroundings = case.surroundings
        grips = {}
        if case.hold.kind == "vise":
            grips["vise"] = (part.boundaries["vise"], case.hold.conductance)
        self.heat = HeatModel(
            lattice.points, lattice.heat_cells, HeatTables.of(material), surroundings.ambient,
            surroundings.film, surroundings.emissivity, grips, threads,
        )  # fmt: skip
        element = "brick20" if lattice.heat_cells.shape[1] == 8 else "tet10"
        self.mechanics = MechanicsModel(
            part.mesh, lattice.displacement_cells, lattice.local[lattice.displacement_local],
            lattice.points[:count], element, threads,
        )  # fmt: skip
        self.seams = seams_of(case)
        self.sources = tuple(
            DoubleEllipsoid(
                w.power, w.front_length, w.rear_length, w.half_width, w.depth, w.speed, s
            )
            for w, s in zip(case.welds, self.seams, strict=True)
        )
        self._bind_beads()
        self.to_quadrature = quadrature_map(lattice, self.mechanics.quadrature)
        self.spread = spread_matrix(lattice)
        self._skins: dict[bytes, Skin] = {}
        self.probes = tuple(gauge.bind(g, self) for g in case.gauges)

    def _bind_beads(self) -> None:
        """How far along its seam each filler cell lies; -inf for the part itself."""
        from scipy.spatial import cKDTree

        mesh = self.part.mesh
        middle = mesh.p[:, mesh.t].mean(axis=1).T
        self.cell_weld = np.full(mesh.t.shape[1], -1)
        self.cell_place = np.full(mesh.t.shape[1], -np.inf)
        self.base_points, self.middle_points = [], []
        riders, carriers = [], []
        for i, (weld, seam) in enumerate(zip(self.case.welds, self.seams, strict=True)):
            cells = self.part.regions[f"bead {weld.name}"]
            self.cell_weld[cells] = i
            self.cell_place[cells] = seam.local(middle[cells])[0]
            bead = np.unique(self.part.lattice.corner_cells[cells])
            body = np.unique(self.part.lattice.corner_cells[self.part.regions["part"]])
            base = np.intersect1d(bead, body)
            self.base_points.append(base)
            loose = np.setdiff1d(bead, body)
            riders.append(loose)
            nearest = cKDTree(self.part.lattice.points[base])
            carriers.append(base[nearest.query(self.part.lattice.points[loose])[1]])
            away = self.part.lattice.points[base] - (seam.start + seam.end) / 2
            self.middle_points.append(int(base[np.argmin(np.linalg.norm(away, axis=1))]))
        empty = [np.empty(0, dtype=np.int64)]
        self.riders = np.concatenate(riders + empty)
        self.carriers = np.concatenate(carriers + empty)

    # what the mesh offers to gauges
    @property
    def points(self) -> np.ndarray:
        return self.mechanics.points

    @property
    def boundaries(self):
        return self.part.boundaries

    def place(self, at) -> np.ndarray:
        """Coordinates of a gauge's place, shape (3,): a named place or three lengths. [m]"""
        if isinstance(at, str):
            return joint_module(self.case.part.kind).place(self.case.part, at)
        return np.asarray(at, dtype=float)

    def locate(self, places):
        """Interpolation matrix from lattice points to places (K, 3)."""
        import skfem

        mesh = self.part.heat_mesh
        element = skfem.ElementHex1() if mesh.t.shape[0] == 8 else skfem.ElementTetP1()
        middle = mesh.p.mean(axis=1)
        inside = middle + (np.asarray(places) - middle) * (1 - 1e-9)  # an end face counts as in
        return skfem.Basis(mesh, element, intorder=1).probes(inside.T)

    # lookups on a state
    def joined(self, state: State) -> np.ndarray:
        """Cells that carry load: the part, and filler the arc has passed, (C,) bool."""
        reached = np.append(state.reached, np.inf)
        return self.cell_place <= reached[self.cell_weld]

    def laid_cells(self, state: State) -> np.ndarray:
        """Cells that conduct heat: filler joins a front length ahead of the arc, (C,) bool."""
        lead = np.array([s.front_length for s in self.sources])
        reached = np.append(state.reached + lead if lead.size else state.reached, np.inf)
        return self.cell_place <= reached[self.cell_weld]

    def laid(self, state: State) -> np.ndarray:
        """Heat cells of `laid_cells`, (H,) bool."""
        return self.laid_cells(state)[self.part.heat_parent]

    def skin(self, laid: np.ndarray, holding) -> Skin:
        """Skin of the laid heat cells, the last few kept."""
        key = laid.tobytes() + "|".join(holding).encode()
        if key not in self._skins:
            if len(self._skins) > 3:
                self._skins.pop(next(iter(self._skins)))
            self._skins[key] = self.heat.skin(laid, holding)
        return self._skins[key]

    def stored(self, state: State) -> float:
        return self.heat.stored(state.temperature, self.skin(self.laid(state), state.holding))

    def at_quadrature(self, temperature: np.ndarray) -> np.ndarray:
        """Temperature at the mechanics' quadrature points, (C, Q). [K]"""
        return temperature[self.part.lattice.corner_cells] @ self.to_quadrature.T

    def base_temperature(self, state: State, weld: int) -> float:
        """Highest temperature where a bead sits on the part. [K]"""
        return float(state.temperature[self.base_points[weld]].max())

    def supports(self, holding) -> np.ndarray:
        """Held unknowns (N, 3): the gripped faces, or six that only stop rigid motion."""
        points = self.mechanics.points
        fixed = np.zeros(points.shape, dtype=bool)
        for name in holding:
            nodes = self.part.boundaries[name]
            fixed[nodes[nodes < len(points)]] = True
        if holding:
            return fixed
        if "vise" in self.part.boundaries:  # stays where it was built in
            nodes = self.part.boundaries["vise"]
            nodes = nodes[nodes < len(points)]
            fixed[nodes] = minimal_supports(points[nodes])
            return fixed
        body = np.unique(self.mechanics.cells[self.part.regions["part"]])
        fixed[body] = minimal_supports(points[body])
        return fixed

    def torch_time(self, weld: int) -> float:
        """Longest step while the arc of a weld burns. [s]"""
        spec = self.case.welds[weld]
        return self.grade.torch_step * spec.bead_width / spec.speed

    def due(self, state: State, weld: int) -> float:
        """When a weld's arc may start as known now; inf while a temperature rule is not met. [s]"""
        rule = self.case.welds[weld].start
        if rule.kind == "time":
            return rule.seconds
        other = [w.name for w in self.case.welds].index(rule.weld)
        if np.isnan(state.stops[other]):
            return np.inf
        if rule.kind == "after":
            return state.stops[other] + rule.seconds
        ready = self.base_temperature(state, other) <= rule.temperature + 0.5
        return state.time if ready else np.inf

    def watched(self, state: State):
        """A function of a state (its limit for None) whose fall to a limit ends the pause."""
        waiting = np.flatnonzero(np.isnan(state.starts))
        if waiting.size:
            rule = self.case.welds[waiting[0]].start
            if rule.kind != "below":
                return None
            other = [w.name for w in self.case.welds].index(rule.weld)
            return lambda s: rule.temperature if s is None else self.base_temperature(s, other)
        if self.case.solve.end != "cold":
            return None
        limit = self.case.surroundings.ambient + COLD
        return lambda s: limit if s is None else float(s.temperature.max())

    def shrink(self, state: State, temperature, properties: Properties) -> MaterialState:
        """Memory with the inherent strain of the `elastic` model in the place of plastic strain."""
        limit = properties.yield_stress * 0.999 / (2 * properties.shear * 1.3)
        ambient = np.interp(self.case.surroundings.ambient, *self.material.table("thermal_strain"))
        peak = self.at_quadrature(state.peak_temperature)
        peak_strain = np.interp(peak, *self.material.table("thermal_strain"))
        melted = peak >= self.material.softening_temperature
        old = state.memory.equivalent_plastic_strain  # holds the scalar inherent strain
        thermal = properties.thermal_strain - ambient
        free = np.isinf(properties.yield_stress)
        scalar = shrinkage.restrained_strain(old, thermal, np.where(free, 1.0, limit))
        scalar = np.where(free, 0.0, scalar)
        strain = np.zeros_like(state.memory.plastic_strain)
        for i, cells in enumerate(self.near_cells):
            weld = self.case.welds[i]
            shares = [scalar[cells], scalar[cells]]
            for k, stated in enumerate((weld.shrinkage_along, weld.shrinkage_across)):
                if stated is not None:
                    shares[k] = shrinkage.stated_strain(
                        stated, peak_strain[cells], properties.thermal_strain[cells],
                        melted[cells], ambient,
                    )  # fmt: skip
            strain[cells] = shrinkage.directional(*shares, self.seams[i])
        return MaterialState(strain, scalar, state.memory.reference_strain)

    @property
    def near_cells(self) -> list[np.ndarray]:
        """Cells nearest to each seam, one mask a weld."""
        middle = self.part.mesh.p[:, self.part.mesh.t].mean(axis=1).T
        distance = []
        for seam in self.seams:
            along, across, depth = seam.local(middle)
            past = np.maximum(np.maximum(-along, along - seam.length), 0)
            distance.append(np.sqrt(past**2 + across**2 + depth**2))
        if not distance:
            return []
        nearest = np.argmin(distance, axis=0)
        return [nearest == i for i in range(len(self.seams))]

    def read(self, state: State) -> dict[str, float]:
        """All gauge columns at a state."""
        out = {}
        for probe in self.probes:
            out.update(probe.read(state.temperature, state.displacement))
        return out

    def weld_temperatures(self, state: State) -> dict[str, float]:
        """Temperature under the middle of each bead, one column a weld. [degC]"""
        return {
            f"{w.name}_middle_degC": float(state.temperature[p] - 273.15)
            for w, p in zip(self.case.welds, self.middle_points, strict=True)
        }

    def progress(self, state: State) -> float:
        """Rough share of the steps that lie behind, 0 to 1."""
        total = behind = 0.0
        for i, source in enumerate(self.sources):
            steps = source.seam.length / source.speed / self.torch_time(i)
            total += steps
            behind += steps * float(np.clip(state.reached[i] / source.seam.length, 0, 1))
        rest = np.log(600.0 / 3.0) / np.log1p(self.grade.rest_growth)
        total += rest
        if not np.any(np.isnan(state.stops)):
            since = state.time - state.stops.max()
            cooled = np.log(max(since, 3.0) / 3.0) / np.log1p(self.grade.rest_growth)
            behind += min(cooled, 0.98 * rest)
        return float(min(behind / total, 1.0))


def quadrature_map(lattice, quadrature: np.ndarray) -> np.ndarray:
    """Weights (Q, nl) that give the children's linear temperature at reference points (Q, 3)."""
    out = np.zeros((len(quadrature), len(lattice.local)))
    for q, x in enumerate(quadrature):
        for child in lattice.children:
            corners = lattice.local[child]
            if len(child) == 8:
                low = corners.min(axis=0)
                s = (x - low) / 0.5
                weights = np.prod(np.where(corners > low + 0.25, s, 1 - s), axis=1)
            else:
                system = np.vstack([corners.T, np.ones(4)])
                weights = np.linalg.solve(system, np.append(x, 1.0))
            if np.all(weights >= -1e-12):
                out[q, child] = weights
                break
        else:
            raise ValueError("a quadrature point lies in no child of its cell")
    return out


def spread_matrix(lattice):
    """Displacement at all lattice points from the displacement points, sparse (Nh, N)."""
    import scipy.sparse as sp
    import skfem

    count, total = lattice.displacement_points, lattice.points.shape[0]
    if count == total:
        return sp.identity(count, format="csr")
    element = skfem.ElementHexS2()
    carried = lattice.local[lattice.displacement_local]
    seat = [int(np.argmin(np.abs(element.doflocs - p).sum(axis=1))) for p in carried]
    rest = np.setdiff1d(np.arange(len(lattice.local)), lattice.displacement_local)
    values = np.array([element.lbasis(lattice.local[rest].T, i)[0] for i in seat])  # (n, rest)
    points = lattice.corner_cells[:, rest]
    unique, first = np.unique(points.ravel(), return_index=True)
    cell, place = np.unravel_index(first, points.shape)
    n = len(seat)
    rows = np.repeat(unique, n)
    columns = lattice.displacement_cells[cell].ravel()
    entries = values[:, place].T.ravel()
    eye = np.arange(count)
    return sp.csr_matrix(
        (
            np.concatenate([np.ones(count), entries]),
            (np.concatenate([eye, rows]), np.concatenate([eye, columns])),
        ),
        shape=(total, count),
    )


def field_frame(model: Model, state: State) -> Frame:
    """Fields of a state on the heat cells, stress and strain taken at the cells' own points."""
    s = state.stress
    p = s[..., :3].mean(axis=-1, keepdims=True)
    d = s[..., :3] - p
    mises = np.sqrt(1.5 * ((d**2).sum(axis=-1) + 2 * (s[..., 3:] ** 2).sum(axis=-1)))
    children = len(model.part.lattice.children)
    quadrature = s.shape[1]
    if quadrature == children:  # one quadrature point lies in each child
        order = child_points(model.part.lattice, model.mechanics.quadrature)
        mises, eqp = mises[:, order], state.memory.equivalent_plastic_strain[:, order]
    else:
        mises = np.repeat(mises.mean(axis=1, keepdims=True), children, axis=1)
        eqp = state.memory.equivalent_plastic_strain.mean(axis=1, keepdims=True)
        eqp = np.repeat(eqp, children, axis=1)
    displacement = model.spread @ state.displacement
    displacement[model.riders] = displacement[model.carriers]
    return Frame(
        state.time,
        state.temperature,
        displacement,
        model.laid(state),
        mises.ravel(),
        eqp.ravel(),
    )


def child_points(lattice, quadrature) -> np.ndarray:
    """Quadrature point nearest to each child's middle, (children,)."""
    middle = lattice.local[lattice.children].mean(axis=1)
    return np.argmin(np.linalg.norm(middle[:, None] - quadrature[None], axis=2), axis=1)


def build_model(case, grade: str | None = None, threads: int | None = None) -> Model:
    """Mesh a case and prepare its solvers at a grade (the case's own when left out)."""
    threads = threads or default_threads()
    set_threads(threads)
    material = load_material(case.material_path)
    level = GRADES[grade or case.solve.grade]
    return Model(case, build_part(case, level.name), material, level, threads)
