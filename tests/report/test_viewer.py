"""The record of the view in three dimensions against the frames it was made from, and the page."""

import base64
import json

import numpy as np
import pytest

from tests import browser
from tests import synthetic_run as invented
from weldsim.errors import StoreError
from weldsim.geometry.surface import NEVER, outer_surface, sharp_edges
from weldsim.report.viewer import _ring, pick_frames, right_way, scene_data, viewer_parts
from weldsim.runs.frame_files import read_frame
from weldsim.runs.reading import read_run


def numbers(text, kind):
    return np.frombuffer(base64.b64decode(text), dtype=kind)


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    return invented.write_joint_run(tmp_path_factory.mktemp("runs") / "tee").path


@pytest.fixture(scope="module")
def data(run):
    return scene_data(run)


def cube(n=1):
    """n cubes in a row as VTK hexahedra."""
    points = np.array([[x, y, z] for x in range(n + 1) for y in (0, 1) for z in (0, 1)], float)
    corner = lambda x, y, z: 4 * x + 2 * y + z  # noqa: E731
    ring = ((0, 0), (1, 0), (1, 1), (0, 1))
    cells = [[corner(i + dx, dy, z) for z in (0, 1) for dx, dy in ring] for i in range(n)]
    return points, np.array(cells)


def test_a_cube_has_six_faces_and_twelve_edges():
    """Geometry of the cube."""
    skin = outer_surface(*cube(), np.ones((1, 1), bool))
    assert (len(skin.faces), len(skin.edges), len(skin.used)) == (6, 12, 8)


def test_the_face_between_two_cells_shows_until_the_second_is_laid():
    """Two cubes, the second laid at frame 2: 6 faces, then 10 of a box of two; 12 edges each."""
    skin = outer_surface(*cube(2), np.array([[1, 0], [1, 0], [1, 1], [1, 1]], bool))

    def shown(on, off, k):
        return int(((on <= k) & (k < off)).sum())

    faces = [shown(skin.faces_on, skin.faces_off, k) for k in range(4)]
    edges = [shown(skin.edges_on, skin.edges_off, k) for k in range(4)]
    assert faces == [6, 6, 10, 10]
    # a box of two cubes has 12 edges, four of which are made of two pieces
    assert edges == [12, 12, 16, 16]
    assert NEVER in skin.faces_off


def test_flat_faces_have_no_edge_between_them():
    points = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [2, 0, 0], [2, 1, 0.2]], float)
    flat = sharp_edges(points, np.array([[0, 1, 2, 3], [1, 4, 5, 2]]))
    assert {1, 2} not in [set(e) for e in flat.tolist()]  # tan 11 degrees is 0.2: below 25
    points[[4, 5], 2] = 1.0  # 45 degrees
    bent = sharp_edges(points, np.array([[0, 1, 2, 3], [1, 4, 5, 2]]))
    assert {1, 2} in [set(e) for e in bent.tolist()]


def test_fields_come_back_to_half_a_step(run, data):
    """Movement and temperature of every point and frame against the frames on disk."""
    record = read_run(run)
    place = numbers(data["points"], "<f4").reshape(-1, 3)
    assert len(data["times"]) == len(record.frames)
    for k, file in enumerate(record.frames):
        frame = read_frame(file)
        near = np.argmin(np.linalg.norm(1e3 * frame.points[None] - place[:, None], axis=2), axis=1)
        moved = data["move_unit"] * numbers(data["move"][k], "<i2").reshape(-1, 3)
        heat = data["heat_from"] + data["heat_unit"] * numbers(data["heat"][k], "<u2")
        assert moved == pytest.approx(1e3 * frame.displacement[near], abs=0.51 * data["move_unit"])
        assert heat == pytest.approx(frame.temperature[near] - 273.15, abs=0.51 * data["heat_unit"])


