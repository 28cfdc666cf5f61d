"""What a fit leaves: fit.json, a shop file that later cases name, its draws, pictures, a page."""

from __future__ import annotations

import html
import math
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from weldsim import __version__
from weldsim.case.shop import FORMAT
from weldsim.plots.fit_plots import curves_figure, slopes_figure, unknowns_figure
from weldsim.plots.style import inline_svg
from weldsim.studies.fit.learnable import CurveSlopes
from weldsim.studies.fit.records import CurveFit, Fit
from weldsim.studies.stored_studies import StoredFit
from weldsim.system.files import whole_file, write_json
from weldsim.system.palette import css
from weldsim.text.cautions import APPROVES_NOTHING, DEFER
from weldsim.text.fit_words import curve_words, fit_lines
from weldsim.text.quantities import Units, in_us

PAGE = """<!doctype html><html lang="en"><head><meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'; img-src data:">
<meta name="viewport" content="width=device-width"><title>{title}</title><style>{css}
body{{font-family:sans-serif;color:var(--ink);background:var(--paper);max-width:64rem;margin:2rem auto;padding:0 1rem}}
svg{{max-width:100%;height:auto}} li{{margin:.3rem 0}} .care{{background:var(--care-pale);border:1px solid var(--care-line);padding:.5rem 1rem}}
</style></head><body><h1>{title}</h1><p>{from_}</p><p class="care">{care}</p>
<h2>What was learnt</h2><ul>{lines}</ul><h2>Uncertain values</h2>{fitted}
<h2>What the readings can tell</h2>{slopes}
<h2>Measured and computed</h2>{curves}
<h2>Use it</h2><p>Write this into a case, with the file beside it:</p><pre>[shop]
file = "{shop}"</pre></body></html>
"""  # noqa: E501


def fit_record(found: Fit) -> dict[str, Any]:
    """What fit.json holds.

    Parameters
    ----------
    found : Fit
        From `weldsim.studies.fit.fitting.fit`.

    Returns
    -------
    dict
        `parameters` by key as in `--set`; values in SI, `written` as a case file has them.
    """
    parameters = {u.key: _parameter(found, k) for k, u in enumerate(found.unknowns)}
    residuals = [_residual(c) for c in found.curves]
    score = found.score
    return {
        "format": StoredFit.newest, "weldsim": __version__, "in_words": fit_lines(found),
        "in_words_us": in_us(fit_lines(found)),
        "parameters": parameters, "residuals": residuals, "runs": found.runs,
        "correlation": found.learnable.correlation,
        "cannot_be_told_apart": found.learnable.alike(found.unknowns),
        "slopes": {k: v for k, v in found.learnable.slopes.items()},
        "slopes_along": [_along(found, a) for a in found.learnable.along],
        "clocks": {
            k: {"value": b, "low": low, "high": high} for k, (b, low, high) in found.clocks.items()
        },
        "discrepancy": {
            "share_of_extent": found.discrepancy,
            "in_words": "standard deviation of what no value of what was fitted can mend",
        },
        "score": None if score is None else {
            "column": score.name, "root_mean_square_si": score.miss, "extent_si": score.extent,
            "share_inside_predicted_90": score.inside,
        },
        "surrogate_miss_si": found.surrogate_miss, "failed_runs": found.failed,
        "grade": found.settings.grade, "finer": found.settings.finer,
        "seed": found.settings.seed,
        "experiments": [
            {"case": e.case.title, "case_file": Path(e.case.source_file).name,
             "measured": [m.path.name for m in e.measurements]}
            for e in found.experiments
        ],
    }  # fmt: skip


def _parameter(found: Fit, k: int) -> dict[str, Any]:
    u = found.unknowns[k]
    value, low, high = float(found.best[k]), float(found.low[k]), float(found.high[k])
    return {
        "value": value, "low": low, "high": high, "unit": u.unit or "1",
        "written": u.text(value), "interval": "90 %",
        "prior": {
            "low": u.low, "high": u.high, "usual": u.usual, "spread": u.spread,
            "in_words": u.prior, "source": u.source,
        },
        "frozen": k in found.learnable.frozen,
        "narrowing_expected": float(found.learnable.narrowed[k]),
        "places": list(u.places), "keys": list(u.keys),
    }  # fmt: skip


def _along(found: Fit, a: CurveSlopes) -> dict[str, Any]:
    """How a curve changes with each unknown, from the lowest to the highest bound."""
    change = {u.key: a.column.factor * c for u, c in zip(found.unknowns, a.change, strict=True)}
    cold = not np.isfinite(a.times).all()
    return {"column": a.column.name, "unit": a.column.unit, "cold": cold,
            "times_s": [] if cold else a.times, "change": change}  # fmt: skip


