"""One run from its case to its report, in a process of its own."""

from __future__ import annotations

import shutil
from multiprocessing.connection import Connection
from pathlib import Path

from weldsim.case.load import parse_case
from weldsim.errors import WeldsimError
from weldsim.page.job_process import LOCKED, converse
from weldsim.page.worker_process import Tell
from weldsim.plots.pictures import show_run
from weldsim.report.report import write_report
from weldsim.runs.folder import RunFolder
from weldsim.runs.runner import RunOptions, resume_case, run_case
from weldsim.system.locks import held

CHECKPOINT = 4.0  # s of wall time; a page shows what a run has come to from its checkpoints


def serve_run(
    line: Connection, text: str, source_file: str, folder: str, lock: str, threads: int
) -> None:
    """Main function of a run's process.

    Sends ("told", share, text), ("solved",) when the numbers are there, then ("done",),
    ("stopped",) or ("failed", text). Any word from the other side, or its end, stops the run with
    a checkpoint.

    Parameters
    ----------
    line : Connection
        To the server.
    text, source_file : str
        The case as `parse_case` takes it.
    folder, lock : str
        Run folder, and the file that is locked while this process writes to it.
    threads : int
        For the solvers.
    """

    def work(tell: Tell) -> None:
        with held(lock, LOCKED):
            _compute(text, source_file, Path(folder), threads, tell)
            _report(Path(folder), tell)
            line.send(("solved",))
            _draw(Path(folder), tell)

    converse(line, work)


def _compute(text: str, source_file: str, folder: Path, threads: int, tell: Tell) -> None:
    """Compute a run, or resume it."""
    options = RunOptions(threads=threads, checkpoint_seconds=CHECKPOINT, progress=tell)
    if folder.exists() and not (folder / "case.json").exists():
        shutil.rmtree(folder)  # killed while it was made: nothing of worth in it
    if not folder.exists():
        run_case(parse_case(text, source_file), folder, options)
    elif not RunFolder.open(folder).done:
        resume_case(folder, options)


def _report(folder: Path, tell: Tell) -> None:
    """The report as far as it goes without pictures, which may have to wait for other runs."""
    tell(0.0, "writing the report")
    try:
        write_report(folder)
    except WeldsimError:  # it comes again, where a run that is solved is not lost to it
        return


def _draw(folder: Path, tell: Tell) -> None:
    """Pictures, and the report once more with them."""
    tell(0.0, "drawing pictures")
    show_run(folder, lambda share, text: tell(share, f"drawing: {text}"))
    write_report(folder)
