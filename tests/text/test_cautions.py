"""Cautions: one list, told everywhere, and every answer ends with a line of them."""

import ast
import re

import pytest

from tests.places import ROOT
from weldsim.text.cautions import CAUTIONS, DEFER, PREDICTION, beside, closing

ASKED = ("run", "plan", "next", "preset", "correct", "why")


def one_line(text):
    return re.sub(r"\s+", " ", text)


def test_readme_has_the_list_in_its_order_and_nothing_else_under_it():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    section = text.partition("## Cautions\n")[2].partition("\n## ")[0]
    intro, *items = one_line(section).split(" - ")
    assert [item.strip() for item in items] == [str(line) for line in CAUTIONS]
    assert DEFER[1:] in intro  # the first letter stands inside a sentence or opens one


@pytest.mark.parametrize(
    "hazard",
    # those of ANSI Z49.1 and of common practice in a workshop; from memory
    ["permit", "fire watch", "Zinc", "paint", "cylinders", "Closed tubes", "residues", "shade",
     "dry gloves", "pacemaker", "no colour", "stores energy", "springs back", "laser"],
)  # fmt: skip
def test_the_usual_hazards_are_named(hazard):
    assert hazard in " ".join(CAUTIONS)


@pytest.mark.parametrize("verb", ASKED)
def test_each_verb_ends_with_one_line_that_defers(verb):
    """Read from its module: the line is asked for, for this verb."""
    source = (ROOT / "weldsim/cli" / f"{verb}.py").read_text(encoding="utf-8")
    calls = [
        node.args[0].value
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "closing"
    ]
    assert calls and set(calls) == {verb}
    line = closing(verb)
    assert "\n" not in line and line.startswith("Caution: ")
    for word in ("prediction", "approves nothing", "Local codes".lower(), "licensed engineer"):
        assert word in line


def test_the_line_names_what_the_answer_makes_people_do():
    assert "before you weld" in closing("plan").lower() and "weld" in closing("next")
    assert "bend" in closing("preset") and "springs back" in closing("preset")


@pytest.mark.parametrize(
    "verdict", ["inside", "outside", "too close to call", "inside, no estimated error"]
)
def test_an_inside_alone_is_said_to_approve_nothing(verdict):
    said = beside(verdict)
    assert said.startswith(verdict.partition(",")[0])
    assert (PREDICTION in said) == verdict.startswith("inside")


@pytest.mark.parametrize("number", ["01", "02", "03", "04"])
def test_notebooks_that_make_people_weld_print_them(number):
    (path,) = (ROOT / "notebooks").glob(f"{number}_*.py")
    text = path.read_text(encoding="utf-8")
    assert "(*weldsim.CAUTIONS, weldsim.DEFER)" in text
