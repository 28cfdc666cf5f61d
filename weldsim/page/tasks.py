"""What a worker process does for the page: tasks from plain values to plain values."""

from __future__ import annotations

import os
import signal
import sys
import time
from collections.abc import Callable
from importlib.resources import files
from multiprocessing.connection import Connection
from typing import Any

from weldsim.case.load import parse_case
from weldsim.errors import CaseError, WeldsimError
from weldsim.page import preview as previews
from weldsim.page.case_form import messages_of
from weldsim.page.case_text import edited
from weldsim.page.shape import directions, order_table, shape_of
from weldsim.system.threads import single_blas_thread
from weldsim.text.describe import describe, estimate

Tell = Callable[[float, str], None]
TELL = 0.2  # s between two words on progress

_line: list[Connection] = []  # of a worker process, to its server


def get_ready(line: Connection, threads: int, memory: int, warm: Callable | None) -> None:
    """First thing done in a worker process.

    Parameters
    ----------
    line : Connection
        For words on progress.
    threads : int
        For the solvers.
    memory : int
        Most address space, where the system can limit it. [bytes]
    warm : callable or None
        Done once, so that the first request is as fast as the next.
    """
    _line[:] = [line]
    keep_quiet()
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
    tell = teller(lambda share, text: _line[0].send((asked, share, text)))
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


def check(text: str, source_file: str, tell: Tell | None = None) -> dict:
    """Mistakes of a case beside their fields, or what is known at once.

    Parameters
    ----------
    text, source_file : str
        The case as `parse_case` takes it.
    tell : callable, optional
        Not used.

    Returns
    -------
    dict
        `ok` and `messages`; if all is well also `title`, `order` and what `shape.directions` gives.
    """
    try:
        case = parse_case(text, source_file)
    except CaseError as error:
        return {"ok": False, "messages": messages_of(error, source_file)}
    return {"ok": True, "messages": [], "title": case.title, "order": order_table(case),
            **directions(case)}  # fmt: skip


def commented(source: str, tables: dict, tell: Tell | None = None) -> str:
    """A case as text with the comments of the text it came from, see `case_text.edited`.

    Parameters
    ----------
    source : str
        A case file, with comments.
    tables : dict
        What it is to hold now.
    tell : callable, optional
        Not used.

    Returns
    -------
    str
        TOML.
    """
    return edited(source, tables)


def words(text: str, source_file: str, tell: Tell | None = None) -> list[str]:
    """What a case means, in lines.

    Parameters
    ----------
    text, source_file : str
        The case as `parse_case` takes it.
    tell : callable, optional
        Not used.

    Returns
    -------
    list of str
        See `describe`.
    """
    return describe(parse_case(text, source_file))


def shape(text: str, source_file: str, tell: Tell | None = None) -> dict:
    """The part of a case as the page draws it, see `shape.shape_of`.

    Parameters
    ----------
    text, source_file : str
        The case as `parse_case` takes it.
    tell : callable, optional
        Not used.

    Returns
    -------
    dict
        Of plain values.
    """
    return shape_of(parse_case(text, source_file))


def size(text: str, source_file: str, tell: Tell | None = None) -> dict:
    """Size and cost of a run.

    Parameters
    ----------
    text, source_file : str
        The case as `parse_case` takes it.
    tell : callable, optional
        Not used.

    Returns
    -------
    dict
        See `describe.estimate`.
    """
    return vars(estimate(parse_case(text, source_file)))


def preview(text: str, source_file: str, folder: str, kind: str, tell: Tell | None = None) -> str:
    """A quick look or rough run into a run folder, see `preview.preview`.

    Parameters
    ----------
    text, source_file, folder, kind : str
        As `preview.preview` takes them.
    tell : callable(share, text), optional
        Told after each step.

    Returns
    -------
    str
        The folder.
    """
    return previews.preview(text, source_file, folder, kind, tell)


def warm_preview() -> None:
    """Load and compile what a quick look needs."""
    previews.warm_up()


def warm_words() -> None:
    """Load what words and shapes need."""
    text = (files("weldsim") / "data" / "starters" / "bar.toml").read_text(encoding="utf-8")
    words(text, "bar.toml")
    shape(text, "bar.toml")


def warm_check() -> None:
    """Load what reading a case needs."""
    text = (files("weldsim") / "data" / "starters" / "bar.toml").read_text(encoding="utf-8")
    check(text, "bar.toml")
