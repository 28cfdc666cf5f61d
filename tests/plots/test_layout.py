"""The picture of the part before a run: order, travel, what lies behind, which way is up."""

import numpy as np
import pytest

from tests.places import ROOT
from weldsim.case.load import load_case
from weldsim.errors import SetupError
from weldsim.joints.registry import seams_of
from weldsim.plots.layout import (
    draw_layout,
    emptiest_corner,
    layout_figure,
    layout_stages,
    surfaces,
)
from weldsim.plots.place_labels import Label, beside, best_place, place_labels
from weldsim.plots.stage import axis_vector
from weldsim.plots.weld_paths import WeldPath, order_words, tack_lines, weld_paths
from weldsim.plots.welds import first_of_seams
from weldsim.system import libraries as syslibs

MAST = ROOT / "cases" / "mast_stub.toml"


@pytest.fixture(scope="module")
def drawing():
    """Skip where this machine cannot draw off screen."""
    missing = syslibs.prepare_renderer()
    if missing:
        pytest.skip(missing)


@pytest.fixture(scope="module")
def case():
    return load_case(MAST, ["part.up=+y"])


@pytest.fixture(scope="module")
def part(case):
    from weldsim.joints.build import build_part

    return build_part(case, "coarse")


@pytest.fixture(scope="module")
def figure(case, part, drawing):
    return layout_figure(case, part, "coarse")


def texts(axes):
    return {t.get_text() for t in axes.texts}


def test_paths_run_as_the_welds_do(case):
    """`front:+x` and `back:-x` of the case mean just that; left and right go up, and +y is up."""
    travel = {p.name: p.points[-1] - p.points[0] for p in weld_paths(case)}
    assert [p.number for p in weld_paths(case)] == [1, 2, 3, 4]
    for name, axis, sign in (("front", 0, 1), ("back", 0, -1), ("left", 1, 1), ("right", 1, 1)):
        assert int(np.argmax(np.abs(travel[name]))) == axis
        assert np.sign(travel[name][axis]) == sign
    for path, seam in zip(weld_paths(case), seams_of(case), strict=True):
        np.testing.assert_allclose(path.points[[0, -1]], [seam.start, seam.end])


def test_tacks_are_as_long_as_written_and_at_the_ends(case):
    """Two 3 mm tacks on either end of the front and the back seam (the case)."""
    lines = tack_lines(case)
    assert [round(1e3 * float(np.linalg.norm(t[-1] - t[0])), 6) for t in lines] == [3.0] * 4
    ends = sorted(round(1e3 * float(np.abs(t[:, 0]).max()), 6) for t in lines)
    assert ends == [20.0] * 4  # half of the branch's 40 mm


def test_what_stands_behind_the_branch_is_hidden(case, part, drawing):
    """From the front left and above, the branch hides the seams on its other two sides."""
    from weldsim.plots.scene import hidden_places

    stage = layout_stages(part, weld_paths(case), axis_vector(case.part.up))[0]
    assert np.all(stage.view > 0)
    _, base = surfaces(case, part)
    hidden = {
        p.name: hidden_places(base, p.points, stage.view, p.width / 2).mean()
        for p in weld_paths(case)
    }
    assert hidden["front"] == hidden["left"] == 0
    assert hidden["back"] > 0.8 and hidden["right"] > 0.8


def test_numbers_names_clamps_and_up_are_written(figure):
    whole, near = figure.axes[:2]
    assert {"1", "2", "3", "4", "front", "left", "back (behind)", "right (behind)"} <= texts(near)
    assert {"chord start", "chord end", "x", "z", "y, up"} <= texts(whole)
    key = {t.get_text() for t in figure.legends[0].get_texts()}
    assert {"weld, numbered in sequence", "behind", "tack", "filler", "clamped"} == key - {
        "its start"
    }


def test_every_text_is_on_the_picture_and_on_no_other(figure):
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    FigureCanvasAgg(figure).draw()
    for axes in figure.axes:
        # a name and the number in front of it are one label
        boxes = [t.get_window_extent() for t in axes.texts if t.get_text()]
        for number, box in enumerate(boxes):
            assert figure.bbox.x0 <= box.x0 and box.x1 <= figure.bbox.x1
            assert not any(box.shrunk(0.9, 0.7).overlaps(other) for other in boxes[number + 1 :])


