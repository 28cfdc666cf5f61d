"""Quasi-static mechanics: div sigma = 0 with sigma = C(T) (eps - eps_th(T) - eps_p - eps_ref).

Small strain, J2 plasticity with temperature-dependent stiffness, yield, hardening and expansion.
`eps_ref` is the strain at which a point is stress-free: it is set anew at the end of every step
for filler not yet laid and for soft metal, so both join without stress. Metal that is made
stress-free at every step must carry next to nothing within the step, or the result hangs on the
step: stiffness and yield fall to `SOFT_STIFFNESS` within `SOFT_RANGE` above the softening
temperature. Above that it does not yield at all: it forgets its stress anyway, and flow without
strength would leave the tangent all but singular. Newton with a line search on the work of the
residual; an answer is accepted only in equilibrium. Left out: large rotations (checked and warned
about), phase change, creep.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from weldsim.errors import ConvergenceError
from weldsim.physics.kernels import colour_cells, mechanics_pass
from weldsim.physics.linear_solver import LinearSolver, fixed_entries, symmetric_pattern

INACTIVE_STIFFNESS = 1e-5  # share of stiffness of filler not yet laid: it only carries its points
SOFT_STIFFNESS = 1e-4  # share of stiffness left in soft metal: it carries next to nothing
SOFT_RANGE = 50.0  # K from the softening temperature to that share
TOLERANCE = 1e-6  # residual force over the size of the cell forces
LEAST_STRAIN = 1e-5  # the cell forces count as at least those of this strain, for bodies at rest
MAX_ITERATIONS = 40
SOFTLY = 10e-6  # m of closing over which touching faces come to bear
LITTLE = 1e-3  # of the metal's stiffness, put on a sprung face to keep the matrix regular


@dataclass(frozen=True)
class Properties:
    """Material at the quadrature points for one step, each (C, Q).

    Attributes
    ----------
    bulk, shear, yield_stress, isotropic, kinematic : [Pa]
    thermal_strain : dimensionless
    """

    bulk: np.ndarray
    shear: np.ndarray
    yield_stress: np.ndarray
    isotropic: np.ndarray
    kinematic: np.ndarray
    thermal_strain: np.ndarray

    @classmethod
    def of(cls, material, temperature, active=None, softens=True) -> Properties:
        """Properties at temperatures (C, Q) [K]; points not in `laid` (C,) or (C, Q) are soft.

        `softens=False` keeps the floor of the stiffness above the softening temperature, for a
        law without flow that could not give soft metal its shape back.
        """
        modulus = np.interp(temperature, *material.table("youngs_modulus"))
        hardening = np.interp(temperature, *material.table("hardening_modulus"))
        yield_stress = np.interp(temperature, *material.table("yield_stress"))
        thermal = np.interp(temperature, *material.table("thermal_strain"))
        left = strength_share(material, temperature) if softens else 1.0
        modulus *= left
        yield_stress *= left
        if softens:
            yield_stress[temperature >= material.softening_temperature + SOFT_RANGE] = np.inf
        if active is not None:
            # It keeps its thermal strain, so that `accept` finds it stress-free at the temperature
            # it joins with and not at that of the table's zero.
            soft = ~active
            modulus[soft] *= INACTIVE_STIFFNESS
            yield_stress[soft] = np.inf
        nu = material.poisson_ratio
        share = material.isotropic_share
        return cls(
            modulus / (3 * (1 - 2 * nu)),
            modulus / (2 * (1 + nu)),
            yield_stress,
            share * hardening,
            (1 - share) * hardening,
            thermal,
        )


def strength_share(material, temperature):
    """Share of stiffness and yield left above the softening temperature: 1 to `SOFT_STIFFNESS`."""
    soft = material.softening_temperature
    if not np.isfinite(soft):
        return np.ones_like(temperature)
    return np.interp(temperature, [soft, soft + SOFT_RANGE], [1.0, SOFT_STIFFNESS])


@dataclass(frozen=True)
class InternalVariables:
    """Memory of the material at the quadrature points; tensor shears, order xx yy zz xy yz xz.

    Attributes
    ----------
    plastic_strain : ndarray, shape (C, Q, 6)
    equivalent_plastic_strain : ndarray, shape (C, Q)
    reference_strain : ndarray, shape (C, Q, 6)
        Strain at which the point is free of stress at zero thermal strain.
    """

    plastic_strain: np.ndarray
    equivalent_plastic_strain: np.ndarray
    reference_strain: np.ndarray

    @classmethod
    def virgin(cls, cells: int, points: int) -> InternalVariables:
        return cls(
            np.zeros((cells, points, 6)), np.zeros((cells, points)), np.zeros((cells, points, 6))
        )


@dataclass(frozen=True)
class Equilibrium:
    """A converged state: displacement (N, 3), stress (C, Q, 6), trial memory, how it got there."""

    displacement: np.ndarray
    stress: np.ndarray
    plastic_strain: np.ndarray
    equivalent_plastic_strain: np.ndarray
    reaction: np.ndarray  # (N, 3), force the supports put on the part [N]
    iterations: int
    residuals: tuple[float, ...]


@dataclass(frozen=True)
class Contact:
    """Pairs of points that may touch: closing beyond the gap is pushed apart, without friction.

    Attributes
    ----------
    below, above : (P,) point numbers
    normal : (P, 3) unit vectors from below to above
    gap : (P,) closing at which they touch [m]
    stiffness : (P,) [N/m]
    """

    below: np.ndarray
    above: np.ndarray
    normal: np.ndarray
    gap: np.ndarray
    stiffness: np.ndarray

    def closing(self, displacement) -> np.ndarray:
        """How much each pair has come together, (P,). [m]"""
        apart = displacement[self.above] - displacement[self.below]
        return -(apart * self.normal).sum(axis=1)


@dataclass(frozen=True)
class Spring:
    """An elastic clamp on the mean shift and turn of some points.

    Attributes
    ----------
    points : (P,) point numbers
    mean : (6, 3 P) map from their displacement to shift (3) and turn (3)
    stiffness : (6,) [N/m, N m/rad]
    anchor : (6,) shift and turn at which it is slack
    """

    points: np.ndarray
    mean: np.ndarray
    stiffness: np.ndarray
    anchor: np.ndarray

    def force(self, displacement) -> np.ndarray:
        """Force on each of the points (P, 3). [N]"""
        stretch = self.anchor - self.mean @ displacement[self.points].ravel()
        return (self.mean.T @ (self.stiffness * stretch)).reshape(-1, 3)


ELEMENTS = {
    "brick20": ("ElementHexS2", 3),
    "brick8": ("ElementHex1", 3),
    "tet10": ("ElementTetP2", 2),
}


class MechanicsModel:
    """Everything about the mechanics that does not change while a case runs.

    Parameters
    ----------
    mesh : skfem mesh of bricks or tetrahedra
    cells : ndarray of int, shape (C, n)
        Displacement points of each cell.
    local : ndarray, shape (n, 3)
        Reference coordinates of those points, which orders them.
    points : ndarray, shape (N, 3)
        [m]
    element : {'brick20', 'brick8', 'tet10'}
        20-node bricks with 2x2x2 points, trilinear bricks with mean dilatation, quadratic
        tetrahedra with 4 points.
    threads : int
    """

    def __init__(self, mesh, cells, local, points, element="brick20", threads=2, back_end=None):
        import numba
        import skfem

        name, order = ELEMENTS[element]
        kind = getattr(skfem, name)()
        basis = skfem.Basis(mesh, kind, intorder=order)
        seat = [int(np.argmin(np.abs(kind.doflocs - p).sum(axis=1))) for p in local]
        self.element = element
        self.points = points
        self.cells = np.ascontiguousarray(cells, dtype=np.int32)
        grad = np.array([basis.basis[i][0].grad for i in seat])  # (n, 3, C, Q)
        self.grad = np.ascontiguousarray(grad.transpose(2, 3, 1, 0))
        self.weight = np.ascontiguousarray(np.abs(basis.dx))
        self.cell_area = self.weight.sum(axis=1) ** (2 / 3)  # size of a face of each cell [m2]
        self.quadrature = np.asarray(basis.X).T  # (Q, 3) reference coordinates
        n = self.cells.shape[1]
        self.mean_grad = np.zeros((0, 3, n))
        if element == "brick8":
            volume = self.weight.sum(axis=1)[:, None, None]
            self.mean_grad = np.einsum("cqdn,cq->cdn", self.grad, self.weight) / volume
        self.pattern = symmetric_pattern(self.cells, points.shape[0], 3)
        self.solver = LinearSolver(self.pattern, threads, back_end)
        colour = colour_cells(self.cells, points.shape[0])
        self.order = np.argsort(colour, kind="stable").astype(np.int64)
        self.starts = np.searchsorted(colour[self.order], np.arange(colour.max() + 2))
        self.threads = min(threads, numba.config.NUMBA_NUM_THREADS)
        self._entries = (b"", np.empty(0, dtype=np.int64))
        self._touching = None

    def let_touch(self, contact: Contact) -> None:
        """Add pairs of points that may touch. Each pair has to share a cell."""
        self._touching = contact
        p, n = self.pattern, contact.normal
        low, high = np.minimum(contact.below, contact.above), np.maximum(
            contact.below, contact.above)  # fmt: skip
        places, values = [], []
        for i in range(3):
            for j in range(3):
                both = n[:, i] * n[:, j]
                places.append(_places(p, 3 * low + i, 3 * high + j))
                values.append(-both)
                if j >= i:
                    for point in (low, high):
                        places.append(_places(p, 3 * point + i, 3 * point + j))
                        values.append(both)
        self._touch_places, self._touch_values = np.array(places), np.array(values)

    @property
    def shape_counts(self) -> tuple[int, int]:
        """Cells and quadrature points in a cell."""
        return self.weight.shape

    def strain(self, displacement) -> np.ndarray:
        """Total strain at the quadrature points, shape (C, Q, 6), tensor shears."""
        u = displacement[self.cells]  # (C, n, 3)
        h = np.einsum("cqdn,cni->cqid", self.grad, u)
        if self.mean_grad.size:
            mean = np.einsum("cdn,cnd->c", self.mean_grad, u)[:, None]
            extra = (mean - np.trace(h, axis1=2, axis2=3)) / 3
            for i in range(3):
                h[:, :, i, i] += extra
        return np.stack(
            [
                h[..., 0, 0], h[..., 1, 1], h[..., 2, 2],
                0.5 * (h[..., 0, 1] + h[..., 1, 0]),
                0.5 * (h[..., 1, 2] + h[..., 2, 1]),
                0.5 * (h[..., 0, 2] + h[..., 2, 0]),
            ],
            axis=-1,
        )  # fmt: skip

    def evaluate(
        self,
        displacement,
        properties: Properties,
        internal_variables: InternalVariables,
        tangent: bool,
    ):
        """Internal force, stress and trial memory at a displacement; tangent values on request."""
        cells, points = self.weight.shape
        data = np.zeros(self.pattern.nnz if tangent else 0)
        force = np.zeros_like(self.points)
        stress = np.empty((cells, points, 6))
        plastic = np.empty((cells, points, 6))
        eqp = np.empty((cells, points))
        p = self.pattern
        squared = mechanics_pass(
            self.order, self.starts, self.threads, self.cells, p.pair_slot, p.indptr, self.grad,
            self.mean_grad, self.weight, displacement, properties.bulk, properties.shear,
            properties.yield_stress, properties.isotropic, properties.kinematic,
            properties.thermal_strain, internal_variables.reference_strain, internal_variables.plastic_strain,
            internal_variables.equivalent_plastic_strain, tangent, data, force, stress, plastic, eqp,
        )  # fmt: skip
        if self._touching is not None:
            self._push_apart(displacement, force, data)
        return force, stress, plastic, eqp, data, float(np.sqrt(squared))

    def _push_apart(self, displacement, force, data) -> None:
        """Add the forces of touching pairs, and their stiffness where a tangent is wanted."""
        touch = self._touching
        deep = touch.closing(displacement) - touch.gap
        # the push sets in softly over `SOFTLY`, or Newton's method would hop on and off the faces
        soft = np.clip(deep, 0.0, SOFTLY)
        push = touch.stiffness * (soft**2 / (2 * SOFTLY) + np.maximum(deep - SOFTLY, 0.0))
        push = push[:, None] * touch.normal
        np.add.at(force, touch.above, -push)
        np.add.at(force, touch.below, push)
        if data.size:
            stiff = touch.stiffness * soft / SOFTLY
            np.add.at(data, self._touch_places.ravel(), (self._touch_values * stiff).ravel())

    def solve(self, data, fixed, rhs, springs=(), rough=False) -> np.ndarray:
        """Step (3N,) of a tangent for a right side, `fixed` (3N,) held, with elastic clamps.

        With `rough`, good enough for a step that another one follows, and sooner.

        A spring couples all points of its face. A little of its stiffness goes to the diagonal,
        so that a part held by nothing else can be factored, and the rest of the mean shift and
        turn follows as a change of low rank (Woodbury).
        """
        rows = []
        for s in springs:
            at = (3 * s.points[:, None] + np.arange(3)).ravel()
            # little against the metal's own, or shapes the spring does not see would be stiffened
            metal = LITTLE * np.median(data[self.pattern.diagonal[at]])
            share = min(s.stiffness[:3].max() / len(s.points), metal)
            data[self.pattern.diagonal[at]] += share
            own = share / np.maximum((s.mean**2).sum(axis=1), 1e-300)  # of shift and turn
            rows.append((at, s.mean, s.stiffness - own))
        self.factor(data, fixed, rough)
        step = self.solver.solve(rhs)
        if not rows:
            return step
        low = np.zeros((6 * len(rows), rhs.size))
        change = np.concatenate([c for _, _, c in rows])
        for k, (at, mean, _) in enumerate(rows):
            low[6 * k : 6 * k + 6, at] = mean
        low[:, fixed] = 0.0
        through = np.array([self.solver.solve(b) for b in low])
        small = np.eye(len(change)) + change[:, None] * (low @ through.T)
        return step - through.T @ np.linalg.solve(small, change * (low @ step))

    def factor(self, data, fixed, rough=False) -> None:
        """Factor a tangent with the unknowns in `fixed` (3N,) held."""
        key = fixed.tobytes()
        if self._entries[0] != key:
            self._entries = (key, fixed_entries(self.pattern, fixed))
        data[self._entries[1]] = 0.0
        held = self.pattern.diagonal[fixed]
        data[held] = np.median(data[self.pattern.diagonal])
        self.solver.factor(data, rough)


def solve_equilibrium(
    model: MechanicsModel,
    displacement,
    properties: Properties,
    internal_variables: InternalVariables,
    fixed,
    prescribed=None,
    load=None,
    springs=(),
    tolerance: float | None = None,
    rough: bool = False,
) -> Equilibrium:
    """Find the displacement in equilibrium with given properties and memory.

    Parameters
    ----------
    displacement : ndarray, shape (N, 3)
        Where to start. [m]
    fixed : ndarray of bool, shape (N, 3)
        Unknowns that are held.
    prescribed : ndarray, shape (N, 3), optional
        Values of the held unknowns; they stay where they are when left out. [m]
    load : ndarray, shape (N, 3), optional
        Outer forces. [N]
    springs : sequence of Spring, optional
        Elastic clamps that grip.
    tolerance : float, optional
        Residual force over the size of the cell forces; `TOLERANCE` when left out.
    rough : bool
        Take steps good to `solve.ROUGH_LIMIT`, which come sooner. What counts as equilibrium stays.

    Raises
    ------
    ConvergenceError
        With the residual history, when no equilibrium is found.

    Notes
    -----
    Full step first; when the residual still does work along the step, the step length is found by
    regula falsi on that work (Crisfield, Non-linear Finite Element Analysis vol. 1, 9.2).
    """
    held = fixed.ravel()
    enough = TOLERANCE if tolerance is None else tolerance
    u = displacement.copy()
    jump = np.zeros_like(u)
    if prescribed is not None:
        jump[fixed] = (prescribed - u)[fixed]
    load = np.zeros_like(u) if load is None else load
    pending = np.any(jump != 0)
    history = []
    # A body may end free of stress, so its cell forces alone cannot be the measure.
    least = LEAST_STRAIN * float(np.linalg.norm(properties.bulk.max(axis=1) * model.cell_area))
    if springs:
        model = _Sprung(model, springs)
    state = model.evaluate(u, properties, internal_variables, True)
    for iteration in range(MAX_ITERATIONS):
        force, stress, plastic, eqp, data, scale = state
        residual = load - force
        scale = max(scale, float(np.linalg.norm(load)), least)
        size = float(np.linalg.norm(residual[~fixed])) / scale
        history.append(size)
        if size < enough and not pending:
            reaction = np.where(fixed, -residual, 0.0)
            for s in springs:
                reaction[s.points] += s.force(u)
            return Equilibrium(u, stress, plastic, eqp, reaction, iteration, tuple(history))
        rhs = residual.ravel().copy()
        if pending:
            rhs -= _coupling(model, data, jump.ravel())
        rhs[held] = 0.0
        try:
            step = model.solve(data, held, rhs, springs, rough).reshape(u.shape)
        except ConvergenceError as error:  # singular: the part gives way under its load
            raise ConvergenceError(f"no equilibrium: {error}; {_residuals(history)}") from error
        if pending:
            step += jump
            pending = False
            u = u + step
            state = model.evaluate(u, properties, internal_variables, True)
            continue
        u, state = _line_search(model, u, step, residual, load, properties, internal_variables)
        if not np.isfinite(state[5]):
            break
    raise ConvergenceError(f"no equilibrium in {len(history)} iterations; {_residuals(history)}")


class _Sprung:
    """A mechanics model whose inner force counts elastic clamps."""

    def __init__(self, model, springs):
        self._model, self._springs = model, springs

    def __getattr__(self, name):
        return getattr(self._model, name)

    def evaluate(self, displacement, properties, internal_variables, tangent):
        force, *rest = self._model.evaluate(displacement, properties, internal_variables, tangent)
        for s in self._springs:
            force[s.points] -= s.force(displacement)
        return (force, *rest)


def _places(pattern, rows, columns) -> np.ndarray:
    """Positions of entries of the upper triangle in the values of a pattern."""
    out = np.empty(len(rows), dtype=np.int64)
    for k, (r, c) in enumerate(zip(rows, columns, strict=True)):
        begin, end = pattern.indptr[r], pattern.indptr[r + 1]
        at = begin + np.flatnonzero(pattern.indices[begin:end] == c)
        if at.size != 1:
            raise ValueError("points that may touch share no cell")
        out[k] = at[0]
    return out


def _residuals(history) -> str:
    return "residuals " + ", ".join(f"{r:.1e}" for r in history[-8:])


def _coupling(model, data, jump):
    """K times a prescribed jump, from the upper triangle."""
    import scipy.sparse as sp

    p = model.pattern
    upper = sp.csr_matrix((data, p.indices, p.indptr), shape=(p.size, p.size))
    return upper @ jump + upper.T @ jump - upper.diagonal() * jump


def _line_search(model, u, step, residual, load, properties, internal_variables):
    """Accept the full step unless the residual keeps working against it."""
    start = float(np.vdot(step, residual))
    state = model.evaluate(u + step, properties, internal_variables, True)
    work = float(np.vdot(step, load - state[0]))
    if abs(work) <= 0.8 * abs(start) or start == 0.0:
        return u + step, state
    low, low_work, high, high_work = 0.0, start, 1.0, work
    share = 1.0
    for _ in range(6):
        if low_work * high_work < 0:
            share = low + (high - low) * low_work / (low_work - high_work)
            share = min(max(share, low + 0.1 * (high - low)), high - 0.1 * (high - low))
        else:
            share = 0.5 * share
        force = model.evaluate(u + share * step, properties, internal_variables, False)[0]
        work = float(np.vdot(step, load - force))
        if abs(work) <= 0.5 * abs(start):
            break
        if work * start > 0:
            low, low_work = share, work
        else:
            high, high_work = share, work
    return u + share * step, model.evaluate(u + share * step, properties, internal_variables, True)


def accept(
    model: MechanicsModel,
    found: Equilibrium,
    properties: Properties,
    internal_variables,
    reset,
    anneal=None,
) -> tuple[InternalVariables, np.ndarray]:
    """Memory and stress after a converged step.

    Points in `reset` (C, Q) become stress-free where they are: soft metal, filler not yet laid.
    Points in `anneal` (C, Q) forget their hardening but keep their stress.
    """
    plastic, eqp = found.plastic_strain, found.equivalent_plastic_strain
    reference, stress = internal_variables.reference_strain, found.stress
    if anneal is not None and np.any(anneal):
        plastic, eqp, reference = plastic.copy(), eqp.copy(), reference.copy()
        reference[anneal] += plastic[anneal]
        plastic[anneal] = 0.0
        eqp[anneal] = 0.0
    if np.any(reset):
        plastic, eqp = plastic.copy(), eqp.copy()
        reference, stress = reference.copy(), stress.copy()
        strain = model.strain(found.displacement)[reset]
        strain[:, :3] -= properties.thermal_strain[reset][:, None]
        reference[reset] = strain
        plastic[reset] = 0.0
        eqp[reset] = 0.0
        stress[reset] = 0.0
    return InternalVariables(plastic, eqp, reference), stress


def von_mises(stress) -> np.ndarray:
    """Equivalent stress of (..., 6), order xx yy zz xy yz xz, shape (...). [Pa]"""
    d = stress[..., :3] - stress[..., :3].mean(axis=-1, keepdims=True)
    return np.sqrt(1.5 * ((d**2).sum(axis=-1) + 2 * (stress[..., 3:] ** 2).sum(axis=-1)))


def minimal_supports(points: np.ndarray) -> np.ndarray:
    """Six unknowns that stop rigid motion and nothing else, as a mask (N, 3).

    Three far-apart points: the first is held in x, y, z, the second in the two directions across
    the line to it, the third in the direction out of the plane of the three. The axes nearest to
    those directions are used, so the supports carry no reaction on a free part.
    """
    fixed = np.zeros(points.shape, dtype=bool)
    first = int(np.argmin(points.sum(axis=1)))
    second = int(np.argmax(np.linalg.norm(points - points[first], axis=1)))
    line = points[second] - points[first]
    off = np.cross(points - points[first], line)
    third = int(np.argmax(np.linalg.norm(off, axis=1)))
    fixed[first] = True
    along = int(np.argmax(np.abs(line)))
    rest = [i for i in range(3) if i != along]
    fixed[second, rest] = True
    normal = np.abs(np.cross(line, points[third] - points[first]))
    fixed[third, rest[int(np.argmax(normal[rest]))]] = True
    return fixed
