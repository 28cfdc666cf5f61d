"""One run in a process of its own, and what is said over the line to it.

Unlike what `worker.Worker` does, a run takes hours, says how far it is and stops with a checkpoint
when it is told to, so it has a process and a line instead of a place in a pool.
"""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Iterator

DYING = 5.0  # s for a process that was killed to be gone


class RunProcess:
    """A process that was started, until it is over.

    Parameters
    ----------
    target : callable
        Its main function, such as `run_task.serve_run`: takes the line and then `arguments`.
    arguments : tuple
        What it takes besides.
    """

    def __init__(self, target: Callable, arguments: tuple):
        context = multiprocessing.get_context("spawn")
        self._line, there = context.Pipe()
        try:
            # not a daemon: those may have no processes of their own, and meshing has one
            self._process = context.Process(target=target, args=(there, *arguments))
            self._process.start()
        except BaseException:
            self._line.close()
            raise
        finally:
            there.close()

    def ask_to_stop(self) -> None:
        """Have it write a checkpoint and end."""
        try:
            self._line.send("stop")
        except (OSError, ValueError):
            pass

    def heard(self) -> Iterator[tuple]:
        """What it has said by now; ("gone",) after its end."""
        try:
            while self._line.poll():
                yield self._line.recv()
        except (EOFError, OSError):
            yield ("gone",)

    def see_out(self, seconds: float) -> None:
        """Wait for its end; kill it after so many seconds.

        Parameters
        ----------
        seconds : float
            How long it is waited for. [s]
        """
        self._process.join(seconds)
        if self._process.is_alive():
            self.kill()

    def kill(self) -> None:
        """End it at once."""
        self._process.kill()
        self._process.join(DYING)

    def close(self) -> None:
        """Close the line to it."""
        self._line.close()

    @property
    def exit_code(self) -> int | None:
        """Exit code of the process; None while it is there."""
        return self._process.exitcode
