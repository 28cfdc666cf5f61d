"""Meshing leaves the process as it was: what a signal does, and what a dead worker's pipe does."""

import ctypes
import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from weldsim.system.signals import kept_signals

pytestmark = pytest.mark.skipif(os.name != "posix", reason="signals of POSIX systems")

# Run apart: what would end the process must not end the tests.
AFTER_MESHING = """
import os, signal, threading
signal.signal(signal.SIGHUP, signal.SIG_IGN)  # as nohup leaves it
signal.signal(signal.SIGTERM, lambda *_: print("told to end", flush=True))
from weldsim.simulation.model import build_model
from weldsim.case.load import load_case
def mesh():
    print("cells" if build_model(load_case(CASE), "sketch").part.mesh.t.size else "none")
if THREAD:
    worker = threading.Thread(target=mesh)
    worker.start()
    worker.join()
else:
    mesh()
read, write = os.pipe()
os.close(read)
try:
    os.write(write, b"x")
except BrokenPipeError:
    print("pipe is broken", flush=True)
os.kill(os.getpid(), signal.SIGHUP)
os.kill(os.getpid(), signal.SIGTERM)
try:
    os.kill(os.getpid(), signal.SIGINT)
except KeyboardInterrupt:
    print("interrupted", flush=True)
"""


@pytest.mark.parametrize("thread", [False, True])
def test_after_meshing_signals_do_what_they_did(thread):
    case = Path(__file__).parents[2] / "cases" / "pivot_arm.toml"
    code = AFTER_MESHING.replace("CASE", repr(str(case))).replace("THREAD", str(thread))
    # a shell's background job ignores Ctrl-C; here it must not be inherited as ignored
    code = "import signal; signal.signal(signal.SIGINT, signal.default_int_handler)\n" + code
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    expected = ["cells", "pipe is broken", "told to end", "interrupted"]
    assert done.stdout.splitlines() == expected, done
    assert done.returncode == 0


def masks():
    """Signals ignored and caught, as Linux reports them."""
    with open("/proc/self/status") as status:
        return [line for line in status if line.startswith(("SigIgn", "SigCgt"))]


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads /proc")
def test_what_c_code_changed_is_put_back():
    libc, ignore, before = ctypes.CDLL(None), ctypes.c_void_p(1), masks()
    with kept_signals():
        libc.signal(signal.SIGUSR2, ignore)  # Python's own table does not learn of it
        changed = masks()
    assert changed != before and masks() == before


def test_outside_the_main_thread_nothing_is_raised():
    failed = []

    def work():
        try:
            with kept_signals():
                pass
        except BaseException as error:
            failed.append(error)

    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    assert not failed and signal.getsignal(signal.SIGPIPE) == signal.SIG_IGN
