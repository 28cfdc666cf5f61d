"""Helper processes that stay up: what is asked of them is answered in turn.

Meshing and solving happen there, not in the server: Gmsh wants a main thread, a mistake may cost a
process but not the page, and what takes too long is stopped.
"""

from __future__ import annotations

import multiprocessing
import threading
import time

from weldsim.errors import WeldsimError

QUEUED = 12  # requests that may wait for one desk
WARM_UP = 300.0  # s that a helper may take to load and compile what it needs, besides any limit
MEMORY = 6_000_000_000  # bytes of address space of a helper, where the system can limit it


class Busy(WeldsimError):
    """Too many requests wait already."""


class Stopped(WeldsimError):
    """The work was stopped on request."""


class Desk:
    """One helper process, started on the first request or by `open`.

    Parameters
    ----------
    threads : int
        For the solvers in it.
    warm : str, optional
        Task that is done once after each start.
    """

    def __init__(self, threads: int = 1, warm: str | None = None):
        self._context = multiprocessing.get_context("spawn")
        self._threads, self._warm = threads, warm
        self._lock, self._count, self._waiting = threading.Lock(), threading.Lock(), 0
        self._process = self._line = None
        self._closed = self._ready = False

    def open(self) -> None:
        """Start the process in the background."""
        threading.Thread(target=self._start_quietly, daemon=True).start()

    def _start_quietly(self) -> None:
        with self._lock:
            self._start()

    def _start(self) -> None:
        if self._closed or (self._process is not None and self._process.is_alive()):
            return
        from weldsim.page.tasks import serve_desk

        self._line, there = self._context.Pipe()
        self._process = self._context.Process(
            target=serve_desk, args=(there, self._threads, self._warm, MEMORY), daemon=True
        )
        self._process.start()
        self._ready = False
        there.close()

    def call(self, task: str, *args, limit: float = 30.0, tell=None, stop=None):
        """Have a task done and give back its result.

        Parameters
        ----------
        task : str
            Name of a function of `tasks.DESK`.
        limit : float
            Seconds after which the process is ended, counted from when it was warm.
        tell : callable(share, text), optional
        stop : callable() -> bool, optional
            Asked now and then; true ends the work with `Stopped`.

        Raises
        ------
        WeldsimError
            What the task refused, or why it did not come to an end.
        """
        with self._count:
            if self._waiting >= QUEUED:
                raise Busy("too many are asking at once: try again in a moment")
            self._waiting += 1
        try:
            with self._lock:
                if stop is not None and stop():
                    raise Stopped("stopped")
                self._start()
                return self._ask(task, args, limit, tell, stop)
        finally:
            with self._count:
                self._waiting -= 1

    def _ask(self, task, args, limit, tell, stop):
        if self._process is None:
            raise Stopped("the page is closing")
        try:
            self._line.send((task, args))
            end = time.monotonic() + (limit if self._ready else WARM_UP)
            while True:
                if self._line.poll(0.05):
                    what, *more = self._line.recv()
                    if what == "ready":
                        self._ready, end = True, time.monotonic() + limit
                        continue
                    if what == "told":
                        if tell is not None:
                            tell(*more)
                        continue
                    if what == "done":
                        return more[0]
                    raise more[0]
                if stop is not None and stop():
                    self._end()
                    raise Stopped("stopped")
                if time.monotonic() > end:
                    self._end()
                    if not self._ready:
                        raise WeldsimError(f"the helper process did not start in {WARM_UP:.0f} s")
                    raise WeldsimError(
                        f"this part is too much for that: no answer in {limit:.0f} s"
                    )
        except (EOFError, OSError):
            self._end()
            raise WeldsimError(
                "the helper process ended unexpectedly, perhaps for want of memory"
            ) from None

    def _end(self) -> None:
        """End the process; the next request starts another."""
        if self._process is not None:
            self._process.kill()
            self._process.join(5)
            self._line.close()
        self._process = self._line = None

    def close(self) -> None:
        """End the process for good."""
        self._closed = True
        process = self._process
        if process is not None and process.is_alive():
            process.kill()
            process.join(5)
