"""What a test compares, as the rows of a validation keep it: beside `pytest.approx` itself."""

import ast
import inspect

import numpy as np
import pytest

from weldsim.validation.compared import allowed, compared_in, furthest, plain_numbers
from weldsim.validation.spoken import in_unit, messages, words
from weldsim.validation.suite import ROOT
from weldsim.validation.suite_files import FILES

SAID = [(None, None), (1e-3, None), (None, 0.2), (1e-3, 0.2), (0.1, 1e-9)]


@pytest.mark.parametrize(("rel", "absolute"), SAID)
@pytest.mark.parametrize("expected", [927.0, -3.5, 0.0])
def test_the_tolerance_is_that_of_approx(expected, rel, absolute):
    """A little inside it pytest holds the numbers for equal, a little outside it does not."""
    room = float(allowed(np.array(expected), rel, absolute))
    given = pytest.approx(expected, rel=rel, abs=absolute)
    step = 1e-3 * room
    assert expected + room - step == given and expected - room + step == given
    assert expected + room + step != given and expected - room - step != given


def tenth(wanted):
    return 0.1 * np.abs(wanted)


def test_the_element_that_is_furthest_off_is_kept():
    assert furthest([1.0, 2.1, 3.0], [1.0, 2.0, 3.0], tenth)[:2] == (2.0, 2.1)
    assert furthest({"a": 1.0, "b": 5.0}, {"b": 4.0, "a": 1.0}, tenth)[:2] == (4.0, 5.0)
    assert furthest(np.ones((2, 2)), 1.5, lambda w: np.full(w.shape, 0.1)) == (1.5, 1.0, 0.1)
    exact = [1e-40, 3.0, 2.0]  # all exact: the largest is shown, not one that is next to nothing
    assert furthest(exact, exact, lambda w: np.full(w.shape, 0.1))[0] == 3.0
    assert furthest([0.0, 1.0], [0.0, 1.1], lambda w: np.zeros(w.shape))[:2] == (1.1, 1.0)


def test_what_is_no_number_is_not_kept():
    assert furthest("a", "a", tenth) is None
    assert furthest([1.0, 2.0], [1.0, 2.0, 3.0], tenth) is None
    assert furthest({"a": 1.0}, {"b": 1.0}, tenth) is None


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("assert seam.mean() == pytest.approx(355, rel=0.05)  # of the table", "seam.mean()"),
        ("np.testing.assert_allclose(f(a, b)[0], 2 * c, rtol=1e-9)", "f(a, b)[0]"),
        ("np.testing.assert_allclose(", ""),
        ("assert 1 < x", "1 < x"),
    ],
)
def test_a_row_says_what_is_compared(line, said):
    assert compared_in(line) == said


def test_numbers_are_read_without_their_type():
    assert plain_numbers("np.float64(0.00010031713) < 0.9 and np.True_") == (
        "0.0001003 < 0.9 and True"
    )
    assert plain_numbers("1.5 < (((1e-05 * 355) * 20.0) * 6.0)") == "1.5 < 0.426"


def test_a_number_is_called_what_its_assertion_says(tmp_path):
    """Its names filled in, on whatever line of the assertion it is asked."""
    path, said = tmp_path / "test_it.py", []
    path.write_text(
        "def asks(depth, look):\n"
        "    assert look(\n"
        "        depth\n"
        '    ), f"rise {depth} mm deep [K]"\n'
        "    look(depth)\n",
        encoding="utf-8",
    )

    def look(depth):
        asking = inspect.currentframe().f_back
        said.append(words(asking, asking.f_lineno))
        return True

    scope = {}
    exec(compile(path.read_text(encoding="utf-8"), str(path), "exec"), scope)
    scope["asks"](20, look)
    assert said == ["rise 20 mm deep [K]", ""]


@pytest.mark.parametrize("file", FILES, ids=[f.path for f in FILES])
def test_rows_of_tests_call_their_numbers_by_name(file):
    """A stranger reads them: no comparison of a file of rows is left without a message."""
    path = ROOT / "tests" / file.path
    asks = [
        node for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Assert) or getattr(node, "attr", "") == "assert_allclose"
    ]  # fmt: skip
    spoken = messages(path)
    assert asks
    assert [node.lineno for node in asks if node.lineno not in spoken] == []


@pytest.mark.parametrize(
    ("asked", "shown"),
    [
        ("stress at 20 mm [Pa]", ("stress at 20 mm", 1e-6, "MPa")),
        ("time to cool [s]", ("time to cool", 1.0, "s")),
        ("share of the heat", ("share of the heat", 1.0, "")),
    ],
)
def test_the_unit_stands_at_the_end(asked, shown):
    assert in_unit(asked) == shown
