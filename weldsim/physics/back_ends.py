"""Which back ends of the linear solver there are, and which of them is to be used."""

from __future__ import annotations

import os
from collections.abc import Callable
from importlib.util import find_spec
from typing import Protocol

from weldsim.errors import SetupError
from weldsim.physics.arrays import Floats
from weldsim.physics.pardiso import Pardiso
from weldsim.physics.rslab_solver import Rslab
from weldsim.physics.superlu import SuperLU
from weldsim.physics.symmetric_pattern import SymmetricPattern


class BackEnd(Protocol):
    """A direct solver on one pattern.

    Attributes
    ----------
    name : str
        One of `BACK_ENDS`.
    """

    name: str

    def factor(self, data: Floats) -> None:
        """Factor a matrix.

        Parameters
        ----------
        data : ndarray, shape (nnz,)
            Its upper-triangle values.

        Raises
        ------
        ConvergenceError
            If it is singular.
        """

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


BACK_ENDS: dict[str, Callable[[SymmetricPattern, int], BackEnd]] = {
    "pardiso": Pardiso,
    "rslab": Rslab,
    "superlu": SuperLU,
}  # fastest first; fmt: skip
MODULES = {"pardiso": "pypardiso", "rslab": "rslab"}  # what a back end needs besides SciPy


def available_back_end() -> str:
    """Name of the fastest back end installed here; WELDSIM_SOLVER overrides it.

    Returns
    -------
    str
        One of `BACK_ENDS`.

    Raises
    ------
    SetupError
        If the variable names another one.
    """
    wanted = os.environ.get("WELDSIM_SOLVER")
    if wanted:
        if wanted not in BACK_ENDS:
            allowed = ", ".join(BACK_ENDS)
            raise SetupError(f"WELDSIM_SOLVER={wanted}: unknown back end, allowed: {allowed}")
        return wanted
    for name, module in MODULES.items():
        if find_spec(module) is not None:
            return name
    return "superlu"


def slow_solver_note(name: str) -> str | None:
    """What to tell when a run has to do without the fast solver.

    Parameters
    ----------
    name : str
        Of the back end in use.

    Returns
    -------
    str or None
        One line; None with the fast one.
    """
    if name == "pardiso":
        return None
    cost = {"rslab": "up to twice", "superlu": "10 to 16 times"}[name]
    return (
        f"The fast solver is not in use: {name} takes {cost} as long on large parts. Where a wheel "
        "exists: pip install weldsim[fast]"
    )
