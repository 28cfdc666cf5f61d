"""The kernels of the card in numba's simulator, asked for before numba is loaded."""

import os
import subprocess
import sys

import numpy as np
import pytest

from tests.places import ROOT
from weldsim.cli.main import main
from weldsim.errors import SetupError
from weldsim.physics.gpu.card import WORTH_FROM, chosen_device, why_no_card
from weldsim.physics.gpu.gathering import gathering, whole_rows
from weldsim.physics.symmetric_pattern import symmetric_pattern
from weldsim.system.device import ask_for_device, asking_for, wanted_device


@pytest.mark.slow
def test_the_kernels_of_the_card_run_in_the_simulator():
    env = {**os.environ, "NUMBA_ENABLE_CUDASIM": "1", "PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-m", "pytest", "-q", "tests/physics/gpu/test_card.py"]
    done = subprocess.run(command, env=env, cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout[-2000:]


def test_without_a_card_auto_means_the_processor_and_gpu_is_refused():
    reason = why_no_card()
    if not reason:
        pytest.skip("there is a card")
    assert chosen_device("auto", 10 * WORTH_FROM) == "cpu"
    with pytest.raises(SetupError, match="device gpu: .*allowed: auto, cpu"):
        chosen_device("gpu", 10)


def test_a_device_is_one_of_three(monkeypatch):
    monkeypatch.setenv("WELDSIM_DEVICE", "cpu")
    assert wanted_device() == "cpu"
    assert wanted_device("auto") == "auto"
    monkeypatch.setenv("WELDSIM_DEVICE", "card")
    with pytest.raises(SetupError, match="WELDSIM_DEVICE 'card' is not allowed: write auto, cpu"):
        wanted_device()
    with pytest.raises(SetupError, match="device 'tpu'"):
        ask_for_device("tpu")


def test_a_card_that_is_not_there_is_one_line_before_anything_is_meshed(capsys, monkeypatch):
    """`--device gpu` ends with exit code 2, as every refusal does."""
    if not why_no_card():
        pytest.skip("there is a card")
    monkeypatch.setenv("WELDSIM_DEVICE", "auto")  # put back afterwards
    case = str(ROOT / "cases" / "pivot_arm_one_bead.toml")
    monkeypatch.setattr(sys, "argv", ["weldsim", "run", case, "--device", "gpu"])
    with pytest.raises(SystemExit) as stop:
        main()
    assert stop.value.code == 2
    line = capsys.readouterr().err.splitlines()[-1]
    assert line.startswith("--device gpu: ") and line.endswith("allowed: auto, cpu")


def test_a_device_asked_for_in_a_program_is_forgotten_afterwards(monkeypatch):
    monkeypatch.delenv("WELDSIM_DEVICE", raising=False)
    with asking_for("cpu"):
        assert wanted_device() == "cpu"
    assert wanted_device() == "auto"


def test_sums_gathered_are_those_that_were_added():
    """Terms in any order against numpy's own unbuffered addition."""
    rng = np.random.default_rng(5)
    target, source, share = rng.integers(0, 9, 60), rng.integers(0, 7, 60), rng.normal(size=60)
    values, out = rng.normal(size=7), np.zeros(9)
    np.add.at(out, target, share * values[source])
    sums = gathering(target, source, share)
    terms = sums.share * values[sums.source]
    found = np.add.reduceat(terms, sums.start[:-1])
    assert np.abs(found - out[sums.target]).max() < 1e-14
    assert sums.start[-1] == 60 and len(set(sums.target)) == len(np.unique(target))


def test_whole_rows_are_both_triangles():
    """Against SciPy: the upper triangle and its transpose."""
    import scipy.sparse as sp

    pattern = symmetric_pattern(np.array([[0, 1, 2], [1, 2, 3]], dtype=np.int32), 4, 3)
    data = np.random.default_rng(6).normal(size=pattern.nnz)
    upper = sp.csr_matrix((data, pattern.indices, pattern.indptr), shape=(12, 12)).toarray()
    rows = whole_rows(pattern)
    whole = sp.csr_matrix((data[rows.entry], rows.column, rows.start), shape=(12, 12)).toarray()
    assert np.array_equal(whole, upper + np.triu(upper, 1).T)
