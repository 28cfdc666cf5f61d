"""Runs and studies, one after another or a few at a time, each in a process of its own."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace

from weldsim.page.events import Progress, ended, moved_on
from weldsim.page.job_store import COMPUTED, Job, JobStore
from weldsim.page.run_process import RunProcess
from weldsim.system.threads import default_threads

REST = 10.0  # s without a new run when one was stopped by none of us: Ctrl-C reaches it first
GRACE = 20.0  # s for a run to write its checkpoint before it is ended


def _nothing(job: Job) -> None:
    """Takes no note."""


class RunLane:
    """Runs of a store that are under way, and which is next.

    Parameters
    ----------
    store : JobStore
        What is there.
    progress : dict of str to Progress
        By id of a job; kept up to date here.
    workers : int
        Runs at a time.
    target, study_target : callable
        Main functions of their processes, see `run_task.serve_run` and `study_task.serve_study`.
    """

    def __init__(
        self,
        store: JobStore,
        progress: dict[str, Progress],
        workers: int,
        target: Callable,
        study_target: Callable,
    ):
        self._store, self._progress = store, progress
        self._workers, self._target, self._study_target = workers, target, study_target
        self.threads = max(1, default_threads() // workers)  # of each run
        self._running: dict[str, RunProcess] = {}
        self._asked: dict[str, float] = {}  # id -> when it was asked to stop
        self.over: Callable[[Job], None] = _nothing  # told of each job that is over
        self.rest = 0.0  # no run is begun before, on the monotonic clock

    @property
    def running(self) -> list[str]:
        """Ids of runs that have a process."""
        return list(self._running)

    def stopping(self, id: str) -> bool:
        """Whether a run was asked to stop and has not yet.

        Parameters
        ----------
        id : str
            Of a job.

        Returns
        -------
        bool
            False for jobs that are no runs.
        """
        return id in self._asked

    def stop(self, id: str) -> None:
        """Ask a run to stop with a checkpoint.

        Parameters
        ----------
        id : str
            Of a run that is not over.
        """
        if id not in self._asked:
            self._asked[id] = time.monotonic()
            if id in self._running:
                self._running[id].ask_to_stop()

    def next_run(self) -> Job | None:
        """The run to be begun now, if any.

        Returns
        -------
        Job or None
            None where none waits or all workers are taken.
        """
        if len(self._running) >= self._workers or time.monotonic() < self.rest:
            return None
        return self._store.next_waiting(COMPUTED)

    def begin(self, job: Job) -> None:
        """Start the process of a run.

        Parameters
        ----------
        job : Job
            A run that waits.
        """
        job = self._store.put(
            replace(job, state="running", starts=job.starts + 1, began=time.time(), error="")
        )
        self._progress.pop(job.id, None)
        self._tell(job.id, 0.0, "starting")
        store = self._store
        given = (
            store.case_text(job), str(store.case_file(job)), str(store.run_folder(job)),
            str(store.lock_file(job)), self.threads,
        )  # fmt: skip
        target = self._study_target if job.is_study else self._target
        more = (job.kind, job.options) if job.is_study else ()
        self._running[job.id] = RunProcess(target, (*given, *more))

    def hear(self, job: Job) -> None:
        """Take in what a run says; see it out when it is over.

        Parameters
        ----------
        job : Job
            A run that has a process.
        """
        process = self._running[job.id]
        last_word = self._last_word(job.id, process)
        asked = self._asked.get(job.id)
        if last_word is None and asked is not None and time.monotonic() - asked > GRACE:
            process.kill()
            last_word = ("gone",)
        if last_word is None:
            return
        process.see_out(GRACE)
        process.close()
        del self._running[job.id]
        self._asked.pop(job.id, None)
        if last_word == ("stopped",) and asked is None:
            self.rest = time.monotonic() + REST
        job = self._store.jobs[job.id]
        job = ended(job, last_word, asked is not None, process.exit_code)
        self._store.settle(job)
        self.over(job)

    def give_up(self, id: str) -> None:
        """End the process of a run for which something went wrong here.

        Parameters
        ----------
        id : str
            Of a run.
        """
        if process := self._running.pop(id, None):
            process.kill()
            process.close()
        self._asked.pop(id, None)

    def close(self, grace: float) -> None:
        """Stop all runs, with checkpoints; they resume when a server uses the folder again.

        Parameters
        ----------
        grace : float
            How long they may take to write checkpoints. [s]
        """
        for process in self._running.values():
            process.ask_to_stop()
        end = time.monotonic() + grace
        for id in self.running:
            self._see_out(id, max(0.0, end - time.monotonic()))

    def kill(self) -> None:
        """End all processes at once."""
        for process in self._running.values():
            process.kill()

    def _see_out(self, id: str, grace: float) -> None:
        """Wait for the end of a run that was told to stop, and take in what it says last."""
        process = self._running.pop(id)
        process.see_out(grace)
        last_word = self._last_word(id, process)
        process.close()
        asked = self._asked.pop(id, None) is not None
        # whatever else it says after the word to stop, its file says that it was under way
        if last_word is not None and last_word[0] in ("done", "stopped"):
            job = self._store.jobs[id]
            self._store.settle(ended(job, last_word, asked, process.exit_code))

    def _last_word(self, id: str, process: RunProcess) -> tuple | None:
        """Take in what a run has said by now; its last word, or None while it goes on."""
        last_word = None
        for what, *more in process.heard():
            if what == "told":
                self._tell(id, *more)
            elif what == "solved":
                job = self._store.jobs[id]
                self._store.settle(replace(job, state="drawing", solved=time.time()))
                self._tell(id, 0.0, "drawing pictures")
            elif what != "gone" or last_word is None:
                last_word = (what, *more)
        return last_word

    def _tell(self, id: str, share: float, text: str) -> None:
        self._progress[id] = moved_on(self._progress.get(id), share, text)
