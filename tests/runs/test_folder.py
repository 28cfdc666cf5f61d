"""Run folder: whole files, exact numbers, nothing overwritten, series that other tools read."""

import json
import os
import signal
import subprocess
import sys
import time
import xml.etree.ElementTree as ET
from types import SimpleNamespace

import numpy as np
import pytest

from tests import synthetic_run as invented
from weldsim.errors import StoreError
from weldsim.runs import checkpoints, frame_files
from weldsim.runs import reading as readback
from weldsim.runs.folder import RunFolder
from weldsim.system import files


@pytest.fixture
def folder(tmp_path):
    made = RunFolder.create(tmp_path / "run", "A title")
    made.write_json("run.json", {"status": "running"})
    return made


def leftovers(folder):
    return [p for p in folder.path.rglob("*") if p.suffix == files.TEMPORARY]


def test_refuses_a_folder_that_holds_something(tmp_path):
    (tmp_path / "taken").mkdir()
    (tmp_path / "taken" / "notes.txt").write_text("mine")
    with pytest.raises(StoreError, match="taken: there is a folder with files in it"):
        RunFolder.create(tmp_path / "taken", "x")
    assert [p.name for p in (tmp_path / "taken").iterdir()] == ["notes.txt"]
    with pytest.raises(StoreError, match="there is a file"):
        RunFolder.create(tmp_path / "taken" / "notes.txt", "x")


def test_takes_an_empty_folder_and_makes_its_parents(tmp_path):
    (tmp_path / "empty").mkdir()
    assert RunFolder.create(tmp_path / "empty", "x").path == tmp_path / "empty"
    assert RunFolder.create(tmp_path / "a" / "b", "x").path.is_dir()


