"""Rows of a validation: what holds, what fails, what is left out of the count."""

import json
import math
import re
from dataclasses import replace

import numpy as np
import pytest

from weldsim.errors import StoreError, WeldsimError
from weldsim.validation import runner
from weldsim.validation.catalogue import CHECKS, checks_of
from weldsim.validation.kept import said_of
from weldsim.validation.markdown import markdown
from weldsim.validation.pages import page, write_pages
from weldsim.validation.rows import (
    AGAINST,
    GROUPS,
    Check,
    Comparison,
    Found,
    Row,
    between,
    near,
    summary,
)
from weldsim.validation.shown import line, linked, number, worst


def stand_in(found: Found, name: str = "made-up") -> Row:
    check = Check(name, "heat", "Made up", "a source", "for this test", "None.", lambda q: found)
    return Row.of(check, found, 1.0)


ABOUT = {"date": "", "version": "", "quick": False, "which": "all", "summary": ""}
GOOD = near("temperature", 100.0, 101.0, 0.02, "degC")
BAD = near("temperature", 100.0, 103.0, 0.02, "degC")


def test_a_row_holds_when_all_of_it_does():
    assert stand_in(Found((GOOD,))).state == "holds"
    both = stand_in(Found((GOOD, BAD)))
    assert both.state == "fails"
    assert both.comparisons[0] == BAD  # the worst is read first
    assert stand_in(Found()).state == "fails"  # nothing was compared


def test_what_is_no_number_fails():
    assert not near("depth", 1.0, math.nan, 0.1).holds
    assert stand_in(Found((between("depth", 0.0, math.inf, math.nan),))).state == "fails"


def test_shares_say_how_much_of_the_allowance_is_used():
    assert GOOD.share == pytest.approx(0.5)
    assert BAD.share == pytest.approx(1.5)
    assert between("width", 0.0, 2.0, 2.0).share == pytest.approx(1.0)
    assert between("width", 0.0, 2.0, 3.0).error == pytest.approx(1.0)
    assert between("width", 1.0, 2.0, 0.5).error == pytest.approx(-0.5)


def test_rows_without_numbers_are_not_counted():
    rows = [stand_in(Found((GOOD,))), stand_in(Found((BAD,))), stand_in(Found(state="not run"))]
    assert summary(rows) == "1 of 2 rows hold"


def test_a_row_survives_being_kept():
    row = stand_in(Found((GOOD, between("rest", 1.0, math.inf, 2.0)), "a note"))
    again = Row.from_record(json.loads(json.dumps(json_safe(row.record()))))
    assert again == row


def json_safe(record):
    from weldsim.system.files import plain

    return plain(record)


def test_page_and_markdown_say_what_fails_and_what_was_left_out(tmp_path):
    rows = [
        stand_in(Found((GOOD,)), "one"),
        stand_in(Found((BAD,), "<script>alert(1)</script>"), "two"),
        stand_in(Found(state="not compared", note="needs a measurement"), "three"),
    ]
    path = write_pages(tmp_path / "out", rows, True, "0.0")
    text = path.read_text(encoding="utf-8")
    assert "1 of 2 rows hold" in text and "<script" not in text
    assert "default-src 'none'" in text
    assert "needs a measurement" in text
    plain = (tmp_path / "out" / "validation.md").read_text(encoding="utf-8")
    assert plain.rstrip().endswith("1 of 2 rows hold")
    assert "+3 %" in plain and "± 2 %" in plain
    assert json.loads((tmp_path / "out" / "validation.json").read_text())["summary"] == (
        "1 of 2 rows hold"
    )


def test_a_range_is_shown_as_one():
    assert line(between("force", 1.0, 2.0, 1.5, "kN"))["expected"] == "1 to 2 kN"
    assert line(between("force", -math.inf, 2.0, 3.0, "kN"))["error"] == "1 kN outside"


