"""Back end MKL Pardiso: the fastest, where a wheel exists."""

from __future__ import annotations

import ctypes
import os
import sys
from functools import lru_cache
from typing import Any

import numpy as np

from weldsim.errors import ConvergenceError
from weldsim.physics.arrays import Floats
from weldsim.physics.symmetric_pattern import SymmetricPattern


@lru_cache(maxsize=1)
def _mkl() -> Any:
    """MKL, found once: pypardiso's own search walks the whole installation for over a second."""
    from importlib.metadata import PackageNotFoundError, files

    # CBWR pins one instruction path, so that equal inputs give equal bits on resume; AUTO is the
    # best one of the processor. AVX2 on a processor with AVX-512 costs a factor of about two.
    os.environ.setdefault("MKL_CBWR", "AUTO")
    try:
        listed = files("mkl") or []
    except PackageNotFoundError:
        listed = []
    here = [str(f.locate()) for f in listed if f.name.removeprefix("lib").startswith("mkl_rt")]
    if here:
        os.environ.setdefault("PYPARDISO_MKL_RT", min(here, key=len))
    from pypardiso.pardiso_wrapper import PyPardisoSolver

    return PyPardisoSolver(mtype=2).libmkl  # with the argument types of `pardiso` set


# MKL's numbers of its code branches (mkl_types.h)
BRANCHES = {
    3: "compatible",
    4: "SSE2",
    8: "SSE4.2",
    9: "AVX",
    10: "AVX2",
    12: "AVX512",
    14: "AVX512_E1",
}


def instruction_path() -> str:
    """Instructions MKL computes with on this processor: they decide the last bits.

    Returns
    -------
    str
        "AVX2", "AVX512" or another; "branch N" for one without a name here.
    """
    pinned = os.environ.get("MKL_CBWR", "AUTO").split(",")[0]
    if pinned != "AUTO":
        return pinned
    branch = int(_mkl().MKL_CBWR_Get_Auto_Branch())
    return BRANCHES.get(branch, f"branch {branch}")


MINIMUM_DEGREE, METIS = 0, 2  # Pardiso's orderings
ALONE_BELOW = 150_000  # unknowns up to which back-substitution takes one thread
TRY_BOTH_BELOW = 40_000  # unknowns; above, METIS wins and a second analysis costs seconds


class Pardiso:
    """MKL Pardiso as symmetric positive definite (indefinite when that fails), analysis kept.

    Parameters
    ----------
    pattern : SymmetricPattern
        Of the matrices.
    threads : int
        For the numeric factorisation.
    single : bool
        Numbers of seven digits: a factor in six tenths of the time.
    brief : bool
        For a few factorisations only, so that a second ordering is not tried.
    """

    name = "pardiso"

    def __init__(
        self, pattern: SymmetricPattern, threads: int, single: bool = False, brief: bool = False
    ) -> None:
        library = _mkl()
        self._call = library.pardiso
        library.MKL_Set_Num_Threads(ctypes.c_int(threads))
        self._ia = pattern.indptr + np.int32(1)
        self._ja = pattern.indices + np.int32(1)
        self._n = pattern.size
        self._perm = np.zeros(self._n, dtype=np.int32)
        self._handles: dict[int, tuple[Any, Any]] = {}
        self._mtype = 2
        self._kind: Any = np.float32 if single else np.float64
        self._brief = brief or pattern.size > TRY_BOTH_BELOW

    def _analyse(self, mtype: int, data: Any) -> None:
        """Order and analyse once; on small systems the sparser of two orderings is kept."""
        size = self._start(mtype, METIS, data)
        if self._brief:
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
        # A back-substitution waits for memory. Threads gain little there, and lose much where
        # another process has their core: each short stretch ends when the last of them is done.
        iparm[24] = 1 if self._n < ALONE_BELOW else 0  # one thread
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

    def _phase(self, phase: int, mtype: int, data: Any, b: Any, x: Any) -> int:
        handle, iparm = self._handles[mtype]
        error = ctypes.c_int32(0)

        def ref(value: int) -> Any:
            return ctypes.byref(ctypes.c_int32(value))

        def ints(array: Any) -> Any:
            return array.ctypes.data_as(ctypes.POINTER(ctypes.c_int32))

        self._call(
            handle.ctypes.data_as(ctypes.POINTER(ctypes.c_int64)),
            ref(1), ref(1), ref(mtype), ref(phase), ref(self._n),
            data.ctypes.data_as(ctypes.c_void_p), ints(self._ia), ints(self._ja),
            ints(self._perm), ref(1), ints(iparm), ref(0),
            b.ctypes.data_as(ctypes.c_void_p), x.ctypes.data_as(ctypes.c_void_p),
            ctypes.byref(error),
        )  # fmt: skip
        return int(error.value)

    def factor(self, data: Floats) -> None:
        """Factor a matrix; see `back_ends.BackEnd`.

        Parameters
        ----------
        data : ndarray, shape (nnz,)
            Its upper-triangle values.

        Raises
        ------
        ConvergenceError
            If it is singular.
        """
        self._data: Any = data.astype(self._kind, copy=False)
        empty = np.zeros(self._n, dtype=self._kind)
        for mtype in (2, -2):
            if mtype not in self._handles:
                self._analyse(mtype, self._data)
            error = self._phase(22, mtype, self._data, empty, empty)
            if error == 0:
                self._mtype = mtype
                return
        raise ConvergenceError(f"the system matrix cannot be factored (Pardiso code {error})")

    def solve(self, b: Floats) -> Floats:
        """Solve with the last factor.

        Parameters
        ----------
        b : ndarray, shape (size,)
            Right side.

        Returns
        -------
        ndarray, shape (size,)
            Not checked.
        """
        right: Any = np.ascontiguousarray(b, dtype=self._kind)
        x: Any = np.zeros_like(right)
        error = self._phase(33, self._mtype, self._data, right, x)
        if error:
            raise ConvergenceError(f"back substitution failed (Pardiso code {error})")
        solved: Floats = x.astype(np.float64, copy=False)
        return solved

    def __del__(self) -> None:
        if sys.is_finalizing():
            return
        for mtype in list(getattr(self, "_handles", {})):
            self._release(mtype)
