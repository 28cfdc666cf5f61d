"""The target is printed at true size."""

import re
import zlib

import numpy as np
import pytest

from weldsim.measurements.target_sheet import PAPERS, TargetSheet
from weldsim.plots.target_sheet_print import print_target

POINT = 0.0254 / 72.0  # ISO 32000-1, 8.3.2.3: the default user space unit is 1/72 inch [m]


def drawing(raw):
    """What a PDF draws, as text."""
    found = re.findall(rb"stream\r?\n(.*?)\r?\nendstream", raw, re.S)
    return b"".join(zlib.decompress(s) for s in found if s[:1] == b"\x78").decode("latin-1")


@pytest.mark.parametrize(("units", "rule"), [("metric", 100e-3), ("us", 4 * 0.0254)])
def test_the_rule_at_the_foot_is_as_long_as_it_says(tmp_path, units, rule):
    raw = print_target(tmp_path / "target.pdf", PAPERS["letter"], units=units).read_bytes()
    lines = re.findall(r"([\d.]+) ([\d.]+) m\n([\d.]+) ([\d.]+) l\n+S", drawing(raw))
    ends = np.array(lines, float) * POINT
    level = ends[np.isclose(ends[:, 1], ends[:, 3])]
    lowest = level[np.argmin(level[:, 1])]
    assert abs(lowest[2] - lowest[0]) == pytest.approx(rule, abs=5e-5)


@pytest.mark.parametrize("name", PAPERS)
def test_marks_and_paper_have_their_size(tmp_path, name):
    paper = PAPERS[name]
    raw = print_target(tmp_path / "target.pdf", paper, throw=5.0).read_bytes()
    box = re.search(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)", raw)
    assert [float(x) * POINT for x in box.groups()] == pytest.approx(
        [paper.width, paper.height], abs=2e-4
    )
    drawn = drawing(raw)
    # a circle of matplotlib is eight curves; its box is the extent of their points
    boxes = []
    for found in re.finditer(r"([\d.]+ [\d.]+ m\n(?:(?:[\d.]+ ){6}c\n){8})", drawn):
        points = np.array([float(x) for x in re.findall(r"[\d.]+", found[1])]).reshape(-1, 2)
        boxes.append((*(points.min(0) + points.max(0)) / 2, np.ptp(points[:, 0])))
    boxes = np.array(boxes) * POINT
    rings = boxes[np.isclose(boxes[:, 2], paper.sheet.mark, rtol=0.02)]
    assert len(rings) == 4
    assert np.ptp(rings[:, 0]) == pytest.approx(paper.sheet.width, abs=5e-5)
    assert np.ptp(rings[:, 1]) == pytest.approx(paper.sheet.height, abs=5e-5)
    # printers leave about 5 mm at the edges white: no mark may reach there
    low = rings[:, :2].min(0) - paper.sheet.mark / 2
    high = rings[:, :2].max(0) + paper.sheet.mark / 2
    assert low.min() > 0.005 and paper.width - high[0] > 0.005 and paper.height - high[1] > 0.005


def test_marks_farther_or_nearer_than_any_target_are_refused():
    with pytest.raises(ValueError, match="allowed"):
        TargetSheet(0.0, 0.2)
    with pytest.raises(ValueError, match="allowed"):
        TargetSheet(0.2, float("nan"))
