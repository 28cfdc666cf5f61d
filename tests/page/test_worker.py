"""Real worker processes: words, shape and a quick look; a real run through a killed server."""

import json
import multiprocessing
import os
import time

import numpy as np
import pytest
from starlette.testclient import TestClient

from tests.page.kit import HERE, PORT, post, queue_of, starter, wait_for
from tests.places import ROOT
from weldsim.page import case_form, tasks
from weldsim.page.app import make_app
from weldsim.page.preview import preview, warm_up
from weldsim.page.queue import Queue
from weldsim.page.security import Door
from weldsim.page.worker import Stopped, Worker
from weldsim.report.viewer import scene_data
from weldsim.runs.reading import read_run

pytestmark = pytest.mark.slow


def small_bar(end="12 s"):
    """A strip with one bead, over soon: 80 x 20 x 4 mm, quick grade, no second run."""
    tables = starter()
    tables["part"] |= {"length": "80 mm", "width": "20 mm", "thickness": "4 mm"}
    bead = {"at": "45 mm", "current": "90 A", "speed": "3 mm/s", "bead_width": "5 mm"}
    tables["weld"] = [{**tables["weld"][0], **bead, "bead_height": "1 mm"}]
    tables["solve"] = {"model": "plastic", "grade": "quick", "end": end, "error_estimate": False}
    return tables


@pytest.fixture(scope="module")
def worker():
    made = Worker(1)
    yield made
    made.close()


def test_words_and_shapes_come_from_a_worker(worker):
    text = case_form.form_text(starter())
    lines = worker.call(tasks.words, text, "draft.toml", limit=60)
    assert lines[0] == "My bar" and any(line.startswith("Expect about") for line in lines)
    shape = worker.call(tasks.shape, text, "draft.toml", limit=60)
    points = np.array(shape["points"])
    # 220 x 45 x 8 mm with a bead 2 mm high on the front, by the case itself
    assert np.ptp(points, axis=0) == pytest.approx([220, 10, 45], abs=1e-3)
    first, last = shape["welds"][0]["points"][0], shape["welds"][0]["points"][-1]
    assert first == pytest.approx([80, 4, -22.5], abs=1e-3) and last[2] == pytest.approx(22.5)
    assert set(shape["tint"]) == {0, 1, 2}


@pytest.mark.parametrize("kind", ["square-tube-tee", "plate-butt", "round-tube-butt"])
def test_shapes_of_joints_turn_their_faces_outward(worker, kind):
    """The page leaves out faces that look away: their normals have to point out of the metal.

    Summed over a closed skin, place times normal is three times its volume (Gauss), so positive.
    """
    text = case_form.form_text(starter(kind))
    shape = worker.call(tasks.shape, text, "draft.toml", limit=60)
    corners = np.array(shape["points"])[np.array(shape["faces"])]
    a, b, c, d = np.moveaxis(corners, 1, 0)
    normal = 0.5 * np.cross(c - a, d - b)
    assert np.einsum("fi,fi->", corners.mean(axis=1), normal) > 0
    assert np.abs(normal.sum(axis=0)).max() < 1e-6 * np.abs(normal).sum()  # closed


def test_a_worker_that_takes_too_long_is_ended_and_the_next_one_answers(worker):
    text = case_form.form_text(starter("square-tube-tee"))
    with pytest.raises(Exception, match="no answer within"):
        worker.call(tasks.words, text, "draft.toml", limit=0.01)
    assert worker.call(tasks.words, case_form.form_text(starter()), "x.toml", limit=60)


def test_a_file_that_is_never_read_to_its_end_holds_up_nobody(tmp_path, monkeypatch):
    """A key of dots takes TOML's reader a time that grows as its square: 250 kB take minutes."""
    monkeypatch.setattr("weldsim.page.routes_case.CHECK_LIMIT", 1.0)
    reader = Worker(1)
    app = make_app(queue_of(tmp_path), reader, Worker(1), Door(("127.0.0.1",), PORT, None))
    client = TestClient(app, base_url=HERE)
    try:
        begun = time.monotonic()
        endless = post(client, "/api/open", {"text": "a" + ".a" * 120_000 + " = 1"})
        assert endless.status_code == 409 and "no answer within" in endless.json()["error"]
        assert time.monotonic() - begun < 60.0  # most of it the start of the process
        good = post(client, "/api/open", {"text": case_form.form_text(starter())})
        assert good.json()["tables"] == starter()
    finally:
        reader.close()


