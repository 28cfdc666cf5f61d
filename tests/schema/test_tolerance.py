"""Tolerances against the rows of ISO 13920 as reference/weld_handbook.md section 5 lists them."""

from math import degrees, radians

import pytest

from weldsim.errors import CaseError
from weldsim.schema.tolerance import (
    CONFIRM,
    Tolerance,
    limit,
    note_on,
    read_tolerance,
    tables,
    verdict,
)
from weldsim.text.tilts import tolerance_words

# weld_handbook.md 5, "Linear": sizes that fall into the ranges, then +- mm
SIZES = [2, 30, 120, 400, 1000, 2000, 4000, 8000, 12000, 16000, 20000, 20001]
LINEAR = {
    "A": [1, 1, 1, 1, 2, 3, 4, 5, 6, 7, 8, 9],
    "B": [1, 1, 2, 2, 3, 4, 6, 8, 10, 12, 14, 16],
    "C": [1, 1, 3, 4, 6, 8, 11, 14, 18, 21, 24, 27],
    "D": [1, 1, 4, 7, 9, 12, 16, 21, 27, 32, 36, 40],
}


@pytest.mark.parametrize("cls", "ABCD")
def test_linear_rows(cls):
    """weld_handbook.md 5, table "Linear"; ranges are over / up to."""
    got = [1e3 * limit("linear", cls, 1e-3 * s) for s in SIZES]
    assert got == pytest.approx(LINEAR[cls])
    assert limit("linear", cls, 0.0301) == limit("linear", cls, 0.120)


@pytest.mark.parametrize(
    ("cls", "minutes", "slope"),
    [
        ("A", (20, 15, 10), (6, 4.5, 3)),
        ("B", (45, 30, 20), (13, 9, 6)),
        ("C", (60, 45, 30), (18, 13, 9)),
        ("D", (90, 75, 60), (26, 22, 18)),
    ],
)
def test_angle_rows(cls, minutes, slope):
    """weld_handbook.md 5, table "Angular": leg up to 400, up to 1000, over 1000 mm."""
    legs = (0.400, 1.000, 1.001)
    assert [60 * degrees(limit("angle", cls, leg)) for leg in legs] == pytest.approx(minutes)
    assert [1e3 * limit("slope", cls, leg) for leg in legs] == pytest.approx(slope)


@pytest.mark.parametrize("cls", "ABCD")
@pytest.mark.parametrize("leg", [0.1, 0.7, 2.0])
def test_slope_is_the_rounded_tangent(cls, leg):
    """The two ways of the standard to write one angle agree to its rounding (0.6 mm/m at most)."""
    assert limit("slope", cls, leg) == pytest.approx(limit("angle", cls, leg), abs=0.6e-3)


@pytest.mark.parametrize(
    ("cls", "row"),
    [
        ("E", [0.5, 1, 1.5, 2, 3, 4, 5, 6, 7, 8]),
        ("F", [1, 1.5, 3, 4.5, 6, 8, 10, 12, 14, 16]),
        ("G", [1.5, 3, 5.5, 9, 11, 16, 20, 22, 25, 25]),
        ("H", [2.5, 5, 9, 14, 18, 26, 32, 36, 40, 40]),
    ],
)
def test_straightness_rows(cls, row):
    """weld_handbook.md 5, table "Straightness, flatness, parallelism"."""
    sizes = [0.12, 0.4, 1, 2, 4, 8, 12, 16, 20, 25]
    assert [1e3 * limit("straightness", cls, s) for s in sizes] == pytest.approx(row)
    assert (CONFIRM in note_on("straightness", cls)) == (cls in "GH")


def test_coarser_classes_and_larger_parts_never_have_less_room():
    """Property of every table of the standard but the angles', which tighten with length."""
    for kind in ("linear", "straightness"):
        rows = list(tables()[kind]["classes"].values())
        assert all(a <= b for row in rows for a, b in zip(row, row[1:], strict=False))
        assert all(
            a <= b for r, s in zip(rows, rows[1:], strict=False) for a, b in zip(r, s, strict=True)
        )


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("linear", "A", 1e-3), "2 mm or more"),
        (("straightness", "E", 0.02), "30 mm or more"),
        (("angle", "A", 0.0), "more than zero"),
        (("angle", "A", float("nan")), "not covered"),
        (("angle", "E", 0.1), "allowed: A, B, C, D"),
        (("linear", "b", 0.1), "allowed: A, B, C, D"),
        (("twist", "A", 0.1), "unknown kind"),
    ],
)
def test_refusals_are_one_line(arguments, words):
    with pytest.raises(CaseError, match=words) as refusal:
        limit(*arguments)
    assert "\n" not in str(refusal.value)


