"""Plans killed at any moment: each goes on to the rows, to the bit, of one that was left alone."""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from tests.knocks.tally import Tally, attempt
from tests.places import ROOT
from tests.studies.small import TEXT

COMPARED = ("schedule", "final", "worst", "readings", "error")  # of a row


def knock(count: int, seed: int = 1) -> Tally:
    """Kill so many plans, each at a moment of its own, and go on with them."""
    tally, chance = Tally("kills of a plan"), random.Random(seed)
    with tempfile.TemporaryDirectory() as at:
        case = Path(at) / "small.toml"
        case.write_text(TEXT, encoding="utf-8")
        began = time.monotonic()
        _plan(case, Path(at) / "whole").wait()
        takes = time.monotonic() - began
        whole = _rows(Path(at) / "whole")
        for number in range(count):
            folder, pause = Path(at) / f"plan{number}", chance.uniform(0.0, takes)
            attempt(
                tally, lambda f=folder, p=pause: _killed(case, f, p, whole), (),
                f"after {pause:.2f} s",
            )  # fmt: skip
    return tally


def _plan(case: Path, folder: Path) -> subprocess.Popen[bytes]:
    """`weldsim plan` of it, with two workers."""
    return subprocess.Popen(
        [sys.executable, "-m", "weldsim", "plan", str(case), "--out", str(folder),
         "--workers", "2"],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip


def _killed(case: Path, folder: Path, pause: float, whole: list[dict[str, Any]]) -> None:
    run = _plan(case, folder)
    time.sleep(pause)
    run.kill()
    run.wait()
    again = _plan(case, folder)  # the same command goes on where branches are kept
    assert again.wait() == 0, f"exit {again.returncode}"
    assert _rows(folder) == whole


def _rows(folder: Path) -> list[dict[str, Any]]:
    record = json.loads((folder / "plan.json").read_text(encoding="utf-8"))
    return [{k: row[k] for k in COMPARED} for row in record["rows"]]