def test_arrows_point_along_the_travel(case, part, figure):
    """Each arrow head lies farther along its weld, as seen by the camera, than its shaft."""
    near = layout_stages(part, weld_paths(case), axis_vector(case.part.up))[1]
    heads = [t for t in figure.axes[1].texts if not t.get_text()]
    assert len(heads) == 4
    size = np.array(near.size)
    for path, head in zip(weld_paths(case), heads, strict=True):
        on_picture = np.diff(near.to_picture(path.points[[0, -1]]), axis=0)[0] * size
        drawn = (np.array(head.xy) - np.array(head.get_position())) * size
        cosine = on_picture @ drawn / np.linalg.norm(on_picture) / np.linalg.norm(drawn)
        assert cosine == pytest.approx(1.0, abs=1e-3)


def test_file_is_written_whole(case, drawing, tmp_path):
    from PIL import Image

    path = draw_layout(case, tmp_path / "layout.png")
    with Image.open(path) as picture:
        assert np.asarray(picture.convert("L")).std() > 5
    assert list(tmp_path.iterdir()) == [path]


def test_bar_is_drawn_too(drawing, tmp_path):
    case = load_case(MAST.parent / "pivot_arm.toml")
    assert draw_layout(case, tmp_path / "bar.png").stat().st_size > 10_000


def test_without_a_renderer_it_says_why(case, monkeypatch, tmp_path):
    monkeypatch.setattr(
        "weldsim.plots.layout.prepare_renderer", lambda: "pictures skipped: no way to draw"
    )
    with pytest.raises(SetupError, match="no way to draw"):
        draw_layout(case, tmp_path / "layout.png")
    assert not list(tmp_path.iterdir())


def test_arrow_stands_beside_its_seam_on_the_side_asked_for():
    seam = np.array([[0.0, 0.0], [2.0, 0.0]])
    for side in (1.0, -1.0):
        line = beside(seam, np.array([0.0, side]))
        assert np.all(np.diff(line[:, 0]) > 0) and np.all(side * line[:, 1] > 0)
    back = beside(seam[::-1], np.array([0.0, 1.0]))
    assert np.all(np.diff(back[:, 0]) < 0) and np.all(back[:, 1] > 0)
    tack = beside(0.01 * seam, np.array([0.0, 1.0]))  # shorter than an arrow can be
    assert 0.3 < np.ptp(tack[:, 0]) < 0.5
    assert beside(np.zeros((2, 2)), np.array([0.0, 1.0])) is None  # points at the eye


def test_a_path_is_named_where_it_is_in_sight():
    behind = np.zeros(41, dtype=bool)
    assert best_place(behind) == (pytest.approx(0.5), False)
    behind[:21] = True
    at, dull = best_place(behind)
    assert 0.6 < at < 0.8 and not dull
    assert best_place(np.ones(41, dtype=bool)) == (0.5, True)


def test_labels_cover_neither_each_other_nor_the_edge():
    anchor, up = np.array([0.3, 0.3]), np.array([-1.0, -1.0])
    labels = [Label(f"front.{n}", anchor + 0.05 * n, up) for n in range(6)]
    places = place_labels(labels, None, (6.0, 4.0))
    boxes = [(p - x.box / 2, p + x.box / 2) for p, x in zip(places, labels, strict=True)]
    for n, (low, high) in enumerate(boxes):
        assert np.all(low > 0) and np.all(high < (6.0, 4.0))
        for other_low, other_high in boxes[n + 1 :]:
            assert np.any(low >= other_high) or np.any(high <= other_low)


def test_of_many_welds_the_first_of_each_seam_is_named():
    few = [("front.1", "front"), ("front.2", "front"), ("back", "back")]
    assert first_of_seams(few) == {"front.1", "front.2", "back"}
    many = [(f"{seam}.{n}", seam) for seam in ("front", "back", "left") for n in range(1, 5)]
    assert first_of_seams(many) == {"front.1", "back.1", "left.1"}


def test_order_in_words_takes_neighbours_together():
    line, way = np.zeros((2, 3)), np.zeros(3)
    found = [("tack1", "left", True), *((f"front.{n}", "front", False) for n in range(1, 5)),
             ("back", "back", False)]  # fmt: skip
    paths = [
        WeldPath(n, name, seam, line, way, 0.005, tack)
        for n, (name, seam, tack) in enumerate(found, 1)
    ]
    assert order_words(paths) == "Order: 1 tack on left, 2-5 front, 6 back"


def test_axes_go_where_least_is_drawn():
    image = np.full((400, 600, 3), 250, dtype=np.uint8)
    image[:200, :] = 0  # something above
    image[0, 0] = 250
    image[300:, :300] = 0  # and in the lower left
    place = emptiest_corner(image, np.array([6.0, 4.0]), 0.8)
    np.testing.assert_allclose(place, [5.2, 0.8])
