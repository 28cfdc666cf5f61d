"""Pictures: arrays behind the plots, camera, colours, one screenshot that is not blank."""

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from tests import synthetic_run as invented
from tests.places import ROOT
from weldsim.plots import animation as movie
from weldsim.plots import pictures as render
from weldsim.plots import scene
from weldsim.plots import stage as stages
from weldsim.plots.colour_bars import GLOW, MOVED, colour_map
from weldsim.plots.gauge_plots import gauge_history, spread_apart
from weldsim.plots.melt_smoothing import softened_points
from weldsim.plots.place_labels import side_by_side
from weldsim.plots.pointer_plot import pointer_plot
from weldsim.plots.vtk_grid import surface_of
from weldsim.plots.welds import (
    arc_times,
    clock,
    colours_of,
    hot_time,
    nearest_frame,
    pauses_between,
    pictured_arcs,
    weld_colour,
)
from weldsim.runs.frame_files import FieldFrame
from weldsim.runs.reading import read_run
from weldsim.system import libraries as syslibs

FRAMES = (0.0, 15.0, 40.0, 106.0, 900.0)


@pytest.fixture(scope="module")
def record(tmp_path_factory):
    folder = invented.write_run(tmp_path_factory.mktemp("runs") / "bar", frames=FRAMES)
    return read_run(folder.path)


@pytest.fixture(scope="module")
def drawing():
    """Skip where this machine cannot draw off screen."""
    missing = syslibs.prepare_renderer()
    if missing:
        pytest.skip(missing)


def field_frame(time):
    """The invented fields as they would be read back."""
    from weldsim.geometry.part import vtk_cells

    mesh, weld = invented.mesh()
    points, cells, _ = vtk_cells(mesh)
    f = invented.frame(mesh, weld, time)
    return FieldFrame(
        f.time, points, cells, f.temperature, f.displacement, f.active, f.von_mises,
        f.equivalent_plastic_strain,
    )  # fmt: skip


def lightness(colours):
    """CIE L* of sRGB colours (N, 3) of 0..1: IEC 61966-2-1 and CIE 15, Y of a D65 white = 1."""
    linear = np.where(colours <= 0.04045, colours / 12.92, ((colours + 0.055) / 1.055) ** 2.4)
    y = linear @ [0.2126, 0.7152, 0.0722]
    return np.where(y > (6 / 29) ** 3, 116 * np.cbrt(y) - 16, y * (29 / 3) ** 3)


def test_colour_maps_read_in_grey():
    """Lightness that only rises or only falls can be read with any colour vision."""
    share = np.linspace(0, 1, 64)
    glow = lightness(colour_map(GLOW)(share)[:, :3])
    moved = lightness(colour_map(MOVED)(share)[:, :3])
    assert np.all(np.diff(glow) > 0) and np.ptp(glow) > 60
    assert np.all(np.diff(moved) < 0) and np.ptp(moved) > 60


@pytest.mark.parametrize(
    ("factor", "expected"),
    [(0.3, 1), (1, 1), (1.9, 1), (2.0, 2), (4.99, 2), (9.9, 5), (10, 10), (734, 500)],
)
def test_warp_is_a_round_number_not_above_what_was_asked(factor, expected):
    assert stages.round_warp(factor) == expected


def test_stage_shows_a_tenth_of_the_length_at_most_and_all_of_the_part(record):
    stage = stages.make_stage(record, (600, 240))
    assert 0.04 < stage.warp * stage.farthest / invented.LENGTH <= 0.1 + 1e-9
    for time in FRAMES:
        frame = field_frame(time)
        on = stages.active_lattice_points(frame)
        places = stage.to_picture((frame.points + stage.warp * frame.displacement)[on])
        assert places.min() > 0 and places.max() < 1
    assert stage.coldest == pytest.approx(20, abs=0.01)
    assert 1000 < stage.hottest <= stages.HIGHEST


def test_a_bead_on_the_back_is_seen_from_the_back(record):
    assert stages.make_stage(record).view[1] > 0
    for weld in record.case["welds"]:
        weld["face"] = "back"
    try:
        assert stages.make_stage(record).view[1] < 0
    finally:
        for weld in record.case["welds"]:
            weld["face"] = "front"


