"""What a job's process does besides its work: words to the server, and stopping."""

from __future__ import annotations

import _thread
import signal
import threading
import time
from collections.abc import Callable
from multiprocessing.connection import Connection

from weldsim.errors import WeldsimError
from weldsim.page.worker_process import Tell, keep_quiet, teller
from weldsim.system.signals import heed_ending_signals

AGAIN = 6.0  # s after which a job that was told to stop and goes on is interrupted once more
LOCKED = 30.0  # s that a job whose server died may take to stop writing


def converse(line: Connection, work: Callable[[Tell], None]) -> None:
    """Do the work of a job, and say over the line how far it is and how it ended.

    Sends ("told", share, text), then ("done",), ("stopped",) or ("failed", text). Any word from
    the other side, or its end, interrupts the work as Ctrl-C would.

    Parameters
    ----------
    line : Connection
        To the server.
    work : callable(tell)
        In the main thread; `tell` takes its share and a text.
    """
    keep_quiet()
    # a server put into the background by a script hands down that Ctrl-C is ignored
    signal.signal(signal.SIGINT, signal.default_int_handler)
    heed_ending_signals()
    stopping = threading.Event()
    threading.Thread(target=_stop_on_word, args=(line, stopping), daemon=True).start()
    try:
        work(teller(lambda share, words: line.send(("told", share, words))))
        last_word: tuple[str, ...] = ("done",)
    except KeyboardInterrupt:
        last_word = ("stopped",)
    except BrokenPipeError:
        return
    except Exception as error:
        known = isinstance(error, WeldsimError)
        why = str(error) if known else f"unexpected: {type(error).__name__}: {error}"
        # an interrupt inside an import comes out as an ImportError
        last_word = ("stopped",) if stopping.is_set() else ("failed", why)
    try:
        line.send(last_word)
    except (OSError, ValueError):
        return


def _stop_on_word(line: Connection, stopping: threading.Event) -> None:
    """Interrupt the main thread when a word comes, or the server is gone; again where the interrupt
    was swallowed, as some libraries do while they start."""
    try:
        line.recv()
    except (EOFError, OSError):
        pass
    stopping.set()
    while True:
        _thread.interrupt_main()
        time.sleep(AGAIN)
