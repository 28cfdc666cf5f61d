"""Make the files of the two example cases with parts of one's own: `python meshes/make_own.py`.

`strap.msh`: two flat straps of a small tracker frame, one lapped on the other and welded along
its edge; bricks, seam along y. `bracket.step`: a foot plate with an upright on it and the fillet
in their corner, each a solid with a name. Lengths in mm.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent

# strap: upper strap ends at x = 0, the lower one lies under it
WIDTH, THICK, LONG, LAP = 30.0, 4.0, 80.0, 24.0
LEG, LAND, ROOT = 4.0, 0.1, 1.5  # of the fillet; thickness of the open land; how deep it is fused
THROAT = 0.575  # of the leg, both ways: a fillet a little convex
# bracket
FOOT, UPRIGHT, BEAD = (60.0, 50.0, 5.0), (5.0, 50.0, 45.0), (4.0, 40.0)
HOLE = (40.0, 25.0, 4.5)  # x, y, radius of a hole in the foot


def strap_section():
    """Quadrangles of the strap's section (region, four (x, z)), each with cells (along, across)."""
    top, split = LAND + THICK, LAND / (LAND + LEG)
    crown = (THROAT * LEG, LAND + THROAT * LEG)
    side = (LEG + split * (crown[0] - LEG), split * crown[1])
    out = []

    def box(region, x, z, cells):
        (x0, x1), (z0, z1) = x, z
        out.append((region, [(x0, z0), (x1, z0), (x1, z1), (x0, z1)], cells))

    steps = ((-LAP, -ROOT, 6), (-ROOT, 0.0, 2))
    for x0, x1, n in (*steps, (0.0, LEG, 2), (LEG, LONG - LAP, 8)):
        box("part", (x0, x1), (-THICK, 0.0), (n, 2))
    for x0, x1, n in ((-LONG, -LAP, 8), *steps):
        box("part", (x0, x1), (LAND, top), (n, 2))
    box("land", (-LAP, -ROOT), (0.0, LAND), (6, 1))
    box("fill 1 lap", (-ROOT, 0.0), (0.0, LAND), (2, 1))
    out.append(("fill 1 lap", [(0.0, 0.0), (LEG, 0.0), side, (0.0, LAND)], (2, 1)))
    out.append(("fill 1 lap", [(0.0, LAND), side, crown, (0.0, top)], (2, 2)))
    return out


def make_strap(gmsh, path: Path, cells: int = 10) -> None:
    """Section of quadrangles, extruded along y."""
    geo, points, lines = gmsh.model.geo, {}, {}

    def point(at):
        key = (round(at[0], 6), round(at[1], 6))
        if key not in points:
            points[key] = geo.addPoint(key[0], 0.0, key[1])
        return points[key]

    def line(a, b, count):
        low, high = min(a, b), max(a, b)
        if (low, high) not in lines:
            lines[low, high] = geo.addLine(low, high)
            geo.mesh.setTransfiniteCurve(lines[low, high], count + 1)
        return lines[low, high] if a < b else -lines[low, high]

    volumes: dict[str, list[int]] = {}
    for region, corners, (along, across) in strap_section():
        p = [point(c) for c in corners]
        counts = (along, across, along, across)
        loop = [line(p[i], p[(i + 1) % 4], counts[i]) for i in range(4)]
        face = geo.addPlaneSurface([geo.addCurveLoop(loop)])
        geo.mesh.setTransfiniteSurface(face, "Left", p)
        geo.mesh.setRecombine(2, face)
        made = geo.extrude([(2, face)], 0.0, WIDTH, 0.0, [cells], recombine=True)
        volumes.setdefault(region, []).append(next(t for d, t in made if d == 3))
    geo.synchronize()
    for region, tags in volumes.items():
        gmsh.model.addPhysicalGroup(3, tags, name=region)
    for name, x in (("panel end", -LONG), ("mast end", LONG - LAP)):
        _name(gmsh, 2, name, (x, 0.0, -THICK), (x, WIDTH, LAND + THICK))
    x, z = THROAT * LEG, LAND + THROAT * LEG
    _name(gmsh, 1, "lap", (x, 0.0, z), (x, WIDTH, z))
    gmsh.model.mesh.generate(3)
    gmsh.write(str(path))


def _name(gmsh, dim: int, name: str, low, high, slack: float = 1e-4) -> None:
    """Name what lies within a box."""
    box = [v - slack for v in low] + [v + slack for v in high]
    tags = [t for _, t in gmsh.model.getEntitiesInBoundingBox(*box, dim)]
    gmsh.model.addPhysicalGroup(dim, tags, name=name)


def make_bracket(gmsh, path: Path) -> None:
    """Three solids; their names are put into the file, for Gmsh writes none."""
    occ = gmsh.model.occ
    (length, width, thick), (wall, _, height), (leg, long) = FOOT, UPRIGHT, BEAD
    foot = occ.addBox(0, 0, 0, length, width, thick)
    hole = occ.addCylinder(HOLE[0], HOLE[1], 0, 0, 0, thick, HOLE[2])
    occ.cut([(3, foot)], [(3, hole)])
    occ.addBox(0, 0, thick, wall, width, height)
    corners = ((wall, thick), (wall + leg, thick), (wall, thick + leg))
    points = [occ.addPoint(x, (width - long) / 2, z) for x, z in corners]
    loop = occ.addCurveLoop([occ.addLine(points[i], points[(i + 1) % 3]) for i in range(3)])
    occ.extrude([(2, occ.addPlaneSurface([loop]))], 0, long, 0)
    occ.synchronize()
    gmsh.write(str(path))
    text = path.read_text()
    for number, name in enumerate(("foot", "upright", "fill 1 heel"), 1):
        text = re.sub(rf"'Open CASCADE STEP translator [\d.]+ 1\.{number}'", f"'{name}'", text)
    path.write_text(re.sub(r"'\d{4}-\d\d-\d\dT[\d:]+'", "'2025-01-01T00:00:00'", text))


def main(folder: Path = HERE) -> None:
    """Write both files into a folder."""
    from weldsim.system.libraries import import_gmsh

    gmsh = import_gmsh()
    for make, name in ((make_strap, "strap.msh"), (make_bracket, "bracket.step")):
        gmsh.initialize()
        try:
            gmsh.option.setNumber("General.Terminal", 0)
            gmsh.option.setNumber("General.NumThreads", 1)
            make(gmsh, folder / name)
        finally:
            gmsh.finalize()
        print(f"{name}: {(folder / name).stat().st_size} bytes")


if __name__ == "__main__":
    main(*(Path(a) for a in sys.argv[1:2]))
