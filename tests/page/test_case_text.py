"""Comments of a case file outlive an edit; whatever happens, the text says what was asked for."""

import tomllib

import pytest

from tests.places import ROOT
from weldsim.page.case_text import edited

TEXT = """\
# Frame of a small tracker
title = "Frame"

[part]
kind = "bar"
length = "200 mm"  # sawn, not sheared

# first the long one
[[weld]]
name = "A"
at = "75 mm"  # from the held end
power = {kept = 1}

[[weld]]
name = "B"
at = "125 mm"

[solve]
grade = "quick"
error_estimate = true
"""


def changed(**more):
    """Tables of the text with something changed in them."""
    tables = tomllib.loads(TEXT)
    for key, value in more.items():
        if value is None:
            del tables[key]
        else:
            tables[key] = value
    return tables


WELDS = tomllib.loads(TEXT)["weld"]


@pytest.mark.parametrize(
    "tables",
    [
        changed(),
        changed(title="Other"),
        changed(solve=None),
        changed(solve={"grade": "quick", "error_estimate": 1}),
        changed(weld=WELDS[:1]),
        changed(weld=WELDS[1:]),
        changed(weld=[*WELDS, {"name": "C", "at": "10 mm"}]),
        changed(weld=[{"name": "C", "at": "10 mm"}, *WELDS]),
        changed(weld=WELDS[::-1]),
        changed(weld=[{**WELDS[0], "at": "80 mm"}, WELDS[1]]),
        changed(gauge=[{"name": "pointer", "aim": "+x"}]),
        changed(part={"kind": "plate-tee", "new": {"a": [1, 2.5, True]}}),
        changed(weld={"name": "one"}),
        changed(part=[{"kind": "bar"}]),
        {},
        {"odd key": {"a.b": "c\nd"}, "": ""},
    ],
)
def test_the_text_says_exactly_what_was_asked_for(tables):
    assert tomllib.loads(edited(TEXT, tables)) == tables


def test_what_is_not_changed_stays_as_it_was_written():
    assert edited(TEXT, changed()) == TEXT
    text = edited(TEXT, changed(title="Other"))
    assert text == TEXT.replace('"Frame"', '"Other"')
    text = edited(TEXT, changed(weld=[{**WELDS[0], "at": "80 mm"}]))
    assert "# first the long one" in text and 'at = "80 mm"  # from the held end' in text


@pytest.mark.parametrize("text", ["", "no toml", "a = 1\na = 2", "[" * 3000, "x = 1e999", "\ud800"])
def test_a_text_that_is_no_case_gives_a_new_one(text):
    assert tomllib.loads(edited(text, changed())) == changed()


@pytest.mark.parametrize("path", sorted((ROOT / "cases").glob("*.toml")), ids=lambda p: p.name)
def test_demo_cases_come_through_unchanged(path):
    text = path.read_text(encoding="utf-8")
    assert edited(text, tomllib.loads(text)) == text
