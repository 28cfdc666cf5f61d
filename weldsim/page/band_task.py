"""A band of the page: what scatters, what a request may hold, and what its answer shows."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weldsim.case.load import Case, parse_case
from weldsim.page.worker_process import Tell
from weldsim.report.band_record import band_record, pointers, write_band
from weldsim.schema.column import Column
from weldsim.studies.band.band import band
from weldsim.studies.band.records import RUNS, Band, Settings
from weldsim.studies.band.uncertain import Uncertain, posterior_of, uncertain_of
from weldsim.studies.fit.records import FINER
from weldsim.text.band_words import band_lines, shown, source_lines
from weldsim.text.quantities import in_us

GRADE = "coarse"  # where the request says nothing
MOST_POINTS, MOST_SPOTS = 400, 400  # of a curve, and of a target, as a page draws them
SHOWN = ("column", "gauge", "component", "unit", "moment", "value", "low", "high",
         "shares_in_words", "in_words", "settled")  # fmt: skip


def settings_of(options: dict[str, Any], workers: int | None = None) -> Settings:
    """How a band is made.

    Parameters
    ----------
    options : dict
        Of the job: `grade`, `finer` and `sample`.
    workers : int, optional
        Processes.

    Returns
    -------
    Settings
        With usual values where the request says nothing.
    """
    grade = options.get("grade", GRADE)
    return Settings(
        grade=grade, finer=options.get("finer") or FINER[grade], runs=options.get("sample", RUNS),
        workers=workers,
    )  # fmt: skip


def uncertain_in(case: Case, options: dict[str, Any]) -> Uncertain:
    """What scatters about a case, as a request has it.

    Parameters
    ----------
    case : Case
    options : dict
        `spread`: key -> standard deviation; `exact`: keys that are known.

    Returns
    -------
    Uncertain
        What a fit left open among it, where the case names a kept shop.
    """
    return uncertain_of(
        case, options.get("spread", {}), options.get("exact", ()), posterior_of(case)
    )


def scatter(text: str, source_file: str, tell: Tell | None = None) -> list[dict[str, Any]]:
    """What scatters about a case, and how far; a worker's task.

    Parameters
    ----------
    text, source_file : str
        The case as `parse_case` takes it.
    tell : callable, optional
        Not used.

    Returns
    -------
    list of dict
        `key`, `words`, `spread` as a person writes it and its `source`; blank for what a fit left.
    """
    found = uncertain_in(parse_case(text, source_file), {})
    out = []
    for u, words in zip(found.values, found.words, strict=True):
        size = u.spread or 0.0
        degrees = u.key.endswith("temperature")
        said = f"{size:.0f} K" if degrees else f"{100 * size / abs(u.usual):.0f} %"
        out.append({
            "key": u.key, "words": words, "spread": "" if u.spread is None else said,
            "source": u.source,
        })  # fmt: skip
    return out


def check_band(
    text: str, source_file: str, options: dict[str, Any], tell: Tell | None = None
) -> None:
    """Refuse a band that cannot be made; a worker's task.

    Parameters
    ----------
    text, source_file : str
        The case as `parse_case` takes it.
    options : dict
        Of the band.
    tell : callable, optional
        Not used.
    """
    uncertain_in(parse_case(text, source_file), options)


def band_answer(
    case: Case, options: dict[str, Any], folder: Path, workers: int, tell: Tell
) -> dict[str, Any]:
    """Make a band, and leave all that it leaves in a folder.

    Parameters
    ----------
    case : Case
    options : dict
        See `settings_of` and `uncertain_in`.
    folder : Path
        Of the study; its runs stay there.
    workers : int
        Processes.
    tell : callable(share, text)

    Returns
    -------
    dict
        `lines` in words; `sources` in both units; `record`, `curves`, `targets` and when the
        `last_arc` goes out [s].
    """
    found = band(case, uncertain_in(case, options), folder, settings_of(options, workers), tell)
    write_band(found, folder)
    sources = source_lines(found)
    record = band_record(found)
    named = {(r.column.name, r.moment) for r in shown(found)}
    readings = [
        {k: r[k] for k in SHOWN} for r in record["readings"] if (r["column"], r["moment"]) in named
    ]
    return {
        "lines": band_lines(found), "sources": list(map(str, sources)),
        "sources_us": in_us(sources),
        "record": {"readings": readings, "runs": found.runs, "grade": record["grade"]},
        "curves": [_curve(found, k) for k, c in enumerate(found.columns) if _drawn(found, c)],
        "targets": [_target(found, name) for name in pointers(found)],
        "last_arc": found.last_arc,
    }  # fmt: skip


def _drawn(found: Band, column: Column) -> bool:
    """Whether a column is drawn: a tilt says the same as the spot on the target."""
    return any(r.column == column for r in shown(found))


def _curve(found: Band, k: int) -> dict[str, Any]:
    c = found.columns[k]
    count = len(found.times)
    kept = np.unique(np.linspace(0, count - 1, min(count, MOST_POINTS)).round().astype(int))
    times = _plain(found.times[kept])

    def values(curve: NDArray[np.float64]) -> list[float]:
        return _plain(np.asarray(c.to_display(curve[k, kept])))

    return {
        "name": c.name, "gauge": c.gauge, "component": c.component, "unit": c.unit, "times": times,
        "low": values(found.low), "high": values(found.high),
        "computed": {"times": times, "values": values(found.middle)},
    }  # fmt: skip


def _target(found: Band, gauge: str) -> dict[str, Any]:
    """Cold ends of parts on the target of a pointer, right and up. [mm]"""
    sides = [Column(gauge, side, "mm") for side in ("right", "up")]
    at = [found.columns.index(c) for c in sides]
    cold = {r.column: r for r in found.readings if r.moment == "cold"}
    spots = 1e3 * found.ends[:MOST_SPOTS, at]
    return {
        "gauge": gauge, "end": [1e3 * cold[c].value for c in sides],
        "low": [1e3 * cold[c].low for c in sides], "high": [1e3 * cold[c].high for c in sides],
        "spots": [_plain(s) for s in spots],
    }  # fmt: skip


def _plain(values: NDArray[np.float64]) -> list[float]:
    return [float(f"{v:.5g}") for v in values]