def test_skin_has_the_area_of_the_block_before_beads(data):
    """Outside of a block on a slab by hand: box areas, less twice the foot they share."""
    place = numbers(data["points"], "<f4").reshape(-1, 3)
    faces = numbers(data["faces"]["index"], "<u4").reshape(-1, 4)
    on = numbers(data["faces"]["on"], "<u2")
    quads = place[faces[on == 0]]
    area = 0.5 * np.linalg.norm(
        np.cross(quads[:, 2] - quads[:, 0], quads[:, 3] - quads[:, 1]), axis=1
    ).sum()  # fmt: skip
    x, y, z = 100.0, 28.0, 20.0  # slab: chord, two sides and two legs wide, two sides high [mm]
    slab, block = 2 * (x * y + x * z + y * z), 2 * (20 * 20) + 4 * 20 * 60
    assert area == pytest.approx(slab + block - 2 * 20 * 20, rel=1e-5)


def test_welds_arcs_and_pointer_are_those_of_the_run(data):
    assert [w["number"] for w in data["welds"]] == [1, 2, 3, 4]
    assert [a["name"] for a in data["arcs"]] == ["tack1", "front.1", "front.2", "back"]
    assert data["welds"][1]["points"][-1] == pytest.approx([-10, 12, 2])  # end of the path, mm
    pointer = data["pointers"][0]
    assert pointer["right"][-1] == pytest.approx(-10.12 * 4.0, rel=1e-3)
    assert data["complete"] and not data["arcs"][1]["tack"] and data["arcs"][0]["tack"]


@pytest.mark.parametrize(
    ("aim", "up", "right"), [("+x", "+z", "-y"), ("-x", "+z", "+y"), ("+z", "+x", "+y")]
)
def test_right_on_the_target(aim, up, right):
    """Looking along aim with up upward: aim x up points right (right-hand rule)."""
    assert right_way({"aim": aim, "up": up}) == right


@pytest.mark.parametrize(
    ("given", "radius"),
    [("1 mrad", 5.0), ({"value": 2e-3, "measure": "length"}, 2.0), (None, None), ("wide", None)],
)
def test_tolerance_is_a_ring_on_the_target(given, radius):
    """A small angle times the throw of 5 m."""
    assert _ring({"tolerance": given, "throw": 5.0}) == (radius and pytest.approx(radius))


def test_frames_are_thinned_evenly_and_the_ends_stay(run):
    assert scene_data(run, most_frames=3)["times"] == pytest.approx([0.0, 17.5, 300.0])
    assert [f for f in pick_frames(list(range(100)), 4)] == [0, 33, 66, 99]


def test_the_record_is_json_and_keeps_to_its_size(run, data):
    assert len(json.dumps(data, allow_nan=False)) < 1e6
    assert len(scene_data(run, most_bytes=1)["times"]) == 4


def test_a_run_without_frames_is_refused_in_one_line(tmp_path):
    folder = invented.write_joint_run(tmp_path / "none", frames=())
    with pytest.raises(StoreError, match="no frames yet"):
        scene_data(folder.path)


def test_the_library_comes_with_its_license():
    scripts, _ = viewer_parts()
    name, text = scripts[0]
    assert name == "three.min.js" and text.startswith("/* three.js ") and "MIT License" in text[:99]


# ---- in a browser ----


@pytest.fixture(scope="module")
def page(run, data, tmp_path_factory):
    scripts, style = viewer_parts()
    path = tmp_path_factory.mktemp("page") / "view.html"
    blocks = "".join(f"<script>{text}</script>" for _, text in scripts)
    start = 'window.view = weldsimView(document.getElementById("v"), window.record);'
    path.write_text(
        f'<!DOCTYPE html><html lang="en"><meta charset="utf-8"><title>v</title><style>{style}'
        f'</style><div id="v"></div>{blocks}<script>window.record = {json.dumps(data)};{start}'
        "</script>",
        encoding="utf-8",
    )
    return path