def test_every_check_says_where_its_numbers_come_from():
    names = [c.name for c in CHECKS]
    assert len(set(names)) == len(names)
    for check in CHECKS:
        assert check.group in GROUPS and check.source and check.known and check.deviations
        assert check.against in AGAINST and check.tolerance, check.name
        assert all(words and address.startswith("https://") for words, address in check.links)


def test_a_doi_leads_to_its_paper():
    """Forms that the sources have: before a comma, before a colon, with brackets in it."""
    text = "doi 10.1007/BF02667333: its source, doi 10.1016/0168-874X(85)90003-4, Table 3."
    pieces = linked(text)
    assert "".join(words for words, _ in pieces) == text
    assert [a for _, a in pieces if a] == [
        "https://doi.org/10.1007/BF02667333", "https://doi.org/10.1016/0168-874X(85)90003-4",
    ]  # fmt: skip


def test_numbers_are_written_as_by_hand():
    assert [number(v) for v in (0.0, 1.7e-12, 1e5, 9.35e5, 1e-9)] == [
        "0", "1.7 × 10⁻¹²", "10⁵", "9.35 × 10⁵", "10⁻⁹",
    ]  # fmt: skip


def test_the_page_says_what_it_means_for_each_kind_of_joint(tmp_path):
    """A row of a kind is named under it; a measured whole part is said, and that there is none."""
    row = replace(stand_in(Found((GOOD,), kinds=("bar",)), "one"), against="measured")
    path = write_pages(tmp_path, [row], True, "0.0", ["one"])
    plain, text = ((tmp_path / n).read_text() for n in ("validation.md", path.name))
    assert "- flat bar: Made up (holds)" in plain and "- plate tee: none" in plain
    assert '<b>flat bar</b>: <a href="#one">Made up</a> (holds)' in text
    assert "No row is a measurement of a whole welded joint" in text
    assert "these alone: one" in text and "these alone: one" in plain
    whole = replace(row, group="joints", check="A welded frame")
    assert "Of whole parts, these were measured: A welded frame" in markdown([whole], ABOUT)


def test_a_quick_page_says_what_it_leaves_out(tmp_path):
    """Long checks by title, some of which fail; a page of all or of a few says nothing of it."""
    row = stand_in(Found((GOOD,)))
    text = write_pages(tmp_path, [row], True, "0.0").read_text()
    assert "Forty beads on a bar, measured" in text and "Not all of these hold" in text
    assert "Not all of these hold" in (tmp_path / "validation.md").read_text()
    for quick, only in ((False, ()), (True, ["made-up"])):
        text = write_pages(tmp_path, [row], quick, "0.0", only).read_text()
        assert "Not all of these hold" not in text


def test_units_and_pictures_are_as_a_reader_has_them(tmp_path):
    picture = '<svg role="img" aria-label="rise beside the arc"></svg>'
    row = stand_in(Found((near("film, 60 W/m2K, 5 J/mm3", 1.0, 1.0, 0.1, "um"),), picture=picture))
    text = write_pages(tmp_path, [row], True, "0.0").read_text()
    assert "film, 60 W/m²K, 5 J/mm³" in text and "1 µm" in text
    assert "Rise beside the arc.</figcaption>" in text


def test_a_page_loads_nothing_from_elsewhere(tmp_path):
    """Addresses stand in links alone."""
    row = replace(stand_in(Found((GOOD,))), links=(("a copy", "https://example.org/x"),))
    text = write_pages(tmp_path, [row], True, "0.0").read_text()
    assert text.count("https://") == text.count('<a href="https://') == 1


def test_an_unknown_check_is_refused():
    with pytest.raises(WeldsimError, match="--only 'nothing' is not allowed, allowed: heat"):
        checks_of(["nothing"], False)


