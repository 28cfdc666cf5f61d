"""A study on paper: where every choice ends on the target, the ranked table, the bench sheet."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np

from weldsim.errors import WeldsimError
from weldsim.plots.layout import draw_layout
from weldsim.plots.style import inline_svg, new_figure, styled
from weldsim.plots.us_axes import show_units
from weldsim.report.bench_figure import write_sheet
from weldsim.report.plan_record import study_record
from weldsim.report.plan_sheet import sheet_of_record
from weldsim.report.units_switch import twin
from weldsim.studies.plan.rows import Row, Study, row_verdict
from weldsim.system.files import whole_file
from weldsim.system.palette import GOOD, INK, OUTLINE, PRESS, WELD, css
from weldsim.text.cautions import APPROVES_NOTHING, CAUTIONS, DEFER
from weldsim.text.describe import clamped_lines
from weldsim.text.measure_words import axis_unit
from weldsim.text.plan_words import (
    images_words,
    model_words,
    plan_lines,
    recommended,
    said,
    tie_words,
)
from weldsim.text.quantities import UNITS, Units, unit_word

RECOMMENDED, WORST, OTHERS, TOLERANCE = PRESS, WELD, OUTLINE, GOOD
ROWS_SHOWN = 40  # rows of the table that are not folded away


def write_pages(study: Study, folder, units: Units = "metric") -> list[Path]:
    """plan.html, where_they_end.svg and bench_sheet.pdf in the study folder.

    Parameters
    ----------
    study : Study
    folder : path
        Its folder, with the branches.
    units : {"metric", "us"}

    Returns
    -------
    list of Path
        What was written; the drawing is left out with a reason on the sheet where none can be made.
    """

    folder = Path(folder)
    case = study.plan.bound(study.plan.settings[recommended(study).setting],
                            recommended(study).moves)  # fmt: skip
    drawing = _drawing(case, folder)
    ends = {u: styled(ends_figure)(study, u) for u in UNITS}
    picture, html = folder / "where_they_end.svg", folder / "plan.html"
    _save(ends[units], picture)
    pictures = {u: inline_svg(figure, _ends_words(study)) for u, figure in ends.items()}
    _whole(html, page(study, pictures, drawing, units).encode())
    sheet = sheet_of_record(study.plan, study_record(study), folder)
    return [picture, html, write_sheet(sheet, folder / "bench_sheet.pdf", drawing, units)]


def _drawing(case, folder: Path) -> Path | None:

    try:
        return draw_layout(case, folder / "recommended.png")
    except WeldsimError:
        return None


def _save(figure, path: Path) -> None:

    with whole_file(path) as beside:
        figure.savefig(beside, format=path.suffix[1:])


def _whole(path: Path, data: bytes) -> None:

    with whole_file(path) as beside:
        Path(beside).write_bytes(data)


def spots(study: Study):
    """End position of every row on the target at the grade of the study, (rows, 2), and the rows;
    None without a pointer as the measure.
    """
    rows = [r for r in study.rows if not r.best.error]
    if not rows or [c.component for c in study.plan.measure_columns] != ["up", "right"]:
        return None
    return np.array([_spot(study, row) for row in rows]), rows


def _spot(study: Study, row: Row) -> list[float]:
    """Where a row ends on the target, right and up."""
    up, right = axis_unit(study.plan)[0] * study.spot(row)
    return [right, up]


def ends_figure(study: Study, units: Units = "metric"):
    """Where every choice ends, with the tolerance, the recommended and the worst one marked."""

    scale, unit = axis_unit(study.plan)
    limit = scale * study.plan.tolerance.value
    found = spots(study)
    figure = new_figure(6.4, 6.0)
    axes = figure.add_subplot()
    good = [r for r in study.rows if not r.best.error]
    worst = max(good, key=lambda r: r.end)
    if found is None:
        values = np.sort([scale * r.end for r in good for _ in range(r.count)])
        axes.plot(np.arange(1, len(values) + 1), values, ".", color=OTHERS, ms=4)
        axes.axhline(limit, color=TOLERANCE, lw=1.2)
        axes.annotate("tolerance", (len(values), limit), color=TOLERANCE, ha="right", va="bottom")
        measure = f"{study.plan.section.measure}, {unit_word(unit, units)}"
        axes.set(xlabel="sequences, best first", ylabel=measure)
        show_units(axes.yaxis, unit, units)
        return figure
    places, rows = found
    angle = np.linspace(0, 2 * np.pi, 200)
    axes.plot(limit * np.cos(angle), limit * np.sin(angle), color=TOLERANCE, lw=1.4)
    axes.annotate("tolerance", (0, limit), color=TOLERANCE, ha="center", va="bottom", fontsize=9)
    axes.plot(*places.T, "o", color=OTHERS, ms=4, alpha=0.7, mew=0)
    first, last = (places[rows.index(row)] for row in (recommended(study), worst))
    above = 1 if first[1] >= last[1] else -1  # of the label: two that end close keep them apart
    for row, colour, words, spot, side in (
        (recommended(study), RECOMMENDED, "recommended", first, above),
        (worst, WORST, "worst", last, -above),
    ):
        axes.plot(*spot, "D" if colour == RECOMMENDED else "s", color=colour, ms=9)
        axes.annotate(
            f"{words}: {said(study, row.end).text(units)}", spot, xytext=(0, 18 * side),
            textcoords="offset points", color=colour, ha="center", va="center", weight="bold",
        )  # fmt: skip
    axes.plot(0, 0, "+", color=INK, ms=10)
    reach = 1.15 * max(np.abs(places).max(), limit)
    axes.set(
        xlim=(-reach, reach), ylim=(-reach, reach), aspect="equal",
        xlabel=f"right on the target, {unit_word(unit, units)}",
        ylabel=f"up on the target, {unit_word(unit, units)}",
        title=f"Where {sum(r.count for r in rows)} sequences end, grade {study.grade}"
        + (";\nof mirror images one is drawn" if any(r.images for r in rows) else ""),
    )  # fmt: skip
    axes.grid(alpha=0.25)
    for axis in (axes.xaxis, axes.yaxis):
        show_units(axis, unit, units)
    return figure


def _ends_words(study: Study) -> str:
    return "Final position on the target of every sequence: " + "; ".join(plan_lines(study)[:3])


def page(
    study: Study, ends: Mapping[Units, str], drawing: Path | None, units: Units = "metric"
) -> str:
    """plan.html as text, self-contained; both units stand in it, a link chooses."""
    import base64

    from jinja2 import Environment, PackageLoader

    plan, lines = study.plan, [twin(line) for line in plan_lines(study)]
    best = recommended(study)
    case = plan.bound(plan.settings[best.setting], best.moves)

    def shown(value: float | None):
        return twin(said(study, value))

    rows = [
        {
            "number": n, "text": plan.text(r.moves), "setting": plan.settings[r.setting].label,
            "images": [plan.text(moves) for moves in r.images],
            "does_not_matter": images_words(plan, r),
            "tie": "" if r.best.error else tie_words(study, r),
            "final": "failed" if r.best.error else shown(r.end),
            "error": "" if r.best.error else shown(r.error),
            "worst": "" if r.best.error else shown(r.worst),
            "time": "" if r.best.error else _span(r.best.time),
            "model": model_words(study, r), "verdict": r.best.error or row_verdict(plan, r),
        }
        for n, r in enumerate(study.rows, 1)
    ]  # fmt: skip
    environment = Environment(loader=PackageLoader("weldsim", "data/page"), autoescape=True)
    from markupsafe import Markup

    return environment.get_template("plan.html").render(
        palette=Markup(css()),
        title=plan.case.title, words=lines, why=lines[5:] or lines[3:], units=units,
        ends={u: Markup(svg) for u, svg in ends.items()}, plain=str(plan_lines(study)[0]),
        drawing=base64.b64encode(drawing.read_bytes()).decode() if drawing else "",
        rows=rows, shown=ROWS_SHOWN, settings=len(plan.settings) > 1,
        cautions=[twin(c) for c in CAUTIONS], defer=DEFER,
        approves_nothing=APPROVES_NOTHING,
        clamped=[twin(line) for line in clamped_lines(case)],
    )  # fmt: skip


def _span(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 120 else f"{seconds / 60:.0f} min"
