"""Make the frozen meshes of this folder: `python meshes/make.py [FOLDER]`."""

from __future__ import annotations

import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
CASES = HERE.parent / "cases"

# file name -> (case, changes, grade)
RECIPES = {
    "bar_one_bead.json": ("pivot_arm_one_bead.toml", (), "coarse"),
}


def build(name: str):
    """Part of a recipe, meshed anew."""
    from weldsim.case.load import load_case
    from weldsim.joints.build import build_part

    case, changes, grade = RECIPES[name]
    return build_part(load_case(CASES / case, changes), grade)


def main(folder: Path = HERE) -> None:
    """Write every mesh of `RECIPES` into a folder."""
    from skfem.io.json import to_file

    for name in RECIPES:
        mesh = build(name).mesh
        to_file(mesh, str(folder / name))
        print(f"{name}: {mesh.t.shape[1]} cells, {mesh.p.shape[1]} points")


if __name__ == "__main__":
    main(*(Path(a) for a in sys.argv[1:2]))
