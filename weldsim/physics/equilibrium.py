"""Quasi-static equilibrium: div sigma = 0 with sigma = C(T) (eps - eps_th(T) - eps_p - eps_ref).

Small strain. Newton with a line search on the work of the residual; an answer is accepted only in
equilibrium. Left out: large rotations (checked and warned about), phase change, creep.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from weldsim.errors import ConvergenceError
from weldsim.physics.arrays import Flags, Floats
from weldsim.physics.mechanics_model import MechanicsModel, Response
from weldsim.physics.plasticity import InternalVariables, Properties
from weldsim.physics.residual_kernel import symmetric_product
from weldsim.physics.springs import Spring, solve_with_springs
from weldsim.physics.symmetric_pattern import SymmetricPattern

TOLERANCE = 1e-6  # residual force over the size of the cell forces
FORCE_SCALE_STRAIN = (
    1e-5  # the cell forces count as at least those of this strain, for bodies at rest
)
MAX_ITERATIONS = 40
FULL_STEP_WORK = 0.8  # share of the residual's work up to which a full step is taken
LINE_SEARCH_WORK = 0.5  # share at which a line search is content
LINE_SEARCH_TRIES = 6


@dataclass(frozen=True)
class Equilibrium:
    """A converged state and how it was found.

    Attributes
    ----------
    displacement : ndarray, shape (N, 3)
        [m]
    stress : ndarray, shape (C, Q, 6)
        Order xx yy zz xy yz xz. [Pa]
    plastic_strain, equivalent_plastic_strain : ndarray, shapes (C, Q, 6) and (C, Q)
        After the step. [1]
    reaction : ndarray, shape (N, 3)
        Force the supports put on the part. [N]
    iterations : int
        Systems solved.
    residuals : tuple of float
        Before each of them and at the end, over the size of the cell forces.
    factorisations, back_substitutions : int
        What that took.
    """

    displacement: Floats
    stress: Floats
    plastic_strain: Floats
    equivalent_plastic_strain: Floats
    reaction: Floats
    iterations: int
    residuals: tuple[float, ...]
    factorisations: int = 0
    back_substitutions: int = 0


@dataclass(frozen=True)
class Problem:
    """What does not change while equilibrium is sought.

    Attributes
    ----------
    model : MechanicsModel
        Cells, solver, faces that may touch.
    properties : Properties
        At the end of the step.
    internal_variables : InternalVariables
        At its start.
    fixed : ndarray of bool, shape (N, 3)
        Unknowns that are held.
    load : ndarray, shape (N, 3)
        Outer forces. [N]
    springs : sequence of Spring
        Elastic clamps that are closed.
    """

    model: MechanicsModel
    properties: Properties
    internal_variables: InternalVariables
    fixed: Flags
    load: Floats
    springs: Sequence[Spring]

    def evaluate(self, displacement: Floats, tangent: bool = True) -> Response:
        """Answer of metal, faces that touch and elastic clamps.

        Parameters
        ----------
        displacement : ndarray, shape (N, 3)
            [m]
        tangent : bool
            Whether the tangent of metal and faces is wanted too.

        Returns
        -------
        Response
            The springs counted in its force.
        """
        found = self.model.evaluate(displacement, self.properties, self.internal_variables, tangent)
        for s in self.springs:
            found.force[s.points] -= s.force(displacement)
        return found

    def force_scale(self, response: Response) -> float:
        """What to measure the residual by; a body may end free of stress.

        Parameters
        ----------
        response : Response
            Of the displacement in question.

        Returns
        -------
        float
            [N]
        """
        at_rest = np.linalg.norm(self.properties.bulk.max(axis=1) * self.model.face_area)
        least = FORCE_SCALE_STRAIN * float(at_rest)
        return max(response.scale, float(np.linalg.norm(self.load)), least)

    def newton_step(self, response: Response, rhs: Floats, rough: bool) -> Floats:
        """Change of the displacement that undoes a residual, held points apart.

        Parameters
        ----------
        response : Response
            With its tangent, which is changed.
        rhs : ndarray, shape (N, 3)
            The residual. [N]
        rough : bool
            A few digits will do.

        Returns
        -------
        ndarray, shape (N, 3)
            [m]

        Raises
        ------
        ConvergenceError
            If the tangent is singular.
        """
        held = self.fixed.ravel()
        pull = np.where(held, 0.0, rhs.ravel())
        step = solve_with_springs(
            self.model.solver, response.tangent, held, pull, self.springs, rough
        )
        return step.reshape(self.fixed.shape)

    def found(
        self, displacement: Floats, response: Response, residual: Floats, history: list[float]
    ) -> Equilibrium:
        """The answer, with what the supports push.

        Parameters
        ----------
        displacement : ndarray, shape (N, 3)
            In equilibrium. [m]
        response : Response
            Of it.
        residual : ndarray, shape (N, 3)
            Outer less inner force: at held points what they push. [N]
        history : list of float
            Residuals on the way.

        Returns
        -------
        Equilibrium
            Each residual but the last counted as a system solved with a factor of its own.
        """
        reaction = np.where(self.fixed, -residual, 0.0)
        for s in self.springs:
            reaction[s.points] += s.force(displacement)
        if self.model.bound_table is not None:
            table = self.model.bound_table.table
            reaction[table.points] += table.push(displacement)
        solved = len(history) - 1
        return Equilibrium(
            displacement, response.stress, response.plastic_strain,
            response.equivalent_plastic_strain, reaction, solved, tuple(history), solved, solved,
        )  # fmt: skip


def solve_equilibrium(
    model: MechanicsModel,
    displacement: Floats,
    properties: Properties,
    internal_variables: InternalVariables,
    fixed: Flags,
    prescribed: Floats | None = None,
    load: Floats | None = None,
    springs: Sequence[Spring] = (),
    tolerance: float | None = None,
    rough: bool = False,
) -> Equilibrium:
    """Find the displacement in equilibrium with given properties and internal variables.

    Parameters
    ----------
    model : MechanicsModel
        Cells, solver, faces that may touch.
    displacement : ndarray, shape (N, 3)
        Where to start. [m]
    properties : Properties
        At the end of the step.
    internal_variables : InternalVariables
        At its start.
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
        Take steps good to `linear_solver.ROUGH_LIMIT`, which come sooner. What counts as
        equilibrium stays.

    Returns
    -------
    Equilibrium
        In equilibrium to `tolerance`.

    Raises
    ------
    ConvergenceError
        With the residual history, when no equilibrium is found.
    """
    outer = np.zeros_like(displacement) if load is None else load
    problem = Problem(model, properties, internal_variables, fixed, outer, springs)
    jump = np.zeros_like(displacement)
    if prescribed is not None:
        jump[fixed] = (prescribed - displacement)[fixed]
    return _newton(problem, displacement, jump, tolerance or TOLERANCE, rough)


def _newton(
    problem: Problem, start: Floats, jump: Floats, tolerance: float, rough: bool
) -> Equilibrium:
    """Newton's method from `start`; held points first jump (N, 3) to where they are to be."""
    u, now, pending = start.copy(), problem.evaluate(start), bool(np.any(jump != 0))
    history: list[float] = []
    while len(history) < MAX_ITERATIONS and np.isfinite(now.scale):
        residual = problem.load - now.force
        size = float(np.linalg.norm(residual[~problem.fixed])) / problem.force_scale(now)
        history.append(size)
        if size < tolerance and not pending:
            return problem.found(u, now, residual, history)
        try:
            if pending:
                pull = residual - _coupling(problem.model.pattern, now.tangent, jump)
                u = u + problem.newton_step(now, pull, rough) + jump
                now, pending = problem.evaluate(u), False
            else:
                step = problem.newton_step(now, residual, rough)
                u, now = _line_search(problem, u, step, residual)
        except ConvergenceError as error:  # singular: the part gives way under its load
            raise ConvergenceError(
                f"no equilibrium: {error}; {residuals_in_words(history)}"
            ) from error
    raise ConvergenceError(
        f"no equilibrium in {len(history)} iterations; {residuals_in_words(history)}"
    )


