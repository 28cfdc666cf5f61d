"""A band is drawn on the runs of its own job and on no other."""

import copy
import json

import numpy as np
import pytest

from tests import synthetic_run as invented
from weldsim.errors import StoreError
from weldsim.plots.gauge_plots import gauge_history
from weldsim.plots.pointer_plot import pointer_plot
from weldsim.report.band_of_run import band_caption, bands_of
from weldsim.runs.reading import read_run
from weldsim.studies.band.kept import job_of

NAMES = ("pointer_up_mm", "pointer_right_mm")


@pytest.fixture(scope="module")
def record(tmp_path_factory):
    made = invented.write_run(tmp_path_factory.mktemp("runs") / "bar", frames=())
    return read_run(made.path)


def write_band(folder, job):
    """A band as `weldsim band` leaves it: between -1 and +2 mm, ends at two places."""
    folder.mkdir(parents=True)
    about = {"case": job, "grade": "coarse", "finer": "quick", "runs": 24}
    (folder / "band.json").write_text(json.dumps(about))
    head = ",".join(f"{n}{end}" for n in NAMES for end in ("", "_low", "_high"))
    (folder / "band.csv").write_text(f"time_s,{head}\n0,0,-1,2,0,-1,2\n900,0,-1,2,0,-1,2\n")
    (folder / "ends.csv").write_text(",".join(NAMES) + "\n5,6\n-7,8\n")
    return folder


def test_a_band_in_the_folder_of_its_run_is_drawn_on_gauges_and_target(record, tmp_path):
    plain = gauge_history(record)
    path = write_band(record.path / "band", job_of(record.manifest["case"]))
    try:
        (found,) = bands_of([record], [])
    finally:
        for file in path.iterdir():
            file.unlink()
        path.rmdir()
    drawn = gauge_history(record, band=found)
    shapes = [sum(len(a.collections) for a in f.axes) for f in (plain, drawn)]
    sides = len(drawn.axes) // len({a.get_subplotspec().rowspan.start for a in drawn.axes})
    assert shapes[1] - shapes[0] == len(NAMES) * sides
    (fill,) = [c for c in drawn.axes[0].collections][-1:]
    heights = fill.get_paths()[0].vertices[:, 1]
    assert (heights.min(), heights.max()) == (-1.0, 2.0)
    target = pointer_plot(record, record.pointers[0], band=found).axes[0]
    cloud = next(line for line in target.lines if "by the band" in str(line.get_label()))
    assert np.array_equal(cloud.get_xydata(), [[6.0, 5.0], [8.0, -7.0]])  # right, up
    assert "24 runs at grade coarse" in band_caption(found) and band_caption(None) == ""


def test_a_band_of_another_job_is_refused_or_passed_over(record, tmp_path):
    other = copy.deepcopy(job_of(record.manifest["case"]))
    other["welds"][0]["current"] = 999.0
    path = write_band(tmp_path / "other", other)
    with pytest.raises(StoreError, match=r"other: its band is of another job than bar"):
        bands_of([record], [path])
    with pytest.raises(StoreError, match="no band of weldsim band"):
        bands_of([record], [tmp_path])


def test_how_finely_a_job_is_computed_and_its_title_make_no_other_job():
    resolved = {"title": "a", "part": {"material": "/somewhere/my.toml"}, "welds": [{"x": (1, 2)}],
                "solve": {"model": "plastic", "end": "cold", "grade": "coarse"}}  # fmt: skip
    same = copy.deepcopy(resolved) | {"title": "b"}
    same["solve"]["grade"], same["part"]["material"] = "fine", "elsewhere/my.toml"
    assert job_of(resolved) == job_of(same)
    same["solve"]["model"] = "elastic"
    assert job_of(resolved) != job_of(same)
