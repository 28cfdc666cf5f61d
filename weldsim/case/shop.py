"""Values a shop has fitted to its measurements, named by a case and put in before it is checked."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from weldsim.case.overrides import Overrides
from weldsim.case.places import places_of
from weldsim.system.files import is_file

LARGEST = 1_000_000  # bytes of a shop file
FORMAT = 1


def with_shop_values(
    tables: dict[str, Any], changes: Overrides, folder: Path
) -> tuple[Overrides, list[Any]]:
    """Changes of a case with those of the shop file it names before them.

    The values are written into the changes, and the name of the file is taken out, so that a run
    folder holds all it needs.

    Parameters
    ----------
    tables : dict
        Of the case, as the file has them.
    changes : mapping of str to object, or iterable of str
        To be made in it; they win over the shop's.
    folder : Path
        Of the case.

    Returns
    -------
    changes : mapping or tuple
        With the shop's values first.
    mistakes : list of str
        One line each.
    """
    name = _named(tables, changes)
    if not name:
        return changes, []
    path = folder / name
    try:
        values = read_shop_file(path)
    except ValueError as error:
        return changes, [f"[shop] file: {error}"]
    own = {place: value for key, value in values.items() for place in places_of(tables, key)}
    own["shop.file"] = ""
    if isinstance(changes, Mapping):
        return {**own, **{k: v for k, v in changes.items() if k != "shop.file"}}, []
    given = [c for c in changes if c.partition("=")[0].strip() != "shop.file"]
    return (*(f"{k}={_text(v)}" for k, v in own.items()), *given), []


def _named(tables: dict[str, Any], changes: Overrides) -> str:
    shop = tables.get("shop")
    name = shop.get("file", "") if isinstance(shop, dict) else ""
    if isinstance(changes, Mapping):
        name = changes.get("shop.file", name)
    else:
        for change in changes:
            key, _, value = change.partition("=")
            if key.strip() == "shop.file":
                name = value.strip().strip("\"'")
    return name if isinstance(name, str) else ""


def _text(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    return f'"{value}"' if isinstance(value, str) else repr(value)


def read_shop_file(path: Path) -> dict[str, Any]:
    """Values of a shop file.

    Parameters
    ----------
    path : Path
        TOML with a table `values`: key of a case -> value as a case file has it.

    Returns
    -------
    dict of str to object
        As the file has them.

    Raises
    ------
    ValueError
        In words, if it is no such file.
    """
    try:
        if not is_file(path) or path.stat().st_size > LARGEST:
            raise ValueError(
                f"{path} is no file, allowed: a shop file that weldsim fit has written"
            )
        tables = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError) as error:
        raise ValueError(f"{path} cannot be read: {error}") from None
    values = tables.get("values")
    if tables.get("format") != FORMAT or not isinstance(values, dict):
        raise ValueError(f"{path} is no shop file, allowed: format = {FORMAT} and a table [values]")
    for key, value in values.items():
        if not isinstance(value, str | int | float) or len(str(value)) > 100:
            raise ValueError(f"{path} [values] {key}: not a number or a quantity")
    return values
