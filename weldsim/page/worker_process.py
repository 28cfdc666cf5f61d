"""What goes on in a worker process: first things first, then task after task."""

from __future__ import annotations

import os
import signal
import sys
import time
from collections.abc import Callable
from multiprocessing.connection import Connection
from typing import Any

from weldsim.errors import WeldsimError
from weldsim.system.processes import end_with_parent
from weldsim.system.threads import single_blas_thread

Tell = Callable[[float, str], None]
TELL = 0.2  # s between two words on progress

_line: list[Connection] = []  # of a worker process, to its server
_halt: list[Connection] = []  # from it: number of a request that nobody wants any more


class Halted(WeldsimError):
    """The server wants the task no longer."""


def get_ready(
    line: Connection, halt: Connection, threads: int, memory: int, warm: Callable | None
) -> None:
    """First thing done in a worker process.

    Parameters
    ----------
    line : Connection
        For words on progress.
    halt : Connection
        For numbers of requests; such a task ends where it next says how far it is.
    threads : int
        For the solvers.
    memory : int
        Most address space, where the system can limit it. [bytes]
    warm : callable or None
        Done once, so that the first request is as fast as the next.
    """
    _line[:], _halt[:] = [line], [halt]
    keep_quiet()
    end_with_parent()
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the server's; it ends this process
    signal.signal(signal.SIGTERM, signal.SIG_DFL)  # ends a long calculation at once
    os.environ["WELDSIM_THREADS"] = str(threads)
    _limit(memory)
    if warm is not None:
        try:
            warm()
        except Exception as error:  # a cold start is slower, not wrong; the request will say more
            print(f"weldsim serve: warming up failed: {error}", file=sys.stderr)


def keep_quiet() -> None:
    """One BLAS thread, and no talk into the server's terminal."""
    single_blas_thread()
    sys.stdin = open(os.devnull)


def _limit(memory: int) -> None:
    try:
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (memory, memory))
    except (ImportError, ValueError, OSError):
        return


def carry_out(task: Callable, asked: int, args: tuple) -> Any:
    """A task in a worker process; whatever it raises comes out as an error of ours.

    Parameters
    ----------
    task : callable
        Takes `args` and `tell`.
    asked : int
        Number of the request, which its words on progress bear.
    args : tuple
        What the task takes.

    Returns
    -------
    object
        What the task gives back.
    """
    send = teller(lambda share, text: _line[0].send((asked, share, text)))

    def tell(share: float, text: str) -> None:
        while _halt and _halt[0].poll():
            if _halt[0].recv() == asked:
                raise Halted("stopped")
        send(share, text)

    try:
        return task(*args, tell=tell)
    except WeldsimError as error:
        raise type(error)(str(error)) from None
    except (MemoryError, RecursionError):
        raise WeldsimError("this part needs more memory than the page lends") from None
    except Exception as error:
        raise WeldsimError(f"unexpected: {type(error).__name__}: {error}") from None


def teller(send: Tell) -> Tell:
    """Sends progress on, not more often than anyone looks.

    Parameters
    ----------
    send : callable(share, text)
        Called at most five times a second.

    Returns
    -------
    callable(share, text)
        To be called as often as one likes.
    """
    last = [0.0]

    def tell(share: float, text: str) -> None:
        now = time.monotonic()
        if now - last[0] > TELL:
            last[0] = now
            send(float(share), str(text))

    return tell


def nothing() -> None:
    """The task that only starts a process."""
