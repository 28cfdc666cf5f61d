"""Jobs as records and as files: one small JSON file each, written whole and renamed."""

from __future__ import annotations

import json
import re
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path

from weldsim.system.files import whole_file

ID = re.compile(r"[0-9a-f]{16}")
OPEN = ("waiting", "running", "drawing")  # states of a job that is not over
TYPES = {"str": str, "int": int, "float": (int, float)}
MOST_STARTS = 3  # of one job by servers that ended under it


@dataclass(frozen=True)
class Job:
    """One entry of the queue. Times are seconds since 1970.

    Attributes
    ----------
    state : waiting, running, drawing, done, stopped or failed
    kind : `run`, `look` or `rough`
    run : name of its run folder
    owner : browser that asked for it
    change : what differs from the job `parent`, in words
    starts : how often it was begun
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

    @property
    def is_open(self) -> bool:
        return self.state in OPEN


@dataclass(frozen=True)
class Told:
    """How far a job is: share 0 to 1, in words, since when and from which share."""

    share: float = 0.0
    text: str = ""
    since: float = 0.0
    first: float = 0.0

    def left(self, now: float) -> float | None:
        """Seconds to go as the work went so far; None while that says nothing."""
        done = self.share - self.first
        return (1 - self.share) * (now - self.since) / done if done > 0.02 else None


def write_job(folder: Path, job: Job) -> None:
    """Put a job into its file."""
    with whole_file(folder / f"{job.id}.json") as beside:
        beside.write_text(json.dumps(asdict(job), indent=1) + "\n", encoding="utf-8")


def read_jobs(folder: Path) -> dict[str, Job]:
    """Jobs of a folder; those under way when the last server ended wait again."""
    known = {f.name for f in fields(Job)}
    jobs = {}
    for path in sorted(folder.glob("*.json")):
        if not ID.fullmatch(path.stem):
            continue
        try:
            raw = json.loads(path.read_text(encoding="utf-8"))
            job = Job(**{k: v for k, v in raw.items() if k in known})
            for field in fields(Job):
                if not isinstance(getattr(job, field.name), TYPES[field.type]):
                    raise TypeError(field.name)
        except (OSError, ValueError, TypeError, AttributeError):
            continue  # not ours; it stays where it is
        if job.id == path.stem and re.fullmatch(r"[\w-]+", job.run):
            jobs[job.id] = job
    for job in [j for j in jobs.values() if j.is_open]:
        again = replace(job, state="waiting")
        if job.starts >= MOST_STARTS:
            why = f"the page ended {job.starts} times while this ran; go on with it by hand"
            again = replace(job, state="stopped", error=why)
        jobs[job.id] = again
        write_job(folder, again)
    return jobs
