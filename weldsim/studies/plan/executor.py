"""Who carries out the branches of a study: processes of this machine, or a Dask cluster.

The study above knows no difference. A worker that dies takes nothing with it: its branch was not
written, so it is handed to another one.
"""

from __future__ import annotations

import heapq
import os
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import FIRST_COMPLETED, CancelledError, Future, InvalidStateError, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import get_context
from threading import Thread
from typing import Any, Protocol

from weldsim.errors import SetupError, WeldsimError
from weldsim.studies.plan.branches import Job, run_branch
from weldsim.system.processes import end_with_parent
from weldsim.system.threads import cores, single_thread_environment

MOST_DEATHS = 3  # of workers on one branch, before that is taken for the branch's own fault
GLANCE = 1.0  # s between two looks at whether anybody is left to wait for
LOST_AFTER = 300.0  # s in which no idle worker takes up a job, or there is no worker at all
Record = dict[str, Any]  # of a branch; see `branches.run_branch`


class Executor(Protocol):
    """Who takes jobs. One that holds only so many at a time says how many as `room`."""

    def submit(self, job: Job) -> Future[Record]:
        """Hand a job to a worker."""

    def wait(self, futures: set[Future[Record]]) -> Iterable[Future[Record]]:
        """Futures that are done, at least one."""

    def died(self, error: BaseException) -> bool:
        """Whether an error says that the worker died, not that the branch failed."""


class LocalExecutor:
    """Processes of this machine, one thread each.

    Parameters
    ----------
    workers : int
    work : callable, optional
        What a worker does with a job; it must stand in a module.
    """

    def __init__(self, workers: int, work: Callable[[Any], Record] = run_branch) -> None:
        self.workers = self.room = workers
        self.work = work

    def __enter__(self) -> LocalExecutor:
        wanted = single_thread_environment()
        self._before = {k: os.environ.get(k) for k in wanted}
        os.environ.update(wanted)  # read when a worker imports numpy
        self._start()
        return self

    def _start(self) -> None:
        from pebble import ProcessPool

        self._pool = ProcessPool(
            self.workers, initializer=end_with_parent, context=get_context("spawn")
        )
        self._proven = False  # whether a worker of this pool has finished a job
        self._moved = time.monotonic()  # when a job was last handed out or came back

    def _end(self) -> None:
        """End the pool at once; one whose line is broken does not even come to its own end."""
        self._pool.stop()
        ending = Thread(target=self._pool.join, daemon=True)
        ending.start()
        ending.join(10.0)

    def __exit__(self, *error: object) -> None:
        if error[0] is None:
            self._pool.close()
            self._pool.join()
        else:  # stopped: whoever still computes is not waited for
            self._end()
        for key, value in self._before.items():
            os.environ.pop(key, None)
            if value is not None:
                os.environ[key] = value

    def submit(self, job: Job) -> Future[Record]:
        if not self._pool.active:  # a worker died while none of them had a job
            if not self._proven:
                raise WeldsimError("workers die as soon as they start; is there enough memory?")
            self._end()
            self._start()
        try:
            future: Future[Record] = self._pool.schedule(self.work, args=[job])
        except RuntimeError:  # it broke just now
            future = Future()
            _expire(future)
        self._moved = time.monotonic()
        return future

    def wait(self, futures: set[Future[Record]]) -> Iterable[Future[Record]]:
        while not (done := wait(futures, GLANCE, FIRST_COMPLETED).done):
            if self._lost(futures):
                self._end()
                for future in futures:
                    _expire(future)
        self._proven = self._proven or any(f.exception() is None for f in done)
        self._moved = time.monotonic()
        return done

    def _lost(self, futures: set[Future[Record]]) -> bool:
        """Whether a job went down between two workers: the pool knows of those alone that run.

        One handed to a pool that breaks at that moment is never spoken of again, nor is one whose
        worker died after it had taken the job off the line and before it had said so.
        """
        if not self._pool.active:
            return not wait(futures, GLANCE, FIRST_COMPLETED).done  # it may be telling just now
        running = sum(f.running() for f in futures)
        idle = running < min(self.workers, len(futures))  # a worker, while a job stands in line
        return idle and time.monotonic() - self._moved > LOST_AFTER

    def died(self, error: BaseException) -> bool:
        from pebble import ProcessExpired

        return isinstance(error, ProcessExpired | BrokenProcessPool)


def _expire(future: Future[Record]) -> None:
    """Say of a job that its worker died, unless it has come to an end."""
    try:
        future.set_exception(BrokenProcessPool("lost between two workers"))
    except InvalidStateError:
        pass


