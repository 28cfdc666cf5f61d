"""States in files of their own, each with its checksum: there whole or not at all."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import numpy as np

from weldsim.errors import StoreError
from weldsim.runs.checkpoints import CHECKSUM, read_arrays, state_checksum
from weldsim.simulation.state import State
from weldsim.system.files import whole_file


def read_state(path: str | Path) -> State:
    """A state as `write_state` wrote it.

    Parameters
    ----------
    path : path
        Of the file.

    Returns
    -------
    State
        To the bit.

    Raises
    ------
    StoreError
        If it is missing, damaged or was changed since.
    """
    try:
        return State.from_arrays(read_arrays(path))
    except (KeyError, TypeError, ValueError) as error:
        raise StoreError(f"{path}: state cannot be read ({error})") from None


def write_state(path: str | Path, state: State) -> None:
    """Write a state, whoever else writes the same.

    Parameters
    ----------
    path : path
        Its folder is made where it is missing.
    state : State
        Of any model.
    """
    buffer, arrays = io.BytesIO(), dict(state.to_arrays())
    whole: dict[str, Any] = {**arrays, CHECKSUM: state_checksum(arrays)}
    np.savez(buffer, **whole)
    path = Path(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    with whole_file(path) as beside:
        Path(beside).write_bytes(buffer.getvalue())
