"""Values of a fit as a table of the page shows them, from the record that a fit keeps."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from weldsim.studies.spreads import value_name
from weldsim.text.fit_words import said_value
from weldsim.text.quantities import in_us


def values_shown(parameters: Mapping[str, Mapping[str, Any]]) -> list[dict[str, Any]]:
    """One row a value, in both units.

    Parameters
    ----------
    parameters : mapping
        Key -> its part of fit.json. [SI]

    Returns
    -------
    list of dict
        `key`, `name`, `frozen`, and `said`, `said_us`: likeliest, low, high, and its bounds.
    """
    return [_row(key, p) for key, p in parameters.items()]


def with_values(answer: dict[str, Any]) -> dict[str, Any]:
    """An answer of a fit with its table, which the first that were kept lack; others as they are.

    Parameters
    ----------
    answer : dict
        Of any study.

    Returns
    -------
    dict
        With `values` where it is that of a fit.
    """
    record = answer.get("record")
    if "values" in answer or not isinstance(record, dict) or "parameters" not in record:
        return answer
    return answer | {"values": values_shown(record["parameters"])}


def _row(key: str, p: Mapping[str, Any]) -> dict[str, Any]:
    unit = "" if p["unit"] == "1" else p["unit"]
    numbers = (p["value"], p["low"], p["high"], p["prior"]["low"], p["prior"]["high"])
    said = [said_value(unit, float(v)) for v in numbers]
    return {
        "key": key, "name": value_name(key), "frozen": bool(p["frozen"]),
        "said": list(map(str, said)), "said_us": in_us(said),
    }  # fmt: skip
