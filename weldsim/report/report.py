"""report.html: one file that says what came out, how accurate that is, and what it assumes.

Nothing in the page points outside it: scripts and style are in it, plots are inline SVG, pictures
are data URLs. Words first, numbers after, inputs last. Several runs are compared first, then told
one after the other.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from functools import partial
from importlib.resources import files
from pathlib import Path

from weldsim.errors import StoreError, WeldsimError
from weldsim.plots.gauge_plots import gauge_history
from weldsim.plots.pointer_plot import pointer_plot
from weldsim.plots.print_figures import residual_stress
from weldsim.plots.style import inline_svg
from weldsim.plots.timetable import timetable_svg
from weldsim.report.assumptions import CHECKED, VALIDATION, assumptions
from weldsim.report.band_of_run import band_caption, bands_of
from weldsim.report.bench_sheet import sheet_or_reason
from weldsim.report.comparison import comparison, differences, headline, labels, verdicts
from weldsim.report.input_words import input_rows, without_folders
from weldsim.report.tables import (
    balance_table,
    clamp_table,
    gauge_table,
    locked_table,
    released_table,
    rule_words,
    weld_place,
    weld_table,
)
from weldsim.report.units_switch import both, cell, heading, pair
from weldsim.report.viewer import scene_data, viewer_parts
from weldsim.runs.reading import PICTURES, RunRecord, read_run
from weldsim.runs.recorded_case import recorded_case
from weldsim.runs.stored import read_stored
from weldsim.runs.stored_records import StoredWhy
from weldsim.studies.band.kept import KeptBand
from weldsim.system.files import whole_file
from weldsim.system.palette import css
from weldsim.text.cautions import APPROVES_NOTHING, CAUTIONS, DEFER
from weldsim.text.grade_words import grade_line
from weldsim.text.quantities import Words, as_written, quantity, span, words
from weldsim.text.words import result_words, warnings
from weldsim.validation.kept import in_all, said_of
from weldsim.validation.shown import linked

__all__ = ["CHECKED", "VALIDATION", "assumptions", "report_page", "rule_words", "weld_place",
           "write_report"]  # fmt: skip

UNITS = ("metric", "us")
MOST_BYTES = 14_000_000  # of the whole page
SCENES = 8_000_000  # of them for the views in three dimensions
PICTURE_KINDS = {".png": "image/png", ".jpg": "image/jpeg"}
CAPTIONS = {
    "shape": "Where the part moved, hot and at the end",
    "temperature": "Temperature half-way along weld {}",
}
LAYOUT = "The part as meshed, with the sequence and travel of its welds, its tacks and clamps"


def write_report(folders, out=None, units: str = "metric", bands=()) -> Path:
    """Write the report of one or several runs as one file.

    Parameters
    ----------
    folders : path or list of path
        Run folders; several are compared.
    out : path, optional
        File to write; report.html in the first folder when left out.
    units : {"metric", "us"}
        What the page shows first; a button in it changes that.
    bands : iterable of path, optional
        Folders of `weldsim band`, each drawn on the plots of the runs that are of its job; a
        folder "band" in that of a run is found by itself.

    Returns
    -------
    pathlib.Path
        Of the report.

    Raises
    ------
    StoreError
        If a folder is no run, or has no readings yet, or `units` is unknown, or a band is of
        none of the runs.
    """
    several = isinstance(folders, (list, tuple))
    folders = list(folders) if several else [folders]
    if not folders:
        raise StoreError("report: no run folder given, allowed: one or more")
    if units not in UNITS:
        raise StoreError(f"report: units: {units!r} is not allowed, allowed: {', '.join(UNITS)}")
    records = [read_run(f) for f in folders]
    path = Path(out) if out else records[0].path / "report.html"
    page = report_page(records, units, bands_of(records, bands))
    with whole_file(path) as beside:
        beside.write_text(page, encoding="utf-8")
    return path


def report_page(records, units: str = "metric", bands=()) -> str:
    """The page as text, of one `RunRecord` or a list of them, with a `KeptBand` or None of each.

    Where it would grow too large, pictures of the runs beside the first are left out, then all,
    then frames of the views.
    """
    records = [records] if isinstance(records, RunRecord) else list(records)
    runs = [
        _run(record, name, f"r{number}", band)
        for number, (record, name, band) in enumerate(
            zip(records, labels(records), bands or [None] * len(records), strict=True)
        )
    ]
    page = ""
    for scenes, pictured in ((SCENES, len(runs)), (SCENES, 1), (SCENES, 0), (SCENES // 4, 0)):
        kept = [
            r if i < pictured else {**r, "pictures": []} for i, r in enumerate(runs)
        ]  # fmt: skip
        page = _page(records, kept, units, scenes)
        if len(page) <= MOST_BYTES:
            return page
    return page


def _page(records, runs: list[dict], units: str, scenes: int) -> str:
    """The page of runs, with so many bytes for the views in three dimensions."""
    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    environment = Environment(
        loader=PackageLoader("weldsim", "data/page"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    environment.filters["both"] = lambda text: both(text, units)
    environment.globals.update(
        cell=lambda text: cell(text, units),
        pair=lambda metric, us: pair(metric, us, units),
        quantity=lambda value, unit: both(Words(quantity(value, unit, ".0f")), units),
        span=lambda low, high, unit: both(Words(span(low, high, unit, ".0f")), units),
        head=lambda text, unit: heading(text, unit, units),
    )
    views, notes = _views(records, scenes)
    scripts, viewer_style = viewer_parts() if views else ([], "")
    page_script = _page_file("report.js")
    texts = [*(text for _, text in scripts), page_script]
    several = len(records) > 1
    rows, more = differences(records) if several else ([], 0)
    return environment.get_template("report.html").render(
        title=f"{len(records)} runs compared" if several else records[0].title,
        runs=runs,
        compared=comparison(records) if several else [],
        headline=headline(records) if several else [],
        differences=rows,
        differences_left_out=more,
        units=units,
        style=Markup(css() + viewer_style + _page_file("report.css")),
        scripts=[Markup(text) for text in texts],
        hashes=" ".join(_hash(text) for text in texts),
        views=[(name, Markup(_json(data))) for name, data in views],
        view_notes=notes,
        cautions=CAUTIONS,
        defer=DEFER,
        approves_nothing=APPROVES_NOTHING,
    )


def _page_file(name: str) -> str:
    return (files("weldsim") / "data" / "page" / name).read_text(encoding="utf-8")


def _hash(text: str) -> str:
    """A script's hash for the page's security policy: no other script runs in it."""
    digest = hashlib.sha256(text.encode()).digest()
    return f"'sha256-{base64.b64encode(digest).decode()}'"


def _json(value) -> str:
    """JSON that can stand inside a script element, whatever texts it holds."""
    text = json.dumps(value, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def _views(records, scenes: int) -> tuple[list[tuple[str, dict]], list[str]]:
    """Scenes of the runs with their names, and a line for each that has none."""
    views, notes = [], []
    for record, name in zip(records, labels(records), strict=True):
        try:
            most = scenes // len(records)
            views.append((name, scene_data(record.path, most_bytes=most)))
        except StoreError as error:
            notes.append(without_folders(f"No view in three dimensions: {error}"))
    return views, notes


def _run(record: RunRecord, name: str, mark: str, band: KeptBand | None) -> dict:
    """What the template shows of one run."""
    tolerances = record.summary.get("tolerances") or {}
    kept = _pictures(record)
    sheet, no_sheet = sheet_or_reason(record)
    return {
        "name": name,
        "title": record.title,
        "status": record.manifest.get("status", "running"),
        "results": [*map(_passed_on, result_words(record)), grade_line(record.grade)],
        "careful": [words("{}.", _passed_on(w)) for w in warnings(record)],
        "verdicts": verdicts(record),
        "no_verdict": tolerances.get("reason", "no tolerance in the case"),
        "has_error": bool(record.errors),
        "how_sure": record.manifest.get("error_estimate", {}).get("how", "not estimated"),
        "timetable": _markup(timetable_svg(record)),
        "plots": _plots(record, mark, band),
        "band": band_caption(band),
        "layout": _layout(record),
        "pictures": kept,
        "clamps": clamp_table(record),
        "locked": locked_table(record),
        "released": released_table(record),
        "stress": _stress(record, f"{mark}e"),
        "gauges": gauge_table(record),
        "welds": weld_table(record),
        "why": _why(record),
        "folder": record.path.resolve().name,
        "sheet": sheet,
        "no_sheet": no_sheet,
        "balances": balance_table(record),
        "assumptions": assumptions(record),
        "checked": [f"{name} ({source})" for name, source, _ in CHECKED],
        "rows": [linked(line) for line in said_of(recorded_case(record).part.kind)],
        "rows_in_all": in_all(),
        "missing": VALIDATION.get(recorded_case(record).part.kind, ""),
        "inputs": input_rows(record),
    }


def _passed_on(line: str) -> str:
    """A line for a page that others read, without the folders of this machine."""
    bare = without_folders(line)
    return line if bare == line else bare


def _markup(text: str):
    from markupsafe import Markup

    return Markup(text)


def _plots(record: RunRecord, mark: str, band: KeptBand | None) -> list[dict]:
    """Gauge curves and light spots, each as metric and US plot."""
    label = "gauge readings against time"
    out = [_plot(lambda u: gauge_history(record, units=u, band=band), label, "", f"{mark}g")]
    for number, gauge in enumerate(record.pointers):
        label = f"path of the light spot of {gauge['name']}"
        draw = partial(pointer_plot, record, gauge, 5.2, band=band)
        out.append(_plot(draw, label, "narrow", f"{mark}s{number}"))
    return out


def _plot(draw, label: str, kind: str, mark: str) -> dict:
    """What `draw` makes of "metric" and of "us", as two drawings."""
    metric, us = draw("metric"), draw("us")
    return {
        "kind": kind,
        "metric": _drawing(metric, label, f"{mark}m"),
        "us": _drawing(us, f"{label}, US", f"{mark}u"),
    }


def _drawing(figure, label: str, mark: str):
    """A figure as markup, with names inside that no other drawing of the page has."""
    from markupsafe import Markup, escape

    svg = inline_svg(figure, str(escape(label)))
    names = set(re.findall(r'\bid="([^"]+)"', svg))

    def own(match) -> str:
        return f"{match[1]}{mark}-{match[2]}" if match[2] in names else match[0]

    return Markup(re.sub(r'(\bid="|#)([^")\s;]+)', own, svg))


def _pictures(record: RunRecord) -> list[dict]:
    """Still pictures of the part in the folder as data URLs with a caption."""
    found = sorted(
        p for p in (record.path / PICTURES).glob("*") if p.suffix in PICTURE_KINDS and _own_file(p)
    )
    out = []
    for kind, caption in CAPTIONS.items():
        for path in (p for p in found if p.stem.partition("_")[0] == kind):
            out.append(_embedded(path, caption.format(path.stem.partition("_")[2])))
    return out


def _own_file(path: Path) -> bool:
    """Whether a picture is a file of the folder itself: a link could bring in any other."""
    return path.is_file() and not path.is_symlink() and not path.parent.is_symlink()


def _embedded(path: Path, caption: str) -> dict:
    data = base64.b64encode(path.read_bytes()).decode()
    return {"url": f"data:{PICTURE_KINDS[path.suffix]};base64,{data}", "caption": caption}


def _layout(record: RunRecord) -> dict | None:
    """Picture of the part before the run with its caption, None where it was not made."""
    path = record.path / PICTURES / "layout.png"
    return _embedded(path, LAYOUT) if _own_file(path) else None


def _stress(record: RunRecord, mark: str):
    """Map of the stress left in the part, metric and US; None without frames."""

    if not record.frames:
        return None
    label = "stress left in the part at the end of the run"
    try:
        return _plot(lambda u: residual_stress(record.path, width_mm=170, units=u), label, "wide",
                     mark)  # fmt: skip
    except WeldsimError:
        return None


def _why(record: RunRecord) -> dict | None:
    """Where the movement comes from, as `weldsim why` left it: words, parts by weld, pictures."""
    path = record.path / "why.json"
    if not path.exists():
        return None
    found = read_stored(path, StoredWhy)
    readings = found["readings"]
    names = dict.fromkeys(w for r in readings.values() for w in r.get("welds", {}))
    others = dict.fromkeys(w for r in readings.values() for w in r.get("others", {}))
    parts = [
        (name, [r.get(key, {}).get(name) for r in readings.values()])
        for key, group in (("welds", names), ("others", others)) for name in group
    ]  # fmt: skip
    pictures = [record.path / p for p in found.get("pictures", [])]
    return {
        "words": _both_words(found),
        "how": found.get("how", ""),
        "error": found.get("error", ""),
        "columns": list(readings),
        "totals": [_three(r.get("gauge_value")) for r in readings.values()],
        "parts": [(n, [_three(v) for v in values]) for n, values in parts
                  if any(v and abs(v) > 1e-9 for v in values)],
        "left": [_three(r.get("residual")) for r in readings.values()],
        "pictures": [
            _embedded(p, p.stem.replace("_", " "))
            for p in pictures if p.suffix in PICTURE_KINDS and _own_file(p)
        ],
    }  # fmt: skip


def _both_words(found: dict) -> list[tuple[str, str]]:
    """Lines of a study's record, metric and US; a record of an older version has the former."""
    lines = found.get("in_words", [])
    us = found.get("in_words_us") or [as_written(line).text("us") for line in lines]
    return list(zip(lines, us, strict=True))


def _three(value) -> str:
    """Three figures with sign; a dash for none."""
    return "–" if value is None else "0" if abs(value) < 5e-10 else f"{value:+.3g}"
