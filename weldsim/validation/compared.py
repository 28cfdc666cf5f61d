"""A plugin for pytest: keeps the numbers that tests compare, for the rows of a validation.

Started as `pytest -p weldsim.validation.compared --compared FILE`. While tests run, `pytest.approx`
and `numpy.testing.assert_allclose` are stood in for by functions that note what they are given and
then ask the real ones; conditions without either come from the hook for assertions that passed.
What a test compared travels with its report, as `record_property` would send it.
"""

from __future__ import annotations

import inspect
import json
import math
import re
import traceback
from collections.abc import Callable, Generator, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from functools import partial
from pathlib import Path
from types import FrameType
from typing import Any, NamedTuple

import numpy as np
import pytest

from weldsim.validation.spoken import words

MOST_CONDITIONS = 6
MOST_LETTERS = 150
PRODUCT = re.compile(r"\((-?[\d.e+-]+(?: \* -?[\d.e+-]+)*)\)")  # (1e-05 * 355)
NUMBER, CONDITION = "compared-number", "compared-condition"  # names of the properties kept
RELATIVE, ABSOLUTE = 1e-6, 1e-12  # what `pytest.approx` allows when nothing is said


class Number(NamedTuple):
    """One number that a test compared: the line that asks, and what it may be off by."""

    asked: str
    expected: float
    actual: float
    room: float


@dataclass
class Entry:
    """What became of a test function, all its cases together."""

    says: str = ""
    outcomes: list[str] = field(default_factory=list)
    numbers: list[Number] = field(default_factory=list)
    conditions: list[str] = field(default_factory=list)
    said: str = ""
    seconds: float = 0.0


def allowed(expected: np.ndarray, rel: float | None, absolute: float | None) -> np.ndarray:
    """What `pytest.approx` documents as its tolerance: the larger of the two that count.

    Parameters
    ----------
    expected : ndarray
        Any shape.
    rel, absolute : float, optional
        As given to it; an absolute tolerance alone switches the relative one off.

    Returns
    -------
    ndarray
        Of the shape of `expected`.
    """
    least = np.full(expected.shape, ABSOLUTE if absolute is None else absolute)
    if rel is None and absolute is not None:
        return least
    return np.maximum((RELATIVE if rel is None else rel) * np.abs(expected), least)


def furthest(actual: Any, expected: Any, may_be_off: Callable[[np.ndarray], np.ndarray]):
    """The element that is furthest off for what it may be: (expected, actual, room), or None.

    Of those that are alike in that, as where all are exact, the largest says most.
    """
    if isinstance(expected, Mapping) and isinstance(actual, Mapping):
        if set(actual) != set(expected):
            return None
        actual, expected = [actual[k] for k in expected], list(expected.values())
    try:
        wanted, found = (np.asarray(v, float) for v in (expected, actual))
        wanted, found = np.broadcast_arrays(wanted, found)
    except (TypeError, ValueError):
        return None  # texts, or shapes that do not fit: the test says so itself
    if not wanted.size:
        return None
    room = may_be_off(wanted)
    off = np.abs(found - wanted)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(off == 0, 0.0, off / room)
    share = np.where(np.isnan(off), -np.inf, share)
    last = np.lexsort((np.abs(wanted).ravel(), share.ravel()))[-1]
    worst = np.unravel_index(int(last), share.shape)
    return float(wanted[worst]), float(found[worst]), float(room[worst])


class Approximately:
    """Stands in for what `pytest.approx` gives: compares as it does, and notes the numbers."""

    __array_ufunc__ = None  # so that an array on the left asks this object and not its elements
    __array_priority__ = 100

    def __init__(self, real: Any, recorder: Recorder, *given: Any) -> None:
        self.real, self.recorder, self.given = real, recorder, given

    def __repr__(self) -> str:
        return repr(self.real)

    def __eq__(self, actual: object) -> bool:
        expected, rel, absolute = self.given
        room = partial(allowed, rel=rel, absolute=absolute)
        self.recorder.note(furthest(actual, expected, room))
        return bool(self.real == actual)

    def __ne__(self, actual: object) -> bool:
        return not self == actual

    __hash__ = None  # type: ignore[assignment]  # as the real one


