"""Sparse solves: pattern against SciPy assembly, every back end against it, refusals."""

import numpy as np
import pytest
import scipy.sparse as sp
from scipy.sparse.linalg import spsolve
from skfem import MeshHex1

from weldsim.errors import ConvergenceError, SetupError
from weldsim.physics import back_ends, linear_solver
from weldsim.physics.linear_solver import LinearSolver
from weldsim.physics.symmetric_pattern import fixed_entries, symmetric_pattern

MESH = MeshHex1.init_tensor(*(np.linspace(0.0, 1.0, n) for n in (6, 4, 3)))


def problem(components):
    """Random symmetric positive definite cell matrices, in the pattern and assembled by SciPy."""
    random = np.random.default_rng(7)
    cells, nodes = MESH.t.T, MESH.p.shape[1]
    pattern = symmetric_pattern(cells, nodes, components)
    size = cells.shape[1] * components
    factors = random.normal(size=(len(cells), size, size))
    local = factors @ factors.transpose(0, 2, 1) + size * np.eye(size)
    unknowns = (cells[:, :, None] * components + np.arange(components)).reshape(len(cells), -1)
    rows = np.repeat(unknowns, size, axis=1).ravel()
    columns = np.tile(unknowns, (1, size)).ravel()
    shape = (pattern.size, pattern.size)
    whole = sp.csr_matrix((local.ravel(), (rows, columns)), shape=shape)
    upper = sp.triu(whole).tocsr()
    upper.sort_indices()
    return pattern, whole, upper


@pytest.mark.parametrize("components", [1, 3])
def test_pattern_is_the_upper_triangle_of_scipys(components):
    pattern, _, upper = problem(components)
    np.testing.assert_array_equal(pattern.indptr, upper.indptr)
    np.testing.assert_array_equal(pattern.indices, upper.indices)
    np.testing.assert_array_equal(pattern.indices[pattern.diagonal], np.arange(pattern.size))


def test_node_without_a_cell_is_refused():
    with pytest.raises(ValueError, match="belongs to no cell"):
        symmetric_pattern(np.array([[0, 1, 2, 3]]), 5, 1)


def test_fixed_entries_are_rows_and_columns_off_the_diagonal():
    pattern, whole, upper = problem(3)
    fixed = np.zeros(pattern.size, dtype=bool)
    fixed[[0, 7, 20]] = True
    data = upper.data.copy()
    data[fixed_entries(pattern, fixed)] = 0.0
    found = sp.csr_matrix((data, pattern.indices, pattern.indptr), shape=whole.shape).toarray()
    expected = np.triu(whole.toarray())
    expected[np.ix_(fixed, ~fixed)] = expected[np.ix_(~fixed, fixed)] = 0.0
    inner = expected[np.ix_(fixed, fixed)]
    expected[np.ix_(fixed, fixed)] = np.diag(np.diag(inner))
    # two ways to sum the same entries
    np.testing.assert_allclose(found, expected, rtol=1e-13, atol=1e-13 * np.abs(expected).max())


@pytest.mark.parametrize("name", list(back_ends.BACK_ENDS))
@pytest.mark.parametrize("components", [1, 3])
def test_back_end_agrees_with_scipy(name, components):
    """Also after a second set of values in the same pattern."""
    if name in back_ends.MODULES:
        pytest.importorskip(back_ends.MODULES[name])
    pattern, whole, upper = problem(components)
    solver = LinearSolver(pattern, 1, name)
    right = np.random.default_rng(1).normal(size=pattern.size)
    for share in (1.0, 3.0):
        solver.factor(share * upper.data)
        expected = spsolve((share * whole).tocsc(), right)
        assert solver.solve(right) == pytest.approx(expected, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("name", list(back_ends.BACK_ENDS))
def test_singular_matrix_raises(name):
    """A conduction matrix with nothing held: a constant is in its null space."""
    if name in back_ends.MODULES:
        pytest.importorskip(back_ends.MODULES[name])
    pattern, _, _ = problem(1)
    rows = np.repeat(np.arange(pattern.size), np.diff(pattern.indptr))
    off = rows != pattern.indices
    data = np.where(off, -1.0, 0.0)
    degree = np.bincount(rows[off], minlength=pattern.size)
    degree += np.bincount(pattern.indices[off], minlength=pattern.size)
    data[pattern.diagonal] = degree
    solver = LinearSolver(pattern, 1, name)
    with pytest.raises(ConvergenceError):
        solver.factor(data)
        solver.solve(np.ones(pattern.size))


@pytest.mark.parametrize("name", list(back_ends.BACK_ENDS))
def test_rough_solutions_keep_to_their_limit(name):
    """And a factor that is not rough follows one that is without a trace of it."""
    if name in back_ends.MODULES:
        pytest.importorskip(back_ends.MODULES[name])
    pattern, whole, upper = problem(3)
    solver = LinearSolver(pattern, 1, name)
    right = np.random.default_rng(1).normal(size=pattern.size)
    solver.factor(upper.data, rough=True)
    left = np.abs(whole @ solver.solve(right) - right).max()
    assert left <= linear_solver.ROUGH_LIMIT * np.abs(right).max()
    solver.factor(upper.data)
    assert solver.solve(right) == pytest.approx(spsolve(whole.tocsc(), right), rel=1e-9, abs=1e-12)


def test_what_seven_digits_cannot_solve_is_solved_in_double():
    """Two springs in a row, 1e9 to 1 in stiffness, pulled at the soft end: known shifts."""
    pytest.importorskip("pypardiso")
    pattern = symmetric_pattern(np.array([[0, 1]]), 2, 1)
    data = np.zeros(pattern.nnz)
    data[pattern.diagonal] = [1 + 1e-9, 1.0]  # node 0 held by 1e-9, tied to node 1 by 1
    off = np.setdiff1d(np.arange(pattern.nnz), pattern.diagonal)
    data[off] = -1.0
    solver = LinearSolver(pattern, 1, "pardiso")
    solver.factor(data, rough=True)
    assert solver.solve(np.array([0.0, 1.0])) == pytest.approx([1e9, 1e9 + 1], rel=1e-6)


def test_wrong_answer_of_a_back_end_is_caught():
    pattern, _, upper = problem(1)
    solver = LinearSolver(pattern, 1, "superlu")
    solver.factor(upper.data)
    true = solver._engine.solve
    solver._engine.solve = lambda b: 1.001 * true(b)
    with pytest.raises(ConvergenceError, match="left a residual"):
        solver.solve(np.ones(pattern.size))


def test_back_end_that_does_not_load_gives_way(monkeypatch):
    """An installed package whose library is missing: the next one solves, and the run says so."""

    def broken(*args):
        raise ImportError("shared library not found")

    monkeypatch.delenv("WELDSIM_SOLVER", raising=False)
    monkeypatch.setattr(linear_solver, "available_back_end", lambda: "pardiso")
    monkeypatch.setattr(
        linear_solver, "BACK_ENDS", {**back_ends.BACK_ENDS, "pardiso": broken, "rslab": broken}
    )
    pattern, _, _ = problem(1)
    assert LinearSolver(pattern).name == "superlu"
    assert "10 to 16 times" in back_ends.slow_solver_note("superlu")
    assert back_ends.slow_solver_note("pardiso") is None
    with pytest.raises(SetupError, match="pardiso is not installed"):
        LinearSolver(pattern, 1, "pardiso")


def test_unknown_wish_is_refused(monkeypatch):
    monkeypatch.setenv("WELDSIM_SOLVER", "magic")
    with pytest.raises(SetupError, match="magic.*allowed: pardiso, rslab, superlu"):
        back_ends.available_back_end()
