"""Runs and studies, one after another or a few at a time, each in a process of its own.

A run is solved before its pictures are drawn, and those wait as long as another run does: a drawing
that is under way is broken off for it, and begun anew when none waits.
"""

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
BREAK_OFF = 4.0  # s for a drawing to end; it has nothing to keep
LATER = "pictures follow when no other run waits"


def _nothing(job: Job, drawing: float) -> None:
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
        self._put_off: dict[str, float] = {}  # id -> when its drawing was broken off for a run
        self._drawing: dict[str, float] = {}  # id -> when its drawing began, in s since 1970
        self.over: Callable[[Job, float], None] = _nothing  # told of jobs solved or over
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
        """The run to be begun now, if any; else one whose pictures are still to be drawn.

        Returns
        -------
        Job or None
            None where none waits or all workers are taken; a drawing then makes room.
        """
        if time.monotonic() < self.rest:
            return None
        waiting = self._store.next_waiting(COMPUTED)
        if len(self._running) >= self._workers:
            if waiting is not None:
                self._make_room()
            return None
        return waiting or next(
            (j for j in self._store.undrawn() if j.id not in self._running), None
        )

    def _make_room(self) -> None:
        """Break off a drawing for a run that waits, unless room is made already."""
        store = self._store
        drawn = [id for id in self._running if store.jobs[id].state == "drawing"]
        if drawn and not any(id in self._asked or id in self._put_off for id in drawn):
            self._put_off[drawn[-1]] = time.monotonic()
            self._running[drawn[-1]].ask_to_stop()

    def begin(self, job: Job) -> None:
        """Start the process of a run, or of its pictures alone where it is solved.

        Parameters
        ----------
        job : Job
            A run that waits, or is not drawn yet.
        """
        begun = replace(job, starts=job.starts + 1, error="")
        if job.state != "drawing":
            begun = replace(begun, state="running", began=time.time())
        job = self._store.put(begun)
        self._progress.pop(job.id, None)
        self._tell(job.id, 0.0, "drawing pictures" if job.state == "drawing" else "starting")
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
        asked, put_off = self._asked.get(job.id), self._put_off.get(job.id)
        if last_word is None and self._too_long(asked, put_off):
            process.kill()
            last_word = ("stopped",) if asked is None else ("gone",)
        if last_word is None:
            return
        process.see_out(GRACE)
        process.close()
        del self._running[job.id]
        self._asked.pop(job.id, None)
        self._put_off.pop(job.id, None)
        if last_word == ("stopped",) and asked is None and put_off is None:
            self.rest = time.monotonic() + REST
        job = self._store.jobs[job.id]
        job = ended(job, last_word, asked is not None, process.exit_code)
        self._store.settle(job)
        began = self._drawing.pop(job.id, 0.0)
        if job.state == "drawing":
            self._progress[job.id] = Progress(0.0, LATER)
        else:
            self.over(job, job.ended - began if began else 0.0)

    def _too_long(self, asked: float | None, put_off: float | None) -> bool:
        """Whether a process that was told to end had its time."""
        now = time.monotonic()
        if asked is not None:
            return now - asked > GRACE
        return put_off is not None and now - put_off > BREAK_OFF

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
        for kept in (self._asked, self._put_off, self._drawing):
            kept.pop(id, None)

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
        self._put_off.pop(id, None)
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
                job, now = self._store.jobs[id], time.time()
                first = job.state != "drawing"
                self._store.settle(replace(job, state="drawing", solved=job.solved or now))
                self._drawing[id] = now
                if first:
                    self.over(self._store.jobs[id], 0.0)
                self._tell(id, 0.0, "drawing pictures")
            elif what != "gone" or last_word is None:
                last_word = (what, *more)
        return last_word

    def _tell(self, id: str, share: float, text: str) -> None:
        self._progress[id] = moved_on(self._progress.get(id), share, text)