def test_gauge_plot_holds_the_readings(record):
    figure = gauge_history(record)
    drawn = [line for axes in figure.axes for line in axes.lines]
    for name in ("pointer_up_mm", "pointer_right_mrad", "A_middle_degC"):
        same = [
            line
            for line in drawn
            if len(line.get_ydata()) == len(record.gauges[name])
            and np.array_equal(line.get_ydata(), record.gauges[name])
        ]
        assert len(same) == 2  # the near and the far part of the time axis
        np.testing.assert_array_equal(same[0].get_xdata(), record.gauges["time_s"])
    texts = [t.get_text() for axes in figure.axes for t in axes.texts]
    assert any(t.startswith("up +") for t in texts) and "arc A" in texts and "arc B" in texts
    assert {axes.get_title(loc="left") for axes in figure.axes} >= {
        "movement, mm", "rotation, mrad", "temperature, °C"}  # fmt: skip


def test_long_names_of_gauges_stay_on_the_picture(record):
    """A gauge's name is the user's: the margin gives way to it."""
    names = {"time_s": "time_s", "pointer_up_mm": "straightness of the long edge_bow_mm"}
    case = {**record.case, "gauges": [{"name": "straightness of the long edge", "kind": "bow"}]}
    long = replace(
        record,
        gauges={new: record.gauges[old] for old, new in names.items()},
        manifest={**record.manifest, "case": case},
    )
    figure = gauge_history(long)
    figure.canvas.draw()
    ends = [t for axes in figure.axes for t in axes.texts if t.get_text().startswith("straight")]
    assert ends and all(t.get_window_extent().x1 <= figure.bbox.x1 for t in ends)


def test_clock_starts_with_the_first_arc(record):
    late = SimpleNamespace(
        gauges=record.gauges, manifest={"timetable": [{"name": "A", "start": 12.0, "end": None}]}
    )
    assert clock(late)[0] == -12.0
    ((name, start, stop),) = arc_times(late)
    assert (name, start, stop) == ("A", 0.0, record.gauges["time_s"][-1] - 12.0)


def test_path_of_the_spot_has_one_scale_and_runs_through_the_readings(record):
    figure = pointer_plot(record, record.pointers[0])
    (axes,) = figure.axes
    figure.draw_without_rendering()
    box = axes.get_window_extent()
    per_mm = box.width / np.ptp(axes.get_xlim()), box.height / np.ptp(axes.get_ylim())
    assert per_mm[0] == pytest.approx(per_mm[1], rel=1e-6)
    whole = axes.lines[0]
    np.testing.assert_array_equal(whole.get_xdata(), record.gauges["pointer_right_mm"])
    np.testing.assert_array_equal(whole.get_ydata(), record.gauges["pointer_up_mm"])
    # seen along +x with z up, right is x cross z = -y: the front face (+y) is on the left
    assert "front face: left" in axes.get_xlabel()
    words = [t.get_text() for t in axes.texts]
    for mark in ("A starts, 0 s", "A stops, 31 s", "B starts, 91 s", "end, 900 s"):
        assert mark in words


def test_labels_are_moved_apart_and_stay_in_order():
    places = spread_apart([1.0, 1.01, 1.02, 5.0], 0.5, 0.0, 6.0)
    assert np.all(np.diff(places) >= 0.5 - 1e-12) and places[0] == 1.0 and places[-1] == 5.0
    crowded = spread_apart([5.8, 5.9, 6.0], 0.5, 0.0, 6.0)
    assert np.all(np.diff(crowded) >= 0.5 - 1e-12) and crowded[-1] <= 6.0 + 1e-12


def test_names_of_beads_at_one_place_stand_side_by_side():
    """A bead on each face: both names are read, none covers the other, all stay near."""
    far = ("C", 0.9, 0.3)
    placed = {name: (x, y) for name, x, y in side_by_side(
        [("A", 0.5, 0.2), far, ("root", 0.501, 0.21)])}  # fmt: skip
    assert placed["C"] == pytest.approx(far[1:])
    a, root = placed["A"], placed["root"]
    assert a[1] == root[1] == 0.2 and abs(root[0] - a[0]) >= 0.014 * (1 + 4) / 2
    assert max(abs(a[0] - 0.5), abs(root[0] - 0.5)) < 0.06


