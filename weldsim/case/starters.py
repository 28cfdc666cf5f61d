"""Commented starter cases, one a joint kind."""

from __future__ import annotations

from difflib import get_close_matches
from importlib.resources import files
from pathlib import Path

from weldsim.errors import CaseError


def starter_kinds() -> list[str]:
    """Joint kinds with a starter.

    Returns
    -------
    list of str
        In order of the alphabet.
    """
    shelf = files("weldsim") / "data" / "starters"
    return sorted(f.name[:-5] for f in shelf.iterdir() if f.name.endswith(".toml"))


def write_starter(kind: str, out: Path | None = None) -> Path:
    """Write the starter of a kind.

    Parameters
    ----------
    kind : str
        One of `starter_kinds`.
    out : Path, optional
        Where to; ``KIND.toml`` here when left out.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    CaseError
        If the kind is unknown, or the file is there already and so stays as it is.
    """
    kinds = starter_kinds()
    if kind not in kinds:
        near = get_close_matches(kind, kinds, n=1)
        hint = f", did you mean {near[0]}?" if near else ""
        raise CaseError(f"new: {kind}: unknown joint kind{hint}; allowed: {', '.join(kinds)}")
    path = Path(out) if out else Path(f"{kind}.toml")
    text = (files("weldsim") / "data" / "starters" / f"{kind}.toml").read_text(encoding="utf-8")
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        raise CaseError(f"new: {path} is already there; allowed: a new file, with --out") from None
    except OSError as error:
        raise CaseError(f"new: {path} cannot be written: {error.strerror}") from None
    return path
