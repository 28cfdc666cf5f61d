"""What the process does on each signal, kept over a call into a library that changes it.

Starting Gmsh puts every signal back to the system's own action and leaves it so: Ctrl-C no longer
reaches Python, a run under nohup dies with its terminal, and a write to a worker that was killed
(SIGPIPE) ends the whole program without a word.
"""

from __future__ import annotations

import ctypes
import os
import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

ROOM = 512  # bytes; larger than `struct sigaction` of any system
INTERRUPTED = 130  # exit code after Ctrl-C
ENDING = ("SIGTERM", "SIGHUP", "SIGBREAK")  # what a system sends before it ends a program


class ToldToEnd(KeyboardInterrupt):
    """A signal that asks the program to end: heeded like Ctrl-C, so that a run keeps its state.

    Parameters
    ----------
    number : int
        Of the signal.
    """

    def __init__(self, number: int) -> None:
        super().__init__(signal.Signals(number).name)
        self.exit_code = 128 + number


def heed_ending_signals() -> None:
    """Have TERM and HUP stop this program as Ctrl-C does, the first of them alone.

    A terminal that closes sends HUP twice, and a second one must not cut short what the first has
    begun to write. What is ignored, as under nohup, stays ignored. In the main thread only.
    """
    for name in ENDING:
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) == signal.SIG_DFL:
            signal.signal(number, _end)


def end_on_hangup(end: Callable[[], None]) -> None:
    """Have HUP end a server in its own way, where it would end the program.

    Parameters
    ----------
    end : callable
        Called in the main thread; it must not raise.
    """
    number = getattr(signal, "SIGHUP", None)
    here = threading.current_thread() is threading.main_thread()
    if here and number is not None and signal.getsignal(number) in (signal.SIG_DFL, _end):
        signal.signal(number, lambda *_: end())


def _end(number: int, _frame: object) -> None:
    for name in ENDING:
        other = getattr(signal, name, None)
        if other is not None and signal.getsignal(other) is _end:
            signal.signal(other, signal.SIG_IGN)
    raise ToldToEnd(number)


def exit_code_of(stop: BaseException) -> int:
    """Exit code of a program that was stopped.

    Parameters
    ----------
    stop : BaseException
        A `KeyboardInterrupt`, perhaps a `ToldToEnd`.

    Returns
    -------
    int
        128 and the number of the signal, as shells have it.
    """
    return int(getattr(stop, "exit_code", INTERRUPTED))


@contextmanager
def kept_signals() -> Iterator[None]:
    """Every signal's action is afterwards what it was, whoever installed it.

    Python's table of handlers knows only what Python installed, and only the main thread may write
    it; the system's own table holds the rest (SIGPIPE, faulthandler), so both are put back.
    """
    main = threading.current_thread() is threading.main_thread()
    handler = signal.getsignal(signal.SIGINT) if main else None
    before = _actions()
    try:
        yield
    finally:
        if handler is not None:
            signal.signal(signal.SIGINT, handler)
        for number, action in before.items():
            ctypes.CDLL(None).sigaction(number, action, None)


def _actions() -> dict[int, ctypes.Array[ctypes.c_char]]:
    """The system's action on each signal; empty where it has no `sigaction` (Windows)."""
    if os.name != "posix":
        return {}
    found = {}
    for number in signal.valid_signals():
        action = ctypes.create_string_buffer(ROOM)
        if ctypes.CDLL(None).sigaction(int(number), None, action) == 0:
            found[int(number)] = action
    return found
