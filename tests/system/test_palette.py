"""The palette is one place, readable with any colour vision, and ours.

Sources: contrast as WCAG 2.1 defines it (4.5 to 1 for text); colour vision by Machado, Oliveira and
Fernandes (2009) and differences in CAM02-UCS, both by the library colorspacious, where a difference
of about 1 is just seen side by side and 10 is seen at a glance (common practice).
"""

import re
from pathlib import Path

import matplotlib
import numpy as np
import pytest
from matplotlib import colors

import weldsim
from weldsim.system import palette

colorspacious = pytest.importorskip("colorspacious")
VISIONS = {"full": None, "no red cone": "protanomaly", "no green cone": "deuteranomaly"}
ROOT = Path(weldsim.__file__).parent


def rgb(*values):
    return np.array([colors.to_rgb(v) for v in values])


def seen(values, vision):
    """Colours as that vision sees them, in CAM02-UCS: lightness, red to green, yellow to blue."""
    shown = rgb(*values)
    if vision:
        space = {"name": "sRGB1+CVD", "cvd_type": vision, "severity": 100}
        shown = np.clip(colorspacious.cspace_convert(shown, space, "sRGB1"), 0, 1)
    return colorspacious.cspace_convert(shown, "sRGB1", "CAM02-UCS")


def contrast(a, b):
    linear = np.where(rgb(a, b) <= 0.04045, rgb(a, b) / 12.92, ((rgb(a, b) + 0.055) / 1.055) ** 2.4)
    low, high = sorted(linear @ (0.2126, 0.7152, 0.0722))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("vision", VISIONS.values(), ids=VISIONS)
@pytest.mark.parametrize("name", ["WELDS", "LINES"])
def test_one_of_several_is_told_from_the_others(name, vision):
    places = seen(getattr(palette, name), vision)
    apart = np.linalg.norm(places[:, None] - places[None], axis=-1)
    assert apart[np.triu_indices(len(places), 1)].min() > 10


@pytest.mark.parametrize("vision", VISIONS.values(), ids=VISIONS)
@pytest.mark.parametrize("name, sign", [("GLOW", 1), ("MOVED", -1), ("STRESS", -1)])
def test_lightness_of_a_scale_goes_one_way(name, sign, vision):
    lightness = seen(getattr(palette, name), vision)[:, 0]
    assert (sign * np.diff(lightness) > 3).all()


@pytest.mark.parametrize("vision", VISIONS.values(), ids=VISIONS)
def test_both_sides_of_zero_are_told_apart(vision):
    places = seen(palette.AGAINST, vision)
    assert places[:, 0].argmax() == 3  # palest in the middle
    for low, high in zip(places[:3], places[:3:-1], strict=True):
        assert np.linalg.norm(low - high) > 10


@pytest.mark.parametrize("vision", VISIONS.values(), ids=VISIONS)
@pytest.mark.parametrize("a, b", [("WELD", "PRESS"), ("PRESS", "INK"), ("WELD", "INK")])
def test_pushed_and_pulled_are_told_apart(a, b, vision):
    low, high = seen([getattr(palette, a), getattr(palette, b)], vision)
    assert np.linalg.norm(low - high) > 10


@pytest.mark.parametrize(
    "letters, ground",
    [
        ("INK", "ARC"), ("QUIET", "PAPER"), ("QUIET", "GROUND"), ("EDGE", "WHITE"),
        ("WELD", "WHITE"), ("WELD", "CARE_PALE"), ("PRESS", "PRESS_PALE"),
        ("PRESS_DARK", "PRESS_SOFT"),
        ("GOOD", "GOOD_PALE"), ("BAD", "BAD_PALE"), ("BAD", "BAD_SOFT"), ("CARE_INK", "ARC"),
        ("WHITE", "PRESS"), ("WHITE", "IDLE"), ("WHITE", "INK"), ("WELD_SOFT", "INK"),
        ("STEEL", "INK"), ("STEEL", "EDGE"), ("BORDER", "WHITE"),
    ],
)  # fmt: skip
def test_letters_stand_out(letters, ground):
    assert contrast(getattr(palette, letters), getattr(palette, ground)) >= 4.5


@pytest.mark.parametrize("colour", [*palette.WELDS, *palette.LINES])
def test_white_letters_stand_on_a_weld(colour):
    assert contrast(colour, "#ffffff") >= 4.5


def test_no_colour_is_that_of_a_set_everybody_knows():
    # matplotlib's own tables: CSS, Tableau, the XKCD survey; and Okabe and Ito (2008)
    known = {*colors.CSS4_COLORS.values(), *colors.TABLEAU_COLORS.values()}
    known |= set(colors.XKCD_COLORS.values())
    known |= {"#e69f00", "#56b4e9", "#009e73", "#f0e442", "#0072b2", "#d55e00", "#cc79a7"}
    scales = (palette.WELDS, palette.LINES, palette.GLOW, palette.MOVED, palette.STRESS)
    ours = {*palette.names().values(), *palette.AGAINST, *(c for s in scales for c in s)}
    assert {c for c in ours if c in {k.lower() for k in known}} == {"#ffffff"}


def test_a_colour_is_written_in_the_palette_alone():
    found = [
        f"{path.relative_to(ROOT)}: {match[0]}"
        for path in sorted(ROOT.rglob("*"))
        if path.suffix in (".py", ".css", ".js", ".html")
        and path.name not in ("palette.py", "three.min.js")
        for match in re.finditer(r"#(?:[0-9a-fA-F]{6}|[0-9a-fA-F]{3})\b", path.read_text("utf-8"))
    ]
    assert found == []


def test_lessons_draw_in_the_palette_too():
    for path in sorted((ROOT.parent / "notebooks").glob("*.py")):
        text = path.read_text("utf-8")
        assert "plot.use_style()" in text, path.name
        assert not re.search(r'colou?r="|cmap="', text), path.name
    with matplotlib.rc_context():
        weldsim.plot.use_style()
        assert matplotlib.rcParams["axes.prop_cycle"].by_key()["color"] == [*palette.LINES]
        heat = matplotlib.colormaps[matplotlib.rcParams["image.cmap"]]
    assert [colors.to_hex(heat(end)) for end in (0.0, 1.0)] == [palette.GLOW[0], palette.GLOW[-1]]


def test_a_variable_that_is_used_is_defined():
    own = r"--(?:wv-)?[\w-]+(?=:)"
    for path in sorted(ROOT.rglob("*")):
        if path.suffix not in (".css", ".js", ".html") or path.name == "three.min.js":
            continue
        text = path.read_text("utf-8")
        used = set(re.findall(r"var\((--[\w-]+)\)", text))
        assert used <= set(re.findall(own, palette.css() + text)), path.name


def test_letters_are_asked_for_by_generic_family():
    named = r"(?i)dejavu|segoe|arial|helvetica|verdana|roboto|consolas|courier"
    for path in sorted(ROOT.rglob("*")):
        if path.suffix in (".py", ".css", ".js", ".html") and path.name != "three.min.js":
            assert not re.search(named, path.read_text("utf-8")), path.name
