"""A worker process that stays up: what is asked of it is answered in turn.

Reading, meshing and solving happen there, not in the server: Gmsh wants a main thread, a mistake
may cost a process but not the page, and what takes too long is stopped. Pebble keeps the process:
it ends one whose time is up and starts the next.
"""

from __future__ import annotations

import multiprocessing
import threading
import time
from collections.abc import Callable
from concurrent.futures import CancelledError, Future, wait
from concurrent.futures.process import BrokenProcessPool
from typing import Any

from pebble import ProcessPool

from weldsim.errors import WeldsimError
from weldsim.page.worker_process import Tell, carry_out, get_ready, nothing

MOST_WAITING = 12  # requests for one worker
WARM_UP = 300.0  # s that a worker may take to load and compile what it needs, besides any limit
MEMORY = 6_000_000_000  # bytes of address space of a worker, where the system can limit it
GLANCE = 0.05  # s between two looks whether to stop
GRACE = 1.5  # s for a task to stop by itself; its process stays warm then
Stop = Callable[[], bool]


class Busy(WeldsimError):
    """Too many requests wait already."""


class Stopped(WeldsimError):
    """The work was stopped on request."""


class Worker:
    """One worker process, started on the first request or by `open`.

    Parameters
    ----------
    threads : int
        For the solvers in it.
    warm : callable, optional
        A function that takes nothing, done once after each start.
    """

    def __init__(self, threads: int = 1, warm: Callable[[], None] | None = None):
        self._threads, self._warm = threads, warm
        self._turn, self._count, self._waiting = threading.Lock(), threading.Lock(), 0
        self._pool: ProcessPool | None = None
        self._pool_lock = threading.Lock()
        self._asked = 0
        self._closed = False

    def open(self) -> None:
        """Start the process; it warms up in the background."""
        with self._pool_lock:
            self._running_pool().schedule(nothing)

    def call(
        self,
        task: Callable,
        *args: Any,
        limit: float = 30.0,
        tell: Tell | None = None,
        stop: Stop | None = None,
    ) -> Any:
        """Have a task done and give back its result.

        Parameters
        ----------
        task : callable
            A function that can be imported, such as those of `tasks`; it takes `tell`, too.
        *args
            What it takes.
        limit : float
            Time after which the process is ended, counted from when it was warm. [s]
        tell : callable(share, text), optional
            Told how far the task is.
        stop : callable() -> bool, optional
            Asked now and then; true ends the work with `Stopped`.

        Returns
        -------
        object
            What the task gives back.

        Raises
        ------
        WeldsimError
            What the task refused, or why it did not come to an end.
        """
        with self._count:
            if self._waiting >= MOST_WAITING:
                raise Busy("too many are asking at once: try again in a moment")
            self._waiting += 1
        try:
            with self._turn:
                if stop is not None and stop():
                    raise Stopped("stopped")
                return self._ask(task, args, limit, tell, stop)
        finally:
            with self._count:
                self._waiting -= 1

    def close(self) -> None:
        """End the process for good."""
        self._closed = True
        with self._pool_lock:
            self._end_pool()

    def _ask(
        self, task: Callable, args: tuple, limit: float, tell: Tell | None, stop: Stop | None
    ) -> Any:
        self._asked += 1
        with self._pool_lock:
            future = self._running_pool().schedule(
                carry_out, args=(task, self._asked, args), timeout=limit
            )
        begun = time.monotonic()
        try:
            while not wait([future], GLANCE).done:
                self._pass_on(tell)
                self._check(future, begun, stop)
            self._pass_on(tell)
            return future.result()
        except TimeoutError:
            raise WeldsimError(
                f"no answer within {limit:.0f} s: take a coarser grade or a smaller part"
            ) from None
        except (OSError, BrokenProcessPool):  # ProcessExpired among them, or the line is closed
            if self._closed:
                raise Stopped("the page is closing") from None
            raise WeldsimError(
                "the process that reads and meshes ended unexpectedly, perhaps for want of memory"
            ) from None
        except CancelledError:
            raise Stopped("stopped") from None

    def _check(self, future: Future, begun: float, stop: Stop | None) -> None:
        """Raise where it is no use to wait any longer."""
        if self._closed:
            raise Stopped("the page is closing")
        if stop is not None and stop():
            self._halt.send(self._asked)
            if not future.running() or not wait([future], GRACE).done:
                future.cancel()
            raise Stopped("stopped")
        if not future.running() and not future.done() and time.monotonic() - begun > WARM_UP:
            with self._pool_lock:
                self._end_pool()
            raise WeldsimError(
                f"the process that reads and meshes did not start within {WARM_UP:.0f} s"
            )

    def _pass_on(self, tell: Tell | None) -> None:
        """Hand on what the present task says of its progress; what an ended one said is dropped."""
        while self._line.poll():
            asked, share, text = self._line.recv()
            if tell is not None and asked == self._asked:
                tell(share, text)

    def _running_pool(self) -> ProcessPool:
        """The pool of one process; a new one where there is none or the old one broke."""
        if self._closed:
            raise Stopped("the page is closing")
        if self._pool is not None and not self._pool.active:
            self._end_pool()
        if self._pool is None:
            context = multiprocessing.get_context("spawn")
            self._line, self._there = context.Pipe(duplex=False)
            self._unwanted, self._halt = context.Pipe(duplex=False)
            self._pool = ProcessPool(
                1, initializer=get_ready, context=context,
                initargs=(self._there, self._unwanted, self._threads, MEMORY, self._warm),
            )  # fmt: skip
        return self._pool

    def _end_pool(self) -> None:
        if self._pool is not None:
            self._pool.stop()
            self._pool.join()
            for end in (self._line, self._there, self._unwanted, self._halt):
                end.close()
        self._pool = None