def test_dated_folders_never_collide(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    paths = [RunFolder.create(None, "Pivot arm: two beads!").path for _ in range(3)]
    assert len(set(paths)) == 3
    assert all(p.parent.name == "runs" and "pivot-arm-two-beads" in p.name for p in paths)


def test_failure_while_writing_leaves_the_old_file(folder, monkeypatch):
    folder.write_json("summary.json", {"value": 1})

    def full_disk(fd):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(files.os, "fsync", full_disk)
    with pytest.raises(StoreError, match="summary.json: could not be written: .*No space"):
        folder.write_json("summary.json", {"value": 2})
    assert folder.read_json("summary.json") == {"value": 1}
    assert not leftovers(folder)


def test_failure_half_way_through_a_frame_leaves_the_series_whole(folder, monkeypatch):
    import meshio

    mesh, weld = invented.mesh()
    part = SimpleNamespace(heat_mesh=mesh)
    folder.write_frame(0, invented.frame(mesh, weld, 0.0), part)

    def half(self, path, **options):
        path.write_bytes(b"<VTKFile")
        raise KeyboardInterrupt

    monkeypatch.setattr(meshio.Mesh, "write", half)
    for index in (0, 1):
        with pytest.raises(KeyboardInterrupt):
            folder.write_frame(index, invented.frame(mesh, weld, 5.0), part)
    monkeypatch.undo()
    (only,) = frame_files.read_series(folder.path)
    assert only.time == 0.0
    assert frame_files.read_frame(only).temperature.max() == 293.15
    assert not leftovers(folder)


KILLED = """
import sys
import numpy as np
from weldsim.runs.folder import RunFolder
folder = RunFolder.open(sys.argv[1])
for n in range(100000):
    folder.write_checkpoint(n, {"field": np.full(200000, float(n))}, {"n": n})
    print(n, flush=True)
"""


@pytest.mark.slow
def test_kill_at_any_moment_leaves_a_checkpoint_that_reads(folder):
    """Standard behaviour of rename on POSIX and Windows: the name holds the old or new file."""
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    for pause in (0.0, 0.013, 0.029):
        child = subprocess.Popen(
            [sys.executable, "-c", KILLED, str(folder.path)], stdout=subprocess.PIPE, env=env
        )
        for _ in range(3):
            child.stdout.readline()
        time.sleep(pause)
        child.send_signal(getattr(signal, "SIGKILL", signal.SIGTERM))
        said = child.stdout.read().split()
        child.wait()
        arrays, extra = RunFolder.resume(folder.path).last_checkpoint()
        assert extra["n"] >= int(said[-1] if said else 2)
        np.testing.assert_array_equal(arrays["field"], float(extra["n"]))
        assert not leftovers(folder)
        for old in checkpoints.checkpoints(folder.path):
            old.unlink()


def test_resuming_clears_what_a_kill_left(folder):
    for place in (".", "fields", "state"):
        (folder.path / place / f"half.123.vtu{files.TEMPORARY}").write_text("half")
    RunFolder.resume(folder.path)
    assert not leftovers(folder)


def test_opening_leaves_a_run_that_is_writing_alone(folder):
    with files.whole_file(folder.path / "summary.json") as beside:
        beside.write_text("{}")
        RunFolder.open(folder.path)
    assert folder.read_json("summary.json") == {}


def test_a_complete_run_is_not_gone_on_with(folder):
    folder.write_json("run.json", {"status": "complete"})
    with pytest.raises(StoreError, match="run: this run is complete"):
        RunFolder.resume(folder.path)
    assert RunFolder.open(folder.path).status == "complete"


def test_open_refuses_what_is_no_run_folder(tmp_path):
    with pytest.raises(StoreError, match="no such run folder"):
        RunFolder.open(tmp_path / "nowhere")
    with pytest.raises(StoreError, match="not a run folder"):
        RunFolder.open(tmp_path)
    with pytest.raises(StoreError, match="not a run folder"):
        readback.read_run(tmp_path)


def test_json_is_strict_and_takes_numpy(folder):
    value = {
        "a": np.float64(0.1),
        "b": np.arange(3),
        "c": np.nan,
        "d": (1, np.inf),
        "e": np.bool_(1),
    }
    text = folder.write_json("x.json", value).read_text()
    read = json.loads(text, parse_constant=lambda name: pytest.fail(f"{name} is not JSON"))
    assert read == {"a": 0.1, "b": [0, 1, 2], "c": None, "d": [1, None], "e": True}


def test_gauges_read_back_to_the_same_bits(folder):
    random = np.random.default_rng(3)
    values = np.concatenate([random.normal(size=50) * 10.0 ** random.integers(-30, 30, 50), [0.1]])
    rows = [{"time_s": i / 3, "dial_travel_mm": v} for i, v in enumerate(values)]
    path = folder.write_gauges({name: [row[name] for row in rows] for name in rows[0]})
    assert path.read_text().splitlines()[0] == "time_s,dial_travel_mm"
    read = readback.read_gauges(path)
    assert list(read) == ["time_s", "dial_travel_mm"]
    np.testing.assert_array_equal(read["dial_travel_mm"], values)
    np.testing.assert_array_equal(read["time_s"], np.arange(len(values)) / 3)


def test_gauges_refuse_rows_that_do_not_fit(folder):
    with pytest.raises(StoreError, match="first column is time_s"):
        folder.write_gauges({"bow_bow_mm": [1.0], "time_s": [0.0]})
    with pytest.raises(StoreError, match="bow_bow_mm has 1 of 2 readings"):
        folder.write_gauges({"time_s": [0.0, 1.0], "bow_bow_mm": [2.0]})


def test_checkpoints_are_exact_and_the_last_two_stay(folder):
    random = np.random.default_rng(5)
    extra = {"rows": [{"time_s": 0.1 + 0.2, "x": float("nan")}], "frames": 3}
    for index in (9, 10, 99999, 100000):
        arrays = {
            "memory.strain": random.normal(size=(4, 2, 6)),
            "time": np.array(index / 3),
            "closed_clamps": np.array(["vise"]),
            "reached": np.array([-np.inf, np.inf]),
        }
        folder.write_checkpoint(index, arrays, extra)
    assert [p.stem for p in checkpoints.checkpoints(folder.path)] == [
        "checkpoint_0099999", "checkpoint_0100000"]  # fmt: skip
    read, more = folder.last_checkpoint()
    assert read.keys() == arrays.keys()
    for name, value in arrays.items():
        np.testing.assert_array_equal(read[name], value)
        assert read[name].dtype == value.dtype
    assert more["frames"] == 3 and more["rows"][0]["time_s"] == 0.1 + 0.2
    assert np.isnan(more["rows"][0]["x"])


def test_a_damaged_checkpoint_falls_back_to_the_one_before(folder):
    for index in (1, 2):
        folder.write_checkpoint(index, {"time": np.array(float(index))}, {})
    last = checkpoints.checkpoints(folder.path)[-1]
    last.write_bytes(last.read_bytes()[:100])
    assert folder.last_checkpoint()[0]["time"] == 1.0
    checkpoints.checkpoints(folder.path)[0].write_bytes(b"")
    with pytest.raises(StoreError, match="cannot be read.*start the run afresh"):
        folder.last_checkpoint()


def test_frames_reopen_with_times_values_and_positive_cells(folder):
    import meshio

    mesh, weld = invented.mesh()
    part = SimpleNamespace(heat_mesh=mesh)
    written = {}
    for index, t in enumerate((0.0, 12.5, 0.1 + 0.2 + 13)):
        written[index] = invented.frame(mesh, weld, t)
        folder.write_frame(index, written[index], part)
    series = ET.parse(folder.path / "fields" / "run.pvd").getroot().findall("Collection/DataSet")
    for index, entry in enumerate(series):
        assert float(entry.get("timestep")) == written[index].time
        read = meshio.read(folder.path / "fields" / entry.get("file"))
        np.testing.assert_array_equal(read.points, mesh.p.T)
        np.testing.assert_array_equal(read.point_data["temperature_K"], written[index].temperature)
        np.testing.assert_array_equal(
            read.point_data["displacement_m"], written[index].displacement
        )
        np.testing.assert_array_equal(read.cell_data["active"][0], written[index].active)
        # single precision is 6e-8
        np.testing.assert_allclose(
            read.cell_data["von_mises_Pa"][0], written[index].von_mises, rtol=1e-7, atol=1e-3
        )
    assert len(series) == 3
    # VTK's corner order (VTK file formats, hexahedron = 12): bottom loop seen from above runs
    # counter-clockwise, so the cell's volume from its first corner's edges 1, 3, 4 is positive
    corner = read.points[read.cells[0].data]
    edges = corner[:, [1, 3, 4]] - corner[:, [0]]
    volumes = np.linalg.det(edges)
    assert volumes.min() > 0
    beads = 2 * invented.BEAD_WIDTH * invented.BEAD_HEIGHT * invented.WIDTH
    assert volumes.sum() == pytest.approx(
        invented.LENGTH * invented.WIDTH * invented.THICKNESS + beads, rel=1e-9
    )
    np.testing.assert_allclose(corner[:, 6] - corner[:, 0], edges.sum(axis=1), atol=1e-12)


def test_frames_after_the_checkpoint_leave_the_series_on_resume(folder):
    mesh, weld = invented.mesh()
    part = SimpleNamespace(heat_mesh=mesh)
    for index, t in enumerate((0.0, 1.0, 2.0, 3.0)):
        folder.write_frame(index, invented.frame(mesh, weld, t), part)
    RunFolder.resume(folder.path).write_frame(2, invented.frame(mesh, weld, 2.0), part)
    assert [f.time for f in frame_files.read_series(folder.path)] == [0.0, 1.0, 2.0]


def test_an_unfinished_run_shows_the_readings_of_its_checkpoint(folder):
    rows = [{"time_s": 0.0, "bow_bow_mm": 0.0}, {"time_s": 1.5, "bow_bow_mm": 0.25}]
    with pytest.raises(StoreError, match="no readings yet"):
        readback.read_run(folder.path)
    welds = [{"name": "A"}, {"name": "B"}, {"name": "C"}]
    folder.write_json("run.json", {"status": "running", "case": {"welds": welds}})
    mesh, weld = invented.mesh()
    for index, t in enumerate((0.0, 1.5, 3.0)):  # the last one lies after the checkpoint
        part = SimpleNamespace(heat_mesh=mesh)
        folder.write_frame(index, invented.frame(mesh, weld, t), part)
    state = {"starts": np.array([0.0, 1.2, np.nan]), "stops": np.array([0.8, np.nan, np.nan])}
    columns = [["bow", "bow", "mm"]]
    rows = [[row["time_s"], 1e-3 * row["bow_bow_mm"]] for row in rows]  # inside, metres
    folder.write_checkpoint(1, state, {"columns": columns, "rows": rows})
    record = readback.read_run(folder.path)
    assert record.manifest["timetable"] == [
        {"name": "A", "start": 0.0, "end": 0.8},
        {"name": "B", "start": 1.2, "end": None},
    ]
    assert [f.time for f in record.frames] == [0.0, 1.5]
    np.testing.assert_array_equal(record.gauges["bow_bow_mm"], [0.0, 0.25])
    assert record.summary == {} and record.manifest["status"] == folder.status == "running"


def test_a_run_of_the_first_format_is_read_in_the_words_of_today(tmp_path):
    """Before run.json had a format number, `film` stood for `film_coefficient`, VTU said `laid`."""
    import meshio

    folder = invented.write_run(tmp_path / "run", frames=(0.0,))
    manifest = folder.read_json("run.json")
    manifest.pop("format", None)
    manifest["case"]["surroundings"]["film"] = 10.0
    manifest["case"]["cooling_film"] = 60.0
    manifest["case"]["hold"] = {"kind": "vise"}
    del manifest["case"]["clamping"]
    folder.write_json("run.json", manifest)
    (frame,) = frame_files.read_series(folder.path)
    mesh = meshio.read(frame.path)
    mesh.cell_data["laid"] = mesh.cell_data.pop("active")
    mesh.write(frame.path)
    record = readback.read_run(folder.path)
    assert record.case["surroundings"]["film_coefficient"] == 10.0
    assert record.case["cooling_film_coefficient"] == 60.0
    assert record.case["clamping"] == {"kind": "one end"} and "hold" not in record.case
    assert "film" not in record.case["surroundings"]
    assert frame_files.read_frame(record.frames[0]).active.any()


@pytest.mark.parametrize("written", [0, 3, "new"])
def test_a_format_that_is_not_known_is_refused_in_one_line(tmp_path, written):
    folder = invented.write_run(tmp_path / "run", frames=())
    folder.write_json("run.json", {**folder.read_json("run.json"), "format": written})
    with pytest.raises(StoreError, match=f"run.json: format {written!r} is not one") as caught:
        readback.read_run(folder.path)
    assert "\n" not in str(caught.value)
