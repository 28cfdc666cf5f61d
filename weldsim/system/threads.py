"""How many threads a calculation uses: one rule for the command line, page, studies and notebooks.

The direct solver and the compiled loops share the threads asked for. The BLAS behind numpy and
SciPy gets one: its matrices are small here, and its threads only fight with the solver's.
"""

from __future__ import annotations

import os

from weldsim.errors import SetupError

VARIABLE = "WELDSIM_THREADS"
ENOUGH = 4  # threads; the factorisations of a weld of a few ten thousand unknowns gain little more
OVERCOMMITTED = 4  # threads a core; more than that can only be a slip of the pen
BLAS_VARIABLES = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")
ALL_VARIABLES = (*BLAS_VARIABLES, "MKL_NUM_THREADS", "NUMBA_NUM_THREADS", VARIABLE)


def cores() -> int:
    """Processor cores this process may use.

    Returns
    -------
    int
        At least 1.
    """
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def checked_threads(stated: object, name: str = "threads") -> int:
    """A number of threads that somebody wrote, as an integer.

    Parameters
    ----------
    stated : int or str
        What was written.
    name : str, optional
        What it is called there.

    Returns
    -------
    int
        From 1.

    Raises
    ------
    SetupError
        If it is no whole number from 1 to four times the cores of this machine.
    """
    most = OVERCOMMITTED * cores()
    text = str(stated).strip()
    number = text.isascii() and text.isdecimal() and len(text) < 10
    if not number or not 1 <= int(text) <= most:
        raise SetupError(f"{name}={text}: not allowed, allowed: a whole number from 1 to {most}")
    return int(text)


def default_threads() -> int:
    """Threads where nobody stated them.

    Returns
    -------
    int
        `WELDSIM_THREADS`, else the cores, at most four.

    Raises
    ------
    SetupError
        If the variable holds anything but a number of threads.
    """
    stated = os.environ.get(VARIABLE, "")
    return checked_threads(stated, VARIABLE) if stated.strip() else min(ENOUGH, cores())


def use_threads(threads: int | None = None) -> int:
    """Limit every library of this process that has threads of its own; called before solving.

    The limits stay: a notebook's own numpy runs on one thread from here on.

    Parameters
    ----------
    threads : int, optional
        For the solver and the compiled loops; `default_threads` when left out.

    Returns
    -------
    int
        The number in force.

    Raises
    ------
    SetupError
        If `threads` or the variable is not a number of threads.
    """
    import numba
    from threadpoolctl import ThreadpoolController

    threads = default_threads() if threads is None else checked_threads(threads)
    numba.set_num_threads(min(threads, int(vars(numba.config)["NUMBA_NUM_THREADS"])))
    for library in ThreadpoolController().lib_controllers:
        # MKL is the solver's, even where numpy was built with it; OpenMP carries both
        solver = library.internal_api == "mkl" or library.user_api == "openmp"
        library.set_num_threads(threads if solver else 1)
    return threads


def single_blas_thread() -> None:
    """Ask the BLAS for one thread before numpy is imported, unless somebody asked for more.

    Apple's BLAS listens to nothing else, and the others save themselves a pool.
    """
    for name in BLAS_VARIABLES:
        os.environ.setdefault(name, "1")


def single_thread_environment() -> dict[str, str]:
    """Environment of a worker process that is to have one thread of everything.

    Returns
    -------
    dict
        Variables to set.
    """
    return dict.fromkeys(ALL_VARIABLES, "1")
