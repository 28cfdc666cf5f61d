"""Locks held by a process through a file: the system drops them when the process ends."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from os import PathLike

from filelock import BaseFileLock, FileLock, Timeout

from weldsim.errors import StoreError


def take_lock(path: str | PathLike[str], seconds: float = 0.0) -> BaseFileLock | None:
    """A lock on a path, to be released by whoever took it, in whatever thread.

    Parameters
    ----------
    path : path
        Its file stays behind empty.
    seconds : float, optional
        How long another holder is waited for. [s]

    Returns
    -------
    FileLock or None
        None if it is held elsewhere.

    Raises
    ------
    StoreError
        If the file could not be made.
    """
    lock = FileLock(path, thread_local=False)
    try:
        lock.acquire(timeout=seconds)
    except Timeout:
        return None
    except (OSError, NotImplementedError) as error:
        raise StoreError(f"{path}: could not be made: {error}") from None
    return lock


@contextmanager
def held(
    path: str | PathLike[str],
    seconds: float = 0.0,
    why: str = "another process still works on this run",
) -> Iterator[None]:
    """Hold a lock on a path, waiting for it at most so long; `StoreError` after that.

    Parameters
    ----------
    path : path
        Its file stays behind empty.
    seconds : float
        How long another holder is waited for. [s]
    why : str, optional
        What is said when it is held elsewhere.
    """
    lock = take_lock(path, seconds)
    if lock is None:
        raise StoreError(f"{path}: {why}")
    try:
        yield
    finally:
        lock.release()