class Recorder:
    """The hooks, and what they have gathered.

    Parameters
    ----------
    place : path, optional
        Where it is written when all tests are done.
    """

    def __init__(self, place: Path | None) -> None:
        self.place = place
        self.entries: dict[str, Entry] = {}
        self.running: pytest.Item | None = None

    def note(self, found: tuple[float, float, float] | None) -> None:
        """Keep a number with the test that is running."""
        if self.running is not None and found is not None:
            self.running.user_properties.append((NUMBER, Number(asking_line(), *found)))

    @contextmanager
    def listening(self) -> Iterator[None]:
        """The two functions stood in for, and put back."""
        real, close = pytest.approx, np.testing.assert_allclose

        def approx(expected: Any, rel=None, abs=None, nan_ok: bool = False) -> Approximately:
            made = real(expected, rel=rel, abs=abs, nan_ok=nan_ok)
            return Approximately(made, self, expected, rel, abs)

        def assert_allclose(actual, desired, rtol=1e-7, atol=0, *more, **named) -> None:
            self.note(furthest(actual, desired, lambda wanted: atol + rtol * np.abs(wanted)))
            close(actual, desired, rtol, atol, *more, **named)

        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(pytest, "approx", approx)
            patch.setattr(np.testing, "assert_allclose", assert_allclose)
            yield

    @pytest.hookimpl(wrapper=True)
    def pytest_runtestloop(self) -> Generator[None, object, object]:
        """Listen while tests run."""
        with self.listening():
            return (yield)

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        """What each test says of itself."""
        for item in items:
            self.entry(item.nodeid).says = inspect.getdoc(getattr(item, "function", None)) or ""

    def entry(self, nodeid: str) -> Entry:
        """Of a test function, by the name of one of its cases."""
        name = nodeid.partition("::")[2].partition("[")[0]
        return self.entries.setdefault(name, Entry())

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_call(self, item: pytest.Item) -> Generator[None, object, object]:
        """Numbers belong to this test from here on."""
        self.running = item
        try:
            return (yield)
        finally:
            self.running = None

    def pytest_assertion_pass(self, item: pytest.Item, orig: str, expl: str) -> None:
        """A condition that held, as it was written, with its numbers."""
        if "approx" not in orig and any(sign in orig for sign in ("<", ">", "==")):
            asked, found = orig.partition("  # ")[0], short(plain_numbers(expl.splitlines()[0]))
            spoken = spoken_here()
            said = f"{spoken}: {found}" if spoken else f"{short(asked)} [{found}]"
            item.user_properties.append((CONDITION, said))

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Keep what a test compared with how it ended."""
        entry = self.entry(report.nodeid)
        entry.seconds += report.duration
        if report.when == "call" or report.outcome != "passed":
            entry.outcomes.append(report.outcome)
        if report.when == "call":
            kept = report.user_properties
            entry.numbers += [Number(*v) for name, v in kept if name == NUMBER]  # type: ignore[misc]
            conditions = [str(v) for name, v in kept if name == CONDITION]
            entry.conditions += conditions[:MOST_CONDITIONS]
        if report.failed:
            entry.said = report.longreprtext[-2000:]

    def pytest_sessionfinish(self) -> None:
        """Write it all down."""
        if self.place is not None:
            plain = {name: asdict(entry) for name, entry in self.entries.items()}
            self.place.write_text(json.dumps(plain), encoding="utf-8")


def asking_line() -> str:
    """What the test calls what it compares; without a message, the line as it is written."""
    return spoken_here() or next(map(written, asking_frames()), "comparison")


def written(place: tuple[FrameType, int]) -> str:
    """What a line of a test compares, as it is written."""
    found = traceback.StackSummary.extract(iter([place]))
    return short(compared_in(found[0].line or ""))


def asking_frames() -> Iterator[tuple[FrameType, int]]:
    """Frames of files of tests with their lines, the innermost first."""
    for frame, number in traceback.walk_stack(None):
        if Path(frame.f_code.co_filename).name.startswith("test_"):
            yield frame, number


def spoken_here() -> str:
    """The message of the assertion that is being asked."""
    return next(filter(None, (short(words(*f)) for f in asking_frames())), "")


def compared_in(line: str) -> str:
    """What a line of a test compares: expected and allowed stand beside it in a row anyway."""
    line = line.strip().removeprefix("assert ").partition("  # ")[0]
    line = line.partition(" == pytest.approx(")[0]
    inner = line.removeprefix("np.testing.assert_allclose(")
    if inner == line:
        return line
    depth = 0
    for place, letter in enumerate(inner):
        depth += (letter in "([{") - (letter in ")]}")
        if depth < 0 or (letter == "," and depth == 0):
            return inner[:place]
    return inner


def plain_numbers(text: str) -> str:
    """Numbers of numpy as four figures, without the name of their type."""

    def figures(found: re.Match[str]) -> str:
        try:
            return f"{float(found[1]):.4g}"
        except ValueError:
            return found[1]

    text = re.sub(r"np\.(True|False)_", r"\1", text)
    text = re.sub(r"np\.\w+\(([^()]*)\)", figures, text)
    while (worked := PRODUCT.sub(product, text)) != text:
        text = worked
    return text


def product(found: re.Match[str]) -> str:
    """Numbers multiplied in brackets, as one number of four figures."""
    return f"{math.prod(float(factor) for factor in found[1].split('*')):.4g}"


def short(text: str) -> str:
    """On one line, and no longer than a row can show."""
    text = " ".join(text.split())
    return text if len(text) <= MOST_LETTERS else text[: MOST_LETTERS - 3] + "..."


def pytest_addoption(parser: pytest.Parser) -> None:
    """The file that the comparisons go to."""
    parser.addoption("--compared", default=None)


def pytest_configure(config: pytest.Config) -> None:
    """The hooks, with a memory of their own for each session."""
    place = config.getoption("--compared")
    config.pluginmanager.register(Recorder(Path(place) if place else None), "weldsim-compared")
