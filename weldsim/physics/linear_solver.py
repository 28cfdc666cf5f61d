"""Sparse symmetric systems with a fixed pattern: analysed once, refilled in place, checked.

A pattern is built once per mesh from the cells' node lists; only the upper triangle is kept.
Numeric factorisation goes to the fastest back end found at run time: MKL Pardiso, then rslab,
then SuperLU with a METIS order. A solution is returned only if its residual is small; anything
else raises `ConvergenceError`.
"""

from __future__ import annotations

import ctypes
import os
import sys
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from weldsim.errors import ConvergenceError, SetupError

# Largest residual of a solution: against |A||x| + |b|, far above what a healthy factor leaves
# behind, and against |b|. The second catches a singular matrix, where rounding makes a pivot of
# 1e-16 and an |x| so large that any residual looks small beside it.
RESIDUAL_LIMIT, RIGHT_SIDE_LIMIT = 1e-8, 1e-6
ROUGH_LIMIT = 1e-4  # against |b|, of a solution that is only a direction to go on in
REFINEMENTS = 3  # of a rough solution, at most


@dataclass(frozen=True)
class SymmetricPattern:
    """Upper-triangle CSR pattern of a finite-element matrix with `components` unknowns a node.

    `pair_slot[c, p]` is the place of local node pair p of cell c in its block row; pairs run over
    (a, b), a <= b, in the order of `numpy.triu_indices`. The block row is that of the smaller
    global node, so a pair whose first node is the larger one is stored transposed.
    """

    components: int
    nodes: int
    cells: np.ndarray  # (C, n) int32
    indptr: np.ndarray  # (components * nodes + 1,) int32
    indices: np.ndarray  # (nnz,) int32
    pair_slot: np.ndarray  # (C, n (n + 1) / 2) int32

    @property
    def size(self) -> int:
        return self.components * self.nodes

    @property
    def nnz(self) -> int:
        return int(self.indptr[-1])

    @property
    def diagonal(self) -> np.ndarray:
        """Positions of the diagonal entries, shape (size,): the first of each row."""
        return self.indptr[:-1]


