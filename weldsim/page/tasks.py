"""What helper processes do: answers of a desk, and one run from its case to its report."""

from __future__ import annotations

import os
import sys
import threading
import time

from weldsim.system.threads import single_blas_thread

AGAIN = 6.0  # s after which a run that was told to stop and goes on is interrupted once more
CHECKPOINT = 4.0  # s of wall time; a page shows what a run has come to from its checkpoints
TELL = 0.2  # s between two words on progress


def _quiet() -> None:
    """One BLAS thread, and no talk into the server's terminal."""
    single_blas_thread()
    sys.stdin = open(os.devnull)


def serve_desk(line, threads: int, warm: str | None, internal_variables: int) -> None:
    """Main function of a desk's process: (task, args) in, ("done", result) or an error out.

    Says ("ready",) once, before the first of them.
    """
    import signal

    from weldsim.errors import WeldsimError

    _quiet()
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the server's; it ends this process
    os.environ["WELDSIM_THREADS"] = str(threads)
    _limit(internal_variables)
    tell = _teller(line)
    if warm is not None:
        try:
            DESK[warm](tell=lambda *_: None)
        except Exception as error:  # a cold start is slower, not wrong; the request will say more
            print(f"weldsim serve: warming up failed: {error}", file=sys.stderr)
    try:
        line.send(("ready",))
    except OSError:
        return
    while True:
        try:
            task, args = line.recv()
        except (EOFError, OSError):
            return
        try:
            line.send(("done", DESK[task](*args, tell=tell)))
        except WeldsimError as error:
            line.send(("failed", type(error)(str(error))))
        except (MemoryError, RecursionError):
            line.send(("failed", WeldsimError("this part needs more memory than the page lends")))
        except BrokenPipeError:
            return
        except Exception as error:
            line.send(("failed", WeldsimError(f"unexpected: {type(error).__name__}: {error}")))


def _limit(internal_variables: int) -> None:
    try:
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (internal_variables, internal_variables))
    except (ImportError, ValueError, OSError):
        return


def _teller(line):
    """Sends progress on, not more often than anyone looks."""
    last = [0.0]

    def tell(share: float, text: str) -> None:
        now = time.monotonic()
        if now - last[0] > TELL:
            last[0] = now
            line.send(("told", float(share), str(text)))

    return tell


def _parse(text: str, source_file: str):
    from weldsim.case.load import parse_case

    return parse_case(text, source_file)


def words(text: str, source_file: str, tell=None) -> list[str]:
    """What a case means, in lines."""
    from weldsim.text.describe import describe

    return describe(_parse(text, source_file))


def shape(text: str, source_file: str, tell=None) -> dict:
    from weldsim.page.shape import shape_of

    return shape_of(_parse(text, source_file))


def size(text: str, source_file: str, tell=None) -> dict:
    """Size and cost of a run."""
    from weldsim.text.describe import estimate

    return vars(estimate(_parse(text, source_file)))


def look(text: str, source_file: str, folder: str, kind: str, tell=None) -> str:
    from weldsim.page import preview as looking

    return looking.look(text, source_file, folder, kind, tell)


def warm(tell=None) -> None:
    from weldsim.page.preview import warm_up

    warm_up()


def warm_words(tell=None) -> None:
    """Load what words and shapes need."""
    from importlib.resources import files

    text = (files("weldsim") / "data" / "starters" / "bar.toml").read_text(encoding="utf-8")
    words(text, "bar.toml")
    shape(text, "bar.toml")


DESK = {
    "words": words, "shape": shape, "size": size, "look": look, "warm": warm,
    "warm_words": warm_words,
}  # fmt: skip


def serve_run(line, text: str, source_file: str, folder: str, lock: str, threads: int) -> None:
    """Main function of a run's process.

    Sends ("told", share, text), ("solved",) when the numbers are there, then ("done",),
    ("stopped",) or ("failed", text). Any word from the other side, or its end, stops the run with
    a checkpoint.
    """
    import signal

    from weldsim.errors import WeldsimError
    from weldsim.page.locks import Lock

    _quiet()
    # a server put into the background by a script hands down that Ctrl-C is ignored
    signal.signal(signal.SIGINT, signal.default_int_handler)
    stopping = threading.Event()
    threading.Thread(target=_stop_on_word, args=(line, stopping), daemon=True).start()
    tell = _teller(line)
    try:
        with Lock(lock).waiting(30.0):  # a run whose server died may still be writing
            _run(text, source_file, folder, threads, tell, lambda: line.send(("solved",)))
        last = ("done",)
    except KeyboardInterrupt:
        last = ("stopped",)
    except BrokenPipeError:
        return
    except Exception as error:
        known = isinstance(error, WeldsimError)
        last = ("failed", str(error) if known else f"unexpected: {type(error).__name__}: {error}")
        if stopping.is_set():  # an interrupt inside an import comes out as an ImportError
            last = ("stopped",)
    try:
        line.send(last)
    except (OSError, ValueError):
        return


def _stop_on_word(line, stopping) -> None:
    """Interrupt the main thread when a word comes, or the server is gone; again where the interrupt
    was swallowed, as some libraries do while they start."""
    import _thread
    import time

    try:
        line.recv()
    except (EOFError, OSError):
        pass
    stopping.set()
    while True:
        _thread.interrupt_main()
        time.sleep(AGAIN)


def _run(text, source_file, folder, threads, tell, solved) -> None:
    """Compute, or go on with, a run; then draw its pictures and write its report."""
    import shutil
    from pathlib import Path

    from weldsim.runs.folder import RunFolder
    from weldsim.runs.runner import RunOptions, resume_case, run_case

    folder = Path(folder)
    options = RunOptions(threads=threads, checkpoint_seconds=CHECKPOINT, progress=tell)
    if folder.exists() and not (folder / "case.json").exists():
        shutil.rmtree(folder)  # killed while it was made: nothing of worth in it
    if not folder.exists():
        run_case(_parse(text, source_file), folder, options)
    elif not RunFolder.open(folder).done:
        resume_case(folder, options)
    solved()
    _draw(folder, tell)


def _draw(folder, tell) -> None:
    """Pictures and report; a machine that cannot draw still gets a report."""
    from weldsim.plots.pictures import show_run
    from weldsim.report.report import write_report

    tell(0.0, "drawing pictures")
    show_run(folder, lambda share, text: tell(share, f"drawing: {text}"))
    write_report(folder)