def test_a_tolerance_is_read():
    assert read_tolerance("1 mrad").value == pytest.approx(1e-3)
    assert read_tolerance("0.5 mm", "straightness").value == pytest.approx(0.5e-3)
    b = read_tolerance("ISO 13920 B", "angle", 0.2)
    assert 60 * degrees(b.value) == pytest.approx(45)
    assert "13.1 mrad" in str(b) and CONFIRM not in str(b)
    both = read_tolerance("ISO 13920-BG", "straightness", 0.2)  # weld_handbook.md 5: "-BF"
    assert both.value == pytest.approx(3e-3)
    assert CONFIRM in str(both)


def test_a_length_at_the_target_is_the_angle_that_it_makes_there():
    """Small angles: arc over radius."""
    found = read_tolerance("8 mm", "angle", None, 4.0)
    assert found.value == pytest.approx(2e-3) and found.measure == "angle"
    assert str(tolerance_words(found, 4.0)) == "±8 mm at the target (±2 mrad)"
    assert read_tolerance("3/16 in", "angle", None, 5.0).value == pytest.approx(0.0047625 / 5.0)
    assert read_tolerance("1 mrad", "angle", None, 4.0).value == pytest.approx(1e-3)
    with pytest.raises(CaseError, match='"5 mm" at the target'):
        read_tolerance("8 kg", "angle", None, 4.0)


@pytest.mark.parametrize(
    ("text", "kind", "nominal", "words"),
    [
        ("1", "angle", None, "1 mrad"),
        ("1 mm", "angle", None, "is not allowed"),
        ("-1 mrad", "angle", None, "greater than zero"),
        ("ISO 13920 B", "angle", None, "shorter leg"),
        ("ISO 13920-F", "angle", 0.2, "A, B, C, D"),
        ("0.1 deg", "lean", None, "unknown kind"),
    ],
)
def test_a_tolerance_is_refused_in_one_line(text, kind, nominal, words):
    with pytest.raises(CaseError, match=words):
        read_tolerance(text, kind, nominal)


@pytest.mark.parametrize(
    ("value", "error", "said"),
    [
        (0.7e-3, 0.2e-3, "inside"),
        (-0.7e-3, 0.2e-3, "inside"),
        (0.9e-3, 0.2e-3, "too close to call"),
        (-1.1e-3, 0.2e-3, "too close to call"),
        (-1.3e-3, 0.2e-3, "outside"),
        (0.1e-3, None, "too close to call"),
    ],
)
def test_verdict(value, error, said):
    assert verdict(value, error, Tolerance("1 mrad", 1e-3, "angle")) == said


class TestInACase:
    """A gauge of a case with its tolerance."""

    @staticmethod
    def read(*changes):
        from weldsim.case.load import load_case

        return load_case("cases/mast_stub.toml", changes)

    def test_a_number(self):
        found = self.read().gauges[0].tolerance
        assert (found.value, found.measure) == (pytest.approx(1e-3), "angle")
        assert self.read().resolved["gauges"][0]["tolerance"]["value"] == found.value

    def test_a_class_with_its_size(self):
        """ISO 13920 angles, class A up to 400 mm: 20 minutes of arc."""
        case = self.read("gauge.pointer.tolerance=ISO 13920 A", "gauge.pointer.size=200 mm")
        assert case.gauges[0].tolerance.value == pytest.approx(radians(20 / 60))

    @pytest.mark.parametrize(
        ("value", "words"),
        [("1 kg", "is not allowed"), ("ISO 13920 A", "needs a size"), ("-1 mrad", "greater than")],
    )
    def test_what_is_wrong_is_one_line(self, value, words):
        with pytest.raises(CaseError) as error:
            self.read(f"gauge.pointer.tolerance={value}")
        assert words in str(error.value) and len(str(error.value).splitlines()) == 1
