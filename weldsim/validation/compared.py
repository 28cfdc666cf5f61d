"""A plugin for pytest: keeps the numbers that tests compare, for the rows of a validation.

Started as `pytest -p weldsim.validation.compared --compared FILE`. What `approx` and
`assert_allclose` compare is kept as numbers, other conditions as text.
"""

from __future__ import annotations

import inspect
import json
import linecache
import sys
from pathlib import Path
from typing import Any

MOST_CONDITIONS = 6
MOST_LETTERS = 150
_of_test: dict[str, Any] = {}
_all: dict[str, dict] = {}


def pytest_addoption(parser) -> None:
    """The file that the comparisons go to."""
    parser.addoption("--compared", default=None)


def pytest_configure(config) -> None:
    """Listen to what is compared from here on."""
    import _pytest.assertion.rewrite as rewrite
    import numpy as np
    import pytest

    approximate = type(pytest.approx(1.0))  # what every comparison of numbers comes down to
    rewrite._read_pyc = lambda *_a, **_k: None  # kept test code does not tell its conditions
    rewrite._write_pyc = lambda *_a, **_k: False
    plain_equal = approximate.__eq__

    def equal(self, actual) -> bool:
        held = plain_equal(self, actual)
        _note_number(actual, self.expected, getattr(self, "tolerance", 0.0))
        return held

    approximate.__eq__ = equal
    plain_close = np.testing.assert_allclose

    def close(actual, desired, rtol=1e-7, atol=0, *args, **kwargs):
        a, d = np.broadcast_arrays(np.asarray(actual, float), np.asarray(desired, float))
        room = atol + rtol * np.abs(d)
        if a.size:
            worst = np.unravel_index(np.argmax(np.abs(a - d) - room), a.shape)
            _note_number(a[worst], d[worst], room[worst])
        return plain_close(actual, desired, rtol, atol, *args, **kwargs)

    np.testing.assert_allclose = close


def _note_number(actual, expected, tolerance) -> None:
    try:
        numbers = [float(expected), float(actual), float(tolerance)]
    except (TypeError, ValueError):
        return
    _of_test.setdefault("numbers", []).append([_asked_at(), *numbers])


def _asked_at() -> str:
    """The line of the test that compares, as it is written."""
    frame = sys._getframe(1)
    while frame is not None and Path(frame.f_code.co_filename).name[:5] != "test_":
        frame = frame.f_back
    if frame is None:
        return "comparison"
    line = linecache.getline(frame.f_code.co_filename, frame.f_lineno)
    return _short(line.strip().removeprefix("assert ").partition("  # ")[0])


def pytest_assertion_pass(item, lineno, orig, expl) -> None:
    """A condition that held, as it was written, with its numbers."""
    if "approx" in orig or not any(sign in orig for sign in ("<", ">", "==")):
        return
    kept = _of_test.setdefault("conditions", [])
    if len(kept) < MOST_CONDITIONS:
        kept.append(f"{_short(orig)} [{_short(expl.splitlines()[0])}]")


def _short(text: str) -> str:
    text = " ".join(text.split())
    return text if len(text) <= MOST_LETTERS else text[: MOST_LETTERS - 3] + "..."


def pytest_runtest_setup(item) -> None:
    """A test begins: nothing is compared yet."""
    _of_test.clear()


def pytest_runtest_logreport(report) -> None:
    """Keep what a test compared with how it ended."""
    file, _, rest = report.nodeid.partition("::")
    function = rest.partition("[")[0]
    entry = _all.setdefault(
        function, {"outcomes": [], "numbers": [], "conditions": [], "said": "", "seconds": 0.0}
    )
    entry["seconds"] += report.duration
    if report.when == "call" or report.outcome != "passed":
        entry["outcomes"].append(report.outcome)
    if report.when == "call":
        entry["numbers"] += _of_test.get("numbers", [])
        entry["conditions"] += _of_test.get("conditions", [])
    if report.failed:
        entry["said"] = str(report.longrepr)[-2000:]


def pytest_collection_modifyitems(items) -> None:
    """What each test says of itself."""
    for item in items:
        name = item.nodeid.partition("::")[2].partition("[")[0]
        entry = _all.setdefault(
            name, {"outcomes": [], "numbers": [], "conditions": [], "said": "", "seconds": 0.0}
        )
        entry["says"] = inspect.getdoc(item.function) or ""


def pytest_sessionfinish(session) -> None:
    """Write it all down."""
    place = session.config.getoption("--compared")
    if place:
        Path(place).write_text(json.dumps(_all), encoding="utf-8")
