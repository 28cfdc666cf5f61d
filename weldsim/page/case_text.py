"""The text of a case file after an edit: comments, layout and order of its author stay."""

from __future__ import annotations

import tomllib
from collections.abc import MutableMapping

import tomli_w


def edited(text: str, tables: dict) -> str:
    """TOML text of `tables`, as far as possible in the words of `text`.

    Parameters
    ----------
    text : str
        A case file, with comments.
    tables : dict
        What it is to hold now.

    Returns
    -------
    str
        Reads as exactly `tables`. Where `text` cannot be brought there it is written anew, without
        comments.
    """
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    try:
        document = tomlkit.parse(text)
        _bring(document, tables)
        changed = tomlkit.dumps(document)
        if tomllib.loads(changed) == tables:
            return changed
    except (TOMLKitError, ValueError, TypeError, KeyError, IndexError, RecursionError):
        pass
    return tomli_w.dumps(tables)


def _bring(old: MutableMapping, new: dict) -> None:
    """Change a table so that it holds what `new` does, touching only what differs."""
    for key in [k for k in old if k not in new]:
        del old[key]
    for key, value in new.items():
        before = old.get(key)
        if isinstance(value, dict) and isinstance(before, MutableMapping):
            _bring(before, value)
        elif before is not None and _is_section_list(value) and _is_section_list(before):
            _bring_list(before, value)
        elif before != value or isinstance(before, bool) != isinstance(value, bool):
            old[key] = value


def _bring_list(old: list, new: list[dict]) -> None:
    """The same for `[[sections]]`: those whose name is gone go, the others are met by place."""
    names = {entry.get("name") for entry in new}
    for place in reversed(range(len(old))):
        if len(old) > len(new) and old[place].get("name") not in names:
            del old[place]
    while len(old) > len(new):
        del old[-1]
    for before, value in zip(old, new, strict=False):
        _bring(before, value)
    for value in new[len(old) :]:
        old.append(value)


def _is_section_list(value: object) -> bool:
    return (
        isinstance(value, list)
        and bool(value)
        and all(isinstance(entry, MutableMapping) for entry in value)
    )
