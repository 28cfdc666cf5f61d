"""Pictures for print: right size, right numbers on cuts, refusals in one line."""

import json
import re
import shutil

import numpy as np
import pytest

from tests import synthetic_run as invented
from weldsim.errors import StoreError
from weldsim.plots import print_figures
from weldsim.plots.cuts import cut_frame, marked_temperatures, peak_temperature
from weldsim.plots.print_figures import FIGURES, draw, haz, pointer_path, residual_stress
from weldsim.runs.frame_files import read_frame
from weldsim.runs.reading import read_run
from weldsim.system.libraries import prepare_renderer


@pytest.fixture(scope="module")
def tee(tmp_path_factory):
    return invented.write_joint_run(tmp_path_factory.mktemp("runs") / "tee").path


def area(cut):
    a, b, c = (cut.places[cut.triangles[:, i]] for i in range(3))
    u, v = b - a, c - a
    return 0.5 * np.abs(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]).sum()


def test_a_cut_has_the_area_of_its_plane(tee):
    """The tee across the chord by hand: slab 28 x 20 mm, block 20 x 60 mm, two 4 x 4 mm beads."""
    record = read_run(tee)
    cut = cut_frame(record, read_frame(record.frames[-1]), "front.2", reach=100.0)
    assert 1e6 * area(cut) == pytest.approx(28 * 20 + 20 * 60 + 2 * 4 * 4, rel=1e-4)
    assert (cut.across, cut.upward) == ("y", "z")
    around = np.linalg.norm(cut.border[:, 1] - cut.border[:, 0], axis=1).sum()
    assert 1e3 * around == pytest.approx(2 * (28 + 80), rel=1e-4)  # a shape without dents


def test_peak_is_the_largest_of_all_frames_at_every_place(tee):
    record = read_run(tee)
    cut, peak = peak_temperature(record, "front.1", reach=100.0)
    for file in record.frames:
        one = cut_frame(record, read_frame(file), "front.1", reach=100.0)
        # the cut of an early frame lacks metal laid later: compare where both have places
        for place, value in zip(one.places[::7], one.temperature[::7], strict=True):
            near = np.argmin(np.linalg.norm(cut.places - place, axis=1))
            if np.linalg.norm(cut.places[near] - place) < 1e-9:
                assert peak[near] >= value - 1e-6


def test_lines_of_a_steel(tee):
    """A1 of the iron-carbon diagram, 723 degC (from memory); the rest from the material file."""
    record = read_run(tee)
    record.case["part"]["material"] = "carbon-steel"
    found = dict(marked_temperatures(record))
    assert found["A1"] == pytest.approx(723) and found["solidus"] > found["softening"] > 723
    record.case["part"]["material"] = "stainless-304"
    assert "A1" not in dict(marked_temperatures(record))  # austenite all the way


@pytest.mark.parametrize("make", [haz, residual_stress, pointer_path])
def test_one_column_is_85_mm_and_letters_can_be_read(tee, make):
    """85 mm is a common column of journals; 6 points the least size they take (common practice)."""
    figure = make(tee)
    assert 25.4 * figure.get_figwidth() == pytest.approx(85.0)
    texts = [t for t in figure.findobj(lambda o: hasattr(o, "get_fontsize")) if t.get_text()]
    assert texts and min(t.get_fontsize() for t in texts) >= 6.0


def test_stress_map_shows_what_the_frame_holds(tee):
    """The invented run has 100 MPa everywhere."""
    panels = [a for a in residual_stress(tee).axes if a.get_title(loc="left").startswith("weld")]
    assert len(panels) == 2  # one seam in front, one behind; the tack is none
    for panel in panels:
        values = next(c.get_array() for c in panel.collections if c.get_array() is not None)
        assert np.asarray(values) == pytest.approx(100.0)


@pytest.mark.parametrize(("end", "words"), [("cold", "at the end, cold"), (300.0, "at the end, 3")])
def test_stress_map_says_cold_of_a_run_to_cold_only(tee, tmp_path, end, words):
    folder = shutil.copytree(tee, tmp_path / "run")
    manifest = json.loads((folder / "run.json").read_text())
    manifest["case"]["solve"]["end"] = end
    (folder / "run.json").write_text(json.dumps(manifest))
    (label,) = [t.get_text() for t in residual_stress(folder).findobj(
        lambda o: hasattr(o, "get_fontsize")) if "von Mises" in t.get_text()]  # fmt: skip
    assert words in label and ("cold" in label) == (end == "cold")


def test_cuts_go_through_the_weld_made_first(tee):
    """front.1, back, front.2: the seam in front is begun first, whatever comes on it later."""
    record = read_run(tee)
    paths = {p["name"]: p for p in record.manifest["paths"]}
    names = ("tack1", "front.1", "back", "front.2")
    record.manifest["paths"] = [paths[name] for name in names]
    assert print_figures._first_of_seams(record) == ["front.1", "back"]