def test_a_preview_shows_itself_while_it_grows_and_stops_at_once(tmp_path):
    """It can be read from its first state on, and its process stays warm when it is stopped."""
    folder, seen, text = tmp_path / "look", [], case_form.form_text(starter())

    def told(share, words):
        if (folder / "fields" / "run.pvd").is_file():
            scene = scene_data(folder, 24)
            seen.append((len(scene["times"]), scene["status"]))

    reader = Worker(1, warm_up)
    try:
        reader.call(nothing, limit=60)
        reader.call(preview, text, "x.toml", str(folder), "look", limit=120, tell=told)
        counts = [n for n, _ in seen]
        assert counts == sorted(counts) and counts[0] < counts[-1]
        assert seen[0][1] == "running" and read_run(folder).complete
        process = reader.call(own_process, limit=60)
        with pytest.raises(Stopped):
            reader.call(preview, text, "x.toml", str(tmp_path / "b"), "look", limit=120,
                        stop=lambda: (tmp_path / "b" / "gauges.csv").exists())  # fmt: skip
        assert reader.call(own_process, limit=60) == process
        assert read_run(tmp_path / "b").manifest["status"] == "stopped"
    finally:
        reader.close()


def nothing(tell):
    return None


def own_process(tell):
    return os.getpid()


def test_a_quick_look_says_what_it_is_good_for(worker, tmp_path):
    folder = tmp_path / "look"
    worker.call(
        preview, case_form.form_text(starter()), "draft.toml", str(folder), "look", limit=120
    )
    record = read_run(folder)
    assert record.manifest["look"] == "look" and not record.errors
    assert "not how much" in record.manifest["warnings"][0]
    assert len(record.frames) >= 10 and record.gauges["time_s"][-1] > 300
    # 150 A TIG at 1.3 mm/s melts a bead into 6 mm plate (common practice): over 1000 degC under it
    assert max(record.gauges["A_middle_degC"]) > 1000
    assert record.gauges["A_middle_degC"][-1] == pytest.approx(20, abs=3)  # cold in the end


@pytest.mark.parametrize("kind", ["look", "rough"])
def test_a_preview_gets_the_direction_right(worker, tmp_path, kind):
    """An arc that travels up lifts the free end, one that travels down lowers it (common practice);
    mirrored cases mirror."""
    ends = {}
    for travel in ("up", "down"):
        tables, folder = small_bar(), tmp_path / travel
        tables["solve"]["end"] = "cold"
        tables["weld"][0]["travel"] = travel
        worker.call(preview, case_form.form_text(tables), "x.toml", str(folder), kind, limit=120)
        record = read_run(folder)
        ends[travel] = [float(record.gauges[f"pointer_{w}_mrad"][-1]) for w in ("up", "right")]
        assert record.case["solve"]["model"] == "plastic" and record.manifest["look"] == kind
    up, down = np.array(ends["up"]), np.array(ends["down"])
    size = np.abs(up).max()
    assert abs(up[0]) > 0.2 * size
    assert up[0] == pytest.approx(-down[0], abs=0.05 * size)
    assert up[1] == pytest.approx(down[1], abs=0.05 * size)


def _serve_and_run(folder, text, said):
    queue = Queue(folder, 1, Worker(1))
    job = queue.submit("run", "strip", text, "me")
    queue._do_previews = lambda: None
    queue.start()
    state = queue.store.run_folder(job) / "state"
    while not state.exists() or not list(state.glob("checkpoint_*.npz")):
        time.sleep(0.05)
    said.send(job.id)
    time.sleep(120)


