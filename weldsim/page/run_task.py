"""One run from its case to its report, in a process of its own."""

from __future__ import annotations

import _thread
import shutil
import signal
import threading
import time
from collections.abc import Callable
from multiprocessing.connection import Connection
from pathlib import Path

from weldsim.case.load import parse_case
from weldsim.errors import WeldsimError
from weldsim.page.locks import held
from weldsim.page.worker_process import keep_quiet, teller
from weldsim.plots.pictures import show_run
from weldsim.report.report import write_report
from weldsim.runs.folder import RunFolder
from weldsim.runs.runner import RunOptions, resume_case, run_case

AGAIN = 6.0  # s after which a run that was told to stop and goes on is interrupted once more
CHECKPOINT = 4.0  # s of wall time; a page shows what a run has come to from its checkpoints
LOCKED = 30.0  # s that a run whose server died may take to stop writing


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
    keep_quiet()
    # a server put into the background by a script hands down that Ctrl-C is ignored
    signal.signal(signal.SIGINT, signal.default_int_handler)
    stopping = threading.Event()
    threading.Thread(target=_stop_on_word, args=(line, stopping), daemon=True).start()
    tell = teller(lambda share, words: line.send(("told", share, words)))
    try:
        with held(lock, LOCKED):
            _compute(text, source_file, Path(folder), threads, tell)
            line.send(("solved",))
            _draw(Path(folder), tell)
        last_word: tuple[str, ...] = ("done",)
    except KeyboardInterrupt:
        last_word = ("stopped",)
    except BrokenPipeError:
        return
    except Exception as error:
        known = isinstance(error, WeldsimError)
        why = str(error) if known else f"unexpected: {type(error).__name__}: {error}"
        # an interrupt inside an import comes out as an ImportError
        last_word = ("stopped",) if stopping.is_set() else ("failed", why)
    try:
        line.send(last_word)
    except (OSError, ValueError):
        return


def _stop_on_word(line: Connection, stopping: threading.Event) -> None:
    """Interrupt the main thread when a word comes, or the server is gone; again where the interrupt
    was swallowed, as some libraries do while they start."""
    try:
        line.recv()
    except (EOFError, OSError):
        pass
    stopping.set()
    while True:
        _thread.interrupt_main()
        time.sleep(AGAIN)


def _compute(text: str, source_file: str, folder: Path, threads: int, tell: Callable) -> None:
    """Compute a run, or go on with it."""
    options = RunOptions(threads=threads, checkpoint_seconds=CHECKPOINT, progress=tell)
    if folder.exists() and not (folder / "case.json").exists():
        shutil.rmtree(folder)  # killed while it was made: nothing of worth in it
    if not folder.exists():
        run_case(parse_case(text, source_file), folder, options)
    elif not RunFolder.open(folder).done:
        resume_case(folder, options)


def _draw(folder: Path, tell: Callable) -> None:
    """Pictures and report; a machine that cannot draw still gets a report."""
    tell(0.0, "drawing pictures")
    show_run(folder, lambda share, text: tell(share, f"drawing: {text}"))
    write_report(folder)
