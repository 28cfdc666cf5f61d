"""Threads: one rule at every entrance, and a wrong number said in one line.

What is checked against is asked of the libraries themselves, through threadpoolctl.
"""

import os
import subprocess
import sys

import pytest

from weldsim.errors import SetupError
from weldsim.system import threads

BARE = {k: v for k, v in os.environ.items() if not k.endswith("_THREADS")}

# A notebook: numpy is there long before weldsim, its BLAS with as many threads as it likes.
NOTEBOOK = """
import numpy, scipy.linalg
from threadpoolctl import threadpool_info, threadpool_limits
threadpool_limits(3)
import numba
from weldsim.case.load import load_case
from weldsim.simulation.model import build_model
model = build_model(load_case("cases/pivot_arm_one_bead.toml"), "sketch", 2)
for library in threadpool_info():
    print(library["internal_api"], library["num_threads"])
print("loops", numba.get_num_threads(), min(2, numba.config.NUMBA_NUM_THREADS))
"""


@pytest.mark.slow
def test_a_notebook_gets_the_threads_of_a_run():
    done = subprocess.run(
        [sys.executable, "-c", NOTEBOOK], env=BARE, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    said = [line.split() for line in done.stdout.splitlines()]
    blas = [int(line[1]) for line in said if line[0] in ("openblas", "blis", "flexiblas")]
    assert blas and set(blas) == {1}
    assert said[-1][1] == said[-1][2]
    assert all(int(line[1]) == 2 for line in said if line[0] in ("mkl", "openmp"))


@pytest.mark.parametrize("wrong", ["abc", "0", "-1", "2.5", "1e3", "100000", "²"])
def test_a_wrong_number_of_threads_is_one_line(monkeypatch, wrong):
    monkeypatch.setenv("WELDSIM_THREADS", wrong)
    monkeypatch.setattr(threads, "cores", lambda: 2)
    with pytest.raises(SetupError) as refused:
        threads.default_threads()
    assert str(refused.value) == (
        f"WELDSIM_THREADS={wrong}: not allowed, allowed: a whole number from 1 to 8"
    )


def test_the_command_line_refuses_a_wrong_number_and_writes_nothing(tmp_path):
    case = os.path.abspath("cases/pivot_arm_one_bead.toml")
    command = [sys.executable, "-m", "weldsim", "run", case, "--out", str(tmp_path / "run")]
    done = subprocess.run(
        command, env={**BARE, "WELDSIM_THREADS": "two"}, capture_output=True, text=True
    )
    assert done.returncode == 2
    assert done.stderr.splitlines()[-1].startswith("WELDSIM_THREADS=two: not allowed")
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "run").exists()


def test_page_and_run_agree_where_nobody_says_how_many(monkeypatch, tmp_path):
    """A page that does one run at a time gives it what the command line would."""
    from tests.page.kit import queue_of

    monkeypatch.delenv("WELDSIM_THREADS", raising=False)
    monkeypatch.setattr(threads, "cores", lambda: 16)
    queue = queue_of(tmp_path / "one")
    assert queue.runs.threads == threads.default_threads() == 4
    monkeypatch.setenv("WELDSIM_THREADS", " 6 ")
    assert threads.default_threads() == 6
    monkeypatch.setenv("WELDSIM_THREADS", "many")
    with pytest.raises(SetupError, match="WELDSIM_THREADS=many"):  # before any job is taken
        queue_of(tmp_path / "two")
