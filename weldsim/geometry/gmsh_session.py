"""Gmsh for the length of a block: silent, on one thread, and without its grip on signals."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from weldsim.system.libraries import import_gmsh
from weldsim.system.signals import kept_signals

_ONE = threading.RLock()  # Gmsh keeps its model in the process: one thread at a time


@contextmanager
def gmsh_session() -> Iterator[Any]:
    """Gmsh with an empty model of its own; any thread may ask for it, others wait.

    Yields
    ------
    module
        `gmsh`, initialised.

    Raises
    ------
    SetupError
        If Gmsh or a library it needs is missing.
    """
    gmsh = import_gmsh()
    with _ONE, kept_signals():
        # a person's own settings of Gmsh would make another mesh; only a main thread may be
        # interruptible
        gmsh.initialize(readConfigFiles=False, interruptible=False)
        try:
            gmsh.option.setNumber("General.Terminal", 0)
            gmsh.option.setNumber("General.NumThreads", 1)  # same mesh bit for bit
            gmsh.model.add("part")
            yield gmsh
        finally:
            gmsh.finalize()