def test_frames_are_picked_by_time(record):
    assert nearest_frame(record, 16.0).time == 15.0
    extreme = hot_time(record)
    times, values = record.gauges["time_s"], np.abs(record.gauges["pointer_up_mrad"])
    arcs = record.manifest["timetable"]
    hot = np.any([(times >= a["start"]) & (times <= a["end"]) for a in arcs], axis=0)
    assert hot[times == extreme].all()
    assert np.interp(extreme, times, values) == values[hot].max()


def test_metal_that_is_not_laid_is_not_drawn(drawing):
    before, after = (surface_of(field_frame(t)) for t in (0.0, 900.0))
    assert before.bounds[3] == pytest.approx(invented.THICKNESS / 2)
    assert after.bounds[3] == pytest.approx(invented.THICKNESS / 2 + invented.BEAD_HEIGHT)


def test_screenshot_shows_the_hot_spot_where_the_torch_is(record, drawing):
    stage = stages.make_stage(record, (480, 200))
    image = scene.draw(stage, field_frame(15.0), "temperature", warped=False, fine=1)
    assert image.shape == (200, 480, 3) and image.dtype == np.uint8
    paper = np.all(np.abs(image.astype(int) - image[0, 0]) < 3, axis=2)
    assert 0.1 < (~paper).mean() < 0.9
    # glowing means red well above blue; steel, jaws and paper are greyer
    glow = (image[..., 0].astype(int) - image[..., 2]) > 120
    rows, columns = np.nonzero(glow)
    torch = -invented.WIDTH / 2 + invented.SPEED * 15.0
    place = stage.to_picture([invented.PLACES["A"], invented.THICKNESS / 2, torch - 0.006])[0]
    assert columns.mean() / 480 == pytest.approx(place[0], abs=0.04)
    assert 1 - rows.mean() / 200 == pytest.approx(place[1], abs=0.08)


def test_without_a_renderer_the_plots_are_still_made(record, monkeypatch):
    monkeypatch.setattr(
        "weldsim.plots.pictures.prepare_renderer", lambda: "pictures skipped: no way to draw"
    )
    shown = render.show_run(record.path)
    assert sorted(p.name for p in shown.paths) == ["gauges.png", "path_pointer.png"]
    assert shown.notes == ("pictures skipped: no way to draw",)
    for path in shown.paths:
        assert path.read_bytes().startswith(b"\x89PNG")


def test_gif_keeps_the_colour_of_the_light_spot(tmp_path):
    from matplotlib.colors import to_rgb
    from PIL import Image

    shades = np.tile(np.linspace(0, 255, 320).astype(np.uint8)[None, :, None], (160, 1, 3))
    images = [shades.copy() for _ in range(3)]
    spot = np.round(255 * np.array(to_rgb(movie.SPOT)))
    for n, image in enumerate(images):
        image[80:86, 50 * n + 20 : 50 * n + 26] = spot
    movie.write_gif(images, tmp_path / "x.gif")
    with Image.open(tmp_path / "x.gif") as read:
        for n in range(3):
            read.seek(n)
            pixel = np.array(read.convert("RGB"))[83, 50 * n + 23].astype(int)
            assert np.abs(pixel - spot).max() <= 12


@pytest.mark.slow
def test_show_run_makes_every_picture(record, drawing):
    from PIL import Image

    told = []
    shown = render.show_run(record.path, lambda share, text: told.append(share))
    made = {p.name for p in shown.paths}
    assert made >= {"gauges.png", "path_pointer.png", "temperature_A.png", "temperature_B.png",
                    "shape.png", "animation.gif"}  # fmt: skip
    assert ("animation.mp4" in made) == (movie.encoder() is not None)
    assert told == sorted(told) and told[-1] == 1.0
    for path in shown.paths:
        if path.suffix == ".png":
            with Image.open(path) as picture:
                assert np.asarray(picture.convert("L")).std() > 5
    with Image.open(record.path / "pictures" / "animation.gif") as gif:
        durations = []
        for n in range(gif.n_frames):
            gif.seek(n)
            durations.append(gif.info["duration"])
    assert sum(durations) == 1000 // movie.RATE * (len(FRAMES) + movie.HOLD)
    assert not list(Path(record.path).rglob("*.partial"))


