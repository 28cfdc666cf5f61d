"""What does not change while a case runs: meshes, solvers, seams, gauges, and lookups on them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from weldsim.geometry.grades import GRADES, Grade
from weldsim.geometry.part import Part
from weldsim.joints.build import build_part
from weldsim.joints.registry import joint_kind, lean_of, seams_of
from weldsim.materials.material import load_material
from weldsim.physics import inherent_strain as shrinkage
from weldsim.physics.heat_conduction import HeatModel, HeatTables, SurfaceExchange
from weldsim.physics.heat_source import DoubleEllipsoid
from weldsim.physics.mechanics import (
    InternalVariables,
    MechanicsModel,
    Properties,
    Spring,
    minimal_supports,
    von_mises,
)
from weldsim.schema.column import Column, Readings
from weldsim.simulation import gauges as gauge
from weldsim.simulation.activation import Activation, land_contact, seam_distance
from weldsim.simulation.state import State
from weldsim.system.threads import use_threads

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
    active: np.ndarray
    von_mises: np.ndarray
    equivalent_plastic_strain: np.ndarray


class Model:
    """A case bound to its meshes and solvers. Treat as immutable."""

    def __init__(self, case, part: Part, material, grade: Grade, threads: int = 2):
        self.case, self.part, self.material, self.grade = case, part, material, grade
        lattice = part.lattice
        count = lattice.displacement_points
        surroundings = case.surroundings
        clamp_contacts = {c.name: (self._clamped_points(c), c.conductance) for c in case.clamps}
        self.heat = HeatModel(
            lattice.points, lattice.heat_cells, HeatTables.of(material), surroundings.ambient,
            surroundings.film_coefficient, surroundings.emissivity, clamp_contacts, threads,
        )  # fmt: skip
        element = "brick20" if lattice.heat_cells.shape[1] == 8 else "tet10"
        self.mechanics = MechanicsModel(
            part.mesh, lattice.displacement_cells, lattice.local[lattice.displacement_local],
            lattice.points[:count], element, threads,
        )  # fmt: skip
        self.seams = seams_of(case)
        self.sources = _sources(case, self.seams)
        self.activation = Activation.of(case, part, self.seams)
        self.base_points, self.middle_points = (
            self.activation.base_points,
            self.activation.middle_points,
        )
        self.contact = land_contact(case, part, self.mechanics.weight, material)
        if self.contact is not None:
            self.mechanics.let_touch(self.contact)
        self.point_child = point_children(lattice, self.mechanics.quadrature)
        self.to_quadrature = quadrature_map(lattice, self.mechanics.quadrature)
        self.spread = spread_matrix(lattice)
        self._skins: dict[bytes, SurfaceExchange] = {}
        self._reaches: dict = {}
        self.probes = tuple(gauge.bind(g, self) for g in case.gauges)

    def with_case(self, case) -> Model:
        """The same meshes and solvers bound to a case that differs in its welds alone."""
        import copy

        out = copy.copy(self)
        out.case = case
        out.seams = seams_of(case)
        out.sources = _sources(case, out.seams)
        out.activation = Activation.of(case, self.part, out.seams)
        out.base_points, out.middle_points = (
            out.activation.base_points,
            out.activation.middle_points,
        )
        out._reaches = {}
        for kept in ("seam_frames", "preset_field"):
            out.__dict__.pop(kept, None)
        return out

    def _clamped_points(self, clamp) -> np.ndarray:
        """Lattice points a clamp grips."""
        return np.unique(np.concatenate([self.part.boundaries[face] for face in clamp.at]))

    def clamp_points(self, name: str) -> np.ndarray:
        """Displacement points a clamp grips."""
        clamp = next(c for c in self.case.clamps if c.name == name)
        nodes = self._clamped_points(clamp)
        return nodes[nodes < len(self.points)]

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
            return joint_kind(self.case.part.kind).place(self.case.part, at)
        return np.asarray(at, dtype=float)

    def bow_places(self) -> tuple[str, str, str]:
        """Three places in line whose bow is read."""
        return joint_kind(self.case.part.kind).bow_places

    def gap_places(self, name: str):
        """Two places that face each other across the gap of a name."""
        return joint_kind(self.case.part.kind).gap_places(self.case.part)[name]

    def locate(self, places):
        """Interpolation matrix from lattice points to places (K, 3).

        A place on the skin is looked for a hair further in; where that is off the part, as on the
        inside of a tube, the nearest lattice point stands for it.
        """
        import scipy.sparse as sp
        import skfem

        mesh = self.part.heat_mesh
        element = skfem.ElementHex1() if mesh.t.shape[0] == 8 else skfem.ElementTetP1()
        basis = skfem.Basis(mesh, element, intorder=1)
        middle = mesh.p.mean(axis=1)
        rows = []
        for place in np.atleast_2d(places):
            inside = middle + (place - middle) * (1 - 1e-9)  # an end face counts as in
            try:
                rows.append(sp.csr_matrix(basis.probes(inside[:, None])))
            except ValueError:
                near = int(np.argmin(np.linalg.norm(mesh.p.T - place, axis=1)))
                one = sp.csr_matrix(([1.0], ([0], [near])), shape=(1, mesh.p.shape[1]))
                rows.append(one)
        return sp.vstack(rows, format="csr")

    def nearest_points(self, places) -> np.ndarray:
        """Displacement points of the part nearest to places (K, 3), (K,)."""
        body = np.unique(self.mechanics.cells[self.part.regions["part"]])
        away = np.linalg.norm(self.points[body][None] - np.asarray(places)[:, None], axis=2)
        return body[away.argmin(axis=1)]

    # lookups on a state
    def active_points(self, state: State) -> np.ndarray:
        """Quadrature points that carry load: the part, and filler the arc has passed, (C, Q)."""
        cells = self.activation.passed(state.reached).reshape(-1, len(self.part.lattice.children))
        return cells[:, self.point_child]

    def active_cells(self, state: State) -> np.ndarray:
        """Heat cells that conduct: filler joins a front length ahead of the arc, (H,) bool."""
        lead = np.array([s.front_length for s in self.sources])
        return self.activation.passed(state.reached + lead if lead.size else state.reached)

    def exchange(self, active: np.ndarray, closed_clamps) -> SurfaceExchange:
        """Skin of the laid heat cells, the last few kept."""
        key = active.tobytes() + "|".join(closed_clamps).encode()
        if key not in self._skins:
            if len(self._skins) > 3:
                self._skins.pop(next(iter(self._skins)))
            self._skins[key] = self.heat.exchange(active, closed_clamps)
        return self._skins[key]

    def stored(self, state: State) -> float:
        return self.heat.stored(
            state.temperature, self.exchange(self.active_cells(state), state.closed_clamps)
        )

    def at_quadrature(self, temperature: np.ndarray) -> np.ndarray:
        """Temperature at the mechanics' quadrature points, (C, Q). [K]"""
        return temperature[self.part.lattice.corner_cells] @ self.to_quadrature.T

    def base_temperature(self, state: State, weld: int | None) -> float:
        """Highest temperature where a bead sits on the part; of all welds for None. [K]"""
        points = self.base_points if weld is None else [self.base_points[weld]]
        return max(float(state.temperature[p].max()) for p in points)

    def supports(self, closed_clamps) -> np.ndarray:
        """Held unknowns (N, 3): rigidly gripped faces, or six that only stop rigid motion."""
        points = self.mechanics.points
        fixed = np.zeros(points.shape, dtype=bool)
        clamp_contacts = [c for c in self.case.clamps if c.name in closed_clamps]
        for clamp in clamp_contacts:
            if clamp.kind == "rigid":
                fixed[self.clamp_points(clamp.name)] = True
        if clamp_contacts:
            return fixed
        if self.case.clamps:  # stays where it was built in
            nodes = self.clamp_points(self.case.clamps[0].name)
            fixed[nodes] = minimal_supports(points[nodes])
            return fixed
        body = np.unique(self.mechanics.cells[self.part.regions["part"]])
        fixed[body] = minimal_supports(points[body])
        return fixed

    def springs(self, state: State) -> tuple[Spring, ...]:
        """Elastic clamps that grip."""
        out = []
        for clamp, anchor in zip(self.case.clamps, state.anchors, strict=True):
            if clamp.kind == "spring" and clamp.name in state.closed_clamps:
                nodes = self.clamp_points(clamp.name)
                stiffness = np.repeat([clamp.stiffness, clamp.turning], 3)
                mean = gauge.mean_motion(self.mechanics.points[nodes])
                out.append(Spring(nodes, mean, stiffness, anchor))
        return tuple(out)

    def anchors(self, state: State, names) -> np.ndarray:
        """Anchors with those of the named clamps set to where their faces are now, (K, 6)."""
        out = state.anchors.copy()
        for k, clamp in enumerate(self.case.clamps):
            if clamp.name in names:
                nodes = self.clamp_points(clamp.name)
                mean = gauge.mean_motion(self.mechanics.points[nodes])
                out[k] = mean @ state.displacement[nodes].ravel()
        return out

    def changes(self, state: State) -> tuple[list[str], list[str]]:
        """Clamps that are due to come off and to grip now."""
        off = [
            c.name for c in self.case.clamps
            if c.name in state.closed_clamps and self.met(c.off, state)
        ]  # fmt: skip
        on = [
            c.name for c in self.case.clamps
            if c.name not in state.closed_clamps and c.name not in state.released
            and self.met(c.on, state)
        ]  # fmt: skip
        return off, on

    def next_change(self, state: State) -> float:
        """Time at which the next clamp comes on or off as far as that is known; inf else. [s]"""
        rules = [
            c.off if c.name in state.closed_clamps else c.on
            for c in self.case.clamps if c.name not in state.released
        ]  # fmt: skip
        known = [self.moment(r, state) for r in rules if r.kind in ("time", "after")]
        return min((t for t in known if t > state.time + 1e-9), default=np.inf)

    def met(self, rule, state: State) -> bool:
        """Whether a clamp's rule has come true; cold means cold after the last weld."""
        if rule.kind == "cold" and np.any(np.isnan(state.stops)):
            return False
        return self.moment(rule, state) <= state.time + 1e-9

    def moment(self, rule, state: State) -> float:
        """When a rule comes true as known now; inf while a temperature or a weld is awaited. [s]"""
        if rule.kind == "never":
            return np.inf
        if rule.kind == "time":
            return rule.seconds
        if rule.kind == "cold":
            over = not np.any(np.isnan(state.stops) & ~np.isnan(state.starts))
            limit = self.case.surroundings.ambient + COLD
            started = state.steps > 0
            cold = over and started and state.temperature.max() <= limit + 1e-9
            return state.time if cold else np.inf
        names = [w.name for w in self.case.welds]
        other = None if rule.weld is None else names.index(rule.weld)
        if other is not None and np.isnan(state.stops[other]):
            return np.inf
        if rule.kind == "after":
            return state.stops[other] + rule.seconds
        ready = self.base_temperature(state, other) <= rule.temperature + 0.5
        return state.time if ready else np.inf

    def torch_time(self, weld: int) -> float:
        """Longest step while the arc of a weld burns. [s]"""
        spec = self.case.welds[weld]
        step = self.grade.torch_step * joint_kind(self.case.part.kind).torch_step
        return step * spec.bead_width / spec.speed

    def arc_power(self, weld: int, active, begin: float, end: float):
        """Nodal power of a weld's arc and its rescale factor; see `HeatModel.power`."""
        if weld not in self._reaches:
            self._reaches[weld] = self.heat.reach(self.sources[weld])
        return self.heat.power(active, self.sources[weld], begin, end, self._reaches[weld])

    def due(self, state: State, weld: int) -> float:
        """When a weld's arc may start as known now; inf while a temperature rule is not met. [s]"""
        return self.moment(self.case.welds[weld].start, state)

    def watched(self, state: State):
        """A function of a state (its limit for None) whose fall to a limit ends the pause."""
        waiting = np.flatnonzero(np.isnan(state.starts))
        if waiting.size:
            rule = self.case.welds[waiting[0]].start
            if rule.kind == "cold":
                limit = self.case.surroundings.ambient + COLD
                return lambda s: limit if s is None else float(s.temperature.max())
            if rule.kind != "below":
                return None
            names = [w.name for w in self.case.welds]
            other = None if rule.weld is None else names.index(rule.weld)
            return lambda s: rule.temperature if s is None else self.base_temperature(s, other)
        if self.case.solve.end != "cold":
            return None
        limit = self.case.surroundings.ambient + COLD
        return lambda s: limit if s is None else float(s.temperature.max())

    def shrink(self, state: State, temperature, properties: Properties) -> InternalVariables:
        """Memory with the inherent strain of the `elastic` model in the place of plastic strain."""
        limit = properties.yield_stress * 0.999 / (2 * properties.shear * 1.3)
        ambient = np.interp(self.case.surroundings.ambient, *self.material.table("thermal_strain"))
        peak = self.at_quadrature(state.peak_temperature)
        peak_strain = np.interp(peak, *self.material.table("thermal_strain"))
        melted = peak >= self.material.softening_temperature
        old = state.internal_variables.equivalent_plastic_strain  # holds the scalar inherent strain
        thermal = properties.thermal_strain - ambient
        free = np.isinf(properties.yield_stress)
        scalar = shrinkage.restrained_strain(old, thermal, np.where(free, 1.0, limit))
        scalar = np.where(free, 0.0, scalar)
        strain = np.zeros_like(state.internal_variables.plastic_strain)
        for i, cells in enumerate(self.near_cells):
            weld = self.case.welds[i]
            shares = [scalar[cells], scalar[cells]]
            for k, stated in enumerate((weld.shrinkage_along, weld.shrinkage_across)):
                if stated is not None:
                    shares[k] = shrinkage.stated_strain(
                        stated, peak_strain[cells], properties.thermal_strain[cells],
                        melted[cells], ambient,
                    )  # fmt: skip
            strain[cells] = shrinkage.directional(*shares, *(f[cells] for f in self.seam_frames[i]))
        return InternalVariables(strain, scalar, state.internal_variables.reference_strain)

    @property
    def near_cells(self) -> list[np.ndarray]:
        """Cells nearest to each seam, one mask a weld."""
        middle = self.part.mesh.p[:, self.part.mesh.t].mean(axis=1).T
        distance = [seam_distance(seam, middle) for seam in self.seams]
        if not distance:
            return []
        nearest = np.argmin(distance, axis=0)
        return [nearest == i for i in range(len(self.seams))]

    @cached_property
    def seam_frames(self) -> list:
        """Unit vectors along and across each seam at the middle of the cells, (C, 1, 3)."""
        middle = self.part.mesh.p[:, self.part.mesh.t].mean(axis=1).T
        return [tuple(f[:, None, :] for f in seam.frames(middle)) for seam in self.seams]

    @cached_property
    def preset_field(self) -> np.ndarray:
        """How far the preset puts each displacement point off the straight part, (N, 3). [m]"""
        if not any(self.case.preset):
            return np.zeros_like(self.points)
        return lean_of(self.case, self.points)

    def read(self, state: State) -> Readings:
        """All gauges at a state in SI, against the straight part: a preset is counted in."""
        out: dict[Column, float] = {}
        place = state.displacement + self.preset_field
        for probe in self.probes:
            out.update(probe.read(state.temperature, place, state.reaction))
        return Readings(out)

    def weld_temperatures(self, state: State) -> Readings:
        """Temperature under the middle of each bead, one column a weld. [K]"""
        return Readings(
            {
                Column(w.name, "middle", "degC"): float(state.temperature[p])
                for w, p in zip(self.case.welds, self.middle_points, strict=True)
            }
        )

    def progress(self, state: State) -> float:
        """Rough share of the steps that lie behind, 0 to 1."""
        total = behind = 0.0
        for i, source in enumerate(self.sources):
            steps = source.duration / self.torch_time(i)
            total += steps
            behind += steps * float(np.clip(state.reached[i] / source.seam.length, 0, 1))
        rest = np.log(600.0 / 3.0) / np.log1p(self.grade.rest_growth)
        total += rest
        if not np.any(np.isnan(state.stops)):
            since = state.time - state.stops.max()
            cooled = np.log(max(since, 3.0) / 3.0) / np.log1p(self.grade.rest_growth)
            behind += min(cooled, 0.98 * rest)
        return float(min(behind / total, 1.0))


