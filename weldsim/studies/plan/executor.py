"""Who carries out the branches of a study: processes of this machine, or a Dask cluster.

Both offer `submit(job)` and `wait(futures)`; the study above knows no difference. A worker that
dies takes nothing with it: its branch was not written, so it is handed to another one.
"""

from __future__ import annotations

import os
from collections import deque
from contextlib import contextmanager

from weldsim.errors import SetupError, WeldsimError
from weldsim.studies.plan.branches import run_branch
from weldsim.system.threads import single_thread_environment

LIVES = 3  # times a branch is handed out before its worker's death is taken for its own fault


class Local:
    """Processes of this machine, one thread each.

    Parameters
    ----------
    workers : int
    """

    def __init__(self, workers: int):
        self.workers = self.room = workers
        self._pool = None

    def __enter__(self):
        single = single_thread_environment()
        self._before = {k: os.environ.get(k) for k in single}
        os.environ.update(single)  # read when a worker imports numpy
        return self

    def __exit__(self, *error):
        if self._pool is not None:
            if error[0] is not None:  # stopped: whoever still computes is not waited for
                for process in list((self._pool._processes or {}).values()):
                    process.terminate()
            self._pool.shutdown(wait=True, cancel_futures=True)
        for key, value in self._before.items():
            os.environ.pop(key, None)
            if value is not None:
                os.environ[key] = value

    def submit(self, job):
        from concurrent.futures import ProcessPoolExecutor
        from concurrent.futures.process import BrokenProcessPool
        from multiprocessing import get_context

        for _ in range(2):
            if self._pool is None:
                self._pool = ProcessPoolExecutor(self.workers, mp_context=get_context("spawn"))
            try:
                return self._pool.submit(run_branch, job)
            except BrokenProcessPool:
                self._pool = None
        raise WeldsimError("workers die as soon as they start; is there enough memory?")

    def wait(self, futures):
        from concurrent.futures import FIRST_COMPLETED, wait

        return wait(futures, return_when=FIRST_COMPLETED).done

    def died(self, error) -> bool:
        """Whether an error says that the worker died, not that the branch failed."""
        from concurrent.futures.process import BrokenProcessPool

        return isinstance(error, BrokenProcessPool)


class Cluster:
    """A Dask cluster; its workers must see the study folder under the same path.

    Parameters
    ----------
    address : str
        Of the scheduler, or "local" for one of this machine's own.
    workers : int
        Of a local one.
    """

    def __init__(self, address: str, workers: int):
        self.address, self.workers = address, workers
        self._own = None

    def __enter__(self):
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

    def __exit__(self, *error):
        self.client.close()
        if self._own is not None:
            self._own.close()

    def submit(self, job):
        return self.client.submit(run_branch, job, pure=False, retries=0)

    def wait(self, futures):
        from distributed import wait

        return wait(list(futures), return_when="FIRST_COMPLETED").done

    def died(self, error) -> bool:
        from concurrent.futures import CancelledError

        from distributed import KilledWorker

        return isinstance(error, KilledWorker | CancelledError)


@contextmanager
def executor(workers: int | None = None, cluster: str | None = None):
    """Workers of this machine (all its cores when left out), or those of a cluster."""
    count = workers or max(1, len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity")
                           else os.cpu_count() or 1)  # fmt: skip
    with Cluster(cluster, count) if cluster else Local(count) as found:
        yield found


def carry_out(found, jobs, children, told) -> dict[str, dict]:
    """Grow a forest of branches, each after the one it grows from.

    A worker that dies takes others' jobs of its pool along, and which of them killed it is not
    known: those that died go again alone, one at a time, so that only the guilty one is given up.

    Parameters
    ----------
    found : Local or Cluster
        Takes as many jobs at a time as its `room` says, all of them where it has none.
    jobs : iterable of Job
        Those that grow from the start.
    children : dict
        Name -> jobs that grow from it.
    told : callable(record)
        Called as each branch is there.

    Returns
    -------
    dict
        Name -> record of the branch; what grows from a failed one fails with it.
    """
    records: dict[str, dict] = {}
    running, deaths = {}, {}
    waiting, suspects = deque(jobs), deque()
    room = getattr(found, "room", None)

    def start():
        if suspects:
            if not running:
                job = suspects.popleft()
                running[found.submit(job)] = job
            return
        while waiting and (room is None or len(running) < room):
            job = waiting.popleft()
            running[found.submit(job)] = job

    start()
    while running:
        for future in found.wait(set(running)):
            job = running.pop(future)
            error = future.exception()
            if error is not None and not found.died(error):
                raise error
            if error is not None:
                deaths[job.name] = deaths.get(job.name, 0) + 1
                if deaths[job.name] < LIVES:
                    suspects.append(job)
                    continue
                record = {"name": job.name, "error": f"its worker died {LIVES} times"}
            else:
                record = future.result()
            records[job.name] = record
            told(record)
            for child in children.get(job.name, ()):
                if "error" in record:
                    _fail(child, record["error"], children, records, told)
                else:
                    waiting.append(child)
        start()
    return records


def _fail(job, why, children, records, told) -> None:
    records[job.name] = {"name": job.name, "error": f"an earlier weld failed: {why}"}
    told(records[job.name])
    for child in children.get(job.name, ()):
        _fail(child, why, children, records, told)
