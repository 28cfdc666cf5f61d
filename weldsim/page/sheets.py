"""The bench sheet of a run or a plan, in the units asked for: a worker's task."""

from __future__ import annotations

from pathlib import Path

from weldsim.page.worker_process import Tell
from weldsim.report.bench_figure import write_sheet
from weldsim.report.bench_sheet import sheet_of_run
from weldsim.report.plan_record import NAME as PLAN
from weldsim.report.plan_sheet import sheet_of_plan
from weldsim.runs.reading import PICTURES, read_run

UNITS = ("metric", "us")
KIND = "application/pdf"


def sheet(folder: str, units: str, tell: Tell | None = None) -> str:
    """Draw the bench sheet into its folder.

    Parameters
    ----------
    folder : str
        Of a run or a plan.
    units : str
        One of `UNITS`.
    tell : callable, optional
        Not used.

    Returns
    -------
    str
        Path of the PDF file.
    """
    place = Path(folder)
    plan = (place / PLAN).exists()
    found = sheet_of_plan(place) if plan else sheet_of_run(read_run(place))
    drawing = place / ("recommended.png" if plan else f"{PICTURES}/layout.png")
    name = "bench_sheet.pdf" if units == "metric" else f"bench_sheet_{units}.pdf"
    return str(write_sheet(found, place / name, drawing if drawing.exists() else None, units))
