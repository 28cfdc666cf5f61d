"""The materials that come with weldsim."""

from __future__ import annotations

from importlib.resources import files


def material_names() -> list[str]:
    """Names of the materials that come with weldsim, in order."""
    shelf = files("weldsim") / "data" / "materials"
    return sorted(f.name[:-5] for f in shelf.iterdir() if f.name.endswith(".toml"))