@pytest.mark.slow
def test_without_an_encoder_there_is_a_gif_and_a_note(record, drawing, monkeypatch, tmp_path):
    monkeypatch.setattr(movie, "encoder", lambda: None)
    stage = stages.make_stage(record, movie.SCENE)
    paths, notes = movie.write_movie(record, stage, tmp_path)
    assert [p.name for p in paths] == ["animation.gif"] and notes == [movie.NO_ENCODER]


@pytest.fixture(scope="module")
def tee(tmp_path_factory):
    folder = invented.write_joint_run(tmp_path_factory.mktemp("runs") / "tee")
    return read_run(folder.path)


def test_a_tee_fills_its_picture(tee):
    stage = stages.make_stage(tee)
    assert 0.5 < stage.size[1] / stage.size[0] < 1.1
    frame = readback_frame(tee, -1)
    places = stage.to_picture(frame.points + stage.warp * frame.displacement)
    assert places.min() > 0 and places.max() < 1
    assert np.ptp(places, axis=0).max() > 0.85 and np.ptp(places, axis=0).min() > 0.6


def readback_frame(record, number):
    from weldsim.runs.frame_files import read_frame

    return read_frame(record.frames[number])


def test_the_eye_goes_where_the_welds_are():
    """A weld on a face is seen from where its outer normal points to (geometry)."""
    line = [[0.0, 0.0, 0.0], [0.1, 0.0, 0.0]]
    for axis, sign in ((0, 1), (0, -1), (1, 1), (1, -1), (2, 1), (2, -1)):
        inward = np.zeros(3)
        inward[axis] = -sign
        view = stages.best_view([SimpleNamespace(points=line, inward=inward)], [0.1, 0.1, 0.1])
        assert sign * view[axis] > 0 and np.linalg.norm(view) == pytest.approx(1.0)
    assert np.all(stages.best_view([], [0.1, 0.1, 0.1]) > 0)


@pytest.mark.slow
def test_welds_and_clamps_of_a_joint_are_named_on_its_picture(tee, drawing):
    figure = render.shape_picture(tee, stages.make_stage(tee))
    words = {t.get_text() for t in figure.axes[1].texts}
    words |= {w.removesuffix(" (behind)") for w in words}  # where the clamp lies is not the matter
    assert {"tack1", "front.1", "front.2", "back (behind)", "saddle", "jig"} <= words
    half = render.temperature_picture(tee, stages.make_stage(tee), tee.frames[1], "front.1")
    words = {t.get_text() for t in half.axes[0].texts}
    assert {"tack1", "front.1"} <= words and "front.2" not in words  # not begun yet


def test_travel_is_drawn_on_the_picture_of_a_joint(tee, drawing):
    """front.1 goes toward -x: on the picture against the side to which +x points (geometry)."""
    stage = stages.make_stage(tee)
    figure = render.temperature_picture(tee, stage, tee.frames[1], "front.1")
    heads = [t for t in figure.axes[0].texts if not t.get_text()]
    assert len(heads) == 2 and abs(stage.right[0]) > 0.3
    assert (heads[1].xy[0] - heads[1].get_position()[0]) * stage.right[0] < 0


def test_up_on_pictures_is_up_in_the_workshop(tee):
    """A place higher up in the workshop stands higher on the picture (parallel projection)."""
    up = np.zeros(3)
    word = tee.case["part"]["up"]
    up["xyz".index(word[1])] = -1.0 if word[0] == "-" else 1.0
    stage = stages.make_stage(tee)
    low, high = stage.to_picture([stage.centre - 0.01 * up, stage.centre + 0.01 * up])
    assert high[1] - low[1] > 0 and abs(high[0] - low[0]) < 1e-9


def test_a_seam_keeps_its_colour_when_the_sequence_changes():
    welds = [("front", "front"), ("back", "back"), ("left", "left")]
    assert colours_of(welds) == colours_of(welds[::-1])


def test_of_many_arcs_one_a_seam_is_pictured(tee):
    assert [a[0] for a in pictured_arcs(tee)] == ["front.1", "front.2", "back"]
    welds = [{"name": f"{s}.{n}", "seam": s, "tack": -1} for s in ("front", "back")
             for n in range(1, 7)]  # fmt: skip
    table = [{"name": w["name"], "start": 9.0 * n, "end": 9.0 * n + 5} for n, w in enumerate(welds)]
    many = replace(
        tee, manifest={**tee.manifest, "case": {**tee.case, "welds": welds}, "timetable": table}
    )
    assert [a[0] for a in pictured_arcs(many)] == ["front.1", "back.1"]
    colours = {weld_colour(many, w["name"]) for w in welds}
    assert len(colours) == 2  # colours run out: one a seam


