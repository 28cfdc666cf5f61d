"""Inputs of a run in words: units, times and clamps, no folders of anybody's machine."""

import pytest

from tests.synthetic_run import write_run
from weldsim.report.comparison import OTHER_GRADES, comparison, headline
from weldsim.report.input_words import case_rows, without_folders
from weldsim.runs.reading import read_run

CASE = {
    "title": "A post",
    "part": {"kind": "square-tube-tee", "branch_wall": 0.0047625, "passes": 2},
    "welds": [{"name": "front", "heat_input": 830769.2, "speed": 0.002, "crater": 0.5,
               "start": {"kind": "below", "seconds": 0.0, "weld": "front", "temperature": 373.15},
               "direction": -1, "tack": -1}],
    "clamps": [{"name": "end", "at": ["chord end"], "turning": 5000.0, "off": {"kind": "never",
               "seconds": 0.0}}],
    "gauges": [{"name": "pointer", "throw": 5.0,
                "tolerance": {"text": "2 mrad", "value": 0.002, "measure": "angle"}}],
}  # fmt: skip


@pytest.fixture(scope="module")
def rows():
    return dict(case_rows(CASE))


@pytest.mark.parametrize(
    ("name", "metric", "us"),
    [  # by hand: 25.4 mm an inch, 3/16 in are 4.7625 mm, 212 degF at 100 degC
        ("part, branch wall", "4.7625 mm", "0.1875 in"),
        ("part, passes", "2", "2"),
        ("weld front, heat input", "0.830769 kJ/mm", "21.1 kJ/in"),
        ("weld front, travel speed", "2 mm/s", "4.72 in/min"),
        ("weld front, crater fill time", "0.5 s", "0.5 s"),
        ("weld front, starts", "when front is below 100 °C", "when front is below 212 °F"),
        ("clamp end, place", "chord end", "chord end"),
        ("clamp end, rotational stiffness", "5 kN m/rad", "3.69 kip ft/rad"),
        ("clamp end, opens", "never", "never"),
        ("gauge pointer, target distance", "5 m", "16.4 ft"),
        ("gauge pointer, tolerance", "2 mrad", "2 mrad"),
    ],
)
def test_an_input_says_what_it_is_and_its_unit(rows, name, metric, us):
    assert rows[name] == metric and rows[name].text("us") == us


def test_a_clamp_is_called_so_and_what_is_blank_is_left_out():
    case = {"clamping": {"kind": "one end", "length": 0.03}, "welds": [{"name": "A", "seam": ""}]}
    assert dict(case_rows(case)) == {"clamping, kind": "one end", "clamping, length": "30 mm"}


def test_what_a_case_does_without_is_left_out_and_a_clamp_is_named_once():
    clamp = {"name": "clamp", "kind": "rigid", "at": ["free end"], "stiffness": 0.0, "turning": 0.0}
    weld = {"name": "A", "speed_up": 1, "beads": 1, "spread": 0.0}
    found = dict(case_rows({"welds": [weld], "clamps": [clamp]}))
    assert found == {"clamp, kind": "rigid", "clamp, place": "free end"}


def test_what_only_the_program_needs_is_left_out(rows):
    assert not any("direction" in n or "tack" in n for n in rows)


@pytest.mark.parametrize(
    ("text", "left"),
    [
        ("weldsim run --resume /srv/shop/run1", "weldsim run --resume run1"),
        ("/srv/a/b: no frames", "b: no frames"),
        ('part.material="/home/anna/steel.toml"', 'part.material="steel.toml"'),
        ("0.4 kJ/mm, 1/8 in, and/or", "0.4 kJ/mm, 1/8 in, and/or"),
    ],
)
def test_whole_paths_lose_their_folders(text, left):
    assert without_folders(text) == left


def test_the_closer_run_leads_a_comparison_and_grades_are_not_mixed(tmp_path):
    """The invented errors are far below a half of the reading; half of it is twice as close."""
    far = read_run(write_run(tmp_path / "far", frames=()).path)
    near = read_run(write_run(tmp_path / "near", frames=()).path)
    for name in near.gauges:
        if name.startswith("pointer_"):
            near.gauges[name] = 0.5 * near.gauges[name]
    (line,) = headline([far, near])
    assert line.startswith("near: ") and "2 times closer to zero than far: " in line
    (line,) = headline([far, far])
    assert "cannot be told apart" in line
    near.manifest["grade"] = "sketch"
    assert headline([far, near]) == [OTHER_GRADES.format("quick, sketch")]
    rows = {r["name"]: r["apart"] for r in comparison([far, near])}
    assert rows["pointer up"] == "not compared: different grades"
