"""What a band leaves: band.json, curves as CSV, pictures, a page."""

from __future__ import annotations

import html
from pathlib import Path
from typing import Any

import numpy as np

from weldsim import __version__
from weldsim.plots.band_plots import band_figure, shares_figure, target_figure
from weldsim.plots.style import inline_svg, save
from weldsim.studies.band.kept import CURVES, ENDS, HIGH, LOW, RECORD, job_of
from weldsim.studies.band.records import Band, Reading
from weldsim.studies.stored_studies import StoredBand
from weldsim.system.files import whole_file, write_json
from weldsim.system.palette import css
from weldsim.text.band_words import band_lines, interval_words, shares_words, source_lines
from weldsim.text.cautions import APPROVES_NOTHING, DEFER
from weldsim.text.quantities import Units, in_us

PAGE = """<!doctype html><html lang="en"><head><meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'; img-src data:">
<meta name="viewport" content="width=device-width"><title>{title}</title><style>{css}
body{{font-family:sans-serif;color:var(--ink);background:var(--paper);max-width:64rem;margin:2rem auto;padding:0 1rem}}
svg{{max-width:100%;height:auto}} li{{margin:.3rem 0}} .care{{background:var(--care-pale);border:1px solid var(--care-line);padding:.5rem 1rem}}
</style></head><body><h1>{title}</h1><p class="care">{care}</p>
<h2>Between what it ends</h2><ul>{lines}</ul><h2>On the target</h2>{targets}
<h2>Over time</h2>{curves}<h2>What explains it</h2>{shares}
<h2>What was let scatter</h2><ul>{sources}</ul></body></html>
"""  # noqa: E501


def band_record(found: Band) -> dict[str, Any]:
    """What band.json holds.

    Parameters
    ----------
    found : Band
        From `weldsim.studies.band.band.band`.

    Returns
    -------
    dict
        Readings in the unit of their column; standard deviations and bounds of values in SI.
    """
    lines = band_lines(found)
    return {
        "format": StoredBand.newest, "weldsim": __version__, "title": found.case.title,
        "case": job_of(found.case.resolved),
        "case_file": Path(found.case.source_file).name, "overrides": list(found.case.overrides),
        "grade": found.settings.grade, "finer": found.settings.finer, "runs": found.runs,
        "draws": found.settings.draws, "seed": found.settings.seed, "interval": "90 %",
        "half_sample": found.half_sample,
        "in_words": list(map(str, lines)), "in_words_us": in_us(lines),
        "readings": [_reading(r) for r in found.readings],
        "uncertain": [
            {"key": u.key, "words": w, "value": u.usual, "standard_deviation": u.spread,
             "low": u.low, "high": u.high, "unit": u.unit or "1", "source": u.source,
             "differs_in_each_part": afresh}
            for u, w, afresh in zip(found.uncertain.values, found.uncertain.words,
                                    found.uncertain.afresh, strict=True)
        ],
        "failed": found.failed,
    }  # fmt: skip


def _reading(r: Reading) -> dict[str, Any]:
    c = r.column
    return {
        "column": c.name, "gauge": c.gauge, "component": c.component, "unit": c.unit,
        "moment": r.moment, "value": c.to_display(r.value), "low": c.to_display(r.low),
        "high": c.to_display(r.high), "standard_deviation": c.factor * r.spread,
        "standard_deviation_afresh": c.factor * r.fresh,
        "grade_error": c.factor * r.grade_error, "surrogate_error": c.factor * r.surrogate_error,
        "shares": r.first, "shares_with_others": r.total, "shares_error_95": r.share_error,
        "changed_without_a_third": r.changed, "settled": r.settled,
        "in_words": str(interval_words(r)), "shares_in_words": shares_words(r),
    }  # fmt: skip


def write_band(found: Band, folder: Path, units: Units = "metric") -> list[Path]:
    """Write everything a band leaves.

    Parameters
    ----------
    found : Band
        From `weldsim.studies.band.band.band`.
    folder : Path
        Made where it is missing.
    units : {"metric", "us"}
        Of pictures and page.

    Returns
    -------
    list of Path
        band.json, band.csv, ends.csv, band.html and pictures.

    Raises
    ------
    StoreError
        If the disk refuses.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    out = [write_json(folder / RECORD, band_record(found))]
    texts = {CURVES: csv_text(found), ENDS: ends_text(found), "band.html": page_text(found, units)}
    for name, text in texts.items():
        with whole_file(folder / name) as beside:
            beside.write_text(text, encoding="utf-8")
        out.append(folder / name)
    out.append(save(band_figure(found, units), folder / "band.png"))
    out.append(save(shares_figure(found), folder / "shares.png"))
    out += [
        save(target_figure(found, gauge, units), folder / f"target-{gauge}.png")
        for gauge in pointers(found)
    ]
    return out


def pointers(found: Band) -> list[str]:
    """Names of the gauges that have a target."""
    return [
        g.name for g in found.case.gauges
        if g.kind == "pointer" and any(c.gauge == g.name and c.unit == "mm" for c in found.columns)
    ]  # fmt: skip


def csv_text(found: Band) -> str:
    """Curves: time, and of each column what the case says and the two ends of the band."""
    head = ["time_s"]
    series = [found.times]
    for k, c in enumerate(found.columns):
        for word, curve in (("", found.middle), (LOW, found.low), (HIGH, found.high)):
            head.append(c.name + word)
            series.append(c.to_display(curve[k]))
    rows = np.column_stack(series)
    return "\n".join([",".join(head), *(",".join(f"{v:.6g}" for v in row) for row in rows)]) + "\n"


def ends_text(found: Band) -> str:
    """Cold ends of some draws, one a row, a column a gauge."""
    head = ",".join(c.name for c in found.columns)
    rows = np.column_stack([c.to_display(found.ends[:, k]) for k, c in enumerate(found.columns)])
    return "\n".join([head, *(",".join(f"{v:.6g}" for v in row) for row in rows)]) + "\n"


def page_text(found: Band, units: Units = "metric") -> str:
    """The page."""

    def items(lines) -> str:
        plain = in_us(lines) if units == "us" else map(str, lines)
        return "".join(f"<li>{html.escape(line)}</li>" for line in plain)

    return PAGE.format(
        title=html.escape(f"How far it scatters: {found.case.title}"),
        css=css(),
        care=html.escape(f"Caution: {APPROVES_NOTHING} {DEFER}"),
        lines=items(band_lines(found)),
        targets="".join(
            inline_svg(target_figure(found, gauge, units), "where the spot ends on its target")
            for gauge in pointers(found)
        )
        or "<p>No gauge of this case has a target.</p>",
        curves=inline_svg(band_figure(found, units), "gauges over time with their bands"),
        shares=inline_svg(shares_figure(found), "what explains the scatter of each gauge"),
        sources=items(source_lines(found)),
    )
