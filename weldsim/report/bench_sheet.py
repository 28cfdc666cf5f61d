"""The bench sheet: what to weld, which way, and what the gauges should read after each weld.

One record for the page of a report and for the sheet that is printed. Readings are those just
before the next arc, when there is time to read them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from weldsim.case.schedule import timetable
from weldsim.errors import WeldsimError
from weldsim.joints.registry import seam_lines_of, seams_of
from weldsim.plots.welds import arc_times, first_arc_start
from weldsim.report.comparison import verdicts
from weldsim.report.input_words import without_folders
from weldsim.runs.reading import RunRecord
from weldsim.runs.result import read_result
from weldsim.schema.column import Column
from weldsim.schema.process import PROCESSES
from weldsim.text.cautions import beside
from weldsim.text.quantities import Number, Quantity, Words, as_written, in_m, joined, words
from weldsim.text.tilts import sized
from weldsim.text.travel_words import faces_named, travel_words
from weldsim.text.words import SIDES, result_words, rounded

READ = ("pointer", "dial", "bow", "gap")  # kinds of gauges that a bench reads between welds
MOST_GAUGES = 2  # with boxes of their own on the sheet
OF_STUDY = (
    "± is the estimated error of this sequence in the study, larger in proportion where the part "
    "stands farther out"
)
WITH_SPREAD = f"{OF_STUDY}, together with the shop's spread (nine parts of ten)"
NO_SPREAD = "No error was estimated, so nothing says how far from these a reading may lie"
SCALED = (
    "± is the estimated error at the end, larger in proportion where the part stands farther out"
)
READ_BY = (
    "Read the gauges before each arc. If a reading lies farther off than ±, stop: weldsim next "
    "says what explains it and what to weld next."
)
READ_WITHOUT = (
    "Read the gauges before each arc: weldsim next says what explains a reading and what to weld "
    "next."
)


@dataclass(frozen=True)
class Step:
    """One weld of the sheet.

    Attributes
    ----------
    number : int
    weld, where : str
        Its name; seam, pass or tack.
    travel : str
        Toward what the arc goes.
    starts : Words
        When it may start.
    arc : Words
        Process, amperes, volts, speed.
    seconds : float
        Arc on. [s]
    expected : tuple of Words
        What each gauge should read before the next arc.
    """

    number: int
    weld: str
    where: str
    travel: str
    starts: Words
    arc: Words
    seconds: float
    expected: tuple[Words, ...]


@dataclass(frozen=True)
class Box:
    """A gauge to be read: its name and the sides to write down."""

    name: str
    how: Words
    sides: tuple[str, ...]


@dataclass(frozen=True)
class BenchSheet:
    """The whole sheet.

    Attributes
    ----------
    title : str
    source : str
        What the expectations are from.
    steps : tuple of Step
    gauges : tuple of Box
    marks : tuple of str
        End faces to be marked on the part, since the travel names them.
    answer : tuple of Words
        Where it ends, and the verdict.
    spread : str
        What the errors beside the expected readings are.
    """

    title: str
    source: str
    steps: tuple[Step, ...]
    gauges: tuple[Box, ...]
    marks: tuple[str, ...]
    answer: tuple[Words, ...]
    spread: str

    @property
    def how_to_read(self) -> str:
        """What to do with the readings, and what the errors beside the expected ones are."""
        return f"{READ_WITHOUT if self.spread == NO_SPREAD else READ_BY} {self.spread}."


def sheet_of_run(record: RunRecord) -> BenchSheet:
    """The sheet of a run folder.

    Parameters
    ----------
    record : RunRecord
        Finished or not; welds that have not been computed have no expectation.

    Returns
    -------
    BenchSheet

    Raises
    ------
    WeldsimError
        If the folder does not hold its case.
    """
    case = read_result(record.path).case
    due = _due_times(record)
    readings = [_at(record, due[w.name]) if w.name in due else None for w in case.welds]
    end = {c: c.to_si(float(record.gauges[c.name][-1])) for c in _columns(record)}
    known = {
        c: record.errors[c.name] / c.factor for c in end if record.errors.get(c.name) is not None
    }
    errors = [None if r is None else scaled_errors(r, end, known) for r in readings]
    answer = [as_written(line) for line in result_words(record) if not line.startswith("  ")]
    answer += [
        words("{}, tolerance {}: {}.", v["gauge"], v["tolerance"], beside(v["verdict"]))
        for v in verdicts(record)
    ]
    source = f"run {record.path.resolve().name}"
    return bench_sheet(case, source, readings, errors, answer, SCALED)


def bench_sheet(
    case,
    source: str,
    readings: Sequence[Mapping[Column, float] | None],
    errors: Sequence[Mapping[Column, float] | None],
    answer: Sequence[str],
    spread: str,
) -> BenchSheet:
    """The sheet of a case.

    Parameters
    ----------
    case : Case
        Its welds in order.
    source : str
        What the expectations are from.
    readings : list of dict or None
        For each weld, column -> reading before the next arc. [SI]
    errors : list of dict or None
        The same for their estimated errors; columns may be missing.
    answer : list of str
        Where it ends.
    spread : str
        What the errors are, where there are any.

    Returns
    -------
    BenchSheet
    """
    gauges = [g for g in case.gauges if g.kind in READ][:MOST_GAUGES]
    lines = seam_lines_of(case)
    rows, seams = timetable(case.welds), seams_of(case)
    steps = tuple(
        Step(
            number, weld.name, _where(weld, lines[weld.seam]), travel_words(case, weld, seam),
            _starts(weld, row), _arc(weld), row.duration,
            tuple(_expected(g, readings[number - 1], errors[number - 1]) for g in gauges),
        )
        for number, (weld, row, seam) in enumerate(zip(case.welds, rows, seams, strict=True), 1)
    )  # fmt: skip
    return BenchSheet(
        case.title, source, steps, tuple(_box(g) for g in gauges),
        tuple(faces_named(case, [s.travel for s in steps])), tuple(map(as_written, answer)),
        spread if any(errors) else NO_SPREAD,
    )  # fmt: skip


def scaled_errors(
    reading: Mapping[Column, float], end: Mapping[Column, float], errors: Mapping[Column, float]
) -> dict[Column, float]:
    """Errors on the way from those at the end, as `SCALED` says.

    Parameters
    ----------
    reading, end, errors : dict
        Column -> value. [SI]

    Returns
    -------
    dict
        Column -> error, never below that of the end. [SI]
    """
    out = {}
    for column, error in errors.items():
        alike = [c for c in end if (c.gauge, c.unit) == (column.gauge, column.unit)]
        size, last = (float(np.linalg.norm([r[c] for c in alike])) for r in (reading, end))
        out[column] = error * max(1.0, size / last if last > 0 else 1.0)
    return out


def _columns(record: RunRecord) -> list[Column]:
    return [Column(c.gauge, c.component, c.unit) for c in record.columns if c.weld is None]


def _due_times(record: RunRecord) -> dict[str, float]:
    """Weld -> time by which it is read: before the next arc, for the last one the end. [s]"""
    zero, arcs = first_arc_start(record), arc_times(record)
    due = [start + zero for _, start, _ in arcs[1:]]
    if record.complete:
        due.append(float(record.gauges["time_s"][-1]))
    return dict(zip((name for name, *_ in arcs), due, strict=False))


def _at(record: RunRecord, time: float) -> dict[Column, float]:
    """Readings at a time or just before. [SI]"""
    row = int(np.searchsorted(record.gauges["time_s"], time + 1e-9, side="right")) - 1
    return {c: c.to_si(float(record.gauges[c.name][max(row, 0)])) for c in _columns(record)}


def _where(weld, line) -> str:
    if weld.tack >= 0:
        return "tack"
    if not weld.filler:
        return "heat only"
    return f"pass {weld.number} of {line.passes}" if line.passes > 1 else "bead"


def _arc(weld) -> Words:
    """Process, amperes, volts and speed."""
    name, _ = PROCESSES[weld.arc.process]
    arc = weld.arc
    speed = sized(1e3 * arc.speed, "mm/s", 2)
    return words("{}, {} A, {} V, {}", name, f"{arc.current:.4g}", f"{arc.voltage:.4g}", speed)


def _starts(weld, row) -> Words:
    """When a weld may start."""
    at_once = weld.start.kind == "time" and weld.start.seconds == 0
    return Words("first" if at_once else as_written(row.rule))


def _box(gauge) -> Box:
    if gauge.kind == "pointer":
        how = words("beam from the {}, target {} away", gauge.at, in_m(gauge.throw))
        return Box(gauge.name, how, ("up", "right"))
    place = gauge.at if isinstance(gauge.at, str) else "its place in the drawing"
    return Box(gauge.name, words("{} at {}", gauge.kind, place), ("reads",))


def _expected(
    gauge, reading: Mapping[Column, float] | None, errors: Mapping[Column, float] | None
) -> Words:
    """What a gauge should read, with its estimated error; a dash where it is not known."""
    own = [c for c in reading or {} if c.gauge == gauge.name and c.unit == "mm"]
    if not own or reading is None:
        return Words("–")
    said = [_one(c, reading[c], (errors or {}).get(c)) for c in own]
    return joined("\n", said)


def _one(column: Column, value: float, error: float | None) -> Words:
    """`12 mm up ±1 mm`, rounded to its error; a gauge without sides keeps its sign."""
    sides, shown = SIDES.get(column.component), 1e3 * value
    digits = rounded(shown, None if error is None else 1e3 * error, "mm")
    number = digits.lstrip("+-") if sides else digits
    side = f" {sides[value < 0]}" if sides else ""
    text = words("{}{}", Quantity((Number(shown, number),), "mm"), side)
    if error is None:
        return text
    spread = Quantity(("±", Number(1e3 * error, f"{1e3 * error:.2g}", True)), "mm")
    return words("{} {}", text, spread)


def sheet_or_reason(record: RunRecord) -> tuple[BenchSheet | None, str]:
    """The sheet of a run, or why there is none."""
    try:
        return sheet_of_run(record), ""
    except WeldsimError as error:
        return None, without_folders(str(error).splitlines()[0])
