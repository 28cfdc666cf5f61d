"""Systems of one heat step against SciPy's sparse direct solver, a general-purpose library."""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
import scipy.sparse.linalg as sla

from weldsim.physics.heat_system import SHARE, HeatSystem
from weldsim.physics.linear_solver import LinearSolver
from weldsim.physics.residual_kernel import symmetric_product
from weldsim.physics.symmetric_pattern import symmetric_pattern

NODES = 400


def chain():
    """Solver and values of a chain of nodes that conduct to the next and store heat."""
    cells = np.array([[i, i + 1] for i in range(NODES - 1)])
    pattern = symmetric_pattern(cells, NODES, 1)
    data = np.full(pattern.nnz, -1.0)
    data[pattern.diagonal] = 2.1
    return LinearSolver(pattern, 1), data


def full(solver, data):
    """The matrix for SciPy."""
    p = solver.pattern
    upper = sp.csr_matrix((data, p.indices, p.indptr), shape=(NODES, NODES))
    return (upper + upper.T - sp.diags(upper.diagonal())).tocsc()


def test_product_is_that_of_the_full_matrix():
    solver, data = chain()
    x = np.sin(np.arange(NODES))
    expected = full(solver, data) @ x
    assert np.allclose(symmetric_product(solver.pattern, data, x), expected, rtol=0, atol=1e-13)


def test_a_second_system_is_solved_on_the_factor_of_the_first():
    solver, data = chain()
    held = np.zeros(NODES, bool)
    held[[0, -1]] = True
    rhs = np.where(held, 0.0, np.cos(np.arange(NODES) / 7.0))
    system = HeatSystem(solver)
    first = system.solve(data.copy(), held, rhs)
    cut = data.copy()
    solver.hold(cut, held, 1.0)
    # factored in numbers of seven digits, at a condition of 40
    assert np.allclose(first, sla.spsolve(full(solver, cut), rhs), rtol=0, atol=1e-4)

    melting = data.copy()  # some nodes take in ten times the heat, as metal that melts does
    melting[solver.pattern.diagonal[100:110]] *= 10.0
    second = system.solve(melting.copy(), held, rhs)
    assert system.factorisations == 1
    solver.hold(melting, held, 1.0)
    left = rhs - full(solver, melting) @ second
    assert np.abs(left).sum() <= SHARE * np.abs(rhs).sum() * (1 + 1e-9)


def test_a_factor_that_does_not_lead_is_made_anew():
    solver, data = chain()
    held = np.zeros(NODES, bool)
    rhs = np.cos(np.arange(NODES) / 7.0)
    system = HeatSystem(solver)
    system.solve(data.copy(), held, rhs)
    other = data.copy()  # capacities spread over six decades: no cluster that few iterations find
    other[solver.pattern.diagonal] += np.logspace(0, 6, NODES)[
        np.random.default_rng(1).permutation(NODES)
    ]
    found = system.solve(other.copy(), held, rhs)
    assert system.factorisations == 2
    expected = sla.spsolve(full(solver, other), rhs)
    assert np.abs(found - expected).max() < 1e-4 * np.abs(expected).max()
