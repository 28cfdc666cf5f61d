"""Previews, one after another in a worker that stays warm."""

from __future__ import annotations

import shutil
import sys
import threading
import time
from collections import Counter
from dataclasses import replace

from weldsim.errors import WeldsimError
from weldsim.page.events import Progress, moved_on, put_back
from weldsim.page.job_store import PREVIEWS, Job, JobStore
from weldsim.page.preview import preview
from weldsim.page.worker import Stopped, Worker

TIME_LIMIT = {"look": 3600.0, "rough": 3600.0}  # s; what one takes is said before, and Stop ends it
MOST_KEPT_EACH, MOST_KEPT = 24, 240  # previews that are over: of one browser, of all


class PreviewLane:
    """Previews of a store.

    Parameters
    ----------
    store : JobStore
        What is there.
    progress : dict of str to Progress
        By id of a job; kept up to date here.
    worker : Worker
        Where they are computed.
    closing : Event
        Set when the server closes.
    """

    def __init__(
        self,
        store: JobStore,
        progress: dict[str, Progress],
        worker: Worker,
        closing: threading.Event,
    ):
        self._store, self._progress = store, progress
        self._worker, self._closing = worker, closing
        self._asked: set[str] = set()  # ids of those asked to stop

    def stopping(self, id: str) -> bool:
        """Whether a preview was asked to stop and has not yet.

        Parameters
        ----------
        id : str
            Of a job.

        Returns
        -------
        bool
            False for jobs that are no previews.
        """
        return id in self._asked

    def stop(self, id: str) -> None:
        """Ask a preview to stop.

        Parameters
        ----------
        id : str
            Of a preview that is not over.
        """
        self._asked.add(id)

    def give_up(self, id: str) -> None:
        """Forget what was asked of a preview for which something went wrong here.

        Parameters
        ----------
        id : str
            Of a preview.
        """
        self._asked.discard(id)

    def compute(self, job: Job) -> None:
        """Do one preview.

        Parameters
        ----------
        job : Job
            A preview that waits.
        """
        store = self._store
        with store.lock:
            if store.jobs.get(job.id) != job:  # stopped meanwhile, or off the list
                return
            job = store.put(replace(job, state="running", began=time.time(), starts=job.starts + 1))
        folder = store.run_folder(job)
        shutil.rmtree(folder, ignore_errors=True)
        folder.parent.mkdir(exist_ok=True)
        text = store.case_text(job)
        self._tell(job.id, 0.0, "starting")
        try:
            self._worker.call(
                preview, text, str(store.case_file(job)), str(folder), job.kind,
                limit=TIME_LIMIT[job.kind],
                tell=lambda share, words: self._tell(job.id, share, words),
                stop=lambda: job.id in self._asked or self._closing.is_set(),
            )  # fmt: skip
            end = replace(job, state="done", ended=time.time())
        except Stopped:
            end = replace(job, state="stopped", ended=time.time())
        except WeldsimError as error:
            end = replace(job, state="failed", error=str(error), ended=time.time())
        if self._closing.is_set() and end.state != "done" and job.id not in self._asked:
            end = put_back(job)  # its worker was ended; it is done next time
        self._asked.discard(job.id)
        store.settle(end)

    def remove_old(self) -> None:
        """Take previews off the list that are more than is kept, the oldest first."""
        with self._store.lock:
            old = [j for j in self._store.listed() if j.kind in PREVIEWS and not j.is_open]
            kept: Counter[str] = Counter()
            for job in reversed(old):
                if kept[job.owner] < MOST_KEPT_EACH and kept.total() < MOST_KEPT:
                    kept[job.owner] += 1
                    continue
                try:
                    self._store.remove(job.id)
                    self._progress.pop(job.id, None)
                except OSError as error:  # its files stay till the next server lists it
                    print(f"weldsim serve: {error}", file=sys.stderr, flush=True)

    def _tell(self, id: str, share: float, text: str) -> None:
        self._progress[id] = moved_on(self._progress.get(id), share, text)
