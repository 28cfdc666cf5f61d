"""The materials that come with weldsim, by name; light, for menus and completion."""

from __future__ import annotations

from difflib import get_close_matches
from importlib.resources import files

# what people call a metal -> the material here that comes nearest; its own title says what it is
CALLED = {
    "s235": "carbon-steel", "s275": "carbon-steel", "s355": "carbon-steel", "steel": "carbon-steel",
    "mild-steel": "carbon-steel", "a36": "carbon-steel", "304": "stainless-304",
    "304l": "stainless-304", "1.4301": "stainless-304", "stainless": "stainless-304",
    "stainless-steel": "stainless-304", "6061": "aluminium-6061-t6", "6061-t6": "aluminium-6061-t6",
    "aluminium": "aluminium-6061-t6", "aluminum": "aluminium-6061-t6",
}  # fmt: skip


def material_called(name: str) -> str | None:
    """The material here that comes nearest to a metal people have a name for.

    Parameters
    ----------
    name : str
        As people say it: "S235", "mild steel", "304".

    Returns
    -------
    str or None
        One of `list_materials`; None for a name that is in no table.
    """
    return CALLED.get(_plain(name))


def _plain(name: str) -> str:
    return "-".join(name.lower().replace("_", " ").replace("-", " ").split())


def nearest_material(name: str) -> str | None:
    """The material here that a name most likely means.

    Parameters
    ----------
    name : str
        As people say it, or with a slip in it.

    Returns
    -------
    str or None
        One of `list_materials`; None where nothing is near.
    """
    if called := material_called(name):
        return called
    near = get_close_matches(_plain(name), [*list_materials(), *CALLED], n=1)
    return CALLED.get(near[0], near[0]) if near else None


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
