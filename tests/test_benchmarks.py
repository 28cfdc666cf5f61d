"""The benchmark scripts run. Nothing here is timed."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.studies.small import TEXT

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


@pytest.mark.slow
def test_the_benchmark_of_a_ranking_compares_two_grades(tmp_path):
    """Eight sequences are two without mirror images; of two that lie clearly apart the order is
    the same at both grades, so their rank correlation is 1."""
    case = tmp_path / "small.toml"
    case.write_text(TEXT)
    places = [str(BENCHMARKS.parent), os.environ.get("PYTHONPATH", "")]
    done = subprocess.run(
        [sys.executable, str(BENCHMARKS / "ranking.py"), str(case), "--out", str(tmp_path / "s"),
         "--grades", "sketch", "--against", "coarse", "--workers", "1"],
        capture_output=True, text=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, places))},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "2 sequences against grade coarse" in done.stdout
    (row,) = [line for line in done.stdout.splitlines() if line.startswith("| sketch | 3 |")]
    assert row.split(" | ")[5] == "1.000"


@pytest.mark.slow
def test_the_benchmark_of_whole_runs_counts_what_they_took():
    """A factorisation serves several steps, each of which wants iterations: that is its point."""
    places = [str(BENCHMARKS.parent), os.environ.get("PYTHONPATH", "")]
    done = subprocess.run(
        [sys.executable, str(BENCHMARKS / "whole_runs.py"), "bar:sketch"],
        capture_output=True, text=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, places))},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    (row,) = [line for line in done.stdout.splitlines() if line.startswith("| bar:sketch")]
    cells = [cell.strip() for cell in row.strip("|").split("|")]
    steps, iterations, factored, halved = (int(cells[i]) for i in (3, 4, 5, 8))
    assert 0 < factored < iterations and iterations > steps and halved == 0