@pytest.mark.slow
def test_view_follows_its_slider_and_its_methods(page):
    """Time shown, spot and picture follow; expected readings are those of the invented run."""
    with browser.page(page) as (tab, heard):
        tab.wait_for_selector(".wv-spot")
        tab.evaluate("window.told = []; view.onTime((t) => told.push(t))")
        tab.evaluate("view.setTime(40)")
        lean = 4.0 * (1 - np.exp(-1.0))  # mrad at 40 s
        assert f"{5.06 * lean:.1f} mm up" in tab.inner_text(".wv-spot-words")
        assert "40.0 s" in tab.inner_text(".wv-readout")
        before = tab.get_attribute(".wv-spot", "cx")
        tab.fill(".wv-time", "1000")
        assert tab.get_attribute(".wv-spot", "cx") != before
        assert tab.evaluate("view.time") == pytest.approx(invented.JOINT_END)
        assert tab.evaluate("told") == pytest.approx([40, invented.JOINT_END])
        for call in ('setField("temperature")', "setWarp(50)", 'setUnits("us")'):
            tab.evaluate(f"view.{call}")
        assert "°F" in tab.inner_text(".wv-legend") and " in up" in tab.inner_text(".wv-spot-words")
        assert "exaggerated 50 times" in tab.inner_text(".wv-readout")
        # WCAG 4.1.2, name, role, value: asked of the browser's own accessibility tree
        tree = tab.locator("#v").aria_snapshot()
        for words in ('slider "Time"', 'slider "Movement drawn"', 'button "Play"',
                      'radio "temperature"', 'checkbox "welds and clamps"',
                      "the light spot stands"):  # fmt: skip
            assert words in tree
        assert heard.errors == [] and heard.outside == []


@pytest.mark.slow
def test_the_part_is_drawn_turns_and_glows(page):
    """The picture is not empty, and changes with eye, time and colours."""
    with browser.page(page) as (tab, heard):
        tab.wait_for_selector(".wv-spot")

        def picture():
            tab.wait_for_timeout(150)
            return tab.locator(".wv-stage").screenshot()

        seen = [picture()]
        tab.focus(".wv-stage")
        for act in (
            lambda: tab.keyboard.press("ArrowLeft"),
            lambda: tab.keyboard.press("+"),
            lambda: tab.evaluate('view.setField("temperature"); view.setTime(12.5)'),
            lambda: tab.click("text=Welds >> nth=0"),
        ):
            act()
            seen.append(picture())
        assert len(set(seen)) == len(seen)
        assert heard.errors == []


@pytest.mark.slow
def test_views_come_and_go_without_end(page):
    """Browsers lend a page about sixteen drawing contexts and complain when one is taken back."""
    with browser.page(page) as (tab, heard):
        tab.wait_for_selector(".wv-spot")
        tab.evaluate("""async () => {
            const frame = () => new Promise(requestAnimationFrame);
            const element = document.getElementById("v");
            for (let n = 0; n < 20; n++) {
                window.view.destroy();
                window.view = weldsimView(element, window.record);
                window.dispatchEvent(new Event("beforeprint"));
                await frame();
            }
            window.view.destroy();
            window.dispatchEvent(new Event("beforeprint"));
            await frame();
        }""")
        assert tab.locator(".wv-root").count() == 0
        assert heard.errors == []


@pytest.mark.slow
def test_a_growing_run_is_followed(page, run):
    """update: a view that stands at the end goes along, one that does not stays."""
    short = scene_data(run)
    short = {
        **short,
        "times": short["times"][:3],
        "move": short["move"][:3],
        "heat": short["heat"][:3],
        "arcs": [{**short["arcs"][1], "end": 17.5, "burning": True}],
    }
    with browser.page(page) as (tab, heard):
        tab.wait_for_selector(".wv-spot")
        tab.evaluate("(r) => { view.update(r); view.setTime(1e9); }", short)
        assert tab.evaluate("view.time") == pytest.approx(17.5)
        assert "arc on: front.1" in tab.inner_text(".wv-readout")
        short["arcs"][0]["burning"] = False
        tab.evaluate("(r) => { view.update(r); view.setTime(1e9); }", short)
        assert "pause" in tab.inner_text(".wv-readout")  # welds are still to come
        tab.evaluate("view.update(record)")
        assert tab.evaluate("view.time") == pytest.approx(invented.JOINT_END)
        tab.evaluate("view.setTime(12.5); view.update(record)")
        assert tab.evaluate("view.time") == pytest.approx(12.5)
        tab.evaluate("view.setTime(0); view.play()")
        tab.wait_for_function("view.time > 0")
        tab.evaluate("view.pause()")
        assert heard.errors == []
