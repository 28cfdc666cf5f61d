"""Jobs as records and as files: one small JSON file each, written whole, its case beside it."""

from __future__ import annotations

import json
import re
import secrets
import shutil
import sys
import threading
import time
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path

from weldsim.errors import StoreError, WeldsimError
from weldsim.runs.stored import read_json_file
from weldsim.system.files import whole_file

ID = re.compile(r"[0-9a-f]{16}")
OPEN = ("waiting", "running", "drawing")  # states of a job that is not over
PREVIEWS = ("look", "rough")  # kinds that show quickly and roughly what a run would
STUDIES = ("plan", "next", "why", "preset", "clamps", "correct", "heats", "fit", "band")
COMPUTED = ("run", *STUDIES)  # kinds that have a process of their own and resume
SOON = ("next",)  # somebody stands at the bench and waits for it: before the others
TYPES: dict[str, type | tuple[type, ...]] = {"str": str, "int": int, "float": (int, float)}
MOST_STARTS = 3  # of one job by servers that ended under it
MOST_OPEN, MOST_OPEN_EACH = 60, 12  # jobs that are not over: in all, and of one browser
MOST_REMOVED = 200  # cases of jobs off the list that a form may still begin from


@dataclass(frozen=True)
class Job:
    """One entry of the queue. Times are seconds since 1970.

    Attributes
    ----------
    id : str
        16 hexadecimal digits.
    kind : str
        `run`, a preview (`look` or `rough`), or a study, see `STUDIES`.
    title : str
        Of its case.
    run : str
        Name of its run folder.
    owner : str
        Browser that asked for it.
    number : int
        Place in the queue.
    made, began, ended : float
        When it was asked for, begun last and over; 0 if not yet.
    state : str
        waiting, running, drawing, done, stopped or failed.
    parent, change : str
        Id of the job it was changed from, and what differs, in words.
    error : str
        Why it failed or was stopped.
    starts : int
        How often it was begun.
    options : str
        Of a study, as JSON; see `study_request`.
    cost : float
        Estimated time of what is to be computed, not corrected for this machine; 0 if not known.
        [s]
    solved : float
        When its numbers were there; 0 if not yet.
    """

    id: str
    kind: str
    title: str
    run: str
    owner: str
    number: int
    made: float
    state: str = "waiting"
    parent: str = ""
    change: str = ""
    error: str = ""
    starts: int = 0
    began: float = 0.0
    ended: float = 0.0
    options: str = ""
    cost: float = 0.0
    solved: float = 0.0

    @property
    def is_open(self) -> bool:
        """Whether it is not over."""
        return self.state in OPEN

    @property
    def is_preview(self) -> bool:
        """Whether it is a preview."""
        return self.kind in PREVIEWS

    @property
    def is_study(self) -> bool:
        """Whether it compares or explains runs."""
        return self.kind in STUDIES


