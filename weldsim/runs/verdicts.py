"""End readings against the tolerances that a case states for its gauges."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any

from weldsim.errors import CaseError
from weldsim.schema.tolerance import Tolerance, read_tolerance, verdict


def judge(
    gauges: Iterable[Mapping[str, Any]], ends: Mapping[str, float], errors: Mapping[str, Any]
) -> list[dict[str, Any]]:
    """Each stated tolerance with its verdict.

    Parameters
    ----------
    gauges : sequence of dict
        Of the case as run.json holds it: `name`, `kind`, `tolerance`.
    ends, errors : dict
        Column of gauges.csv -> end reading and its estimated error, in the column's unit; errors
        of columns may be missing, and nothing can be called then.

    Returns
    -------
    list of dict
        `gauge`, `tolerance`, `reading` and `verdict` as text; `value`, `error` (or None) and
        `unit` where it could be judged.
    """
    return [_judged(g, ends, errors) for g in gauges if g.get("tolerance")]


def _judged(
    gauge: Mapping[str, Any], ends: Mapping[str, float], errors: Mapping[str, Any]
) -> dict[str, Any]:
    """A gauge against its tolerance; of a pointer the whole tilt, of others the largest reading."""
    given, pointer = gauge["tolerance"], gauge.get("kind") == "pointer"
    row = {"gauge": gauge["name"], "tolerance": _text(given), "reading": "", "verdict": ""}
    try:
        if isinstance(given, Mapping):
            tolerance = Tolerance(**{k: given[k] for k in ("text", "value", "measure")})
        else:
            tolerance = read_tolerance(str(given), "angle" if pointer else "linear")
    except (CaseError, KeyError, TypeError) as trouble:
        return row | {"verdict": f"not judged: {trouble}"}
    unit = "mrad" if tolerance.measure == "angle" else "mm"
    own = [c for c in ends if c.startswith(f"{gauge['name']}_") and c.endswith(f"_{unit}")]
    own = [c for c in own if c.count("_") == gauge["name"].count("_") + 2]
    if not own:
        return row | {"verdict": f"not judged: the gauge reads nothing in {unit}"}
    values = [float(ends[c]) for c in own]
    stated = [errors.get(c) for c in own]
    known = [float(e) for e in stated if e is not None]
    value = math.hypot(*values) if pointer else max(values, key=abs)
    error: float | None = None
    if len(known) == len(stated):
        error = math.hypot(*known) if pointer else max(known)
    word = verdict(1e-3 * value, None if error is None else 1e-3 * error, tolerance)
    sure = "" if error is None else f" ±{error:.2g}"
    return row | {
        "tolerance": str(tolerance), "reading": f"{value:.3g}{sure} {unit}", "verdict": word,
        "value": value, "error": error, "unit": unit,
    }  # fmt: skip


def _text(value: Any) -> str:
    return str(value.get("text", value)) if isinstance(value, Mapping) else str(value)