def _residual(c: CurveFit) -> dict[str, Any]:
    column, o = c.observed.column, c.observed
    return {
        "column": column.name, "experiment": c.experiment, "unit": column.unit,
        "readings": o.taken, "gross_errors_left_out": o.gross,
        "root_mean_square": column.factor * math.sqrt(float((c.residual**2).mean())),
        "not_mended_at_most": column.factor * float(np.abs(c.unmended).max()),
        "times_s": o.times, "values": column.factor * c.residual, "in_words": curve_words(c),
    }  # fmt: skip


def write_fit(found: Fit, folder: Path, units: Units = "metric") -> list[Path]:
    """Write everything a fit leaves.

    Parameters
    ----------
    found : Fit
        From `weldsim.studies.fit.fitting.fit`.
    folder : Path
        Made where it is missing.
    units : {"metric", "us"}
        Of the sentences on the page.

    Returns
    -------
    list of Path
        fit.json, shop.toml, draws.csv and fit.html.

    Raises
    ------
    StoreError
        If the disk refuses.
    """
    folder = Path(folder)
    out = [write_json(folder / "fit.json", fit_record(found))]
    for name, text in (
        ("shop.toml", shop_text(found)),
        ("draws.csv", draws_text(found)),
        ("fit.html", page_text(found, units)),
    ):
        with whole_file(folder / name) as beside:
            beside.write_text(text, encoding="utf-8")
        out.append(folder / name)
    return out


def shop_text(found: Fit) -> str:
    """The shop file: values, and where they are from."""
    lines = [
        "# Values of a shop, fitted by weldsim to what was measured. Name this file in a case:",
        '# [shop] file = "shop.toml". They replace the values of the case; --set replaces them.',
        f"format = {FORMAT}",
        "",
        "[values]",
    ]
    for k, u in enumerate(found.unknowns):
        if k in found.learnable.frozen:
            lines.append(f"# {u.key}: not learnt, left to the case")
            continue
        value = _toml(u.text(float(found.best[k])))
        lines += [f'"{key}" = {value}' for key in u.keys]
    lines += ["", "[intervals]  # 90 %"]
    for k, u in enumerate(found.unknowns):
        low, high = (_toml(u.text(float(v[k]))) for v in (found.low, found.high))
        lines += [f'"{key}" = [{low}, {high}]' for key in u.keys]
    made = datetime.now(UTC).strftime("%Y-%m-%d")
    lines += [
        "", "[provenance]", f'weldsim = "{__version__}"', f'made = "{made}"',
        f"runs = {found.runs}", f'grade = "{found.settings.grade}"', 'draws = "draws.csv"',
    ]  # fmt: skip
    cases = ", ".join(_toml(Path(e.case.source_file).name) for e in found.experiments)
    files = ", ".join(_toml(m.path.name) for e in found.experiments for m in e.measurements)
    return "\n".join([*lines, f"cases = [{cases}]", f"measured = [{files}]"]) + "\n"


def _toml(value: object) -> str:
    if isinstance(value, str):
        quoted = value.replace("\\", "\\\\").replace('"', '\\"')
        return f'"{quoted}"'
    return repr(value)


def draws_text(found: Fit) -> str:
    """Draws of the unknowns in SI, one a row, for intervals of later predictions."""
    some = found.samples[:: max(1, len(found.samples) // 1000)]
    head = ",".join(f"{key} [{u.unit or '1'}]" for u in found.unknowns for key in u.keys)
    many = [len(u.keys) for u in found.unknowns]
    rows = np.repeat(some, many, axis=1)
    return "\n".join([head, *(",".join(f"{v:.8g}" for v in row) for row in rows)]) + "\n"


def _in(lines: list[str], units: Units) -> list[str]:
    return in_us(lines) if units == "us" else [str(line) for line in lines]


def page_text(found: Fit, units: Units = "metric") -> str:
    """The page."""
    files = ", ".join(m.path.name for e in found.experiments for m in e.measurements)
    cases = ", ".join(e.case.title for e in found.experiments)
    return PAGE.format(
        title=html.escape(f"What the measurements say: {cases}"),
        css=css(),
        from_=html.escape(f"Fitted to {files}."),
        care=html.escape(f"Caution: {APPROVES_NOTHING} {DEFER}"),
        lines="".join(f"<li>{html.escape(line)}</li>" for line in _in(fit_lines(found), units)),
        fitted=inline_svg(unknowns_figure(found), "each fitted value between its bounds"),
        slopes=inline_svg(slopes_figure(found), "how each curve changes with each fitted value"),
        curves=inline_svg(curves_figure(found), "measured and computed curves with residuals"),
        shop="shop.toml",
    )