class JobStore:
    """Jobs of one work folder, on disk and in memory; to be used from several threads.

    Parameters
    ----------
    work : Path
        Run folders lie in it, jobs in its folder `queue`.

    Attributes
    ----------
    jobs : dict of str to Job
        By id. A job is never changed, only replaced.
    removed : dict of str to (Path, str)
        Case file and case of jobs that are off the list: a form may still begin from them.
    lock : RLock
        Held while jobs are read and replaced in one go.
    """

    def __init__(self, work: Path):
        self.work, self.folder = work, work / "queue"
        self.lock = threading.RLock()
        self.removed: dict[str, tuple[Path, str]] = {}
        self.jobs: dict[str, Job] = read_jobs(self.folder)

    def case_file(self, job: Job) -> Path:
        """Case file of a job.

        Parameters
        ----------
        job : Job
            On the list or not.

        Returns
        -------
        Path
            Beside the file of the job.
        """
        return self.folder / f"{job.id}.toml"

    def lock_file(self, job: Job) -> Path:
        """File locked by the process that works on a job.

        Parameters
        ----------
        job : Job
            On the list or not.

        Returns
        -------
        Path
            Beside the file of the job.
        """
        return self.folder / f"{job.id}.lock"

    def case_text(self, job: Job) -> str:
        """Case of a job as TOML; `StoreError` if its file is gone or damaged.

        Parameters
        ----------
        job : Job
            On the list.

        Returns
        -------
        str
            As it was submitted.
        """
        path = self.case_file(job)
        try:
            return path.read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError) as error:
            raise StoreError(f"{path}: cannot be read: {error}") from None

    def run_folder(self, job: Job) -> Path:
        """Run folder of a job, there or not yet.

        Parameters
        ----------
        job : Job
            On the list or not.

        Returns
        -------
        Path
            In the work folder; previews lie in a folder of their own.
        """
        return (self.folder / "looks" if job.is_preview else self.work) / job.run

    def listed(self) -> list[Job]:
        """All jobs, oldest first.

        Returns
        -------
        list of Job
            By number.
        """
        with self.lock:
            return sorted(self.jobs.values(), key=lambda job: job.number)

    def next_waiting(self, kinds: tuple[str, ...]) -> Job | None:
        """The oldest job of some kinds that waits.

        Parameters
        ----------
        kinds : tuple of str
            Of jobs, see `Job`.

        Returns
        -------
        Job or None
            None where none waits.
        """
        waiting = [j for j in self.listed() if j.kind in kinds and j.state == "waiting"]
        return min(waiting, key=lambda j: (j.kind not in SOON, j.number), default=None)

    def undrawn(self) -> list[Job]:
        """Runs that are solved and whose pictures are not there yet, oldest first.

        Returns
        -------
        list of Job
            Those that are drawn now among them.
        """
        return [j for j in self.listed() if j.state == "drawing"]

    def add(
        self, kind: str, title: str, text: str, owner: str, parent: str = "", change: str = "",
        options: str = "", cost: float = 0.0,
    ) -> Job:  # fmt: skip
        """A new job at the end of the queue, see `Queue.submit`.

        Parameters
        ----------
        kind, title, text, owner, parent, change, options, cost
            As `Queue.submit` takes them.

        Returns
        -------
        Job
            Waiting, on disk.
        """
        with self.lock:
            waiting = [j for j in self.jobs.values() if j.is_open]
            mine = sum(j.owner == owner for j in waiting)
            if len(waiting) >= MOST_OPEN or mine >= MOST_OPEN_EACH:
                raise WeldsimError(
                    f"the queue is full ({len(waiting)} jobs, {mine} of them yours): wait for some "
                    "to end, or stop some"
                )
            new = secrets.token_hex(8)
            stamp = time.strftime("%Y-%m-%d_%H%M%S")
            number = 1 + max((j.number for j in self.jobs.values()), default=0)
            job = Job(
                new, kind, title[:200], f"{stamp}_{kind}_{new[:8]}", owner, number, time.time(),
                parent=parent, change=change[:200], options=options, cost=cost,
            )  # fmt: skip
            with whole_file(self.case_file(job)) as beside:
                beside.write_text(text, encoding="utf-8")
            return self.put(job)

    def put(self, job: Job) -> Job:
        """Put a changed job in place, on disk first.

        Parameters
        ----------
        job : Job
            As it is now.

        Returns
        -------
        Job
            The same.
        """
        with self.lock:
            write_job(self.folder, job)
            self.jobs[job.id] = job
        return job

    def settle(self, job: Job) -> None:
        """Put how a job ended in place, in memory alone where the disk refuses.

        Its file then says what it said before, so the next server takes the job up again.

        Parameters
        ----------
        job : Job
            As it ended.
        """
        with self.lock:
            if job.id not in self.jobs:  # off the list
                return
            self.jobs[job.id] = job
            try:
                write_job(self.folder, job)
            except (OSError, WeldsimError) as error:
                print(f"weldsim serve: {error}", file=sys.stderr, flush=True)

    def remove(self, id: str) -> None:
        """Take a job that is over off the list; its run folder stays, a preview goes.

        Parameters
        ----------
        id : str
            Of a job that is over.
        """
        with self.lock:
            job = self.jobs[id]
            if job.is_open:
                raise WeldsimError("stop it first")
            self._remember(job)
            del self.jobs[id]
            (self.folder / f"{id}.json").unlink(missing_ok=True)
            self.case_file(job).unlink(missing_ok=True)
            self.lock_file(job).unlink(missing_ok=True)
            if job.is_preview:
                shutil.rmtree(self.run_folder(job), ignore_errors=True)

    def _remember(self, job: Job) -> None:
        """Keep the case of a job off the list: somebody may be changing it for another run."""
        try:
            self.removed[job.id] = (self.case_file(job), self.case_text(job))
        except (OSError, WeldsimError):
            return
        while len(self.removed) > MOST_REMOVED:
            self.removed.pop(next(iter(self.removed)))


def write_job(folder: Path, job: Job) -> None:
    """Put a job into its file.

    Parameters
    ----------
    folder : Path
        Where jobs lie.
    job : Job
        To be kept.
    """
    with whole_file(folder / f"{job.id}.json") as beside:
        beside.write_text(json.dumps(asdict(job), indent=1) + "\n", encoding="utf-8")


def read_jobs(folder: Path) -> dict[str, Job]:
    """Jobs of a folder by id; those under way when the last server ended wait again.

    Parameters
    ----------
    folder : Path
        Where jobs lie.

    Returns
    -------
    dict of str to Job
        What is damaged or not ours is left out and left alone.
    """
    known = {f.name for f in fields(Job)}
    jobs = {}
    for path in sorted(folder.glob("*.json")):
        if not ID.fullmatch(path.stem):
            continue
        try:
            raw = read_json_file(path)
            job = Job(**{k: v for k, v in raw.items() if k in known})
            for field in fields(Job):
                if not isinstance(getattr(job, field.name), TYPES[str(field.type)]):
                    raise TypeError(field.name)
        except (WeldsimError, OSError, ValueError, TypeError, AttributeError):
            continue  # not ours; it stays where it is
        if job.id == path.stem and re.fullmatch(r"[\w-]+", job.run):
            jobs[job.id] = job
    for job in [j for j in jobs.values() if j.is_open]:
        again = job if job.state == "drawing" else replace(job, state="waiting")
        if job.starts >= MOST_STARTS:
            why = f"the page ended {job.starts} times while this ran; resume it by hand"
            again = replace(job, state="done" if job.state == "drawing" else "stopped", error=why)
        jobs[job.id] = again
        write_job(folder, again)
    return jobs
