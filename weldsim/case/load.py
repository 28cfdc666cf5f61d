"""The case file: TOML with units in the values, checked as a whole, turned into SI records.

Keys, units and words are checked section by section (`case_keys`, `case_file`), then the sections
against each other (`case_checks`). All mistakes of a file are reported together, one line each.
"""

from __future__ import annotations

import tomllib
from dataclasses import asdict, replace
from pathlib import Path

from weldsim.errors import CaseError
from weldsim.schema.records import Bar, Case


def load_case(path, overrides=()) -> Case:
    """Read and check a case file.

    Parameters
    ----------
    path : str or Path
    overrides : iterable of str
        Changes like ``weld.A.current=120 A``, applied before anything is checked.

    Raises
    ------
    CaseError
        One line for each mistake, each naming file, key, value and what is allowed.
    """
    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8-sig")  # some editors begin with a mark
    except (OSError, UnicodeDecodeError) as error:
        raise CaseError(f"{path}: cannot be read: {getattr(error, 'strerror', error)}") from None
    return parse_case(text, str(path), overrides)


def parse_case(text: str, source_file: str, overrides=()) -> Case:
    """Check the text of a case file; see `load_case`."""
    from weldsim.case.checks import cross_checks
    from weldsim.case.overrides import apply_overrides
    from weldsim.case.sections_to_records import read_sections

    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise CaseError(f"{source_file}: not a TOML file: {error}") from None
    overrides = tuple(overrides)
    mistakes = apply_overrides(raw, overrides)
    records, found = read_sections(raw, Path(source_file).parent)
    mistakes += found
    if isinstance(records["part"], Bar):
        mistakes += cross_checks(records)
    if mistakes:
        raise CaseError("\n".join(f"{source_file} {line}" for line in mistakes))
    case = Case(**records, source_file=source_file, source_text=text, overrides=overrides)
    parts = (
        "title", "hold", "welds", "surroundings", "gauges", "solve", "clamps", "tacks",
        "cooling_film_coefficient", "preset",
    )  # fmt: skip
    resolved = {k: v for k, v in asdict(case).items() if k in parts}
    record = case.part
    resolved["part"] = record.model_dump() if hasattr(record, "model_dump") else asdict(record)
    for weld, record in zip(case.welds, resolved["welds"], strict=True):
        record.update(power=weld.power, arc_energy=weld.arc_energy, heat_input=weld.heat_input)
    return replace(case, resolved=resolved)