@pytest.mark.parametrize("ending", [".svg", ".pdf", ".png"])
def test_draw_writes_each_kind(tee, tmp_path, ending):
    path = draw("spot", tee, tmp_path / f"spot{ending}")
    head = path.read_bytes()[:200]
    assert {".svg": b"<?xml", ".pdf": b"%PDF", ".png": b"\x89PNG"}[ending] in head
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize(
    ("name", "file", "options", "words"),
    [
        ("spots", "a.png", {}, "'spots' is not known, allowed: sequence"),
        ("spot", "a.bmp", {}, "ending '.bmp' is not known, allowed: .svg"),
        ("spot", "a.png", {"wide": 1}, "wide: no such option, allowed: width_mm"),
        ("spot", "a.png", {"gauge": "x"}, "gauge x: no such pointer: pointer"),
        ("peak-temperature", "a.png", {"weld": "top"}, "weld 'top' is not known, allowed: tack1"),
    ],
)
def test_refusals_take_one_line(tee, tmp_path, name, file, options, words):
    with pytest.raises(StoreError) as refused:
        draw(name, tee, tmp_path / file, **options)
    assert words in str(refused.value) and "\n" not in str(refused.value)
    assert list(tmp_path.iterdir()) == []


def test_colours_rise_or_fall_in_lightness_only():
    """Luminance of sRGB (IEC 61966-2-1), so maps read in grey and with any colour vision."""
    for colours, sign in ((print_figures.STRESS, -1), (print_figures.HEAT, 1)):
        rgb = np.array([[int(c[i : i + 2], 16) for i in (1, 3, 5)] for c in colours])
        linear = np.where(rgb <= 10.31, rgb / 3294.6, ((rgb / 255 + 0.055) / 1.055) ** 2.4)
        assert np.all(sign * np.diff(linear @ [0.2126, 0.7152, 0.0722]) > 0)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["sequence", "temperatures", "before-hot-after"])
def test_pictures_of_the_part_state_time_and_warp(tee, tmp_path, name):
    missing = prepare_renderer()
    if missing:
        pytest.skip(missing)
    options = {"moments": (12.5, 40.0)} if name == "temperatures" else {}
    figure = FIGURES[name](tee, **options)
    words = " ".join(t.get_text() for t in figure.findobj(lambda o: hasattr(o, "get_fontsize")))
    assert 25.4 * figure.get_figwidth() == pytest.approx(170 if name == "before-hot-after" else 85)
    if name == "sequence":
        assert re.search(r"1 tack1, 2 front\.1, 3 front\.2, 4 back", words)
    else:
        assert re.search(r"\d s\b", words) and "exaggerated" in words
        assert "°C" in words or "mm" in words
        us = FIGURES[name](tee, **options, units="us")
        said = " ".join(t.get_text() for t in us.findobj(lambda o: hasattr(o, "get_fontsize")))
        assert ("°F" in said or ", in (" in said) and "°C" not in said and " mm" not in said


def test_a_map_of_the_peak_turns_into_us_units(tee):
    """t/degF = 1.8 t/degC + 32 by definition, 1 in = 25.4 mm (NIST SP 811, B.9); the picture itself
    stays."""
    metric, us = haz(tee), haz(tee, units="us")
    us.draw_without_rendering()
    scale, panel = us.axes[-1], us.axes[0]
    assert scale.get_xlabel() == "highest temperature, °F" and panel.get_xlabel().endswith(", in")
    assert scale.get_xlim() == metric.axes[-1].get_xlim() and panel.get_xlim()[1] > 0
    for axes, factor, zero in ((scale, 1.8, 32.0), (panel, 1 / 25.4, 0.0)):
        for place, text in zip(axes.get_xticks(), axes.get_xticklabels(), strict=True):
            shown = float(text.get_text().replace("−", "-"))
            assert shown == pytest.approx(factor * place + zero, rel=1e-3, abs=1e-6)


def test_a_map_of_stress_turns_into_us_units(tee):
    """1 ksi = 6.894757 MPa and 1 in = 25.4 mm (NIST SP 811, B.9)."""
    top = residual_stress(tee).axes[-1].get_xlim()[1]
    figure = residual_stress(tee, units="us")
    figure.draw_without_rendering()
    scale = figure.axes[-1]
    assert "ksi" in scale.get_xlabel() and figure.axes[0].get_xlabel().endswith(", in")
    for axes, factor in ((scale, 6.894757), (figure.axes[0], 25.4)):
        for place, text in zip(axes.get_xticks(), axes.get_xticklabels(), strict=True):
            assert float(text.get_text().replace("−", "-")) * factor == pytest.approx(
                place, rel=1e-3, abs=1e-9
            )
    assert scale.get_xlim()[1] == top  # the picture itself stays
