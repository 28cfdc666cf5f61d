"""The queue: what is to be computed, kept in small files, so that nothing is lost or done twice.

Each job is one JSON file in the work folder, written whole and renamed, with its case beside it.
A job that was under way when the server ended goes on from its last checkpoint when it is up again.
Runs go one after another in processes of their own; quick looks go through a desk of theirs.
"""

from __future__ import annotations

import multiprocessing
import secrets
import sys
import threading
import time
import traceback
from collections import Counter
from dataclasses import replace
from pathlib import Path

from weldsim.errors import StoreError, WeldsimError
from weldsim.page.job_store import Job, Told, read_jobs, write_job
from weldsim.page.locks import Lock
from weldsim.page.worker import Desk, Stopped
from weldsim.system.files import whole_file
from weldsim.system.threads import default_threads

MOST_OPEN, MOST_OWN = 60, 12  # jobs in the queue, and of one browser
REMEMBERED = 200  # cases of jobs off the list that a draft may still begin from
LOOKS_KEPT, LOOKS_IN_ALL = 24, 240  # quick looks that are over: of one browser, of all
LOOKS = ("look", "rough")  # kinds that go through the desk
LOOK_LIMIT = {"look": 240.0, "rough": 900.0}  # s
REST = 10.0  # s without a new run when one was stopped by none of us: Ctrl-C reaches it first
GRACE = 20.0  # s for a run to write its checkpoint before it is ended