def test_a_run_goes_on_from_its_checkpoint_when_its_server_was_killed(tmp_path):
    context = multiprocessing.get_context("spawn")
    here, there = context.Pipe()
    text = case_form.form_text(small_bar("40 s"))
    server = context.Process(target=_serve_and_run, args=(tmp_path, text, there))
    server.start()
    there.close()
    assert here.poll(120)
    id = here.recv()
    server.kill()
    server.join()
    queue = Queue(tmp_path, 1, Worker(1)).start()
    try:
        wait_for(lambda: queue.store.jobs[id].state in ("drawing", "done", "failed"), 240)
        assert queue.store.jobs[id].state in ("drawing", "done"), queue.store.jobs[id].error
        assert queue.store.jobs[id].starts == 2
        record = read_run(queue.store.run_folder(queue.store.jobs[id]))
        times = record.gauges["time_s"]
        assert record.complete and times[-1] == pytest.approx(40.0)
        assert np.all(np.diff(times) > 0)  # no step twice
        queue.stop(id)
        wait_for(lambda: queue.store.jobs[id].state == "done", 60)
    finally:
        queue.close()
    kept = json.loads((tmp_path / "queue" / f"{id}.json").read_text())
    assert kept["state"] == "done"


def test_the_look_at_aluminium_says_nothing_of_a_cooling_time_it_has_not(worker, tmp_path):
    """t8/5 is that of steel: 6061 melts from about 582 degC (handbooks), so it is liquid at 800."""
    tables, folder = small_bar(), tmp_path / "look"
    tables["part"]["material"] = "aluminium-6061-t6"
    tables["weld"][0] |= {"current": "270 A", "voltage": "16 V", "speed": "3.5 mm/s"}
    tables["solve"]["end"] = "cold"
    text = case_form.form_text(tables)
    worker.call(preview, text, "x.toml", str(folder), "look", limit=120)
    assert max(read_run(folder).gauges["A_middle_degC"]) > 800  # else there was nothing to say
    (weld,) = json.loads((folder / "summary.json").read_text())["welds"]
    assert weld["t8_5_s"] is None


def test_a_step_case_shows_its_shape_and_a_quick_look(worker, tmp_path):
    """Seam and clamp are those of the file: the fillet in the corner, the end of the foot."""
    for name in ("cases/bracket_step.toml", "meshes/bracket.step"):
        (tmp_path / name).parent.mkdir()
        (tmp_path / name).write_bytes((ROOT / name).read_bytes())
    path = tmp_path / "cases" / "bracket_step.toml"
    text, folder = path.read_text(encoding="utf-8"), tmp_path / "look"
    checked = worker.call(tasks.check, text, str(path), limit=60)
    assert checked["ok"] and [s["name"] for s in checked["seams"]] == ["heel"]
    shape = worker.call(tasks.shape, text, str(path), limit=60)
    assert set(shape["tint"]) == {0, 1, 2} and shape["welds"][0]["seam"] == "heel"
    worker.call(preview, text, str(path), str(folder), "look", limit=240)
    record = read_run(folder)
    assert record.complete and len(record.frames) >= 10


def test_a_step_case_of_the_work_folder_is_checked_by_a_served_page(tmp_path):
    """The whole way: files in the work folder, real workers, requests as the page makes them."""
    text = (ROOT / "cases" / "bracket_step.toml").read_text(encoding="utf-8")
    (tmp_path / "bracket.toml").write_text(text.replace("../meshes/", ""), encoding="utf-8")
    (tmp_path / "bracket.step").write_bytes((ROOT / "meshes" / "bracket.step").read_bytes())
    reader, mesher = Worker(1), Worker(1)
    app = make_app(queue_of(tmp_path), reader, mesher, Door(("127.0.0.1",), PORT, None))
    client = TestClient(app, base_url=HERE)
    try:
        (case,) = client.get("/api/shelf").json()["cases"]
        opened = client.get(f"/api/open/{case['id']}").json()
        checked = post(client, "/api/check", opened).json()
        assert checked["ok"], checked
        assert post(client, "/api/shape", opened).json()["welds"][0]["seam"] == "heel"
        assert "Expect about" in post(client, "/api/words", opened).json()["cost"]
        opened["tables"]["part"]["width"] = "1 mm^9^9^9^9"
        (message,) = post(client, "/api/check", opened).json()["messages"]
        assert (message["section"], message["key"]) == ("part", "width")
    finally:
        reader.close()
        mesher.close()
