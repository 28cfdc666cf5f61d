"""What tells one run from another in a list: size, sequence, how far its gauges end off."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from weldsim.errors import StoreError
from weldsim.runs.reading import SUMMARY
from weldsim.runs.stored import read_json_file

SIZES = ("length", "width", "thickness", "wall", "diameter")  # ends of keys that say how large
MOST_SIZES, MOST_WELDS = 6, 12


def facts_of(folder: Path, manifest: Mapping[str, Any]) -> dict[str, Any]:
    """Size, sequence and end of a run, as far as its files say.

    Parameters
    ----------
    folder : Path
        A run folder.
    manifest : mapping
        Its run.json.

    Returns
    -------
    dict
        `sizes`: (words, metres) pairs; `sequence` in words; `ends`: gauge, size and unit of where
        it ends; `unknowns` of the mesh.
    """
    case = manifest.get("case")
    case = case if isinstance(case, dict) else {}
    mesh = manifest.get("mesh")
    unknowns = mesh.get("displacement_unknowns") if isinstance(mesh, dict) else None
    return {
        "sizes": _sizes(case.get("part")),
        "sequence": _sequence(case.get("welds")),
        "ends": _ends(folder, case.get("gauges")),
        "unknowns": unknowns,
    }


def _sizes(part: object) -> list[tuple[str, float]]:
    found = []
    for key, value in part.items() if isinstance(part, dict) else ():
        number = isinstance(value, (int, float)) and not isinstance(value, bool)
        if number and key.rpartition("_")[2] in SIZES:
            found.append((key.replace("_", " "), float(value)))
    return found[:MOST_SIZES]


def _sequence(welds: object) -> str:
    """Seams with their travel in order, tacks left out; passes of a seam once."""
    items: list[str] = []
    for weld in welds if isinstance(welds, list) else ():
        if not isinstance(weld, dict) or weld.get("tack", -1) not in (-1, None):
            continue
        item = f"{weld.get('seam') or weld.get('name', '')} {weld.get('travel', '')}".strip()
        if item and item not in items[-1:]:
            items.append(item)
    more = len(items) - MOST_WELDS
    return ", ".join(items[:MOST_WELDS]) + (f" and {more} more" if more > 0 else "")


def _ends(folder: Path, gauges: object) -> list[dict[str, Any]]:
    """How far each gauge that reads movement ends off, in mm."""
    path = folder / SUMMARY
    try:
        kept = read_json_file(path)["gauges"] if path.is_file() else {}
        finals = {name: float(g["final"]) for name, g in kept.items()}
    except (StoreError, KeyError, TypeError, ValueError, AttributeError):
        return []
    out = []
    for gauge in gauges if isinstance(gauges, list) else ():
        name = gauge.get("name", "") if isinstance(gauge, dict) else ""
        own = [v for k, v in finals.items() if k.startswith(f"{name}_") and k.endswith("_mm")]
        if name and own and all(map(math.isfinite, own)):
            out.append({"gauge": name, "value": math.hypot(*own), "unit": "mm"})
    return out
