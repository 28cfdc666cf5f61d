"""The tables of a case file to records in SI, with their defaults, on one path for every kind.

What could not be read is nan or None; every comparison with it is false, so nothing follows from
it. What a kind of joint writes otherwise is answered by its `weldsim.joints.protocol.JointKind`.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from weldsim.case.checks import check_surroundings, check_times
from weldsim.case.clamps import read_clamps
from weldsim.case.gauges import read_gauges
from weldsim.case.tables import Tables
from weldsim.case.tacks import read_tacks
from weldsim.case.welds import read_welds
from weldsim.materials.shelf import list_materials, nearest_material
from weldsim.schema.mistakes import Mistake
from weldsim.schema.quantities import WRONG, Section
from weldsim.schema.records import Hold, MetalFactors, SolveOptions, Surroundings
from weldsim.schema.section_checks import is_known, unknown_section
from weldsim.schema.sections import ANYWHERE, NAMES, TOP
from weldsim.system.files import is_file


def read_tables(raw: dict[str, Any], folder: Path) -> tuple[dict[str, Any], list[Mistake]]:
    """Read and check the tables of a case file.

    Parameters
    ----------
    raw : dict
        Tables as TOML gives them.
    folder : Path
        Of the case, where files it names are looked for.

    Returns
    -------
    records : dict
        Keyword arguments of `weldsim.case.load.Case`.
    mistakes : list of Mistake
        With none of them the records are whole.
    """
    tables = Tables(raw, folder)
    _check_names(tables)
    part = _read_part(tables)
    solve = SolveOptions(**dict(tables.one("solve", {})))
    records = {
        "title": raw.get("title"), "part": part, "clamping": Hold("free"), "clamps": (),
        "tacks": (), "welds": (), "gauges": (), "solve": solve,
        "surroundings": _surroundings(tables.one("surroundings", {})),
        "preset": tuple(dict(tables.one("preset", {})).values()),
        "metal": MetalFactors(**dict(tables.one("metal", {}))),
    }  # fmt: skip
    if solve.model == "elastic" and not tables.kind.elastic:
        text = f'"elastic" is not allowed for a {tables.kind_name}, allowed: "plastic"'
        tables.say("solve", "", "model", solve.model, text)
    if "fit" in raw:
        tables.one("fit")
    check_surroundings(records["surroundings"], tables)
    if part is not None:
        _read_the_rest(tables, part, records)
    return records, tables.mistakes


def _check_names(tables: Tables) -> None:
    """The title, and sections that are unknown or not for this kind of joint."""
    for name in tables.raw:
        if name not in TOP:
            tables.say(name, "", "", None, f"unknown section{unknown_section(name, TOP)}")
    title = tables.raw.get("title")
    if not isinstance(title, str) or not title.strip() or not title.isprintable():
        text = 'missing or empty, allowed: a line of text such as "Pivot arm"'
        tables.say("", "", "title", title, text)
    allowed = tables.kind.sections
    for name in NAMES:
        if name in tables.raw and name not in (*allowed, *ANYWHERE):
            text = f"a {tables.kind_name} has no such section, allowed: {', '.join(allowed)}"
            tables.say(name, "", "", None, text)


def _read_part(tables: Tables) -> Any:
    """The part with its files found; None where its seams cannot be told from what stands there."""
    kind, before = tables.kind, len(tables.mistakes)
    section = tables.one("part")
    whole = not any(value is WRONG for value in dict(section).values())
    part = _with_material(kind.read_part(section), tables)
    if whole:
        part = kind.resolve(part, tables.folder)
    if whole or kind.seams_of_welds:
        for key, text in kind.check(part):
            tables.say("part", "", key, getattr(part, key, None), text)
    return part if len(tables.mistakes) == before or kind.seams_of_welds else None


def _with_material(part: Any, tables: Tables) -> Any:
    """The part with its material found: a name that comes with weldsim, or a file by the case."""
    names = list_materials()
    if part.material in names or not is_known(part.material):
        return part
    path = tables.folder / part.material
    if part.material.endswith(".toml") and is_file(path):
        found = {"material": str(path)}
        return (
            part.model_copy(update=found) if isinstance(part, Section) else replace(part, **found)
        )
    near = nearest_material(part.material)
    text = (
        f"{part.material!r} is unknown, allowed: {', '.join(names)} or a .toml file beside the case"
        f"{f', did you mean {near}?' if near else ''}"
    )
    tables.say("part", "", "material", part.material, text)
    return part


def _surroundings(section: Any) -> Surroundings:
    """Surroundings with the preheat filled in."""
    values = dict(section)
    if values["preheat"] is None:
        values["preheat"] = values["ambient"]
    return Surroundings(**values)


def _read_the_rest(tables: Tables, part: Any, records: dict[str, Any]) -> None:
    """Hold, clamps, tacks, welds and gauges of a part, into the records."""
    kind = tables.kind
    hold, clamps = kind.clamped(tables.one("clamping", kind.hold_default), part, tables.mistakes)
    clamps = read_clamps(tables, part, clamps)
    written = tables.many("weld", needed=kind.seams_of_welds)
    part, sections = kind.lay_out(part, hold, written, tables.mistakes)
    lines = kind.seam_lines(part)
    tacks = read_tacks(tables, part, lines)
    welds, cooling = read_welds(tables, part, sections, tacks, clamps)
    records |= {
        "part": part, "clamping": hold, "clamps": clamps, "tacks": tacks, "welds": welds,
        "cooling_film_coefficient": cooling, "gauges": read_gauges(tables, part, clamps),
    }  # fmt: skip
    check_times(records, [name for name, _ in written], tables)
