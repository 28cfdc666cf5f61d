"""Runs that would never end, and arcs that a mesh does not meet, are refused in words."""

import numpy as np
import pytest

from tests.places import CASES
from weldsim.case.load import load_case
from weldsim.errors import CaseError, ConvergenceError, MeshError
from weldsim.runs.runner import run_case
from weldsim.simulation import step_limit
from weldsim.simulation.model import build_model
from weldsim.simulation.steps import simulate, start_state

BAR = CASES / "pivot_arm_one_bead.toml"


def test_an_arc_that_burns_too_long_is_refused_before_anything_is_written(tmp_path, monkeypatch):
    """1 h of crater fill at a torch step of a few seconds: a thousand steps and more."""
    monkeypatch.setattr(step_limit, "MOST_ARC_STEPS", 500)
    case = load_case(CASES / "mast_stub.toml", ["arc.crater=1 h", "solve.grade=sketch"])
    with pytest.raises(CaseError, match=r"\[weld.\w+\]: its arc burns 3\.6\de\+03 s") as caught:
        run_case(case, tmp_path / "run")
    assert "allowed: up to 500;" in str(caught.value)
    assert not (tmp_path / "run").exists()


def test_a_run_that_never_grows_cold_ends_in_words(monkeypatch):
    monkeypatch.setattr(step_limit, "MOST_STEPS", 3)
    model = build_model(load_case(BAR), "sketch", threads=1)
    with pytest.raises(ConvergenceError, match="step 3 at .* at most 3 steps"):
        for _ in simulate(model):
            pass


def test_stretches_without_number_are_a_mistake_of_the_case():
    tee = load_case(CASES / "mast_stub.toml")
    seam = tee.welds[-1].seam
    entry = {"name": "w", "seam": seam, "travel": tee.welds[-1].travel, "pattern": "backstep",
             "segment": "0.001 mm"}  # fmt: skip
    with pytest.raises(CaseError, match="segment: .* makes more than 200 stretches"):
        tee.with_changes({"schedule.order": [], "weld": [entry]})


@pytest.mark.parametrize("size", ["1e-3 mm", "3e-3 mm"])
def test_an_arc_that_falls_between_the_points_of_the_mesh(size):
    """Cells are millimetres, so the nearest point lies a thousand half widths off, where the
    Gaussian exp(-3 r^2) of the heat source is nothing at all."""
    keys = ("half_width", "depth", "front_length", "rear_length")
    case = load_case(BAR, [f"weld.A.{k}={size}" for k in keys])
    model = build_model(case, "sketch", threads=1)
    with pytest.raises(MeshError, match="between the points of the mesh"):
        next(simulate(model))


def test_a_stated_factor_is_the_border():
    model = build_model(load_case(BAR), "sketch", threads=1)
    step_limit.check_rescale(model, 0, step_limit.MOST_RESCALE)
    for factor in (1.01 * step_limit.MOST_RESCALE, 1e12, np.inf):
        with pytest.raises(MeshError, match=r"\[weld.A\]: its arc's heat falls"):
            step_limit.check_rescale(model, 0, factor)
    assert start_state(model).steps == 0
