"""Whether there is a card to compute on, and arrays that lie on it."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from functools import cache
from importlib.util import find_spec
from typing import Any

import numpy as np

from weldsim.errors import SetupError
from weldsim.system.device import AUTO, CPU, GPU, checked_device

NEEDS = {"cupy": "CuPy", "nvmath": "nvmath-python"}  # besides numba and cuDSS
# unknowns from which `auto` takes a card. Choice: at 17,000 it took less than half of what a
# processor took; how far below that holds was not measured, and loading it takes seconds
WORTH_FROM = 10_000


def simulated() -> bool:
    """Whether kernels run in numba's simulator and arrays are numpy's.

    Returns
    -------
    bool
        As NUMBA_ENABLE_CUDASIM says.
    """
    return os.environ.get("NUMBA_ENABLE_CUDASIM", "0") not in ("", "0")


@cache
def why_no_card() -> str:
    """What keeps a computation off a card.

    Returns
    -------
    str
        In words; "" where there is one.
    """
    if simulated():
        return ""
    missing = [name for module, name in NEEDS.items() if find_spec(module) is None]
    if missing:
        return f'{" and ".join(missing)} not installed: pip install "weldsim[gpu]"'
    try:
        import cupy
        from numba import cuda

        drivers: Any = cuda
        count = int(cupy.cuda.runtime.getDeviceCount())
        usable = count > 0 and bool(drivers.is_available())
    except Exception as error:  # drivers fail in ways of their own
        reason = str(error).splitlines()
        return f"no card answers ({reason[0] if reason else type(error).__name__})"
    return "" if usable else "no card answers"


def why_not_a_card(wanted: str, unknowns: int) -> str:
    """What keeps a model of some size off a card.

    Parameters
    ----------
    wanted : {'auto', 'cpu', 'gpu'}
        As somebody asked for.
    unknowns : int
        Of the displacement.

    Returns
    -------
    str
        In words; "" where nothing does.
    """
    if checked_device(wanted) == CPU:
        return "asked for"
    if wanted == AUTO and unknowns < WORTH_FROM:
        return "a small part, done sooner on a processor"
    return why_no_card()


def chosen_device(wanted: str, unknowns: int) -> str:
    """Where a model of some size is computed.

    Parameters
    ----------
    wanted : {'auto', 'cpu', 'gpu'}
        As somebody asked for.
    unknowns : int
        Of the displacement.

    Returns
    -------
    {'cpu', 'gpu'}
        With 'auto' the card where there is one and the part is large enough to be worth it.

    Raises
    ------
    SetupError
        If a card was asked for and there is none.
    """
    reason = why_not_a_card(wanted, unknowns)
    if reason and wanted == GPU:
        raise SetupError(f"device gpu: {reason}; allowed: auto, cpu")
    return CPU if reason else GPU


def refused_without_card(wanted: str) -> str:
    """The device asked for, unless that is a card and there is none.

    Parameters
    ----------
    wanted : {'auto', 'cpu', 'gpu'}
        As somebody asked for.

    Returns
    -------
    {'auto', 'cpu', 'gpu'}
        The same.

    Raises
    ------
    SetupError
        If a card was asked for and there is none.
    """
    if wanted == GPU:
        chosen_device(wanted, WORTH_FROM)
    return wanted


def card_name() -> str:
    """What the card is called.

    Returns
    -------
    str
        Such as "NVIDIA H100 80GB HBM3".
    """
    if simulated():
        return "simulator"
    import cupy

    properties = cupy.cuda.runtime.getDeviceProperties(cupy.cuda.Device().id)
    return str(properties["name"].decode())


@cache
def array_module() -> Any:
    """Module of the arrays on the card.

    Returns
    -------
    module
        CuPy; numpy in the simulator.
    """
    if simulated():
        return np
    import cupy

    return cupy


def on_card(array: Any) -> Any:
    """A copy on the card.

    Parameters
    ----------
    array : ndarray
        On the host.

    Returns
    -------
    array
        Of the card, contiguous.
    """
    return array_module().array(np.ascontiguousarray(array))


def on_host(array: Any) -> Any:
    """A copy on the host.

    Parameters
    ----------
    array : array
        On the card.

    Returns
    -------
    ndarray
        The same numbers.
    """
    return array.copy() if simulated() else array_module().asnumpy(array)


def view(array: Any) -> Any:
    """The same memory as kernels take it fastest.

    Parameters
    ----------
    array : array
        On the card.

    Returns
    -------
    array
        To be made once: what it costs is more than a launch.
    """
    if simulated():
        return array
    from numba import cuda

    drivers: Any = cuda
    return drivers.as_cuda_array(array, sync=False)


def viewed(arrays: Iterable[Any]) -> tuple[list[Any], list[Any]]:
    """Arrays of the host, on the card.

    Parameters
    ----------
    arrays : iterable of ndarray
        On the host.

    Returns
    -------
    views : list of array
        As kernels take them.
    kept : list of array
        What has to be kept alive for that.
    """
    kept = [on_card(a) for a in arrays]
    return [view(a) for a in kept], kept


class Recorded:
    """Kernels launched one after the other, always on the same memory.

    The first time they are launched one by one, which compiles them; then they are recorded, and
    from there on one call launches all: what Python does for a launch costs more than the kernel.

    Parameters
    ----------
    launch : callable(stream)
        Launches them; what it reads and writes must stay where it is.
    """

    def __init__(self, launch: Callable[[Any], None]) -> None:
        self._launch, self._compiled = launch, False
        self._graph: Any = None

    def __call__(self) -> None:
        """Launch them."""
        if simulated() or not self._compiled:
            self._compiled = True
            self._launch(0)
            return
        if self._graph is None:
            self._graph = self._record()
        self._graph.launch(array_module().cuda.Stream.null)

    def _record(self) -> Any:
        from numba import cuda

        drivers: Any = cuda
        stream = array_module().cuda.Stream(non_blocking=True)
        with stream:
            stream.begin_capture()
            self._launch(drivers.external_stream(stream.ptr))
            return stream.end_capture()