def _sources(case, seams) -> tuple[DoubleEllipsoid, ...]:
    """The arc of every weld."""
    return tuple(
        DoubleEllipsoid(
            w.power, w.front_length, w.rear_length, w.half_width, w.depth, w.speed, s,
            w.weave, w.dwell, w.crater,
        )
        for w, s in zip(case.welds, seams, strict=True)
    )  # fmt: skip


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
    mises = von_mises(state.stress)
    children = len(model.part.lattice.children)
    quadrature = mises.shape[1]
    if quadrature == children:  # one quadrature point lies in each child
        order = child_points(model.part.lattice, model.mechanics.quadrature)
        mises, eqp = mises[:, order], state.internal_variables.equivalent_plastic_strain[:, order]
    else:
        mises = np.repeat(mises.mean(axis=1, keepdims=True), children, axis=1)
        eqp = state.internal_variables.equivalent_plastic_strain.mean(axis=1, keepdims=True)
        eqp = np.repeat(eqp, children, axis=1)
    displacement = model.spread @ state.displacement
    displacement[model.activation.riders] = displacement[model.activation.carriers]
    return Frame(
        state.time,
        state.temperature,
        displacement,
        model.active_cells(state),
        mises.ravel(),
        eqp.ravel(),
    )


def point_children(lattice, quadrature) -> np.ndarray:
    """Child nearest to each quadrature point, (Q,)."""
    middle = lattice.local[lattice.children].mean(axis=1)
    return np.argmin(np.linalg.norm(quadrature[:, None] - middle[None], axis=2), axis=1)


def child_points(lattice, quadrature) -> np.ndarray:
    """Quadrature point nearest to each child's middle, (children,)."""
    middle = lattice.local[lattice.children].mean(axis=1)
    return np.argmin(np.linalg.norm(middle[:, None] - quadrature[None], axis=2), axis=1)


def build_model(case, grade: str | None = None, threads: int | None = None) -> Model:
    """Mesh a case and prepare its solvers at a grade (the case's own when left out)."""
    threads = use_threads(threads)
    material = load_material(case.material_path)
    level = GRADES[grade or case.solve.grade]
    return Model(case, build_part(case, level.name), material, level, threads)
