"""Where a key that many places may state is stated: one word for all arcs of a case."""

from __future__ import annotations

from typing import Any

ALL_ARCS = "arc"  # "arc.efficiency" is that of every arc, wherever it is stated


def places_of(tables: dict[str, Any], key: str) -> list[str]:
    """Keys of a case that one key stands for.

    Parameters
    ----------
    tables : dict
        Of the case.
    key : str
        "arc.efficiency" stands for what [arc] says and for what a [[weld]] of its own says
        instead; any other key for itself.

    Returns
    -------
    list of str
        As `Case.with_changes` takes them; none where no place states it.
    """
    section, _, name = key.partition(".")
    if section != ALL_ARCS or "." in name:
        return [key]
    welds = [w for w in tables.get("weld", ()) if isinstance(w, dict)]
    out = [f"weld.{w.get('name', number)}.{name}" for number, w in enumerate(welds, 1) if name in w]
    arc = tables.get("arc")
    return ([key] if isinstance(arc, dict) and name in arc else []) + out
