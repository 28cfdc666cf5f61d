"""The bench sheet on paper: A4, or Letter in US units, filled by table, drawing and boxes."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from weldsim.plots.style import LETTER, new_figure, styled
from weldsim.report.bench_sheet import BenchSheet, Step
from weldsim.system.files import whole_file
from weldsim.system.palette import FAINT, INK, QUIET, WHITE
from weldsim.text.cautions import APPROVES_NOTHING, CAUTIONS, DEFER, HEADING
from weldsim.text.quantities import Units, as_written

PAPER_SIZES = {"metric": (8.27, 11.69), "us": (8.5, 11.0)}  # A4, Letter [inch]
MARGIN = 0.5  # inch, as all below
MOST_ROW, MOST_BOX = 0.95, 0.5
DRAWING = 4.4  # most height of the drawing
NO_DRAWING = 1.9  # height of what stands beside it
SIZE, SMALL, TINY = 9.5, 8.4, 7.0  # points
LINE = 1.3 / 72  # line height for a point of letter size
NARROW = 0.88  # of a letter's usual width: running text has few wide ones
UNIT_GAP = re.compile(r"(?<=\d) (?=(?:mm|in|ft|m|A|V|s|kJ|°)\b)")
SIDE = 2.3  # width of the column beside the drawing


@dataclass(frozen=True)
class Sheet:
    """A page that is being drawn: axes in inches from its top left corner."""

    figure: Any
    axes: Any
    width: float
    height: float

    def text(self, x: float, y: float, text: str, size: float = SIZE, **more: Any) -> None:
        """Text whose top left corner is at a place."""
        self.axes.text(x, y, text, size=size, va="top", linespacing=1.25, **more)

    def line(self, x: Sequence[float], y: Sequence[float], color: str = FAINT) -> None:
        """A thin line."""
        self.axes.plot(x, y, color=color, lw=0.7)

    @property
    def inner(self) -> float:
        """Width between the margins."""
        return self.width - 2 * MARGIN


@styled
def sheet_pages(sheet: BenchSheet, drawing: Path | None, units: Units = "metric") -> list[Any]:
    """Pages of a bench sheet.

    Parameters
    ----------
    sheet : BenchSheet
    drawing : path or None
        The part with its welds, as `plots.layout` draws it.
    units : {"metric", "us"}

    Returns
    -------
    list of matplotlib.figure.Figure
        The first with drawing, boxes and cautions; more where the welds do not fit on it.
    """
    first = _new_sheet(units)
    foot = _foot_lines(first, sheet, units)
    bottom = first.height - MARGIN - foot[-1]
    room = bottom - _HEAD
    row = _row_height(first, sheet, units)
    left = room - _TABLE_HEAD - row * len(sheet.steps)  # a smaller drawing rather than a page more
    picture = _drawing_height(first, drawing)
    picture = left if NO_DRAWING < left < picture else picture
    fit = max(int((room - picture - _TABLE_HEAD) / row), 1)
    _head(first, sheet)
    _drawing(first, drawing, picture)
    _side(first, sheet, units)
    _table(first, sheet, sheet.steps[:fit], _HEAD + picture, bottom, units)
    _foot(first, foot, bottom)
    return [first.figure, *_more(sheet, sheet.steps[fit:], units)]


def write_sheet(
    sheet: BenchSheet, path: str | Path, drawing: Path | None = None, units: Units = "metric"
) -> Path:
    """Write a bench sheet as a PDF file, whole or not at all.

    Parameters
    ----------
    sheet : BenchSheet
    path : path
        File to write.
    drawing : path, optional
        See `sheet_pages`.
    units : {"metric", "us"}

    Returns
    -------
    Path
        Of the file.
    """
    from matplotlib import rc_context
    from matplotlib.backends.backend_pdf import PdfPages

    path = Path(path)
    with rc_context({"pdf.fonttype": 42}), whole_file(path) as beside, PdfPages(beside) as pages:
        for figure in sheet_pages(sheet, drawing, units):
            pages.savefig(figure)
    return path


_HEAD, _TABLE_HEAD = MARGIN + 0.95, 0.42


def _new_sheet(units: Units) -> Sheet:
    width, height = PAPER_SIZES[units]
    figure = new_figure(width, height)
    figure.set_facecolor(WHITE)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set(xlim=(0, width), ylim=(height, 0))
    axes.set_axis_off()
    return Sheet(figure, axes, width, height)


def _head(page: Sheet, sheet: BenchSheet) -> None:
    page.text(MARGIN, MARGIN, sheet.title, 15, weight="bold")
    page.text(MARGIN, MARGIN + 0.33, f"Bench sheet, from {sheet.source}: weld in this sequence, "
              "in these directions", SIZE, color=QUIET)  # fmt: skip
    y = MARGIN + 0.82
    each = page.inner / 4
    for number, word in enumerate(("Date", "Welder", "Part no.", "Metal, batch")):
        x = MARGIN + number * each
        page.text(x, y - 0.16, word, SMALL)
        start = x + LETTER * SMALL * len(word) + 0.08
        page.line((start, x + each - 0.12), (y, y))


def _drawing(page: Sheet, drawing: Path | None, height: float) -> None:
    width = page.inner - SIDE
    if drawing is None:
        page.text(MARGIN, _HEAD + 0.3, "No drawing: pictures cannot be made on this machine.")
        return
    import matplotlib.image as image

    box = (MARGIN / page.width, 1 - (_HEAD + height - 0.05) / page.height,
           width / page.width, (height - 0.1) / page.height)  # fmt: skip
    axes = page.figure.add_axes(box)
    axes.imshow(image.imread(drawing))
    axes.set_anchor("NW")
    axes.set_axis_off()


def _drawing_height(page: Sheet, drawing: Path | None) -> float:
    """As wide as its column, as far as it does not push the welds off the page."""
    if drawing is None:
        return NO_DRAWING
    import matplotlib.image as image

    high, wide = image.imread(drawing).shape[:2]
    return min(max((page.inner - SIDE) * high / wide + 0.15, NO_DRAWING), DRAWING)


def _side(page: Sheet, sheet: BenchSheet, units: Units) -> None:
    """Gauges, and end faces to be marked, beside the drawing."""
    x, y = page.width - MARGIN - SIDE + 0.15, _HEAD + 0.1
    for box in sheet.gauges:
        text = f"{box.name}: {box.how.text(units)}"
        y = _paragraph(page, x, y, text, SIDE - 0.15, SMALL) + 0.06
    for side in dict.fromkeys(s for box in sheet.gauges for s in box.sides):
        page.text(x, y + 0.04, f"{side} before welding", SMALL)
        _box(page, page.width - MARGIN - 0.75, y, 0.75, 0.26)
        y += 0.33
    for name in sheet.marks:
        page.text(x, y + 0.1, f"Mark: {name} is at", SMALL)
        page.line((x, page.width - MARGIN), (y + 0.48, y + 0.48))
        y += 0.56


def _columns(page: Sheet, sheet: BenchSheet) -> list[tuple[str, float, float]]:
    """Heading, left end and width of each column."""
    boxes = [f"{b.name}, {s}" if s != "reads" else b.name for b in sheet.gauges for s in b.sides]
    side = 0.72
    shares = {"": 0.05, "weld": 0.15, "travel": 0.22, "start": 0.17, "set": 0.18,
              "expected": 0.23}  # fmt: skip
    if not boxes:
        del shares["expected"]
    rest = (page.inner - side * len(boxes)) / sum(shares.values())
    out, x = [], MARGIN
    for name, width in [*((n, rest * s) for n, s in shares.items()), *((b, side) for b in boxes)]:
        out.append((name, x, width))
        x += width
    return out


def _table(
    page: Sheet, sheet: BenchSheet, steps: Sequence[Step], top: float, bottom: float, units: Units
) -> None:
    columns = _columns(page, sheet)
    for name, x, width in columns:
        heading = {"expected": "expected before the next arc"}.get(name, name)
        _paragraph(page, x + 0.04, top + 0.06, heading, 0.85 * width, TINY + 0.6, weight="bold")
    y = top + _TABLE_HEAD
    least = _row_height(page, sheet, units)
    row = min(max((bottom - y) / max(len(steps), 1), least), max(MOST_ROW, least))
    for step in steps:
        page.line((MARGIN, page.width - MARGIN), (y, y))
        _row(page, columns, step, y, row, units)
        y += row
    page.line((MARGIN, page.width - MARGIN), (y, y))
    if bottom - y > 0.4:
        page.text(MARGIN, y + 0.1, "Remarks", SMALL)
        for below in np.arange(y + 0.55, bottom, 0.35):
            page.line((MARGIN, page.width - MARGIN), (below, below))


def _cells(step: Step, units: Units) -> dict[str, tuple[str, float]]:
    """Text of each column and the size of its letters."""
    expected = "\n".join(e.text(units) for e in step.expected)
    return {
        "": (f"{step.number}", SIZE),
        "weld": (f"{step.weld}\n{step.where}", SMALL),
        "travel": (step.travel, SIZE),
        "start": (step.starts.text(units), SMALL),
        "set": (f"{step.arc.text(units)}, arc on {step.seconds:.0f} s", SMALL),
        "expected": (expected, SMALL),
    }


def _row_height(page: Sheet, sheet: BenchSheet, units: Units) -> float:
    """What the row with most lines needs."""
    widths = {name: width - 0.06 for name, _, width in _columns(page, sheet)}
    most = max(
        (
            LINE * size * len(_broken(text, widths[name], size))
            for step in sheet.steps
            for name, (text, size) in _cells(step, units).items()
            if name in widths
        ),
        default=0.0,
    )
    return max(most + 0.14, 0.4)


def _row(page: Sheet, columns, step: Step, y: float, row: float, units: Units) -> None:
    cells = _cells(step, units)
    for name, x, width in columns:
        if name in cells:
            text, size = cells[name]
            _paragraph(page, x + 0.04, y + 0.06, text, width - 0.06, size)
        else:
            _box(page, x + 0.05, y + 0.07, width - 0.1, min(row - 0.14, MOST_BOX))


def _box(page: Sheet, x: float, y: float, width: float, height: float) -> None:
    page.line((x, x + width, x + width, x, x), (y, y, y + height, y + height, y), INK)


def _paragraph(page: Sheet, x: float, y: float, text: str, width: float, size: float,
               **more: Any) -> float:  # fmt: skip
    """Text broken to a width; where it ends below."""
    lines = _broken(text, width, size)
    page.text(x, y, "\n".join(lines), size, **more)
    return y + LINE * size * len(lines)


def _broken(text: str, width: float, size: float) -> list[str]:
    most = max(int(width / (NARROW * LETTER * size)), 4)
    kept = UNIT_GAP.sub("\N{NO-BREAK SPACE}", text)  # a number stays with its unit
    return [part for line in kept.split("\n") for part in textwrap.wrap(line, most) or [""]]


def _foot_lines(page: Sheet, sheet: BenchSheet, units: Units):
    """Lines of the answer, of the two columns of cautions, and the height of all."""
    answer = [line.text(units) for line in sheet.answer]
    answer.append(f"{sheet.how_to_read} {APPROVES_NOTHING}")
    said = [part for line in answer for part in _broken(line, page.inner, SMALL)]
    width = page.inner / 2 - 0.2
    cautions = [_broken(as_written(c).text(units), width, TINY) for c in (*CAUTIONS, DEFER)]
    half, columns = sum(map(len, cautions)) / 2, ([], [])
    for lines in cautions:
        columns[len(columns[0]) >= half].extend(lines)
    height = LINE * (SMALL * len(said) + TINY * max(map(len, columns)) + SIZE) + 0.2
    return said, columns, height


def _foot(page: Sheet, foot, top: float) -> None:
    said, columns, _ = foot
    page.text(MARGIN, top + 0.08, "\n".join(said), SMALL)
    y = top + 0.14 + LINE * SMALL * len(said)
    page.text(MARGIN, y, HEADING, SIZE, weight="bold")
    for number, lines in enumerate(columns):
        x = MARGIN + number * (page.inner / 2 + 0.1)
        page.text(x, y + LINE * SIZE, "\n".join(lines), TINY)


def _more(sheet: BenchSheet, steps: Sequence[Step], units: Units) -> list[Any]:
    """Further pages for the welds that are left."""
    out, left = [], list(steps)
    while left:
        page = _new_sheet(units)
        bottom = page.height - MARGIN
        fit = max(int((bottom - _HEAD - _TABLE_HEAD) / _row_height(page, sheet, units)), 1)
        _head(page, sheet)
        _table(page, sheet, left[:fit], _HEAD, bottom, units)
        out.append(page.figure)
        left = left[fit:]
    return out
