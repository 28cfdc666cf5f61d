"""What `weldsim check` says agrees with the standard and with sums on paper."""

import re

import pytest

from tests.places import CASES
from weldsim.case.load import load_case
from weldsim.runs.cost import cost_of
from weldsim.schema.process import PROCESSES
from weldsim.text.describe import describe
from weldsim.text.describe_bar import bead_in_words


def said(file, *changes):
    return "\n".join(describe(load_case(CASES / file, changes)))


@pytest.fixture(scope="module")
def demo():
    return said("pivot_arm.toml")


def numbers(pattern, text):
    return [float(found) for found in re.findall(pattern, text)]


# EN 1011-1: E = U I / v, Q = k E with k = 0.6 for TIG and 0.8 for MAG (see test_schedule).
def test_energies_are_those_of_en_1011_1(demo):
    assert numbers(r"arc energy ([\d.]+) kJ/mm", demo) == pytest.approx([2.273, 2.273], abs=6e-4)
    assert numbers(r"heat input ([\d.]+) kJ/mm", demo) == pytest.approx([1.364, 1.364], abs=6e-4)
    assert numbers(r"into the part ([\d.]+) kJ/mm", demo) == pytest.approx([1.75] * 2, abs=6e-4)


def test_energies_of_the_standards_worked_example():
    changes = ("process=135", "voltage=23 V", "current=200 A", "speed=6 mm/s", "efficiency=0.8")
    text = said("pivot_arm_one_bead.toml", *(f"weld.A.{c}" for c in changes))
    assert numbers(r"arc energy ([\d.]+) kJ/mm", text) == pytest.approx([0.767], abs=6e-4)
    assert numbers(r"heat input ([\d.]+) kJ/mm", text) == pytest.approx([0.613], abs=6e-4)
    assert "MAG (135)" in text and "k = 0.8" in text


def test_welds_come_in_order_with_their_starts(demo):
    assert demo.index("A: across the front face at x = 80 mm") < demo.index("B: across the front")
    assert "(at 0 s)" in demo
    # 45 mm at 1.1 mm/s is 40.91 s of arc, and 25 s of waiting
    assert "25 s after the end of A (at 65.91 s)" in demo


def content(t):
    """J/kg from 20 degC: the cubic of EN 1993-1-2 (3.2a), up to 600 degC, integrated."""
    terms = (425.0, 7.73e-1 / 2, -1.69e-3 / 3, 2.22e-6 / 4)
    return sum(c * (t**n - 20.0**n) for n, c in enumerate(terms, 1))


# Bar 220 x 45 x 8 mm of 7850 kg/m3 is 0.6217 kg; 2 x 12.5 V x 200 A x 0.77 x 45 / 1.1 s = 157.5 kJ,
# so 253.3 kJ/kg.
def test_heat_of_the_whole_part(demo):
    (mean,) = numbers(r"All beads without a pause: ([\d.]+) °C", demo)
    heat = 2 * 12.5 * 200 * 0.77 * 45 / 1.1 / (7850 * 0.22 * 0.045 * 0.008)
    assert content(mean) == pytest.approx(heat, rel=0.003)  # the table is interpolated
    assert "heated through" in demo


def test_preheat_counts():
    pattern = r"brings it to: A ([\d.]+) °C"
    (cold,) = numbers(pattern, said("pivot_arm_one_bead.toml"))
    (warm,) = numbers(pattern, said("pivot_arm_one_bead.toml", "surroundings.preheat=120 degC"))
    # The same heat on top of what is there; the table is interpolated, tenths are rounded.
    assert content(warm) - content(120.0) == pytest.approx(content(cold), rel=0.005)


def test_a_small_bead_on_a_big_bar_does_not_heat_it_through():
    changes = ("part.length=900 mm", "part.thickness=20 mm", "solve.grade=quick")
    assert "heated through" not in said("pivot_arm_one_bead.toml", *changes)


def test_size_time_and_memory_are_told(demo):
    expected = cost_of(load_case(CASES / "pivot_arm.toml"))
    assert f"{expected.displacement_unknowns} displacement" in demo
    assert re.search(r"about \d+ (s|min) and \d+ MB", demo)


def test_a_finer_grade_costs_more():
    quick, normal, fine = (
        cost_of(load_case(CASES / "pivot_arm_one_bead.toml", (f"solve.grade={g}",)))
        for g in ("quick", "normal", "fine")
    )
    for value in ("cells", "displacement_unknowns", "steps", "seconds", "memory"):
        assert getattr(quick, value) < getattr(normal, value) < getattr(fine, value)


@pytest.mark.parametrize(
    ("file", "words"),
    [
        ("edge_bead_bar.toml", "along the top edge, x = 12 to 308 mm, welded away from x = 0"),
        ("both_faces.toml", "across the back face at x = 80 mm"),
        ("both_faces.toml", "welded down (-z)"),
    ],
)
def test_where_a_bead_lies_in_words(file, words):
    case = load_case(CASES / file)
    told = zip(case.part.beads, case.welds, strict=True)
    assert words in " ".join(bead_in_words(bead, weld.travel) for bead, weld in told)


# ISO 6947: PF vertical upward, PG vertical downward, PA flat (three position charts agree).
@pytest.mark.parametrize(
    ("travel", "position"), [("up", "PF, vertical upward"), ("down", "PG, vertical downward")]
)
def test_working_position(travel, position):
    (bead,) = load_case(CASES / "pivot_arm_one_bead.toml").part.beads
    assert position in bead_in_words(bead, travel)


def test_travel_of_a_seam_is_said_once():
    text = said("mast_stub.toml")
    assert "seam back, travel toward -x; position" in text
    assert "seam right, travel uphill, toward -y; position" in text


def test_hold_and_release_in_words(demo):
    assert "Clamp: on the first 30 mm" in demo and "it stays closed" in demo
    assert "opens when the part is cold" in said("pivot_arm.toml", "clamping.release=cold")
    assert "opens at 90 s" in said("pivot_arm.toml", "clamping.release=90 s")
    assert "lies free" in said("edge_bead_bar.toml")


def test_gauges_in_words(demo):
    assert "light beam on the free end, pointing along +x, target 4 m away" in demo
    assert "x = 160, y = -3, z = 0 mm" in said("edge_bead_bar.toml")


def test_cautions_are_told_and_the_decision_left_to_local_practice(demo):
    for word in ("Hot work", "Fumes", "Eyes", "Shock", "Light beam", "Local codes"):
        assert word in demo


@pytest.mark.parametrize("number", PROCESSES)
def test_every_process_can_be_described(number):
    text = said("pivot_arm_one_bead.toml", f'weld.A.process="{number}"', "solve.grade=quick")
    assert f"{PROCESSES[number][0]} ({number})" in text
