"""Checkpoints of a run folder read back: states to the bit, each with a checksum."""

from __future__ import annotations

import hashlib
import json
import re
import zipfile
import zlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pydantic import ConfigDict

from weldsim.errors import StoreError
from weldsim.runs.stored import Stored, checked
from weldsim.system.files import check_regular

STATE = "state"
EXTRA = "extra.json"  # entry of a checkpoint beside the state arrays
CHECKSUM = "checksum"  # entry with the digest of all others
MOST_BYTES = 2**36  # of a checkpoint
DAMAGED = (OSError, ValueError, KeyError, EOFError, TypeError, zipfile.BadZipFile, zlib.error,
           NotImplementedError, RuntimeError, MemoryError, RecursionError, StoreError)  # fmt: skip


class StoredExtra(Stored):
    """What a run has gathered besides the state, see `weldsim.runs.journal.Record`."""

    model_config = ConfigDict(extra="allow", allow_inf_nan=True)  # a reading may be nan

    rows: list[list[float]] | list[dict[str, float]] = []
    columns: list[tuple[str, str, str]] | None = None


def state_checksum(arrays: Mapping[str, NDArray[Any]]) -> NDArray[np.uint8]:
    """Digest of arrays by name: what they hold, their shapes and types.

    It tells damage and changes made by hand; it is no signature.

    Parameters
    ----------
    arrays : mapping of str to ndarray
        In any order.

    Returns
    -------
    ndarray, shape (32,)
        SHA-256 as bytes, to be kept beside them under `CHECKSUM`.
    """
    digest = hashlib.sha256()
    for name in sorted(arrays):
        values = np.ascontiguousarray(arrays[name])
        digest.update(f"{name} {values.dtype.str} {values.shape};".encode())
        digest.update(values.tobytes() if values.dtype.kind == "U" else values.data)
    return np.frombuffer(digest.digest(), dtype=np.uint8)


def read_arrays(path: str | Path) -> dict[str, NDArray[Any]]:
    """Arrays of a file with their checksum compared, which older files lack.

    Parameters
    ----------
    path : path
        As `numpy.savez` wrote it.

    Returns
    -------
    dict of str to ndarray
        Without the checksum.

    Raises
    ------
    StoreError
        If it is damaged, or was changed since it was written.
    """
    check_regular(path, MOST_BYTES)
    try:
        with np.load(path, allow_pickle=False) as data:
            arrays = {name: data[name] for name in data.files}
        kept = arrays.pop(CHECKSUM, None)
    except DAMAGED as error:
        raise StoreError(f"{path}: cannot be read: {error}") from None
    if kept is not None and not np.array_equal(kept, state_checksum(arrays)):
        raise StoreError(f"{path}: was changed since it was written: its checksum differs")
    return arrays


def checkpoints(path: str | Path) -> list[Path]:
    """Checkpoint files of a run folder, oldest first."""
    return sorted((Path(path) / STATE).glob("checkpoint_[0-9]*.npz"), key=_number)


def last_checkpoint(
    path: str | Path,
) -> tuple[dict[str, NDArray[Any]], dict[str, Any]] | None:
    """State arrays and extra of the newest checkpoint that can be read; None without any.

    Raises
    ------
    StoreError
        If there are checkpoints and none can be read.
    """
    found, trouble = checkpoints(path), None
    for file in reversed(found):
        try:
            arrays = read_arrays(file)
            extra = json.loads(arrays.pop(EXTRA).tobytes())
            extra = checked(extra, StoredExtra, file, plain=False)
        except DAMAGED as error:
            trouble = error
            continue
        return arrays, extra
    if found:
        raise StoreError(f"{trouble}; start the run afresh")
    return None


def _number(path: Path) -> int:
    """Steps of a checkpoint, from its name."""
    found = re.fullmatch(r"checkpoint_(\d{1,12})\.npz", path.name)
    return int(found[1]) if found else -1
