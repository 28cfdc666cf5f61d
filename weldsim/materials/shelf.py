"""The materials that come with weldsim, by name; light, for menus and completion."""

from __future__ import annotations

from importlib.resources import files


def list_materials() -> tuple[str, ...]:
    """Names of the materials that come with weldsim.

    Returns
    -------
    tuple of str
        Sorted.
    """
    folder = files("weldsim") / "data" / "materials"
    found = (entry.name for entry in folder.iterdir() if entry.name.endswith(".toml"))
    return tuple(sorted(name.removesuffix(".toml") for name in found))
