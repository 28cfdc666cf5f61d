"""A lock held by a process through a file: the system drops it when the process ends."""

from __future__ import annotations

import time
from contextlib import contextmanager
from pathlib import Path

from weldsim.errors import StoreError


class Lock:
    """A lock on a path, whose file stays behind empty."""

    def __init__(self, path):
        self.path, self._file = Path(path), None

    def take(self) -> bool:
        """Take the lock if it is free; whether it is ours now."""
        try:
            file = open(self.path, "a+b")
        except OSError as error:
            raise StoreError(f"{self.path}: could not be made: {error}") from None
        try:
            _lock(file)
        except OSError:
            file.close()
            return False
        self._file = file
        return True

    def drop(self) -> None:
        if self._file is not None:
            self._file.close()
            self._file = None

    @contextmanager
    def waiting(self, seconds: float):
        """Hold the lock, waiting for it at most so long; `StoreError` after that."""
        end = time.monotonic() + seconds
        while not self.take():
            if time.monotonic() > end:
                raise StoreError(f"{self.path}: another process still works on this run")
            time.sleep(0.2)
        try:
            yield
        finally:
            self.drop()


def _lock(file) -> None:
    try:
        import fcntl
    except ImportError:
        import msvcrt

        file.seek(0)
        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        return
    fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
