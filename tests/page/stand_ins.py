"""Stand-ins for a run's process, and a server to be killed. Light, since each test starts some."""

import os
import time
from pathlib import Path

from weldsim.page.queue import Queue
from weldsim.page.worker import Worker
from weldsim.system.locks import held


def counting(line, text, source_file, folder, lock, threads):
    """Counts to ten in a file, going on where it was; talks as `run_task.serve_run` does.

    At five it waits while there is a file `hold` beside its folder, so that a test can stop it in
    the middle however slow the machine is.
    """
    import _thread
    import signal
    import threading

    signal.signal(signal.SIGINT, signal.default_int_handler)

    def stop():
        try:
            line.recv()
        except (EOFError, OSError):
            pass
        _thread.interrupt_main()

    threading.Thread(target=stop, daemon=True).start()
    folder = Path(folder)
    folder.mkdir(exist_ok=True)
    path = folder / "steps"
    try:
        with held(lock, 10.0):
            done = len(path.read_text().splitlines()) if path.exists() else 0
            for step in range(done, 10):
                with path.open("a") as file:
                    file.write(f"{step} {os.getpid()}\n")
                line.send(("told", step / 10, f"step {step}"))
                time.sleep(0.05)
                while step == 5 and (folder.parent / "hold").exists():
                    time.sleep(0.01)
        line.send(("solved",))
        line.send(("done",))
    except KeyboardInterrupt:
        line.send(("stopped",))


def nothing(line, *_):
    line.send(("done",))


def patient(line, *_):
    """Under way until it is told to stop."""
    line.send(("told", 0.1, "under way"))
    line.recv()
    line.send(("stopped",))


def clumsy(line, *_):
    """Told to stop while it draws, it says that something failed."""
    line.send(("solved",))
    line.send(("told", 0.1, "under way"))
    line.recv()
    line.send(("failed", "unexpected: ImportError: no such library"))


def drawing_while_held(line, text, source_file, folder, lock, threads):
    """A run that is solved at once and drawn for as long as `hold` lies beside its folder."""
    folder = Path(folder)
    folder.mkdir(exist_ok=True)
    with (folder / "begun").open("a") as file:
        file.write("begun\n")
    line.send(("solved",))
    while (folder.parent / "hold").exists():
        if line.poll(0.01):
            return line.send(("stopped",))
    line.send(("done",))


def interrupted(line, *_):
    line.send(("stopped",))


def broken(line, *_):
    line.send(("failed", "no equilibrium at 3 s"))


def killed(line, *_):
    os._exit(9)


def slow_to_warm_up():
    time.sleep(1.2)


def too_slow_to_warm_up():
    time.sleep(20.0)


def quick(tell=None):
    return os.getpid()


def nap(tell=None):
    time.sleep(5.0)


def endless(tell=None):
    """A calculation that looks at no signal."""
    return 9**9**9**9


def gone(tell=None):
    os._exit(9)


def telling(tell=None):
    tell(0.5, "half")
    return "done"


def serve_and_wait(folder, text, ready):
    """A server with two jobs that says when the first is under way, and waits to be killed."""

    class NoWorker(Worker):
        def open(self):
            pass

    queue = Queue(folder, 1, NoWorker(), counting)
    job = queue.submit("run", "a", text, "me")
    queue.submit("run", "b", text, "me")
    queue.start()
    path = queue.store.run_folder(job) / "steps"
    while not path.exists() or len(path.read_text().splitlines()) < 3:
        time.sleep(0.02)
    ready.send(job.id)
    time.sleep(60)


def answering(line, text, source_file, folder, lock, threads, kind, options):
    """A study that says what it was asked."""
    import json

    words = ", ".join([kind, *(f"{k} {v}" for k, v in json.loads(options).items())])
    record = {"case_lines": ["[preset]", 'tilt_x = "2 mrad"']}
    Path(folder).mkdir()
    answer = {"kind": kind, "words": [words], "record": record}
    (Path(folder) / "answer.json").write_text(json.dumps(answer))
    line.send(("done",))
