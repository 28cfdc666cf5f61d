"""Changes to a case from the command line: ``--set weld.A.current="120 A"``."""

from __future__ import annotations

import tomllib

from weldsim.case.keys import section_model
from weldsim.joints.registry import kind_of
from weldsim.schema.sections import MANY, TOP, keys_of, nearest, unknown_key


def apply_overrides(raw: dict, overrides) -> list[str]:
    """Put changes into the tables of a case file, in order.

    Parameters
    ----------
    raw : dict
        Tables as TOML gives them; changed in place.
    overrides : iterable of str
        ``section.key=value``; a weld or gauge goes by its name, or by its number from 1.

    Returns
    -------
    list of str
        Mistakes, one line each; such a change is not carried out.
    """
    out = []
    for change in overrides:
        try:
            _apply(raw, change)
        except ValueError as error:
            out.append(f"--set {change}: {error}")
    return out


def _apply(raw: dict, change: str) -> None:
    target, sign, value = change.partition("=")
    path = [p.strip() for p in target.split(".")]
    section, key = path[0], path[-1]
    if not sign or not all(path):
        raise ValueError('write it as section.key=value, such as part.thickness="8 mm"')
    if section not in TOP:
        raise ValueError(f"unknown section {section}{nearest(section, TOP)}")
    if section == "title":
        if len(path) != 1:
            raise ValueError("write it as title=text")
        raw["title"] = value.strip().strip("\"'")
        return
    shape = f"{section}.NAME.key=value" if section in MANY else f"{section}.key=value"
    if len(path) != (3 if section in MANY else 2):
        raise ValueError(f"write it as {shape}")
    keys = keys_of(section_model(section, kind_of(raw)))
    if key not in keys:
        raise ValueError(f"unknown key {key}{unknown_key(section, key, keys)}")
    table = _named(raw, section, path[1]) if section in MANY else raw.setdefault(section, {})
    if isinstance(table, dict):  # else the file itself is wrong there, which is said elsewhere
        table[key] = _value(value.strip())


def _named(raw: dict, section: str, name: str) -> dict:
    """The weld or gauge of a name, or of a number from 1."""
    entries = raw.get(section)
    entries = [e for e in entries if isinstance(e, dict)] if isinstance(entries, list) else []
    for entry in entries:
        if entry.get("name") == name:
            return entry
    if name.isdecimal() and 1 <= int(name) <= len(entries):
        return entries[int(name) - 1]
    names = [str(e.get("name")) for e in entries]
    raise ValueError(
        f"no {section} is named {name}{nearest(name, names) if names else ', there is none'}"
    )


def _value(text: str):
    """Numbers, true, false, lists and quoted text as in TOML; anything else is text."""
    try:
        return tomllib.loads(f"value = {text}")["value"]
    except tomllib.TOMLDecodeError:
        return text
