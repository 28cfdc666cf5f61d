"""Files written whole or not at all, and records as JSON can hold them.

A file is written under a temporary name in the same folder, flushed to the disk and renamed, so
a crash or a full disk leaves the old one or the new one, never half of one.
"""

from __future__ import annotations

import json
import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from weldsim.errors import StoreError

TEMPORARY = ".partial"  # ends the name of a file that is being written
MOST_BYTES = 2**29  # of a file that is read whole


@contextmanager
def whole_file(path: str | os.PathLike[str]) -> Iterator[Path]:
    """A temporary path beside `path` to write to; renamed to `path` when the block succeeds.

    Parameters
    ----------
    path : path-like
        The file to write; its folder must exist.

    Yields
    ------
    Path
        Where to write; it ends with `TEMPORARY`.

    Raises
    ------
    StoreError
        If the disk refuses. An old file stays as it was, whatever goes wrong.
    """
    path = Path(path)
    beside = path.with_name(f"{path.stem}.{os.getpid()}{path.suffix}{TEMPORARY}")
    try:
        yield beside
        with open(beside, "rb+") as handle:
            os.fsync(handle.fileno())
        os.replace(beside, path)
        _flush_folder(path.parent)
    except OSError as error:
        drop(beside)
        why = error.strerror or str(error)
        raise StoreError(f"{path}: could not be written: {why}") from error
    except BaseException:
        drop(beside)
        raise


def drop(path: Path) -> None:
    """Delete a file that is not wanted any more, where the disk lets it.

    Parameters
    ----------
    path : Path
        It need not exist. On a disk that can only be read even that is refused.
    """
    with suppress(OSError):
        path.unlink(missing_ok=True)


def _flush_folder(folder: Path) -> None:
    """Make a rename last through a power cut, where the system lets a folder be flushed."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def is_file(path: str | os.PathLike[str]) -> bool:
    """Whether there is a file of a name, whatever the name is.

    Parameters
    ----------
    path : path-like
        Perhaps too long for this system, or with letters that no name has.

    Returns
    -------
    bool
        False where the system refuses to look.
    """
    try:
        return stat.S_ISREG(os.stat(path).st_mode)
    except (OSError, ValueError):
        return False


def absolute(path: Path) -> Path:
    """A path from the root, whatever its name is.

    Parameters
    ----------
    path : Path
        It need not exist.

    Returns
    -------
    Path
        As it is where it is no name of a file, or links lead in a circle.
    """
    try:
        return path.resolve()
    except (OSError, ValueError, RuntimeError):
        return path


def check_regular(path: str | os.PathLike[str], most: int = MOST_BYTES) -> None:
    """Refuse what cannot be read to its end: a device, a pipe, a folder, a file of any size.

    Parameters
    ----------
    path : path-like
        Of a file that is to be read whole.
    most : int, optional
        Bytes it may have.

    Raises
    ------
    StoreError
        If it is missing, or anything but a file of that size.
    """
    try:
        found = os.stat(path)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise StoreError(f"{path}: cannot be read: {reason}") from error
    if not stat.S_ISREG(found.st_mode):
        raise StoreError(f"{path}: cannot be read: it is not a file")
    if found.st_size > most:
        raise StoreError(f"{path}: cannot be read: it has more than {most // 2**20} MB")


def read_file(path: str | os.PathLike[str], most: int = MOST_BYTES) -> bytes:
    """All of a file.

    Parameters
    ----------
    path : path-like
        A regular file.
    most : int, optional
        Bytes it may have.

    Returns
    -------
    bytes
        What it holds.

    Raises
    ------
    StoreError
        If it cannot be read; see `check_regular`.
    """
    check_regular(path, most)
    try:
        return Path(path).read_bytes()
    except OSError as error:
        raise StoreError(f"{path}: cannot be read: {error}") from error


def plain(value: Any) -> Any:
    """Value as JSON can hold it.

    Parameters
    ----------
    value : object
        Of numbers, texts, arrays, paths and collections of them.

    Returns
    -------
    object
        Arrays as lists, paths as text, nan and inf as None.
    """
    if isinstance(value, dict):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple, set, frozenset)):
        return [plain(v) for v in value]
    if hasattr(value, "tolist"):  # numpy arrays and scalars
        return plain(value.tolist())
    if isinstance(value, float):
        return value if value - value == 0 else None
    if value is None or isinstance(value, (bool, int, str)):
        return value
    return str(value)


def write_json(path: str | os.PathLike[str], value: Any) -> Path:
    """Write a JSON file whole, its folder made where it is missing.

    Parameters
    ----------
    path : path-like
        The file to write.
    value : object
        Numpy values become plain, nan and inf become null; see `plain`.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    StoreError
        If the disk refuses.
    """
    path = Path(path)
    text = json.dumps(plain(value), indent=1, ensure_ascii=False, allow_nan=False)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StoreError(f"{path.parent}: could not be made: {error}") from error
    with whole_file(path) as beside:
        beside.write_text(text + "\n", encoding="utf-8")
    return path