def residuals_in_words(history: list[float]) -> str:
    """The last residuals, for a message.

    Parameters
    ----------
    history : list of float
        All of them.

    Returns
    -------
    str
        "residuals 1.0e-01, ...".
    """
    return "residuals " + ", ".join(f"{r:.1e}" for r in history[-8:])


def _coupling(pattern: SymmetricPattern, data: Floats, jump: Floats) -> Floats:
    """Force (N, 3) on all points when the held ones jump."""
    return symmetric_product(pattern, data, jump.ravel()).reshape(jump.shape)


def _line_search(
    problem: Problem, u: Floats, step: Floats, residual: Floats
) -> tuple[Floats, Response]:
    """Take the full step unless the residual keeps working against it.

    Regula falsi on that work (Crisfield, Non-linear Finite Element Analysis vol. 1, 9.2).
    """
    start = float(np.vdot(step, residual))
    full = problem.evaluate(u + step)
    work = float(np.vdot(step, problem.load - full.force))
    if abs(work) <= FULL_STEP_WORK * abs(start) or start == 0.0:
        return u + step, full
    low, low_work, high, high_work = 0.0, start, 1.0, work
    share = 1.0
    for _ in range(LINE_SEARCH_TRIES):
        if low_work * high_work < 0:
            share = low + (high - low) * low_work / (low_work - high_work)
            share = min(max(share, low + 0.1 * (high - low)), high - 0.1 * (high - low))
        else:
            share = 0.5 * share
        tried = problem.evaluate(u + share * step, tangent=False)
        work = float(np.vdot(step, problem.load - tried.force))
        if abs(work) <= LINE_SEARCH_WORK * abs(start):
            break
        if work * start > 0:
            low, low_work = share, work
        else:
            high, high_work = share, work
    return u + share * step, problem.evaluate(u + share * step)


def accept(
    model: MechanicsModel,
    found: Equilibrium,
    properties: Properties,
    internal_variables: InternalVariables,
    reset: Flags,
    anneal: Flags | None = None,
) -> tuple[InternalVariables, Floats]:
    """Internal variables and stress after a converged step.

    Parameters
    ----------
    model : MechanicsModel
        Gives the strain.
    found : Equilibrium
        The converged step.
    properties : Properties
        It was found with.
    internal_variables : InternalVariables
        At its start.
    reset : ndarray of bool, shape (C, Q)
        Points that become free of stress where they are: soft metal, and filler that joins.
    anneal : ndarray of bool, shape (C, Q), optional
        Points that forget their hardening but keep their stress.

    Returns
    -------
    internal_variables : InternalVariables
        At the end of the step.
    stress : ndarray, shape (C, Q, 6)
        [Pa]
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
        cells = np.flatnonzero(reset.any(axis=1))  # a pass over all cells would take longer
        strain = model.strain(found.displacement, cells)[reset[cells]]
        strain[:, :3] -= properties.thermal_strain[reset][:, None]
        reference[reset] = strain
        plastic[reset] = 0.0
        eqp[reset] = 0.0
        stress[reset] = 0.0
    return InternalVariables(plastic, eqp, reference), stress
