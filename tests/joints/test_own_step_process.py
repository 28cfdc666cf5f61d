"""A STEP file is meshed in a process of its own: from any thread, and a crash is one line.

What a crash looks like is POSIX: a process ended by signal N has the exit code -N.
"""

import subprocess
import sys
import threading

import numpy as np
import pytest

from tests.joints.test_own_parts import bracket, meshed, only
from tests.places import ROOT
from weldsim.errors import MeshError, SetupError
from weldsim.geometry.gmsh_reading import NamedCells
from weldsim.geometry.grades import GRADES
from weldsim.joints.own_mesh import reading as own_mesh
from weldsim.joints.own_parts.refusal import NotAllowed
from weldsim.joints.own_step import kind as own_step
from weldsim.joints.own_step import process
from weldsim.joints.own_step.child import mesh_solids
from weldsim.joints.own_step.job import (
    FaceChoice,
    MeshedSolids,
    SeamPath,
    StepJob,
    read_answer,
    write_answer,
)
from weldsim.joints.own_step.sizes import check_count


def bracket_job(**changes):
    heel = SeamPath([[7e-3, 5e-3, 7e-3], [7e-3, 45e-3, 7e-3]], None, 5.7e-3)
    keys = {
        "file": str(ROOT / "meshes/bracket.step"), "unit": 1e-3, "seams": {"heel": heel},
        "faces": {"top end": FaceChoice("+z", None)}, "travel_cell": 0.8, "coarsest": 3.0,
        "growth": 0.6,
    }  # fmt: skip
    return StepJob(**(keys | changes))


def test_a_text_broken_by_a_line_break_is_one_line(tmp_path):
    """It crashes the reader in Gmsh 4.15; a later one may read or refuse it, in one line too."""
    text = (ROOT / "meshes/bracket.step").read_text()
    assert "#2,'design');" in text
    (tmp_path / "bracket.step").write_text(text.replace("#2,'design');", "#2,'de\n);", 1))
    for key, sentence in own_step.check(bracket(tmp_path)):
        assert key == "file" and "bracket.step" in sentence and "\n" not in sentence


def test_a_crash_is_one_line(monkeypatch, tmp_path):
    (tmp_path / "crash.py").write_text("import os\nos.abort()\n")
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.setattr(process, "MODULE", "crash")
    with pytest.raises(MeshError, match="bracket.step crashes Gmsh .*damaged") as refused:
        process.mesh_in_child(bracket_job())
    assert "\n" not in str(refused.value)
    key, sentence = only(bracket(width="5.6 mm"))
    assert key == "file" and "crashes Gmsh" in sentence


def test_a_mistake_of_ours_in_the_child_keeps_its_traceback(monkeypatch, tmp_path):
    (tmp_path / "slip.py").write_text("raise KeyError('no such name')\n")
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.setattr(process, "MODULE", "slip")
    with pytest.raises(RuntimeError, match="no such name"):
        process.mesh_in_child(bracket_job())


def test_a_step_part_is_read_in_any_thread():
    """As the page does it: Gmsh by itself wants a main thread."""
    found = []
    part = bracket(depth="2.9 mm", width="5.5 mm")  # sizes no other test has: nothing is cached
    worker = threading.Thread(target=lambda: found.append(own_step.check(part)))
    worker.start()
    worker.join()
    assert found == [[]]


def test_threads_mesh_side_by_side():
    """The mesh of one is the mesh of the other."""
    found = []
    parts = [bracket(width=f"{w} mm") for w in (5.31, 5.32)]
    workers = [
        threading.Thread(target=lambda p=part: found.append(meshed(own_step, p, "coarse")))
        for part in parts
    ]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    assert len(found) == 2 and all(set(m.subdomains) == {"part", "fill 1 heel"} for m, _ in found)


