"""The queue: what is to be computed, so that nothing is lost or done twice.

A job that was under way when the server ended resumes from its last checkpoint when it is up again.
"""

from __future__ import annotations

import atexit
import threading
import time
import traceback
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from weldsim.errors import StoreError, WeldsimError
from weldsim.page.events import NOT_DRAWN, Progress
from weldsim.page.job_store import PREVIEWS, Job, JobStore
from weldsim.page.preview import warm_up
from weldsim.page.preview_lane import PreviewLane
from weldsim.page.run_lane import GRACE, RunLane
from weldsim.page.run_task import serve_run
from weldsim.page.speed import PICTURES, Speed
from weldsim.page.study_task import serve_study
from weldsim.page.worker import Worker
from weldsim.system.locks import take_lock


class Queue:
    """Jobs of one work folder, and the two lanes that do them: runs and previews.

    Parameters
    ----------
    work : path
        Run folders lie in it, the queue in its folder `queue`.
    workers : int
        Runs at a time.
    previews : Worker, optional
        Where previews are computed.
    target, study_target : callable, optional
        Main functions of the processes of runs and of studies, see `run_task.serve_run` and
        `study_task.serve_study`.

    Attributes
    ----------
    store : JobStore
        What is there.
    progress : dict of str to Progress
        How far a job is, by id.
    speed : Speed
        What jobs took here.

    Raises
    ------
    StoreError
        If another server uses the work folder, or it cannot be made.
    """

    def __init__(
        self,
        work: str | Path,
        workers: int = 1,
        previews: Worker | None = None,
        target: Callable = serve_run,
        study_target: Callable = serve_study,
    ):
        self.work = Path(work)
        folder = self.work / "queue"
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise StoreError(f"{self.work}: could not be made: {error}") from None
        lock = take_lock(folder / "server.lock")
        if lock is None:
            raise StoreError(f"{self.work}: another weldsim serve uses this work folder")
        self._lock = lock
        self._closing, self._wake = threading.Event(), threading.Event()
        self._previewer = previews or Worker(1, warm_up)
        self.store = JobStore(self.work)
        self.progress: dict[str, Progress] = {}
        self.speed = Speed(folder / "speed.json")
        self.runs = RunLane(self.store, self.progress, max(1, int(workers)), target, study_target)
        self.runs.over = self._note_time
        self.previews = PreviewLane(self.store, self.progress, self._previewer, self._closing)
        self._threads = [
            threading.Thread(target=self._do_runs, daemon=True),
            threading.Thread(target=self._do_previews, daemon=True),
        ]

    # --------------------------------------------------------------- requests
    def submit(
        self, kind: str, title: str, text: str, owner: str, parent: str = "", change: str = "",
        options: str = "", cost: float = 0.0,
    ) -> Job:  # fmt: skip
        """A new job at the end of the queue.

        Parameters
        ----------
        kind : str
            See `Job`.
        title : str
            Of its case.
        text : str
            Case as TOML, found good already.
        owner : str
            Browser that asks for it.
        parent, change : str, optional
            Id of the job it was changed from, and what differs.
        options : str, optional
            Of a study, as JSON.
        cost : float, optional
            Estimated time, see `Job`. [s]

        Returns
        -------
        Job
            Waiting.

        Raises
        ------
        WeldsimError
            If the queue is full.
        """
        job = self.store.add(kind, title, text, owner, parent, change, options, cost)
        if job.kind == "look" and not parent:
            self._supersede(job)
        self._wake.set()
        return job

    def _supersede(self, job: Job) -> None:
        """Stop previews that the same browser asked for before: the set-up has changed since."""
        for other in self.store.listed():
            if (
                other.kind == "look" and other.is_open and other.owner == job.owner
                and not other.parent and other.number < job.number
            ):  # fmt: skip
                self.stop(other.id)

    def stop(self, id: str) -> Job:
        """Take a job out of the queue, or stop it with a checkpoint.

        Parameters
        ----------
        id : str
            Of a job on the list.

        Returns
        -------
        Job
            Stopped, or as it is until it stops.
        """
        with self.store.lock:
            job = self.store.jobs[id]
            if job.state == "waiting":
                return self.store.put(replace(job, state="stopped", ended=time.time()))
            if job.state == "drawing" and id not in self.runs.running:
                over = replace(job, state="done", error=NOT_DRAWN, ended=time.time())
                return self.store.put(over)
            if job.is_open:
                self._lane(job).stop(id)
            return job

    def go_on(self, id: str) -> Job:
        """Put a stopped or failed job back into the queue.

        Parameters
        ----------
        id : str
            Of a job on the list.

        Returns
        -------
        Job
            Waiting, or as it is where there is nothing to resume.
        """
        with self.store.lock:
            job = self.store.jobs[id]
            if job.is_open or job.state == "done":
                return job
            again = self.store.put(replace(job, state="waiting", error="", starts=0, ended=0.0))
        self._wake.set()
        return again

    def remove(self, id: str) -> None:
        """Take a job that is over off the list; its run folder stays, a preview goes.

        Parameters
        ----------
        id : str
            Of a job that is over.
        """
        self.store.remove(id)
        self.progress.pop(id, None)

    def stopping(self, id: str) -> bool:
        """Whether a job was asked to stop and has not yet.

        Parameters
        ----------
        id : str
            Of a job.

        Returns
        -------
        bool
            False once it has stopped.
        """
        return self.runs.stopping(id) or self.previews.stopping(id)

    # ------------------------------------------------------------------- work
    def start(self) -> Queue:
        """Begin to work; gives back itself.

        Returns
        -------
        Queue
            Itself.
        """
        self._previewer.open()
        for thread in self._threads:
            thread.start()
        atexit.register(self.runs.kill)  # else Python would wait for a run to end by itself
        return self

    def close(self, grace: float = GRACE) -> None:
        """Stop what runs, with checkpoints; it resumes when a server uses the folder again.

        Parameters
        ----------
        grace : float, optional
            How long a run may take to write its checkpoint. [s]
        """
        self._closing.set()
        self._wake.set()
        self._previewer.close()
        for thread in self._threads:
            if thread.is_alive():
                thread.join(grace + 5)
        self.runs.close(grace)
        atexit.unregister(self.runs.kill)
        self._lock.release()

    def _lane(self, job: Job) -> RunLane | PreviewLane:
        return self.previews if job.is_preview else self.runs

    def _do_runs(self) -> None:
        while not self._closing.is_set():
            with self.store.lock:
                for id in self.runs.running:
                    self._carefully(self.runs.hear, self.store.jobs[id])
                while job := self.runs.next_run():
                    self._carefully(self.runs.begin, job)
            self._wake.wait(0.1)
            self._wake.clear()

    def _do_previews(self) -> None:
        while not self._closing.is_set():
            job = self.store.next_waiting(PREVIEWS)
            if job is None:
                self._closing.wait(0.03)
                continue
            self._carefully(self.previews.compute, job)
            self._note_time(self.store.jobs.get(job.id, job))
            self.previews.remove_old()

    def _note_time(self, job: Job, drawing: float = 0.0) -> None:
        """Remember what a job took that was done in one go: the next is estimated better.

        A run is told of twice: when it is solved, and when it is drawn after `drawing` seconds.
        """
        if job.starts != 1:
            return
        if job.state == "done" and job.solved:
            if drawing and not job.error:
                self.speed.note("pictures", PICTURES, drawing)
        elif job.state == "done" or (job.state == "drawing" and not drawing):
            self.speed.note(job.kind, job.cost, (job.solved or job.ended) - job.began)

    def _carefully(self, work: Callable[[Job], None], job: Job) -> None:
        """Do something for a job; what goes wrong ends that job and no other."""
        try:
            work(job)
        except (OSError, WeldsimError) as error:  # a full disk, a case file that is gone
            self._give_up(job, str(error))
        except Exception as error:
            traceback.print_exc()
            self._give_up(job, f"unexpected: {type(error).__name__}: {error}")

    def _give_up(self, job: Job, why: str) -> None:
        """Mark a job failed and end its process."""
        with self.store.lock:
            self._lane(job).give_up(job.id)
            job = self.store.jobs.get(job.id, job)
            self.store.settle(replace(job, state="failed", error=why, ended=time.time()))
