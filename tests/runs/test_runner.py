"""Run folders from start to finish: stopped, killed, resumed, failed; companion and warnings."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from tests.places import ROOT
from weldsim.case.load import load_case
from weldsim.errors import BalanceError, ConvergenceError, MeshError, StoreError
from weldsim.runs import error_estimate, runner
from weldsim.runs.folder import RunFolder
from weldsim.runs.reading import read_gauges
from weldsim.runs.runner import RunOptions, resume_case, run_case

ONE = ROOT / "cases" / "pivot_arm_one_bead.toml"
SHORT = ("solve.grade=quick", "solve.end=7 s", "solve.error_estimate=false")


def short_case(*changes):
    return load_case(ONE, (*SHORT, *changes))


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """Gauges of the short case, never interrupted."""
    folder = run_case(short_case(), tmp_path_factory.mktemp("run") / "whole")
    return folder, read_gauges(folder / "gauges.csv")


def same_gauges(folder, reference):
    """Equal to 1e-9, the promise of `--resume`."""
    found = read_gauges(folder / "gauges.csv")
    assert found.keys() == reference.keys()
    for name, values in reference.items():
        np.testing.assert_allclose(found[name], values, rtol=1e-9, atol=1e-12)


def test_folder_holds_what_the_contract_says(whole):
    folder, gauges = whole
    for name in ("run.json", "gauges.csv", "summary.json", "fields/run.pvd"):
        assert (folder / name).is_file()
    assert list((folder / "state").glob("checkpoint_*.npz"))
    assert next(iter(gauges)) == "time_s"
    for column in ("up_mrad", "right_mrad", "up_mm", "right_mm"):
        assert f"pointer_{column}" in gauges
    manifest = json.loads((folder / "run.json").read_text())
    assert manifest["status"] == "complete"
    assert manifest["overrides"] == list(SHORT)
    assert manifest["softening_temperature_K"] == pytest.approx(1473.15)  # carbon-steel.toml
    assert manifest["balances"]["heat_gap"] < 1e-3
    assert manifest["solver"] in ("pardiso", "rslab", "superlu")
    assert manifest["device"] == "cpu" and manifest["device_reason"]
    assert manifest["error_estimate"]["how"].startswith("none: no second run")


def test_spot_is_throw_times_tilt_plus_the_patch(whole):
    """Spot on the target: 4 m times the tilt plus the movement of the end itself (under 1 mm)."""
    gauges = whole[1]
    for way in ("up", "right"):
        spot, tilt = gauges[f"pointer_{way}_mm"], gauges[f"pointer_{way}_mrad"]
        assert np.abs(spot - 4.0 * tilt).max() < 1.0


def test_interrupted_run_resumes_to_the_same_numbers(whole, tmp_path):
    """Ctrl-C after a few steps: the folder says stopped, and resuming loses nothing."""
    count = 0

    def stop(share, text):
        nonlocal count
        count += 1
        if count == 4:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt) as caught:
        run_case(short_case(), tmp_path / "cut", RunOptions(progress=stop))
    folder = caught.value.run_folder
    assert json.loads((folder / "run.json").read_text())["status"] == "stopped"
    resume_case(folder)
    assert json.loads((folder / "run.json").read_text())["status"] == "complete"
    same_gauges(folder, whole[1])


def test_complete_run_is_not_resumed_nor_overwritten(whole):
    with pytest.raises(StoreError, match="complete"):
        resume_case(whole[0])
    with pytest.raises(StoreError):
        run_case(short_case(), whole[0])


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="needs SIGKILL")
def test_killed_run_resumes_to_the_same_numbers(whole, tmp_path):
    """kill -9 at some moment: only work since the last checkpoint is lost, no number changes."""
    folder = tmp_path / "killed"
    code = (
        "import sys; from weldsim.runs.runner import RunOptions, run_case; "
        "from weldsim.case.load import load_case; "
        "run_case(load_case(sys.argv[1], sys.argv[3:]), sys.argv[2], "
        "RunOptions(checkpoint_seconds=0.0))"
    )
    command = [sys.executable, "-c", code, str(ONE), str(folder), *SHORT]
    process = subprocess.Popen(command)
    deadline = time.monotonic() + 120
    while not list(folder.glob("state/*0002.npz")) and time.monotonic() < deadline:
        if process.poll() is not None:
            break
        time.sleep(0.01)
    process.send_signal(signal.SIGKILL)
    process.wait()
    assert json.loads((folder / "run.json").read_text())["status"] == "running"
    resume_case(folder)
    same_gauges(folder, whole[1])


def test_failed_run_says_so_and_keeps_its_checkpoint(tmp_path, monkeypatch):
    from weldsim.simulation import heat_stage

    whole_step, calls = heat_stage.heat_step, []

    def failing(*args, **kwargs):
        calls.append(1)
        if len(calls) > 6:
            raise ConvergenceError("heat step of 1 s did not converge")
        return whole_step(*args, **kwargs)

    monkeypatch.setattr(heat_stage, "heat_step", failing)
    with pytest.raises(ConvergenceError):
        run_case(short_case(), tmp_path / "failed")
    manifest = json.loads((tmp_path / "failed" / "run.json").read_text())
    assert manifest["status"] == "failed" and "did not converge" in manifest["error"]
    assert list((tmp_path / "failed" / "state").glob("checkpoint_*.npz"))


def test_part_that_does_not_mesh_leaves_nothing_behind(tmp_path, monkeypatch):
    def refuse(*args):
        raise MeshError("region part of the mesh is empty")

    monkeypatch.setattr(runner, "build_model", refuse)
    with pytest.raises(MeshError):
        run_case(short_case(), tmp_path / "none")
    assert not (tmp_path / "none").exists()


@pytest.mark.slow
def test_companion_covers_the_step_to_the_next_grade(tmp_path):
    """The estimated error of a quick run is at least its distance from normal grade, in tilt."""
    ends, stated = {}, None
    for grade in ("quick", "normal"):
        changes = (f"solve.grade={grade}", "solve.end=40 s", "solve.error_estimate=true")
        changes = changes if grade == "quick" else (*changes[:2], "solve.error_estimate=false")
        folder = run_case(load_case(ONE, changes), tmp_path / grade)
        gauges = read_gauges(folder / "gauges.csv")
        ends[grade] = np.array([gauges[f"pointer_{k}_mrad"][-1] for k in ("up", "right")])
        if grade == "quick":
            values = json.loads((folder / "run.json").read_text())["error_estimate"]["values"]
            stated = np.array([values[f"pointer_{k}_mrad"] for k in ("up", "right")])
    assert np.linalg.norm(ends["normal"] - ends["quick"]) <= np.linalg.norm(stated)


def run_json(folder):
    return json.loads((Path(folder) / "run.json").read_text())


def summary_json(folder):
    return json.loads((Path(folder) / "summary.json").read_text())


@pytest.mark.parametrize("trouble", [ConvergenceError, BalanceError, MeshError])
def test_a_failed_companion_is_a_warning_of_a_complete_run(whole, tmp_path, monkeypatch, trouble):
    """It is made for the error alone: what the run itself found stands, and all files are there."""

    def refuse(*args):
        raise trouble("step 3 at 2 s: no equilibrium")

    monkeypatch.setattr(error_estimate, "build_model", refuse)
    folder = run_case(short_case(), tmp_path / "run", RunOptions(error_estimate=True))
    found = run_json(folder)
    assert found["status"] == "complete" and "error" not in found
    said = "no estimated error: step 3 at 2 s: no equilibrium"
    assert said in found["warnings"] and found["error_estimate"] == {"how": said, "values": {}}
    same_gauges(folder, whole[1])
    with pytest.raises(StoreError, match="complete"):
        resume_case(folder)


def stop_at(words):
    def progress(share, text):
        if words in text:
            raise KeyboardInterrupt

    return RunOptions(error_estimate=True, progress=progress)


def test_a_run_stopped_in_its_companion_is_complete_and_goes_on_with_that_alone(whole, tmp_path):
    with pytest.raises(KeyboardInterrupt):
        run_case(short_case(), tmp_path / "run", stop_at("estimated error"))
    folder = tmp_path / "run"
    assert run_json(folder)["status"] == "complete"
    same_gauges(folder, whole[1])
    steps = run_json(folder)["steps"]
    seen = []
    resume_case(folder, RunOptions(progress=lambda share, text: seen.append(text)))
    assert all(text.startswith("estimated error") for text in seen)
    found = run_json(folder)
    assert found["steps"] == steps and found["error_estimate"]["values"]["pointer_up_mrad"] > 0


def test_resuming_without_the_companion_ends_the_matter(tmp_path):
    with pytest.raises(KeyboardInterrupt):
        run_case(short_case(), tmp_path / "run", stop_at("estimated error"))
    resume_case(tmp_path / "run", RunOptions(error_estimate=False))
    assert run_json(tmp_path / "run")["error_estimate"]["how"].startswith("none: no second run")
    with pytest.raises(StoreError, match="complete"):
        resume_case(tmp_path / "run")


def test_summary_holds_the_verdict_on_a_stated_tolerance(tmp_path):
    """Whole tilt and whole error: inside only where both together are (definition of verdict)."""
    case = short_case("gauge.pointer.tolerance=500 mrad")
    folder = run_case(case, tmp_path / "run", RunOptions(error_estimate=True))
    (said,) = summary_json(folder)["tolerances"]["verdicts"]
    values = run_json(folder)["error_estimate"]["values"]
    gauges = read_gauges(folder / "gauges.csv")
    tilt = np.hypot(gauges["pointer_up_mrad"][-1], gauges["pointer_right_mrad"][-1])
    error = np.hypot(values["pointer_up_mrad"], values["pointer_right_mrad"])
    assert tilt + error < 500.0  # half a radian: no bead of this size turns the arm that far
    assert said["gauge"] == "pointer" and said["verdict"] == "inside"
    assert said["reading"] == f"{tilt:.3g} ±{error:.2g} mrad"
    assert summary_json(folder)["tolerances"]["reason"] == ""


def test_without_an_error_estimate_no_tolerance_can_be_called(tmp_path):
    folder = run_case(short_case("gauge.pointer.tolerance=500 mrad"), tmp_path / "run")
    (said,) = summary_json(folder)["tolerances"]["verdicts"]
    assert said["verdict"] == "too close to call"


def test_a_checkpoint_of_another_version_is_refused_in_one_line(tmp_path):
    with pytest.raises(KeyboardInterrupt):
        run_case(short_case(), tmp_path / "run", stop_at("weld"))
    folder = RunFolder.open(tmp_path / "run")
    arrays, extra = folder.last_checkpoint()
    del arrays["internal_variables.plastic_strain"]
    folder.write_checkpoint(99, arrays, extra)
    with pytest.raises(StoreError, match="another version of weldsim") as caught:
        resume_case(folder.path)
    assert "\n" not in str(caught.value)
