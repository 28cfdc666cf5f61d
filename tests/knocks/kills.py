"""Runs killed at any moment: each resumes to the bits of one that was left alone."""

from __future__ import annotations

import os
import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from tests.knocks.tally import Tally, attempt
from tests.places import CASES, ROOT
from weldsim.case.load import load_case
from weldsim.errors import StoreError
from weldsim.runs.reading import read_gauges
from weldsim.runs.runner import RunOptions, resume_case, run_case

BAR = CASES / "pivot_arm_one_bead.toml"
CHANGES = ("solve.grade=sketch", "solve.end=60 s", "solve.error_estimate=false")
CODE = """
import sys
from weldsim.case.load import load_case
from weldsim.runs.runner import RunOptions, run_case
case = load_case(sys.argv[1], sys.argv[3:])
print("ready", flush=True)
run_case(case, sys.argv[2], RunOptions(checkpoint_seconds=0.0, threads=1))
"""


def knock(count: int, seed: int = 1) -> Tally:
    """Kill so many runs, each at a moment of its own, and resume them."""
    tally, chance = Tally("kills of a run"), random.Random(seed)
    with tempfile.TemporaryDirectory() as at:
        options = RunOptions(checkpoint_seconds=0.0, threads=1)
        began = time.monotonic()
        whole = read_gauges(
            run_case(load_case(BAR, CHANGES), f"{at}/whole", options) / "gauges.csv"
        )
        takes = 1.5 * (time.monotonic() - began) + 0.5
        for number in range(count):
            folder, pause = Path(at) / f"run{number}", chance.uniform(0.0, takes)
            attempt(
                tally, lambda f=folder, p=pause: _killed(f, p, whole), (), f"after {pause:.2f} s"
            )
    return tally


def _killed(folder: Path, pause: float, whole: dict[str, np.ndarray]) -> None:
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    run = subprocess.Popen(
        [sys.executable, "-c", CODE, str(BAR), str(folder), *CHANGES],
        stdout=subprocess.PIPE, env=environment,
    )  # fmt: skip
    run.stdout.readline()
    time.sleep(pause)
    run.kill()
    run.communicate()
    if not (folder / "case.json").exists():  # killed while it meshed: the folder is free
        run_case(load_case(BAR, CHANGES), folder, RunOptions(threads=1))
    elif not (folder / "gauges.csv").exists() or not _complete(folder):
        resume_case(folder, RunOptions(threads=1))
    found = read_gauges(folder / "gauges.csv")
    for name, values in whole.items():
        np.testing.assert_array_equal(found[name], values, err_msg=name)


def _complete(folder: Path) -> bool:
    try:
        resume_case(folder, RunOptions(threads=1))
    except StoreError as error:
        return "is complete" in str(error)
    return True