def symmetric_pattern(cells: np.ndarray, nodes: int, components: int) -> SymmetricPattern:
    """Build the pattern of all couplings within cells.

    Parameters
    ----------
    cells : ndarray of int, shape (C, n)
        Node numbers of each cell.
    nodes : int
        Number of nodes; each must belong to a cell.
    components : int
        Unknowns at a node (1 for temperature, 3 for displacement).
    """
    first, second = np.triu_indices(cells.shape[1])
    low = np.minimum(cells[:, first], cells[:, second]).astype(np.int64)
    high = np.maximum(cells[:, first], cells[:, second]).astype(np.int64)
    keys, inverse = np.unique((low * nodes + high).ravel(), return_inverse=True)
    inverse = inverse.ravel()
    row, column = keys // nodes, keys % nodes
    block_start = np.searchsorted(row, np.arange(nodes + 1))
    if np.any(np.diff(block_start) == 0):
        raise ValueError("a node belongs to no cell")
    slot = (inverse - block_start[row[inverse]]).reshape(low.shape).astype(np.int32)

    d = components
    blocks = np.diff(block_start)
    lengths = (blocks[:, None] * d - np.arange(d)).ravel()  # row r of a diagonal block lacks r
    indptr = np.concatenate([[0], np.cumsum(lengths)]).astype(np.int64)
    if indptr[-1] >= 2**31:
        raise SetupError("the mesh is too large for 32-bit sparse indices; use a coarser grade")
    rows = np.repeat(np.arange(nodes * d), lengths)
    offset = np.arange(indptr[-1]) - indptr[rows] + rows % d  # column counted in the block row
    indices = column[block_start[rows // d] + offset // d] * d + offset % d
    return SymmetricPattern(
        d, nodes, cells.astype(np.int32), indptr.astype(np.int32), indices.astype(np.int32), slot
    )


def fixed_entries(pattern: SymmetricPattern, fixed: np.ndarray) -> np.ndarray:
    """Positions of the off-diagonal entries in a row or column of a fixed unknown."""
    rows = np.repeat(np.arange(pattern.size), np.diff(pattern.indptr))
    hit = (fixed[rows] | fixed[pattern.indices]) & (rows != pattern.indices)
    return np.flatnonzero(hit)


@lru_cache(maxsize=1)
def _mkl():
    """MKL, found once: pypardiso's own search walks the whole installation for over a second."""
    from importlib.metadata import PackageNotFoundError, files

    # CBWR pins one instruction path, so that equal inputs give equal bits on resume.
    os.environ.setdefault("MKL_CBWR", "AVX2")
    try:
        listed = files("mkl") or []
    except PackageNotFoundError:
        listed = []
    here = [str(f.locate()) for f in listed if f.name.removeprefix("lib").startswith("mkl_rt")]
    if here:
        os.environ.setdefault("PYPARDISO_MKL_RT", min(here, key=len))
    from pypardiso.pardiso_wrapper import PyPardisoSolver

    return PyPardisoSolver(mtype=2).libmkl  # with the argument types of `pardiso` set


MINIMUM_DEGREE, METIS = 0, 2  # Pardiso's orderings
TRY_BOTH_BELOW = 40_000  # unknowns; above, METIS wins and a second analysis costs seconds


class Pardiso:
    """MKL Pardiso as symmetric positive definite (indefinite when that fails), analysis kept.

    With `single`, numbers of seven digits: a factor in six tenths of the time.
    """

    name = "pardiso"

    def __init__(self, pattern: SymmetricPattern, threads: int, single: bool = False):
        library = _mkl()
        self._call = library.pardiso
        library.MKL_Set_Num_Threads(ctypes.c_int(threads))
        self._ia = pattern.indptr + np.int32(1)
        self._ja = pattern.indices + np.int32(1)
        self._n = pattern.size
        self._perm = np.zeros(self._n, dtype=np.int32)
        self._handles: dict[int, tuple[np.ndarray, np.ndarray]] = {}
        self._mtype = 2
        self._kind = np.float32 if single else np.float64

    def _analyse(self, mtype: int, data: np.ndarray) -> None:
        """Order and analyse once; on small systems the sparser of two orderings is kept."""
        size = self._start(mtype, METIS, data)
        if self._n > TRY_BOTH_BELOW:
            return
        metis = self._handles.pop(mtype)
        fewer = self._start(mtype, MINIMUM_DEGREE, data)
        other = self._handles.pop(mtype)
        # Two-level solves, only on offer with METIS, are worth some fill.
        better, worse = (other, metis) if fewer < 0.93 * size else (metis, other)
        self._handles[mtype] = worse
        self._release(mtype)
        self._handles[mtype] = better

    def _start(self, mtype: int, ordering: int, data: np.ndarray) -> int:
        """New handle, analysed; gives back the entries of the factor."""
        iparm = np.zeros(64, dtype=np.int32)
        iparm[0] = 1  # own settings below
        iparm[1] = ordering
        iparm[17] = -1  # report the entries of the factor
        iparm[23] = 1 if ordering == METIS else 0  # two-level scheme: solves take half the time
        iparm[7] = 0 if mtype == 2 else 2  # iterative refinement steps
        iparm[9] = 8
        iparm[27] = int(self._kind is np.float32)
        iparm[20] = 1  # Bunch-Kaufman, used by the indefinite type only
        self._handles[mtype] = (np.zeros(64, dtype=np.int64), iparm)
        empty = np.zeros(self._n, dtype=self._kind)
        error = self._phase(11, mtype, data, empty, empty)
        if error:
            raise ConvergenceError(f"Pardiso analysis failed with code {error}")
        return int(iparm[17])

    def _release(self, mtype: int) -> None:
        empty = np.zeros(1)
        self._phase(-1, mtype, empty, empty, empty)
        del self._handles[mtype]

    def _phase(self, phase: int, mtype: int, data: np.ndarray, b: np.ndarray, x: np.ndarray):
        handle, iparm = self._handles[mtype]
        error = ctypes.c_int32(0)

        def ref(value):
            return ctypes.byref(ctypes.c_int32(value))

        def ints(array):
            return array.ctypes.data_as(ctypes.POINTER(ctypes.c_int32))

        self._call(
            handle.ctypes.data_as(ctypes.POINTER(ctypes.c_int64)),
            ref(1), ref(1), ref(mtype), ref(phase), ref(self._n),
            data.ctypes.data_as(ctypes.c_void_p), ints(self._ia), ints(self._ja),
            ints(self._perm), ref(1), ints(iparm), ref(0),
            b.ctypes.data_as(ctypes.c_void_p), x.ctypes.data_as(ctypes.c_void_p),
            ctypes.byref(error),
        )  # fmt: skip
        return error.value

    def factor(self, data: np.ndarray) -> None:
        self._data = data = data.astype(self._kind, copy=False)
        empty = np.zeros(self._n, dtype=self._kind)
        for mtype in (2, -2):
            if mtype not in self._handles:
                self._analyse(mtype, data)
            error = self._phase(22, mtype, data, empty, empty)
            if error == 0:
                self._mtype = mtype
                return
        raise ConvergenceError(f"the system matrix cannot be factored (Pardiso code {error})")

    def solve(self, b: np.ndarray) -> np.ndarray:
        b = np.ascontiguousarray(b, dtype=self._kind)
        x = np.zeros_like(b)
        error = self._phase(33, self._mtype, self._data, b, x)
        if error:
            raise ConvergenceError(f"back substitution failed (Pardiso code {error})")
        return x.astype(np.float64, copy=False)

    def __del__(self):
        if sys.is_finalizing():
            return
        for mtype in list(getattr(self, "_handles", {})):
            self._release(mtype)


class Rslab:
    """rslab LDL^T: same bits at any thread count, open source, one wheel a platform."""

    name = "rslab"

    def __init__(self, pattern: SymmetricPattern, threads: int):
        import rslab
        import scipy.sparse as sp

        # The upper triangle by rows is the lower triangle by columns: the arrays are shared.
        ones = np.ones(pattern.nnz)
        shape = (pattern.size, pattern.size)
        lower = sp.csc_matrix((ones, pattern.indices, pattern.indptr), shape=shape)
        self._symbolic = rslab.analyze(lower, path="ldlt")

    def factor(self, data: np.ndarray) -> None:
        try:
            self._factor = self._symbolic.factor(data)
        except Exception as error:  # the library raises its own types for a singular matrix
            raise ConvergenceError(f"the system matrix cannot be factored ({error})") from error

    def solve(self, b: np.ndarray) -> np.ndarray:
        return self._factor.solve(np.ascontiguousarray(b, dtype=np.float64))


class SuperLU:
    """SciPy's SuperLU on a METIS-ordered matrix: slow, always there."""

    name = "superlu"

    def __init__(self, pattern: SymmetricPattern, threads: int):
        self._pattern = pattern
        self._order = _metis_order(pattern)

    def factor(self, data: np.ndarray) -> None:
        import scipy.sparse as sp
        from scipy.sparse.linalg import splu

        pattern = self._pattern
        shape = (pattern.size, pattern.size)
        upper = sp.csr_matrix((data, pattern.indices, pattern.indptr), shape=shape)
        full = (upper + sp.triu(upper, 1).T).tocsc()
        full = full[self._order][:, self._order].tocsc()
        options = {"SymmetricMode": True}
        try:
            self._lu = splu(full, permc_spec="NATURAL", diag_pivot_thresh=0.0, options=options)
        except RuntimeError as error:
            raise ConvergenceError(f"the system matrix cannot be factored ({error})") from error

    def solve(self, b: np.ndarray) -> np.ndarray:
        x = np.empty_like(b)
        x[self._order] = self._lu.solve(b[self._order])
        return x


def _metis_order(pattern: SymmetricPattern) -> np.ndarray:
    """Nested-dissection order of the unknowns; SciPy's reverse Cuthill-McKee without pymetis."""
    import scipy.sparse as sp
    from scipy.sparse.csgraph import reverse_cuthill_mckee

    d, n = pattern.components, pattern.nodes
    rows = np.repeat(np.arange(pattern.size), np.diff(pattern.indptr)) // d
    graph = sp.csr_matrix((np.ones(pattern.nnz), (rows, pattern.indices // d)), shape=(n, n))
    graph = graph + graph.T
    graph.setdiag(0)
    graph.eliminate_zeros()
    try:
        import pymetis

        adjacency = pymetis.CSRAdjacency(graph.indptr, graph.indices)
        order = np.asarray(pymetis.nested_dissection(adjacency)[0])
    except ImportError:
        order = reverse_cuthill_mckee(graph.tocsr(), symmetric_mode=True)
    return (order[:, None] * d + np.arange(d)).ravel()


BACK_ENDS = {"pardiso": Pardiso, "rslab": Rslab, "superlu": SuperLU}  # fastest first
MODULES = {"pardiso": "pypardiso", "rslab": "rslab"}  # what a back end needs besides SciPy


def available_back_end() -> str:
    """Name of the fastest back end installed here; WELDSIM_SOLVER overrides it."""
    wanted = os.environ.get("WELDSIM_SOLVER")
    if wanted:
        if wanted not in BACK_ENDS:
            allowed = ", ".join(BACK_ENDS)
            raise SetupError(f"WELDSIM_SOLVER={wanted}: unknown back end, allowed: {allowed}")
        return wanted
    from importlib.util import find_spec

    for name, module in MODULES.items():
        if find_spec(module) is not None:
            return name
    return "superlu"


def slow_solver_note(name: str) -> str | None:
    """One line when a run has to do without the fast solver; None when it has it."""
    if name == "pardiso":
        return None
    cost = {"rslab": "up to twice", "superlu": "10 to 16 times"}[name]
    return (
        f"The fast solver is not in use: {name} takes {cost} as long on large parts. Where a wheel "
        "exists: pip install weldsim[fast]"
    )


class LinearSolver:
    """Factor and solve `A x = b` on one pattern, with every solution checked.

    Parameters
    ----------
    pattern : SymmetricPattern
        Pattern of the upper triangle.
    threads : int
        Threads for the numeric factorisation.
    back_end : str, optional
        One of `BACK_ENDS`; the fastest available when left out.
    """

    def __init__(self, pattern: SymmetricPattern, threads: int = 2, back_end: str | None = None):
        self.pattern, self._threads = pattern, threads
        self._rough = self._single = None
        self._held_entries: tuple[bytes, np.ndarray] = (b"", np.empty(0, dtype=np.int64))
        first = back_end or available_back_end()
        names = list(BACK_ENDS)
        # one that is installed but does not load gives way to the next; a wish is not overruled
        for name in [first] if back_end else names[names.index(first) :]:
            try:
                self._engine = BACK_ENDS[name](pattern, threads)
                break
            except (ImportError, OSError):
                continue
        else:
            raise SetupError(f"solver back end {first} is not installed")
        self.name = self._engine.name

    def hold(self, data: np.ndarray, held: np.ndarray, diagonal: float | None = None) -> None:
        """Cut held unknowns out of the values of a matrix, in place.

        Parameters
        ----------
        data : ndarray, shape (nnz,)
            Upper-triangle values.
        held : ndarray of bool, shape (size,)
            Unknowns whose couplings become zero.
        diagonal : float, optional
            Their diagonal entries; the median of the diagonal when left out.
        """
        key = held.tobytes()
        if self._held_entries[0] != key:  # a run holds the same unknowns for many steps
            self._held_entries = (key, fixed_entries(self.pattern, held))
        data[self._held_entries[1]] = 0.0
        own = self.pattern.diagonal
        data[own[held]] = np.median(data[own]) if diagonal is None else diagonal

    def factor(self, data: np.ndarray, rough: bool = False) -> None:
        """Factor the matrix whose upper-triangle values are `data`, shape (nnz,).

        With `rough`, solutions are good to `ROUGH_LIMIT` only, where the back end is faster so.
        """
        self._data, self._rough = data, None
        if rough and self.name == "pardiso":
            self._single = self._single or Pardiso(self.pattern, self._threads, single=True)
            try:
                self._single.factor(data)
                self._rough = self._single
                return
            except ConvergenceError:  # too near to singular for seven digits
                pass
        self._engine.factor(data)

    def solve(self, b: np.ndarray) -> np.ndarray:
        """Solve for one right side, shape (size,); `ConvergenceError` if it is not solved."""
        if self._rough is not None:
            x, limit = self._rough.solve(b), ROUGH_LIMIT * np.abs(b).max(initial=0.0)
            for _ in range(REFINEMENTS):
                left, residual, _ = self._residual(x, b)
                if residual <= limit:
                    return x
                x += self._rough.solve(left)
            if self._residual(x, b)[1] <= limit:
                return x
            self._rough = None
            self._engine.factor(self._data)
        x = self._engine.solve(b)
        _, residual, scale = self._residual(x, b)
        limit = min(RESIDUAL_LIMIT * scale, RIGHT_SIDE_LIMIT * np.abs(b).max(initial=0.0))
        if not residual <= limit:  # also catches nan
            raise ConvergenceError(
                f"linear solve left a residual of {residual:.3g}, allowed {limit:.3g} ({self.name})"
            )
        return x

    def _residual(self, x, b):
        from weldsim.physics.kernels import symmetric_residual

        p = self.pattern
        return symmetric_residual(p.indptr, p.indices, self._data, x, b)
