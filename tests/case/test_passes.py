"""How a pass is divided. The words are those of the trade (common practice)."""

import pytest

from weldsim.case.passes import pieces


def flat(found):
    return [(round(a, 6), round(b, 6), s) for a, b, s in found]


def test_continuous_is_one_stretch():
    assert pieces(0.0, 0.09, -1, "continuous", None) == [(0.0, 0.09, -1)]


def test_backstep_proceeds_one_way_and_welds_the_other():
    found = flat(pieces(0.0, 0.09, 1, "backstep", 0.03))
    assert found == [(0.0, 0.03, -1), (0.03, 0.06, -1), (0.06, 0.09, -1)]


def test_skip_leaves_every_second_stretch_for_later():
    found = flat(pieces(0.0, 0.08, 1, "skip", 0.02))
    assert found == [(0.0, 0.02, 1), (0.04, 0.06, 1), (0.02, 0.04, 1), (0.06, 0.08, 1)]


def test_from_the_middle_outward():
    found = flat(pieces(0.0, 0.08, 1, "middle out", 0.02))
    assert found == [(0.04, 0.06, 1), (0.02, 0.04, -1), (0.06, 0.08, 1), (0.0, 0.02, -1)]


@pytest.mark.parametrize("pattern", ["backstep", "skip", "middle out"])
@pytest.mark.parametrize("direction", [1, -1])
def test_every_place_is_welded_once(pattern, direction):
    found = sorted((a, b) for a, b, _ in pieces(0.01, 0.1, direction, pattern, 0.02))
    assert found[0][0] == pytest.approx(0.01) and found[-1][1] == pytest.approx(0.1)
    for (_, end), (begin, _) in zip(found[:-1], found[1:], strict=True):
        assert end == pytest.approx(begin)


@pytest.mark.parametrize("pattern", ["backstep", "skip", "middle out"])
def test_the_other_way_is_the_mirror_image(pattern):
    there = pieces(0.0, 0.1, 1, pattern, 0.02)
    back = pieces(0.0, 0.1, -1, pattern, 0.02)
    mirrored = [(0.1 - b, 0.1 - a, -s) for a, b, s in there]
    if pattern == "middle out":  # the odd middle stretch goes with the pass
        assert {(round(a, 6), round(b, 6)) for a, b, _ in back} == {
            (round(a, 6), round(b, 6)) for a, b, _ in mirrored
        }
        return
    assert flat(back) == flat(mirrored)