class DaskExecutor:
    """A Dask cluster; its workers must see the study folder under the same path.

    Parameters
    ----------
    address : str
        Of the scheduler, or "local" for one of this machine's own.
    workers : int
        Of a local one.
    work : callable, optional
        What a worker does with a job; it must stand in a module.
    """

    def __init__(
        self, address: str, workers: int, work: Callable[[Any], Record] = run_branch
    ) -> None:
        self.address, self.workers, self.work = address, workers, work
        self._own = None

    def __enter__(self) -> DaskExecutor:
        try:
            from distributed import Client, LocalCluster
        except ImportError:
            raise SetupError(
                'a cluster needs the package distributed: pip install "weldsim[cluster]"'
            ) from None
        if self.address == "local":
            self._own = LocalCluster(self.workers, threads_per_worker=1, dashboard_address=None)
        try:
            self.client = Client(self._own or self.address, timeout="20s")
        except (OSError, ValueError) as error:
            raise SetupError(f"--cluster {self.address}: no scheduler answers ({error})") from None
        return self

    def __exit__(self, *error: object) -> None:
        self.client.close()
        if self._own is not None:
            self._own.close()

    def submit(self, job: Job) -> Future[Record]:
        return self.client.submit(self.work, job, pure=False, retries=0)

    def wait(self, futures: set[Future[Record]]) -> Iterable[Future[Record]]:
        from distributed import wait as wait_for

        alone = None  # since when there has been no worker
        while True:
            try:
                return wait_for(list(futures), GLANCE, return_when="FIRST_COMPLETED").done
            except TimeoutError:
                if self.client.status == "closed":
                    raise WeldsimError("the scheduler of the cluster is gone") from None
                if self.client.scheduler_info()["workers"]:
                    alone = None
                    continue
                alone = alone or time.monotonic()
                if time.monotonic() - alone > LOST_AFTER:
                    raise WeldsimError(
                        f"the cluster has had no worker for {LOST_AFTER:.0f} s"
                    ) from None

    def died(self, error: BaseException) -> bool:
        from distributed import KilledWorker

        return isinstance(error, KilledWorker | CancelledError)


@contextmanager
def open_executor(
    workers: int | None = None,
    cluster: str | None = None,
    work: Callable[[Any], Record] = run_branch,
) -> Iterator[LocalExecutor | DaskExecutor]:
    """Workers of this machine, or those of a Dask cluster.

    Parameters
    ----------
    workers : int, optional
        Processes; one a core when left out.
    cluster : str, optional
        Address of a Dask scheduler, or "local" for one of this machine's own.
    work : callable, optional
        What a worker does with a job; it must stand in a module.

    Raises
    ------
    SetupError
        If Dask is not installed, or no scheduler answers.
    """
    count = workers or cores()
    with DaskExecutor(cluster, count, work) if cluster else LocalExecutor(count, work) as found:
        yield found


@contextmanager
def executor_of(
    workers: int | Executor | None = None, cluster: str | None = None
) -> Iterator[Executor]:
    """An executor that is open already, or one opened for a while; see `open_executor`."""
    if workers is not None and not isinstance(workers, int):
        yield workers
        return
    with open_executor(workers, cluster) as found:
        yield found


def carry_out(
    executor: Executor,
    jobs: Iterable[Job],
    children: Mapping[str, Iterable[Job]],
    told: Callable[[Record], None],
    turns: Mapping[str, int] | None = None,
) -> dict[str, Record]:
    """Carry out the branches of a prefix tree, each after the one it goes on from; or any jobs.

    A worker that dies may take others' jobs along, and which of them killed it is not known: those
    that died go again alone, one at a time, so that only the guilty one is given up.

    Parameters
    ----------
    executor : Executor
        Takes as many jobs at a time as its `room` says, all of them where it has none.
    jobs : iterable of Job
        Those that go on from the start.
    children : mapping
        Name -> jobs that go on from it.
    told : callable(record)
        Called as each branch is there.
    turns : mapping, optional
        Name -> its turn among the jobs that wait, least first; as they come when left out.

    Returns
    -------
    dict
        Name -> record of the branch; what goes on from a failed one fails with it.
    """
    records: dict[str, Record] = {}
    handed = _HandingOut(executor, jobs, turns or {})
    while handed.running:
        for job, record in handed.finished():
            records[job.name] = record
            told(record)
            for child in children.get(job.name, ()):
                if "error" in record:
                    _fail(child, record["error"], children, records, told)
                else:
                    handed.add(child)
        handed.start()
    return records


class _HandingOut:
    """Which jobs run, which wait, and which are suspected of having killed a worker."""

    def __init__(self, executor: Executor, jobs: Iterable[Job], turns: Mapping[str, int]) -> None:
        self.executor, self.room = executor, getattr(executor, "room", None)
        self.running: dict[Future[Record], Job] = {}
        self.turns, self.added = turns, 0
        self.waiting: list[tuple[int, int, Job]] = []
        self.suspects = deque[Job]()
        self.deaths: dict[str, int] = {}
        for job in jobs:
            self.add(job)
        self.start()

    def add(self, job: Job) -> None:
        """Put a job among those that wait."""
        heapq.heappush(self.waiting, (self.turns.get(job.name, 0), self.added, job))
        self.added += 1

    def start(self) -> None:
        """Hand out what there is room for."""
        if self.suspects:
            if not self.running:
                self._submit(self.suspects.popleft())
            return
        while self.waiting and (self.room is None or len(self.running) < self.room):
            self._submit(heapq.heappop(self.waiting)[2])

    def _submit(self, job: Job) -> None:
        self.running[self.executor.submit(job)] = job

    def finished(self) -> Iterator[tuple[Job, Record]]:
        """Jobs that have come to an end, and their records; waits for one at least."""
        for future in self.executor.wait(set(self.running)):
            job = self.running.pop(future)
            error = future.exception()
            if error is None:
                yield job, future.result()
            elif not self.executor.died(error):
                raise error
            else:
                self.deaths[job.name] = self.deaths.get(job.name, 0) + 1
                if self.deaths[job.name] < MOST_DEATHS:
                    self.suspects.append(job)
                else:
                    why = f"its worker died {MOST_DEATHS} times"
                    yield job, {"name": job.name, "error": why}


def _fail(
    job: Job,
    why: str,
    children: Mapping[str, Iterable[Job]],
    records: dict[str, Record],
    told: Callable[[Record], None],
) -> None:
    records[job.name] = {"name": job.name, "error": f"an earlier weld failed: {why}"}
    told(records[job.name])
    for child in children.get(job.name, ()):
        _fail(child, why, children, records, told)
