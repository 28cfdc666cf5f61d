"""Case files that broke an earlier version, and the seeded spoiling of all that come with it."""

import os
import time

import pytest

from tests.knocks import case_files
from tests.knocks.tally import Tally, attempt, unreadable
from tests.places import CASES
from weldsim.case.load import load_case, parse_case
from weldsim.errors import CaseError, printable, readable

ONE = (CASES / "pivot_arm_one_bead.toml").read_text(encoding="utf-8")
TEE = (CASES / "mast_stub.toml").read_text(encoding="utf-8")
STEP = (CASES / "bracket_step.toml").read_text(encoding="utf-8")
DEEP = "[" * 2000 + "]" * 2000


def refused(text, changes=(), at="case.toml"):
    """The refusal in words; anything but a refusal passes through."""
    with pytest.raises(CaseError) as caught:
        parse_case(text, str(at), changes)
    said = str(caught.value)
    assert not unreadable(said) and said.startswith(str(at))
    return said


@pytest.mark.parametrize(
    "value, said",
    [
        ("9" * 5000, "not a TOML file"),
        (DEEP, "not a TOML file"),
        ("[" * 40 + "]" * 40, "20 deep"),
        ('"1e308 mm"', "beyond any length"),
        ("[1, 2]", "has no unit"),
    ],
    ids=["digits", "depth", "some depth", "size", "list"],
)
def test_a_size_beyond_all_measure_is_refused_in_words(value, said):
    assert said in refused(ONE.replace('thickness = "8 mm"', f"thickness = {value}"))


@pytest.mark.parametrize("value", ["9" * 5000, DEEP], ids=["digits", "depth"])
def test_so_it_is_in_a_change(value):
    assert "[part] thickness" in refused(ONE, [f"part.thickness={value}"])


@pytest.mark.parametrize(
    "value", [f'"{"m" * 300}.toml"', '["carbon-steel"]', '"a\\u0000b.toml"', '"/dev/zero.toml"']
)
def test_a_material_that_no_file_can_be_called(value):
    assert "[part] material" in refused(
        ONE.replace('material = "carbon-steel"', f"material = {value}")
    )


@pytest.mark.parametrize("name", ["s" * 300 + ".step", "a\\u0000b.step", "loop.step"])
def test_a_step_file_that_no_file_can_be_called(tmp_path, name):
    if os.name == "posix":
        (tmp_path / "loop.step").symlink_to("loop.step")
    text = STEP.replace(STEP.partition('file = "')[2].partition('"')[0], name)
    assert "is not found" in refused(text, at=tmp_path / "case.toml")


def test_a_seam_beyond_all_measure(tmp_path):
    """Lengths end at 1e7 m; a seam there crashed what reads drawings."""
    text = STEP.replace('[["7 mm", "5 mm", "7 mm"]', '[["1e308 mm", "5 mm", "7 mm"]')
    assert text != STEP and "[part]" in refused(text, at=tmp_path / "case.toml")


def test_a_pass_beyond_counting():
    assert "is not there, allowed: 1 to 1" in refused(
        TEE, ['schedule.order=["front/' + "9" * 5000 + ':left"]']
    )


def test_many_welds_at_one_place_are_refused_soon():
    began = time.process_time()
    assert "up to 500" in refused(case_files.coincident(2000))
    said = refused(case_files.coincident(100))
    assert len(said.splitlines()) <= 61 and "more mistakes" in said
    assert time.process_time() - began < 20.0  # minutes when every pair was told; 1 s here


@pytest.mark.skipif(os.name != "posix", reason="devices of POSIX systems")
@pytest.mark.parametrize("path", ["/dev/zero", "/dev/stdin", "."])
def test_a_case_that_is_no_file_is_refused(path):
    with pytest.raises(CaseError, match="cannot be read: it is not a file"):
        load_case(path)


@pytest.mark.parametrize("letter", ["\x1b[2J", "\x9b2J", "\u202e", "\x07", "\u2028"])
def test_control_characters_never_reach_a_message(letter):
    """ECMA-48: ESC [ 2 J clears a terminal; Unicode 9.1: U+202E turns the text round."""
    coded = "".join(f"\\u{ord(c):04x}" for c in letter)
    for text in (
        ONE.replace("title = ", f'title = "{coded}" #'),
        ONE.replace('material = "carbon-steel"', f'material = "{coded}"'),
        ONE.replace('name = "pointer"', f'name = "{coded}"'),
        ONE.replace("[part]", f'["{coded}"]'),
    ):
        assert letter not in refused(text)
    assert letter not in refused(ONE, [f"part.{letter}=1"])
    assert letter not in printable(letter) and printable(f"a{letter}b").startswith("a")


def test_a_long_line_keeps_its_begin_and_what_is_allowed():
    said = readable("x" * 5000 + "; allowed: a length")
    assert said.endswith("allowed: a length") and len(said) < 1000 and "left out" in said


@pytest.mark.slow
def test_spoiled_case_files_are_read_or_refused():
    tally = case_files.knock(1200, seed=1)
    assert not tally.broke, tally.report()
    assert tally.refused > 800 and tally.accepted > 20  # neither all nor nothing gets through


def test_the_tally_counts_what_breaks():
    """The harness itself: a traceback, an exit and an unreadable message are no refusals."""
    tally = Tally("own")

    def fail(error):
        raise error

    for error in (KeyError("x"), SystemExit(1), CaseError(" ")):
        attempt(tally, lambda e=error: fail(e), CaseError)
    attempt(tally, lambda: fail(CaseError("in words")), CaseError)
    attempt(tally, lambda: 1, CaseError)
    assert (tally.broke, tally.refused, tally.accepted) == (3, 1, 1)
