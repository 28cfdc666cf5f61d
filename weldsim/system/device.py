"""Where a calculation is to run: processor or graphics card, one rule for all that ask."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager

from weldsim.errors import SetupError

VARIABLE = "WELDSIM_DEVICE"
AUTO, CPU, GPU = "auto", "cpu", "gpu"
DEVICES = (AUTO, CPU, GPU)


def checked_device(stated: str, name: str = "device") -> str:
    """A device that somebody wrote.

    Parameters
    ----------
    stated : str
        What was written.
    name : str, optional
        What it is called there.

    Returns
    -------
    {'auto', 'cpu', 'gpu'}
        The same.

    Raises
    ------
    SetupError
        If it is none of them.
    """
    if stated not in DEVICES:
        raise SetupError(f"{name} {stated!r} is not allowed: write {', '.join(DEVICES)}")
    return stated


def wanted_device(stated: str | None = None) -> str:
    """Device asked for.

    Parameters
    ----------
    stated : str, optional
        By the caller; `WELDSIM_DEVICE`, else 'auto', when left out.

    Returns
    -------
    {'auto', 'cpu', 'gpu'}
        Not yet whether there is such a device.

    Raises
    ------
    SetupError
        If it is none of them.
    """
    if stated is not None:
        return checked_device(stated)
    return checked_device(os.environ.get(VARIABLE, "").strip() or AUTO, VARIABLE)


@contextmanager
def asking_for(stated: str | None) -> Iterator[None]:
    """Ask for a device for a while, in processes started meanwhile too.

    Parameters
    ----------
    stated : str or None
        Device; None leaves it as it is.

    Yields
    ------
    None
        Afterwards the former one counts again.

    Raises
    ------
    SetupError
        If there is no such device.
    """
    before = os.environ.get(VARIABLE)
    ask_for_device(stated)
    try:
        yield
    finally:
        if before is None:
            os.environ.pop(VARIABLE, None)
        else:
            os.environ[VARIABLE] = before


def ask_for_device(stated: str | None) -> None:
    """Ask for a device in this process and in those it starts.

    Parameters
    ----------
    stated : str or None
        Device; None leaves it as it is.

    Raises
    ------
    SetupError
        If there is no such device.
    """
    if stated is not None:
        os.environ[VARIABLE] = checked_device(stated)
