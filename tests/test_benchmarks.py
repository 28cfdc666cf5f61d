"""The benchmark scripts run. Nothing here is timed."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

BENCHMARKS = Path(__file__).resolve().parents[1] / "benchmarks"


@pytest.mark.slow
@pytest.mark.parametrize("script", ["newton.py", "heat.py"])
def test_benchmark_prints_its_table(script):
    # on the tiny grid each script also checks that all versions solve the same problem
    command = [sys.executable, str(BENCHMARKS / script), "--sizes", "tiny", "--plain", "tiny"]
    if script == "newton.py":
        command += ["--no-ngsolve"]
    places = [str(BENCHMARKS.parent), os.environ.get("PYTHONPATH", "")]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, places))}
    done = subprocess.run(
        command + ["--repeats", "1"], capture_output=True, text=True, env=environment
    )
    assert done.returncode == 0, done.stderr
    rows = [line for line in done.stdout.splitlines() if line.startswith("| ")]
    assert len(rows) >= 3  # header, rule, one size
    assert "360" in rows[2] or "180" in rows[2]  # unknowns or nodes of the tiny grid
