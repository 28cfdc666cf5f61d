"""What becomes of a job: how far it is, and how it is left by what its process said last."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace

from weldsim.page.job_store import Job

NOT_DRAWN = "pictures were stopped"


@dataclass(frozen=True)
class Progress:
    """How far a job is.

    Attributes
    ----------
    share : float
        0 to 1 of the present stage.
    text : str
        The same in words.
    since : float
        When the stage began. [s since 1970]
    first : float
        Share from which it began.
    """

    share: float = 0.0
    text: str = ""
    since: float = 0.0
    first: float = 0.0

    def left(self, now: float) -> float | None:
        """Seconds to go as the work went so far; None while that says nothing.

        Parameters
        ----------
        now : float
            Present time. [s since 1970]

        Returns
        -------
        float or None
            Time to go. [s]
        """
        done = self.share - self.first
        return (1 - self.share) * (now - self.since) / done if done > 0.02 else None


def moved_on(before: Progress | None, share: float, text: str) -> Progress:
    """Progress after another word; a share that falls begins a new stage.

    Parameters
    ----------
    before : Progress or None
        None at the first word.
    share : float
        0 to 1 of the present stage.
    text : str
        The same in words.

    Returns
    -------
    Progress
        As it is now.
    """
    if before is None or share < before.share:
        return Progress(share, text, time.time(), share)
    return replace(before, share=share, text=text)


def ended(job: Job, last_word: tuple, asked: bool, exit_code: int | None) -> Job:
    """The job as it is left by the end of its process.

    Parameters
    ----------
    job : Job
        As it was.
    last_word : tuple
        ("done",), ("stopped",), ("failed", text), or ("gone",) where it said nothing.
    asked : bool
        Whether somebody asked for this job to stop.
    exit_code : int or None
        Of the process.

    Returns
    -------
    Job
        With its new state, and why where it did not end well.
    """
    what = last_word[0]
    over = replace(job, ended=time.time())
    if what == "stopped" and not asked:  # the whole program was told to stop, or a run goes first
        return put_back(job)
    if job.state == "drawing":  # the numbers are there whatever came of the pictures
        why = {"stopped": NOT_DRAWN, "gone": "drawing ended unexpectedly"}
        error = last_word[1] if what == "failed" else why.get(what, "")
        return replace(over, state="done", error=error)
    if what == "done":
        return replace(over, state="done")
    if what == "failed":
        return replace(over, state="failed", error=last_word[1])
    if asked:
        return replace(over, state="stopped")
    unexpected = (
        f"its process ended unexpectedly (exit code {exit_code}), perhaps for want of memory"
    )
    return replace(over, state="failed", error=unexpected)


def put_back(job: Job) -> Job:
    """A job that was stopped in good order, as when the server closes: that start counts not.

    Parameters
    ----------
    job : Job
        As it was.

    Returns
    -------
    Job
        Waiting again, for its pictures alone where it is solved.
    """
    state = "drawing" if job.state == "drawing" else "waiting"
    return replace(job, state=state, starts=max(0, job.starts - 1))
