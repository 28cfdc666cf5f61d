"""`weldsim validate` as a user calls it: pages, last line, exit code."""

import subprocess
import sys

import pytest
from typer.testing import CliRunner

from tests.places import ROOT
from weldsim.cli import validate as verb
from weldsim.cli.main import app
from weldsim.validation.rows import Check, Found, Row, near


@pytest.mark.slow
def test_some_checks_hold(tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "weldsim", "validate", "--quick", "--only", "t85-constants",
         "--only", "tests-heat-nafems", "--out", str(tmp_path / "out")],
        capture_output=True, text=True, cwd=ROOT,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.rstrip().splitlines()[-1] == "4 of 4 rows hold"
    page = (tmp_path / "out" / "validation.html").read_text(encoding="utf-8")
    assert "EN 1011-2" in page and "NAFEMS" in page and "<svg" in page


def test_a_failing_row_ends_with_1(tmp_path, monkeypatch):
    """A row whose temperature is 3 % off where 2 % are allowed."""
    check = Check("made-up", "heat", "Made up", "a source", "for this test", "None.", print)
    row = Row.of(check, Found((near("temperature", 100.0, 103.0, 0.02),)), 0.0)
    monkeypatch.setattr(verb, "validate", lambda *asked: [row])
    done = CliRunner().invoke(app, ["validate", "--out", str(tmp_path / "out")])
    assert done.exit_code == 1
    assert done.stdout.rstrip().splitlines()[-1] == "0 of 1 rows hold"
