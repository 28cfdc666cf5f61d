"""[[clamp]] sections: what holds a part beside its [clamping]."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from weldsim.case.tables import Tables
from weldsim.schema.records import Clamp, StartRule
from weldsim.schema.rules import clamp_rule, read_rule
from weldsim.schema.section_checks import near_to


def read_clamps(tables: Tables, part: Any, clamps: tuple[Clamp, ...]) -> tuple[Clamp, ...]:
    """All clamps of a part.

    Parameters
    ----------
    tables : Tables
        Where they stand, and where mistakes are noted.
    part : record of a joint kind
        What is welded.
    clamps : tuple of Clamp
        Those of the [clamping].

    Returns
    -------
    tuple of Clamp
        In the order of the case, those of the hold first.
    """
    if "clamp" not in tables.kind.sections:
        return clamps
    faces, out = tuple(tables.kind.faces(part)), list(clamps)
    for name, section in tables.many("clamp", needed=False):
        at = [section.at] if isinstance(section.at, str) else section.at
        if not isinstance(at, list) or not at or any(a not in faces for a in at):
            bad = next((a for a in at if a not in faces), at) if isinstance(at, list) else at
            text = (
                f"{bad!r} is not a face of this joint, allowed: {', '.join(faces)}"
                f"{near_to(bad, faces)}"
            )
            tables.say("clamp", name, "at", bad, text)
            continue
        _check_stiffness(tables, name, section, alone=not _stays(out))
        taken = {face for other in out for face in other.at} & set(at)
        if taken:
            text = f"{min(taken)!r} is held already, allowed: each face once"
            tables.say("clamp", name, "at", min(taken), text)
        _check_kind(tables, name, section, out)
        on, off = (
            read_rule(clamp_rule, getattr(section, key), "clamp", name, key, tables.mistakes)
            for key in ("on", "off")
        )
        stiffness, turning = section.stiffness or 0.0, section.turning or 0.0
        warm = section.temperature
        out.append(
            Clamp(
                name, tuple(at), section.kind, stiffness, turning, section.conductance, on, off,
                section.slides, warm if isinstance(warm, tuple) else (),
            )
        )  # fmt: skip
        if section.kind == "table" and on != StartRule("time", 0.0):
            text = "a table is there from the start, allowed: no such key"
            tables.say("clamp", name, "on", section.on, text)
    table = next((c.name for c in out if c.kind == "table"), None)
    if table is not None and all(c.kind == "table" for c in out):
        text = "a table only pushes, and weight is left out, allowed: with a clamp that holds"
        tables.say("clamp", table, "kind", "table", text)
    return tuple(out)


def _check_kind(tables: Tables, name: str, section: Any, before: Sequence[Clamp]) -> None:
    """Whether there is one table at most, and what slides is a rigid clamp."""
    if section.kind == "table" and any(c.kind == "table" for c in before):
        tables.say("clamp", name, "kind", "table", "there is a table already, allowed: one")
    if section.kind != "rigid" and section.slides:
        called = "table" if section.kind == "table" else "spring"
        text = f'a {called} has none, allowed: kind = "rigid"'
        tables.say("clamp", name, "slides", section.slides, text)


def _check_stiffness(tables: Tables, name: str, section: Any, alone: bool) -> None:
    """Whether a clamp states the stiffness that its kind has."""
    if section.kind == "spring" and section.stiffness is None:
        text = 'missing key for a spring, such as "5 kN/mm"'
        tables.say("clamp", name, "stiffness", None, text)
    if section.kind == "spring" and section.turning is None and alone:
        text = 'missing key for a spring that holds alone, such as "10 kN m/rad"'
        tables.say("clamp", name, "turning", None, text)
    if section.kind != "spring" and (section.stiffness or section.turning):
        called = "table" if section.kind == "table" else "rigid clamp"
        text = f'a {called} has none, allowed: kind = "spring"'
        tables.say("clamp", name, "stiffness", section.stiffness, text)


def _stays(clamps: Sequence[Clamp]) -> bool:
    """Whether a rigid clamp holds from the beginning to the end."""
    return any(
        c.kind == "rigid"
        and not c.slides
        and c.off.kind == "never"
        and c.on == StartRule("time", 0.0)
        for c in clamps
    )