def test_in_the_child_or_here_it_is_the_same_mesh():
    job = bracket_job()
    here, there = mesh_solids(job), process.mesh_in_child(job)
    assert np.array_equal(here.cells.points, there.cells.points)
    assert np.array_equal(here.cells.cells, there.cells.cells)
    assert here.volumes == there.volumes
    for group in ("regions", "faces"):
        a, b = getattr(here.cells, group), getattr(there.cells, group)
        assert a.keys() == b.keys() and all(np.array_equal(a[k], b[k]) for k in a)


def test_the_child_ends_when_nobody_waits(tmp_path):
    answer = tmp_path / "answer.npz"
    done = subprocess.run(
        [sys.executable, "-m", process.MODULE, str(answer)],
        input=bracket_job(travel_cell=0.05).to_json().encode() + b"\n",
        timeout=60,
    )
    assert done.returncode == 1 and not answer.exists()


def test_a_job_is_what_it_was_on_the_other_side():
    job = bracket_job(file='/a "b"/ß.step', seams={"heel": SeamPath(None, ["edge 3", "ü"], 5e-3)})
    assert StepJob.from_json(job.to_json()) == job


@pytest.mark.parametrize(
    "error", [NotAllowed("seams", "heel: no"), MeshError("no mesh"), SetupError("no Gmsh")]
)
def test_a_refusal_is_what_it_was_on_the_other_side(tmp_path, error):
    write_answer(tmp_path / "answer.npz", error)
    with pytest.raises(type(error)) as refused:
        read_answer(tmp_path / "answer.npz")
    assert str(refused.value) == str(error)


def test_names_of_any_kind_come_through(tmp_path):
    cells = NamedCells(
        np.eye(4, 3), np.array([[0, 1, 2, 3]]), {"part": np.array([0])},
        {"a/b: ü": np.array([[0, 1, 2]]), "note": np.array([[1, 2, 3]])},
    )  # fmt: skip
    sent = MeshedSolids(cells, {"heel": np.eye(2, 3)}, {"part": 1 / 3})
    write_answer(tmp_path / "answer.npz", sent)
    found = read_answer(tmp_path / "answer.npz")
    assert found.volumes == sent.volumes and found.cells.faces.keys() == cells.faces.keys()
    assert np.array_equal(found.cells.faces["note"], [[1, 2, 3]])
    assert np.array_equal(found.curves["heel"], sent.curves["heel"])


def test_grades_reach_the_child():
    small = mesh_solids(bracket_job(travel_cell=GRADES["quick"].travel_cell)).cells.cells
    assert len(small) > len(mesh_solids(bracket_job()).cells.cells)


@pytest.mark.parametrize("width, length", [(1e-6, 0.04), (5.7e-3, 1e3)])
def test_cells_are_counted_before_they_are_made(width, length):
    """Half a cylinder about the seam over a regular tetrahedron, a^3 / (6 sqrt 2): by hand."""
    seams = {"heel": SeamPath([[0, 0, 0], [length, 0, 0]], None, width)}
    curve = {"heel": np.array([[0.0, 0.0, 0.0], [length, 0.0, 0.0]])}
    with pytest.raises(NotAllowed, match="seam heel makes more than [0-9]+ cells") as caught:
        check_count(curve, bracket_job(seams=seams))
    told = int(caught.value.sentence.partition("more than ")[2].split()[0])
    exact = length / width * np.pi / 2 * 6 * 2**0.5 / 0.8**3
    assert told == pytest.approx(exact, abs=1)
    check_count({"heel": np.array([[7e-3, 5e-3, 7e-3], [7e-3, 45e-3, 7e-3]])}, bracket_job())


def test_a_mesh_of_too_many_cells_is_refused(monkeypatch):
    monkeypatch.setattr(own_mesh, "MOST_CELLS", 10)
    with pytest.raises(NotAllowed, match="cells, allowed: up to 10"):
        own_mesh.read_mesh(str(ROOT / "meshes/strap.msh"), 1e-3)