class Queue:
    """Jobs of one work folder, and the processes that do them.

    Parameters
    ----------
    work : path
        Run folders lie in it, the queue in its folder `queue`.
    workers : int
        Runs at a time.
    looks : Desk, optional
        For quick looks.
    target : callable
        Main function of a run's process, see `tasks.serve_run`.
    """

    def __init__(self, work, workers: int = 1, looks: Desk | None = None, target=None):
        self.work = Path(work)
        self.folder = self.work / "queue"
        self.workers = max(1, int(workers))
        self.threads = max(1, default_threads() // self.workers)  # of each run
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise StoreError(f"{self.work}: could not be made: {error}") from None
        self._own = Lock(self.folder / "server.lock")
        if not self._own.take():
            raise StoreError(f"{self.work}: another weldsim serve uses this work folder")
        self.looks = looks or Desk(1, "warm")
        if target is None:
            from weldsim.page.tasks import serve_run as target
        self._target = target
        self._context = multiprocessing.get_context("spawn")
        self._lock = threading.RLock()
        self._closing = threading.Event()
        self._wake = threading.Event()
        self._running: dict[str, tuple] = {}  # id -> (process, line)
        self._stops: dict[str, float] = {}  # id -> when it was asked to stop
        self._rest = 0.0  # no run is begun before
        self.told: dict[str, Told] = {}
        self.gone: dict[str, tuple[Path, str]] = {}  # id of a job off the list -> its case
        self.jobs: dict[str, Job] = read_jobs(self.folder)
        self._threads = [
            threading.Thread(target=self._watch_runs, daemon=True),
            threading.Thread(target=self._do_looks, daemon=True),
        ]

    # ------------------------------------------------------------------ files
    def _keep(self, job: Job) -> Job:
        """Put a changed job in place, on disk first."""
        with self._lock:
            write_job(self.folder, job)
            self.jobs[job.id] = job
        return job

    def _settle(self, job: Job) -> None:
        """Put how a job ended in place, in memory alone where the disk refuses.

        Its file then says what it said before, so the next server takes the job up again.
        """
        with self._lock:
            if job.id not in self.jobs:  # off the list
                return
            self.jobs[job.id] = job
            try:
                write_job(self.folder, job)
            except (OSError, WeldsimError) as error:
                print(f"weldsim serve: {error}", file=sys.stderr, flush=True)

    def case_file(self, job: Job) -> Path:
        """Case file of a job."""
        return self.folder / f"{job.id}.toml"

    def case_text(self, job: Job) -> str:
        """Case of a job as TOML; `StoreError` if its file is gone or damaged."""
        path = self.case_file(job)
        try:
            return path.read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError) as error:
            raise StoreError(f"{path}: cannot be read: {error}") from None

    def run_folder(self, job: Job) -> Path:
        """Run folder of a job, there or not yet."""
        return (self.folder / "looks" if job.kind in LOOKS else self.work) / job.run

    # --------------------------------------------------------------- requests
    def submit(self, kind: str, title: str, text: str, owner: str, parent="", change="") -> Job:
        """A new job at the end of the queue.

        Parameters
        ----------
        text : str
            Case as TOML, found good already.

        Raises
        ------
        WeldsimError
            If the queue is full.
        """
        with self._lock:
            waiting = [j for j in self.jobs.values() if j.is_open]
            mine = sum(j.owner == owner for j in waiting)
            if len(waiting) >= MOST_OPEN or mine >= MOST_OWN:
                raise WeldsimError(
                    f"the queue is full ({len(waiting)} jobs, {mine} of them yours): wait for some "
                    "to end, or stop some"
                )
            new = secrets.token_hex(8)
            stamp = time.strftime("%Y-%m-%d_%H%M%S")
            number = 1 + max((j.number for j in self.jobs.values()), default=0)
            job = Job(
                new, kind, title[:200], f"{stamp}_{kind}_{new[:8]}", owner, number, time.time(),
                parent=parent, change=change[:200],
            )  # fmt: skip
            with whole_file(self.case_file(job)) as beside:
                beside.write_text(text, encoding="utf-8")
            self._keep(job)
        self._wake.set()
        return job

    def stop(self, id: str) -> Job:
        """Take a job out of the queue, or stop it with a checkpoint."""
        with self._lock:
            job = self.jobs[id]
            if not job.is_open:
                return job
            if job.state == "waiting":
                return self._keep(replace(job, state="stopped", ended=time.time()))
            if id not in self._stops:
                self._stops[id] = time.monotonic()
                if id in self._running:
                    self._say_stop(self._running[id][1])
            return job

    def go_on(self, id: str) -> Job:
        """Put a stopped or failed job back into the queue."""
        with self._lock:
            job = self.jobs[id]
            if job.is_open or job.state == "done":
                return job
            again = replace(job, state="waiting", error="", starts=0, ended=0.0)
            self._keep(again)
        self._wake.set()
        return again

    def forget(self, id: str) -> None:
        """Take a job that is over off the list; its run folder stays, a quick look goes."""
        import shutil

        with self._lock:
            job = self.jobs[id]
            if job.is_open:
                raise WeldsimError("stop it first")
            self._remember(job)
            del self.jobs[id]
            self.told.pop(id, None)
            (self.folder / f"{id}.json").unlink(missing_ok=True)
            self.case_file(job).unlink(missing_ok=True)
            (self.folder / f"{id}.lock").unlink(missing_ok=True)
            if job.kind in LOOKS:
                shutil.rmtree(self.run_folder(job), ignore_errors=True)

    def _remember(self, job: Job) -> None:
        """Keep the case of a job off the list: somebody may be changing it for another run."""
        try:
            self.gone[job.id] = (self.case_file(job), self.case_text(job))
        except (OSError, WeldsimError):
            return
        while len(self.gone) > REMEMBERED:
            self.gone.pop(next(iter(self.gone)))

    def listed(self) -> list[Job]:
        """All jobs, oldest first."""
        with self._lock:
            return sorted(self.jobs.values(), key=lambda j: j.number)

    # ------------------------------------------------------------------- work
    def start(self) -> Queue:
        """Begin to work; gives back itself."""
        self.looks.open()
        for thread in self._threads:
            thread.start()
        return self

    def close(self, grace: float = GRACE) -> None:
        """Stop what runs, with checkpoints; it goes on when a server uses the folder again."""
        self._closing.set()
        self._wake.set()
        self.looks.close()
        for thread in self._threads:
            if thread.is_alive():
                thread.join(grace + 5)
        for _, line in self._running.values():
            self._say_stop(line)
        end = time.monotonic() + grace
        for id in list(self._running):
            self._see_out(id, max(0.0, end - time.monotonic()))
        self._own.drop()

    def _see_out(self, id: str, grace: float) -> None:
        """Wait for the end of a run that was told to stop, and take in what it says last."""
        process, line = self._running.pop(id)
        process.join(grace)
        if process.is_alive():
            process.kill()
            process.join(5)
        said = self._listen(id, line)
        line.close()
        asked = self._stops.pop(id, None) is not None
        # whatever else it says after the word to stop, its file says that it was under way
        if said is not None and said[0] in ("done", "stopped"):
            self._settle(self._ended(self.jobs[id], said, asked, process.exitcode))

    @staticmethod
    def _say_stop(line) -> None:
        try:
            line.send("stop")
        except (OSError, ValueError):
            pass

    def _tell(self, id: str, share: float, text: str) -> None:
        before, now = self.told.get(id), time.time()
        if before is None or share < before.share:
            self.told[id] = Told(share, text, now, share)
        else:
            self.told[id] = replace(before, share=share, text=text)

    def _next(self, *kinds: str) -> Job | None:
        waiting = [j for j in self.jobs.values() if j.kind in kinds and j.state == "waiting"]
        return min(waiting, key=lambda j: j.number, default=None)

    def stopping(self, id: str) -> bool:
        """Whether a job was asked to stop and has not yet."""
        return id in self._stops

    def _watch_runs(self) -> None:
        while not self._closing.is_set():
            with self._lock:
                for id in list(self._running):
                    self._carefully(self._hear, self.jobs[id])
                while len(self._running) < self.workers and (job := self._next("run")):
                    if time.monotonic() < self._rest:
                        break
                    self._carefully(self._begin, job)
            self._wake.wait(0.1)
            self._wake.clear()

    def _carefully(self, work, job: Job) -> None:
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
        with self._lock:
            if left := self._running.pop(job.id, None):
                left[0].kill()
                left[0].join(5)
                left[1].close()
            self._stops.pop(job.id, None)
            job = self.jobs.get(job.id, job)
            self._settle(replace(job, state="failed", error=why, ended=time.time()))

    def _begin(self, job: Job) -> None:
        job = self._keep(
            replace(job, state="running", starts=job.starts + 1, began=time.time(), error="")
        )
        self.told.pop(job.id, None)
        self._tell(job.id, 0.0, "starting")
        here, there = self._context.Pipe()
        try:
            text = self.case_text(job)
            process = self._context.Process(
                target=self._target,
                args=(there, text, str(self.case_file(job)), str(self.run_folder(job)),
                      str(self.folder / f"{job.id}.lock"),
                      self.threads),
                daemon=True,
            )  # fmt: skip
            process.start()
        except BaseException:
            here.close()
            raise
        finally:
            there.close()
        self._running[job.id] = (process, here)

    def _hear(self, job: Job) -> None:
        """Take in what a run says; see it out when it is over."""
        id = job.id
        process, line = self._running[id]
        said = self._listen(id, line)
        asked = self._stops.get(id)
        if said is None and asked is not None and time.monotonic() - asked > GRACE:
            process.kill()
            said = ("gone",)
        if said is None:
            return
        process.join(GRACE)
        if process.is_alive():
            process.kill()
            process.join(5)
        line.close()
        del self._running[id]
        self._stops.pop(id, None)
        if said == ("stopped",) and asked is None:
            self._rest = time.monotonic() + REST
        self._settle(self._ended(self.jobs[id], said, asked is not None, process.exitcode))

    def _listen(self, id: str, line) -> tuple | None:
        """Take in what a run has said by now; its last word, or None while it goes on."""
        said = None
        try:
            while line.poll():
                what, *more = line.recv()
                if what == "told":
                    self._tell(id, *more)
                elif what == "solved":
                    self._settle(replace(self.jobs[id], state="drawing"))
                    self._tell(id, 0.0, "drawing pictures")
                else:
                    said = (what, *more)
        except (EOFError, OSError):
            said = said or ("gone",)
        return said

    def _ended(self, job: Job, said: tuple, asked: bool, code) -> Job:
        """The job as it is left by what its process said last."""
        over = replace(job, ended=time.time())
        if said[0] == "stopped" and not asked:  # the whole program was told to stop
            return _put_back(job)
        if job.state == "drawing":  # the numbers are there whatever came of the pictures
            why = {"stopped": "pictures were stopped", "gone": "drawing ended unexpectedly"}
            error = said[1] if said[0] == "failed" else why.get(said[0], "")
            return replace(over, state="done", error=error)
        if said[0] == "done":
            return replace(over, state="done")
        if said[0] == "failed":
            return replace(over, state="failed", error=said[1])
        if asked:
            return replace(over, state="stopped")
        why = f"its process ended unexpectedly (exit code {code}), perhaps for want of memory"
        return replace(over, state="failed", error=why)

    def _do_looks(self) -> None:
        while not self._closing.is_set():
            with self._lock:
                job = self._next(*LOOKS)
            if job is None:
                self._closing.wait(0.03)
                continue
            self._carefully(self._look, job)
            self._drop_old_looks()

    def _look(self, job: Job) -> None:
        import shutil

        with self._lock:
            if self.jobs.get(job.id) != job:  # stopped meanwhile, or off the list
                return
            job = self._keep(
                replace(job, state="running", began=time.time(), starts=job.starts + 1)
            )
        folder = self.run_folder(job)
        shutil.rmtree(folder, ignore_errors=True)
        folder.parent.mkdir(exist_ok=True)
        text = self.case_text(job)
        self._tell(job.id, 0.0, "starting")
        try:
            self.looks.call(
                "look", text, str(self.case_file(job)), str(folder), job.kind,
                limit=LOOK_LIMIT[job.kind],
                tell=lambda share, words: self._tell(job.id, share, words),
                stop=lambda: job.id in self._stops or self._closing.is_set(),
            )  # fmt: skip
            end = replace(job, state="done", ended=time.time())
        except Stopped:
            end = replace(job, state="stopped", ended=time.time())
        except WeldsimError as error:
            end = replace(job, state="failed", error=str(error), ended=time.time())
        if self._closing.is_set() and end.state != "done" and job.id not in self._stops:
            end = _put_back(job)  # its helper was ended; it is done next time
        self._stops.pop(job.id, None)
        self._settle(end)

    def _drop_old_looks(self) -> None:
        with self._lock:
            old = [j for j in self.listed() if j.kind in LOOKS and not j.is_open]
            kept = Counter()
            for job in reversed(old):
                if kept[job.owner] < LOOKS_KEPT and kept.total() < LOOKS_IN_ALL:
                    kept[job.owner] += 1
                    continue
                try:
                    self.forget(job.id)
                except OSError as error:  # its files stay till the next server lists it
                    print(f"weldsim serve: {error}", file=sys.stderr, flush=True)


def _put_back(job: Job) -> Job:
    """A job that was stopped in good order because the server closes: that start counts not."""
    return replace(job, state="waiting", starts=max(0, job.starts - 1))
