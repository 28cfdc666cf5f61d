"""Changes to the keys of a case, on the command line or from Python.

On the command line a change is text, ``--set weld.A.current="120 A"``. From Python it is an entry
of a dict, ``{"weld.A.current": "120 A"}``, and may be a number in SI where the key is a quantity.
Either way it is put into the tables of the case before anything is checked; the text form is what
a run folder keeps, and it comes back as the same numbers.
"""

from __future__ import annotations

import copy
import json
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from weldsim.case.keys import section_model
from weldsim.joints.registry import kind_of
from weldsim.schema.section_checks import (
    keys_of,
    nearest,
    quantity_kind,
    unknown_key,
    unknown_section,
)
from weldsim.schema.sections import MANY, TOP
from weldsim.units import KINDS, SI

DEEPEST = 20  # lists in lists, tables in tables
Overrides = Mapping[str, object] | Iterable[str]


@dataclass(frozen=True)
class Change:
    """One change to a case.

    Attributes
    ----------
    key : str
        ``section.key``, ``section.name.key``, or a section as a whole.
    value : object
        As a case file has it, or an `SI` number.
    written : str
        As the command line has it: ``section.key=value``.
    said : str
        How a complaint about it begins.
    """

    key: str
    value: object
    written: str
    said: str


def changes_of(overrides: Overrides, kind: str) -> list[Change]:
    """Changes from text or from a mapping, in order.

    Parameters
    ----------
    overrides : mapping of str to object, or iterable of str
        ``{"weld.A.current": "120 A"}`` or ``["weld.A.current=120 A"]``.
    kind : str
        Joint kind, which decides what a bare number means.

    Returns
    -------
    list of Change
        In order; one whose text has no key has an empty one.
    """
    if isinstance(overrides, Mapping):
        return [_of_python(str(key), value, kind) for key, value in overrides.items()]
    out = []
    for change in overrides:
        key, sign, value = change.partition("=")
        key = ".".join(p.strip() for p in key.split("."))
        if not sign or not all(key.split(".")):
            out.append(Change("", None, change, f"--set {change}"))
        elif key == "title":
            out.append(Change(key, value.strip().strip("\"'"), change, f"--set {change}"))
        else:
            out.append(Change(key, _value(value.strip()), change, f"--set {change}"))
    return out


def check_depth(value: Any) -> None:
    """Refuse lists in lists and tables in tables that no case has.

    Parameters
    ----------
    value : object
        As TOML gives it.

    Raises
    ------
    ValueError
        If they are deeper than `DEEPEST`.
    """
    waiting = [(value, 0)]
    while waiting:
        inner, depth = waiting.pop()
        if depth > DEEPEST:
            raise ValueError(f"lists or tables in each other, allowed: {DEEPEST} deep")
        if isinstance(inner, Mapping):
            waiting += [(v, depth + 1) for v in inner.values()]
        elif isinstance(inner, (list, tuple)):
            waiting += [(v, depth + 1) for v in inner]


def _of_python(key: str, value: Any, kind: str) -> Change:
    section, name = key.split(".")[0], key.split(".")[-1]
    if section in TOP and section != "title":
        quantity = quantity_kind(section_model(section, kind), name)
        if quantity:
            value = _in_si(value)
        text = _toml(value, KINDS[quantity][0] if quantity else "")
    else:
        text = _toml(value, "")
    return Change(key, value, f"{key}={text}", f"{key}={text}")


def _in_si(value: Any) -> Any:
    """Bare numbers marked as being in SI, in lists too."""
    if isinstance(value, (list, tuple)):
        return [_in_si(v) for v in value]
    number = isinstance(value, (int, float)) and not isinstance(value, bool)
    return SI(value) if number else value


def _toml(value: Any, unit: str) -> str:
    """A value as TOML; a number that is in SI gets its unit."""
    if isinstance(value, SI):
        return json.dumps(f"{float(value)!r} {unit}")
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_toml(v, unit) for v in value) + "]"
    if isinstance(value, Mapping):
        entries = (f"{json.dumps(str(k))} = {_toml(v, unit)}" for k, v in value.items())
        return "{" + ", ".join(entries) + "}"
    return json.dumps(str(value), ensure_ascii=False)


def apply_overrides(raw: dict[str, Any], overrides: Overrides) -> list[str]:
    """Put changes into the tables of a case file, in order.

    Parameters
    ----------
    raw : dict
        Tables as TOML gives them; changed in place.
    overrides : mapping of str to object, or iterable of str
        See `changes_of`; a weld or gauge goes by its name, or by its number from 1. A section that
        may stand more than once can be put in as a whole: ``{"weld": [{...}, {...}]}``.

    Returns
    -------
    list of str
        Mistakes, one line each; such a change is not carried out.
    """
    out = []
    for change in changes_of(overrides, kind_of(raw)):
        try:
            _apply(raw, change)
        except ValueError as error:
            out.append(f"{change.said}: {error}")
    return out


def _apply(raw: dict[str, Any], change: Change) -> None:
    path = change.key.split(".")
    section, key = path[0], path[-1]
    if not change.key:
        raise ValueError('write it as section.key=value, such as part.thickness="8 mm"')
    if section not in TOP:
        raise ValueError(f"unknown section {section}{unknown_section(section, TOP)}")
    if section == "title":
        if len(path) != 1:
            raise ValueError("write it as title=text")
        raw["title"] = change.value
        return
    if len(path) == 1 and _is_whole(section, change.value):
        raw[section] = copy.deepcopy(change.value)
        return
    shape = f"{section}.NAME.key=value" if section in MANY else f"{section}.key=value"
    if len(path) != (3 if section in MANY else 2):
        raise ValueError(f"write it as {shape}")
    keys = keys_of(section_model(section, kind_of(raw)))
    if key not in keys:
        raise ValueError(f"unknown key {key}{unknown_key(section, key, keys)}")
    table = _named(raw, section, path[1]) if section in MANY else raw.setdefault(section, {})
    if isinstance(table, dict):  # else the file itself is wrong there, which is said elsewhere
        table[key] = change.value


def _is_whole(section: str, value: object) -> bool:
    """Whether a value is all the entries of a section that may stand more than once."""
    return section in MANY and isinstance(value, list) and all(isinstance(v, dict) for v in value)


def _named(raw: dict[str, Any], section: str, name: str) -> dict[str, Any]:
    """The weld or gauge of a name, or of a number from 1."""
    written = raw.get(section)
    entries: list[dict[str, Any]] = []
    if isinstance(written, list):
        entries = [e for e in written if isinstance(e, dict)]
    for entry in entries:
        if entry.get("name") == name:
            return entry
    if name.isdecimal() and 1 <= int(name) <= len(entries):
        return entries[int(name) - 1]
    names = [str(e.get("name")) for e in entries]
    raise ValueError(
        f"no {section} is named {name}{nearest(name, names) if names else ', there is none'}"
    )


def _value(text: str) -> Any:
    """Numbers, true, false, lists and quoted text as in TOML; anything else is text."""
    try:
        value = tomllib.loads(f"value = {text}")["value"]
        check_depth(value)
    except (ValueError, RecursionError):  # not of TOML, or numbers and lists without end
        return text
    return value