def test_pauses_lie_between_arcs():
    assert pauses_between([("A", 0.0, 5.0), ("B", 5.0, 9.0), ("C", 12.0, 13.0)]) == [(9.0, 12.0)]


def test_forces_and_moments_have_their_panels(tee):
    figure = gauge_history(tee)
    titles = {axes.get_title(loc="left") for axes in figure.axes}
    assert titles >= {"movement, mm", "force, N", "moment, N m"}


def test_target_of_a_joint_says_which_way_its_sides_look(tee):
    """Seen along +z with +x up, right is z cross x = +y."""
    (axes,) = pointer_plot(tee, tee.pointers[0]).axes
    assert axes.get_xlabel() == "right, mm (toward +y)"
    assert axes.get_ylabel() == "up, mm (toward +x)"


@pytest.mark.slow
def test_all_pictures_of_a_joint_and_a_note_for_the_one_without_a_case(tee, drawing):
    shown = render.show_run(tee.path)
    made = {p.name for p in shown.paths}
    assert made >= {"temperature_front.1.png", "temperature_back.png", "shape.png", "gauges.png",
                    "animation.gif"}  # fmt: skip
    assert "layout.png" not in made
    assert [n for n in shown.notes if n != movie.NO_ENCODER] == [
        n for n in shown.notes if n.startswith("layout picture skipped: ")
    ]


@pytest.mark.slow
def test_layout_is_drawn_from_the_case_the_folder_keeps(tmp_path, drawing):
    mast = ROOT / "cases" / "mast_stub.toml"
    folder = invented.write_joint_run(tmp_path / "tee", frames=(0.0,))
    record, path = read_run(folder.path), tmp_path / "layout.png"
    paths, notes = render.draw_case(record, path)
    assert paths == [] and len(notes) == 1 and not path.exists()
    kept = {"source": mast.read_text(encoding="utf-8"), "source_file": str(mast), "overrides": []}
    folder.write_json("case.json", {**kept, "error_estimate": False})
    assert render.draw_case(record, path) == ([path], [])
    assert path.read_bytes().startswith(b"\x89PNG")
    folder.write_json("case.json", {**kept, "source": "[part]", "error_estimate": False})
    paths, (note,) = render.draw_case(record, path)
    assert paths == [] and note.startswith("layout picture skipped: ") and "\n" not in note


def test_metal_counts_as_melt_above_its_own_softening_temperature(record):
    """Aluminium at 600 degC is soft (EN AW-6061 melts from 582 degC), carbon steel is firm."""
    hot = [SimpleNamespace(temperature=np.array([873.15, 300.0]))]
    part = record.case["part"]

    def of(metal):
        case = {**record.case, "part": {**part, "material": metal}}
        return replace(record, manifest={**record.manifest, "case": case})

    assert softened_points(of("aluminium-6061-t6"), hot).tolist() == [True, False]
    assert not softened_points(of("carbon-steel"), hot).any()
    own = of("gone.toml")  # a user's own metal that is not here any more: the folder says it
    stated = replace(own, manifest={**own.manifest, "softening_temperature_K": 800.0})
    assert softened_points(stated, hot).tolist() == [True, False]


def test_us_ticks_are_round_numbers_where_their_metric_values_lie(record):
    """-17.78 degC is 0 degF; every tick is written with a few figures and stands at its place."""
    figure = gauge_history(record, units="us")
    panels = [a for a in figure.axes if a.get_title(loc="left") == "temperature, °F"]
    assert panels
    for axis in (a.yaxis for a in panels):
        texts = axis.get_major_formatter().format_ticks(axis.get_majorticklocs())
        for place, text in zip(axis.get_majorticklocs(), texts, strict=True):
            assert len(text) <= 5
            fahrenheit = float(text.replace("\N{MINUS SIGN}", "-"))
            assert (fahrenheit - 32) / 1.8 == pytest.approx(place, abs=1e-6)
