"""Run folders from elsewhere: what broke an earlier version, and the seeded spoiling."""

import json
import os

import numpy as np
import pytest

from tests.knocks import run_folders
from tests.knocks.tally import unreadable
from weldsim.errors import StoreError
from weldsim.report.report import report_page
from weldsim.runs.checkpoints import CHECKSUM, last_checkpoint, state_checksum
from weldsim.runs.folder import RunFolder
from weldsim.runs.frame_files import read_frame
from weldsim.runs.reading import read_run
from weldsim.runs.stored import read_stored
from weldsim.runs.stored_records import StoredWhy

posix = pytest.mark.skipif(os.name != "posix", reason="links and devices of POSIX systems")


@pytest.fixture
def folder(tmp_path):
    return run_folders.made(tmp_path / "run")


def refused(folder, report=False):
    with pytest.raises(StoreError) as caught:
        run_folders.shown(folder, report)
    said = str(caught.value)
    assert not unreadable(said) and "\n" not in said
    return said


def change(folder, name, **entries):
    path = folder / name
    kept = json.loads(path.read_text(encoding="utf-8"))
    path.write_text(json.dumps({**kept, **entries}), encoding="utf-8")


@pytest.mark.slow
def test_what_was_made_is_shown(folder):
    run_folders.shown(folder, report=True)


@pytest.mark.parametrize(
    "entries, said",
    [
        ({"title": 5}, "run.json: title: 5 is not allowed"),
        ({"warnings": "none"}, "run.json: warnings"),
        ({"timetable": [{"name": "A"}]}, "run.json: timetable.0.start"),
        ({"paths": [{"name": "A", "points": [[0, 0]], "inward": [0, 0, 1]}]}, "paths.0.points"),
        ({"balances": {"heat_supplied_J": "much"}}, "balances.heat_supplied_J"),
        ({"format": True}, "format True is not one"),
        ({"case": {"part": {"kind": "spoon"}}}, "'spoon' is no joint"),
        ({"case": {"welds": [{"name": "A", "speed": 1e300}]}}, "beyond"),
        ({"title": "x" * 40_000}, "run.json: title"),
        ({"status": "\x1b[2J"}, "run.json: status"),
    ],
)
def test_a_record_of_another_type_names_its_place(folder, entries, said):
    change(folder, "run.json", **entries)
    assert said in refused(folder)


@posix
@pytest.mark.parametrize("name", ["run.json", "gauges.csv", "summary.json", "why.json"])
def test_a_device_or_a_pipe_is_not_waited_for(folder, name):
    for make in (lambda p: p.symlink_to("/dev/zero"), os.mkfifo):
        (folder / name).unlink()
        make(folder / name)
        with pytest.raises(StoreError, match="it is not a file"):
            run_folders.shown(folder)
            read_stored(folder / "why.json", StoredWhy)


def test_a_frame_that_was_cut_is_refused_and_ends_nothing(folder):
    record = read_run(folder)
    path = record.frames[-1].path
    path.write_bytes(path.read_bytes()[:2000])
    with pytest.raises(StoreError, match="cannot be read"):
        read_frame(record.frames[-1])


@pytest.mark.parametrize("name", ["../../frame_0000.vtu", "/etc/passwd", "frame_0.vtu\x00"])
def test_a_series_names_frames_of_its_own_folder(folder, name):
    series = folder / "fields" / "run.pvd"
    text = series.read_text(encoding="utf-8").replace("frame_0000.vtu", name.replace("\x00", "0x"))
    series.write_text(text, encoding="utf-8")
    assert "run.pvd: cannot be read" in refused(folder)


def test_a_document_that_grows_without_end_is_refused(folder):
    """The attack known as a billion laughs: entities made of entities (XML 1.0, section 4.2)."""
    series = folder / "fields" / "run.pvd"
    laughs = '<!DOCTYPE a [<!ENTITY b "ha"><!ENTITY c "&b;&b;&b;">]><a>&c;</a>'
    series.write_text(laughs, encoding="utf-8")
    assert "a type definition is not allowed" in refused(folder)


@pytest.mark.slow
def test_why_brings_no_picture_from_elsewhere_into_the_report(folder, tmp_path):
    secret = tmp_path / "secret.png"
    secret.write_bytes(b"not for others")
    change(folder, "why.json", pictures=["../secret.png"])
    assert "why.json: pictures.0" in refused(folder, report=True)
    change(folder, "why.json", pictures=["pictures/secret.png"])
    if os.name == "posix":
        (folder / "pictures" / "secret.png").symlink_to(secret)
        assert "bm90IGZvciBvdGhlcnM" not in report_page(read_run(folder))  # base64 of it


@posix
def test_nothing_is_written_through_a_link(folder, tmp_path):
    (folder / "pictures").rmdir()
    (folder / "pictures").symlink_to(tmp_path)
    with pytest.raises(StoreError, match="leads to another place"):
        RunFolder.open(folder)


def test_a_state_that_was_changed_by_hand_is_noticed(folder):
    """A displacement moved by 1 m, the file written anew: every CRC of the zip is right."""
    run = RunFolder.open(folder)
    arrays = {"displacement": np.zeros((4, 3)), "closed_clamps": np.array(["clamp"])}
    path = run.write_checkpoint(3, arrays, {"rows": []})
    assert last_checkpoint(folder)[0]["displacement"].sum() == 0.0
    with np.load(path) as data:
        kept = {name: data[name].copy() for name in data.files}
    kept["displacement"] += 1.0
    np.savez(path, **kept)
    with pytest.raises(StoreError, match="was changed since it was written"):
        last_checkpoint(folder)
    del kept[CHECKSUM]  # as versions before it wrote them
    np.savez(path, **kept)
    assert last_checkpoint(folder)[0]["displacement"].sum() == 12.0


def test_a_checksum_is_of_names_shapes_types_and_values():
    a = {"x": np.arange(4.0), "names": np.array(["one", "two"])}
    others = (
        {**a, "x": np.arange(4.0).reshape(2, 2)}, {**a, "x": np.arange(4)},
        {"y": a["x"], "names": a["names"]}, {**a, "names": np.array(["one", "tw"])},
    )  # fmt: skip
    digests = {state_checksum(v).tobytes() for v in (a, dict(reversed(a.items())), *others)}
    assert len(digests) == 1 + len(others)


@pytest.mark.slow
def test_spoiled_run_folders_are_shown_or_refused():
    tally = run_folders.knock(300, seed=1, reports=15)
    assert not tally.broke, tally.report()
    assert tally.refused > 100 and tally.accepted > 30