def test_rows_of_another_program_are_computed_again(tmp_path):
    check = CHECKS[0]
    record = {"program": "other", "rows": [stand_in(Found((GOOD,))).record()]}
    place = tmp_path / "rows" / f"{check.name}.json"
    place.parent.mkdir()
    place.write_text(json.dumps(json_safe(record)))
    assert runner.kept(tmp_path, [check], False, "this") == {}
    assert list(runner.kept(tmp_path, [check], False, "other")) == [check.name]
    place.write_text('{"rows": 3}')
    with pytest.raises(StoreError, match="no rows of a validation"):
        runner.kept(tmp_path, [check], False, "other")


def test_a_check_that_cannot_be_computed_fails_its_row(monkeypatch):
    def refused(quick):
        raise WeldsimError("no mesh")

    def missing(quick):
        raise ModuleNotFoundError("no", name="felupe")

    for run, state in ((refused, "fails"), (missing, "not run")):
        check = Check("made-up", "heat", "Made up", "s", "k", "None.", run)
        monkeypatch.setattr(runner, "CHECKS", (check,))
        (row,) = runner.carry_out(("made-up", True))["rows"]
        assert row["state"] == state


def test_markdown_of_nothing_is_still_a_page():
    about = {**ABOUT, "summary": summary([])}
    assert "0 of 0 rows hold" in markdown([], about)
    assert "0 of 0 rows hold" in page([], about)


def test_comparison_of_a_kept_record_has_its_infinities_back():
    c = Comparison("x", None, 1.0, 0.0, math.inf)
    assert Comparison.of(json_safe(c.record())) == c


def test_a_long_source_is_cut_between_its_clauses():
    lines = [line for kind in ("bar", "square-tube-tee") for line in said_of(kind)]
    assert lines and not [line for line in lines if re.search(r"…|[,;:]\)$", line)]
    assert all(line.count("(") == line.count(")") for line in lines)


def test_what_is_not_claimed_is_shown_and_not_counted(tmp_path):
    """Outside its allowance, with its reason: neither holds nor fails, as the last line says."""
    left = stand_in(Found((BAD,), "a note", not_claimed="the model has no vapour."), "dug")
    assert left.state == "not claimed" and left.note.startswith("Not claimed: the model has no")
    assert summary([stand_in(Found((GOOD,))), left]) == (
        "1 of 1 rows hold; 1 compared and not claimed"
    )
    text = write_pages(tmp_path / "out", [left], True, "0.0").read_text(encoding="utf-8")
    assert "Compared and not claimed" in text and '<td class="outside">outside</td>' in text
    plain = (tmp_path / "out" / "validation.md").read_text(encoding="utf-8")
    assert "Compared and not claimed:" in plain and "the model has no vapour" in plain
    assert Row.from_record(json_safe(left.record())) == left


def test_a_plate_cools_in_one_dimension_as_its_closed_form_says():
    """A line of heat in a plate of constant properties: q2 / (4 pi k rho c d2) (1/300^2 - 1/600^2)
    by Rosenthal (1946), above a plate at 200 degC; heat over 0.5 s and 7 mm leaves under 2 %."""
    from weldsim.physics.heat_tables import HeatTables
    from weldsim.validation.line_solution import across, cooled

    k, rho, c, heat, d = 30.0, 7850.0, 650.0, 1.0, 6.0
    span = np.array([0.0, 6000.0])
    tables = HeatTables(rho, (span, c * span), (span, np.full(2, k)))
    wanted = (1e6 * heat / (1e-3 * d)) ** 2 / (4 * np.pi * k * rho * c) * (300.0**-2 - 600.0**-2)
    assert cooled(across(1e-3 * d), heat, 200.0, tables) == pytest.approx(wanted, rel=0.02)


def test_a_row_of_conditions_shows_its_first():
    """With its numbers as a person writes them, and how many more there are."""
    note = "What holds. Conditions: stress, at most, MPa: 8.739e-12 < 0.0021; flow: 0 == 0"
    said = worst(stand_in(Found(note=note, state="holds")))
    assert said == "stress, at most, MPa: 8.739 × 10⁻¹² < 0.0021; first of 2 conditions"
    assert worst(stand_in(Found(state="holds"))) == "conditions without a number of their own"
