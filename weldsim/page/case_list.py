"""Case files as the page lists them: those of the work folder, newest first, and the examples."""

from __future__ import annotations

import tomllib
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

from weldsim.joints.registry import KINDS
from weldsim.page.fields import label_of
from weldsim.page.runs import id_of
from weldsim.system.examples import example_cases

LARGEST = 200_000  # bytes of a case file that is read for its title
OTHER = "other parts"


def case_files(work: Path) -> dict[str, Path]:
    """Case files that lie in the work folder, newest first, id -> path.

    Parameters
    ----------
    work : path
        The work folder.

    Returns
    -------
    dict of str to Path
        Links that lead elsewhere are left out.
    """
    found = [p for p in Path(work).glob("*.toml") if p.is_file() and not p.is_symlink()]
    return {id_of(p): p for p in sorted(found, key=lambda p: (-_changed(p), p.name))}


def _changed(path: Path) -> float:
    try:
        return path.stat().st_mtime
    except OSError:  # taken away at this moment
        return 0.0


def example_files() -> dict[str, Path]:
    """Case files that come with weldsim, id -> path.

    Returns
    -------
    dict of str to Path
        By name; an id is not that of a file of the work folder with the same name.
    """
    return {id_of(Path(f"example of weldsim {p.name}")): p for p in example_cases()}


@lru_cache(500)
def _headline(path: Path, changed: float) -> tuple[str, str]:
    """Title of a case file and what joint it is; its name where it cannot be read."""
    try:
        if path.stat().st_size > LARGEST:
            raise ValueError("too large for a case")
        tables = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return path.stem, OTHER
    part = tables.get("part")
    kind = part.get("kind") if isinstance(part, dict) else None
    label = label_of(kind) if isinstance(kind, str) and kind in KINDS else OTHER
    return str(tables.get("title") or path.stem)[:200], label


def listed_cases(work: Path) -> list[dict[str, Any]]:
    """Case files of the work folder as the page lists them, newest first.

    Parameters
    ----------
    work : path
        The work folder.

    Returns
    -------
    list of dict
        `id`, `name`, `title`, `joint` in words and `made` [s since 1970].
    """
    out = []
    for id, path in case_files(work).items():
        title, joint = _headline(path, _changed(path))
        out.append({"id": id, "name": path.name, "title": title, "joint": joint,
                    "made": _changed(path)})  # fmt: skip
    return out


@cache
def listed_examples() -> tuple[dict[str, Any], ...]:
    """Examples as the page lists them.

    Returns
    -------
    tuple of dict
        `id`, `name`, `title` and `joint` in words.
    """
    out = []
    for id, path in example_files().items():
        title, joint = _headline(path, _changed(path))
        out.append({"id": id, "name": path.name, "title": title, "joint": joint})
    return tuple(out)
