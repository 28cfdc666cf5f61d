"""The kernels of the card in numba's simulator, asked for before numba is loaded."""

import os
import subprocess
import sys

import pytest

from tests.places import ROOT
from weldsim.errors import SetupError
from weldsim.physics.gpu.card import WORTH_FROM, chosen_device, why_no_card
from weldsim.system.device import ask_for_device, wanted_device


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
