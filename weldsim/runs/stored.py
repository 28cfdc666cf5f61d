"""JSON of a run folder, checked by a model of what it may hold when it is read.

A folder may come from an older version, from another program or from somebody who means harm. What
is read through here has the types and keys that the rest of the program counts on; keys that a
model does not name are let through as far as they are plain: finite numbers, no endless depth.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError

from weldsim.errors import StoreError
from weldsim.system.files import read_file

LARGEST = 1e15  # of a number in SI: stresses and heats of any part stay far below
DEEPEST = 40  # lists in lists
SHOWN = 60  # letters of a wrong value in a message


class Stored(BaseModel):
    """A record in a file; keys of newer versions are let through."""

    model_config = ConfigDict(extra="allow", allow_inf_nan=False)


Model = TypeVar("Model", bound=Stored)


def read_stored(path: Path, model: type[Model]) -> dict[str, Any]:
    """A JSON file, checked by its model.

    Parameters
    ----------
    path : Path
        The file.
    model : type of Stored
        What it may hold.

    Returns
    -------
    dict
        As the file has it, with the usual value of what it leaves out.

    Raises
    ------
    StoreError
        In one line with file, key, value and what is wrong.
    """
    return checked(read_json_file(path), model, path)


def checked(raw: Any, model: type[Model], path: Path, plain: bool = True) -> dict[str, Any]:
    """A record that was read, checked by its model; see `read_stored`.

    Parameters
    ----------
    raw : object
        As JSON gives it.
    model : type of Stored
        What it may hold.
    path : Path
        Its file, for messages.
    plain : bool, optional
        Whether numbers must be finite and records not too deep.

    Returns
    -------
    dict
        The same, with the usual value of what it leaves out, without what is null.

    Raises
    ------
    StoreError
        If it is not allowed.
    """
    if not isinstance(raw, Mapping):
        raise StoreError(f"{path}: cannot be read: a record with keys is expected")
    if plain:
        _check_plain(raw, path)
    try:
        found = model.model_validate(raw)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        shown = repr(first["input"])
        shown = shown if len(shown) <= SHOWN else f"{shown[:SHOWN]}..."
        what = first["msg"].removeprefix("Value error, ")
        raise StoreError(f"{path}: {where}: {shown} is not allowed: {what}") from None
    known = {name: getattr(found, name) for name in model.model_fields if name not in raw}
    usual = {k: v.model_dump() if isinstance(v, BaseModel) else v for k, v in known.items()}
    return {k: v for k, v in {**usual, **raw}.items() if v is not None}


def format_of(raw: object, newest: int, path: Path) -> int:
    """Number of the format that a record was written in; 1 where it has none.

    Parameters
    ----------
    raw : object
        As JSON gives it.
    newest : int
        That this version writes; it reads all from 1 on.
    path : Path
        Its file, for messages.

    Returns
    -------
    int
        From 1 to `newest`.

    Raises
    ------
    StoreError
        If this version does not know it.
    """
    written = raw.get("format", 1) if isinstance(raw, Mapping) else 1
    if type(written) is not int or not 1 <= written <= newest:
        raise StoreError(
            f"{path}: format {written!r:.20} is not one this version of weldsim reads, allowed: "
            f"1 to {newest}; read it with the version that wrote it"
        )
    return written


def read_json_file(path: Path) -> Any:
    """Content of a JSON file.

    Parameters
    ----------
    path : Path
        A regular file.

    Returns
    -------
    object
        Unchecked.

    Raises
    ------
    StoreError
        If it is missing, damaged, nested without end or holds what is no number.
    """
    try:
        return json.loads(read_file(path).decode("utf-8"), parse_constant=_no_number)
    except (ValueError, RecursionError) as error:
        raise StoreError(f"{path}: cannot be read: {error}") from error


def _no_number(word: str) -> float:
    raise ValueError(f"{word} is no number")


def _check_plain(raw: Any, path: Path) -> None:
    """Refuse numbers and texts too large to be meant, and records too deep; without recursion."""
    waiting: list[tuple[Any, int]] = [(raw, 0)]
    while waiting:
        value, depth = waiting.pop()
        if depth > DEEPEST:
            raise StoreError(f"{path}: cannot be read: records in records, {DEEPEST} deep")
        if isinstance(value, Mapping):
            waiting += [(v, depth + 1) for v in value.values()]
        elif isinstance(value, list):
            waiting += [(v, depth + 1) for v in value]
        elif isinstance(value, int | float) and not abs(value) <= LARGEST:
            raise StoreError(f"{path}: cannot be read: a number beyond {LARGEST:g}")
