"""Which displacement element: bow of a plate, collapse of a cylinder, edge-heated bar, cost.

Run `python benchmarks/elements.py` (about two minutes on one core); it prints Markdown tables.
The problems are those of the verification tests, on coarser and finer meshes.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import test_mech_bars as bars  # noqa: E402
import test_mech_plastic as plastic  # noqa: E402

from tests.verification.mech_tools import box, curvature, elastic, inherent, solve  # noqa: E402

NAMES = {
    "brick20": "20-node brick, 2x2x2 points",
    "tet10": "10-node tetrahedron, 4 points",
    "brick8": "8-node brick, mean dilatation",
}


def plate_bow(element, cells):
    """Error of the curvature of a plate 100 x 30 x 6 with 100 K through its thickness."""
    nx, ny, nz = cells
    body = box(
        np.linspace(0, 100, nx + 1), np.linspace(0, 30, ny + 1), np.linspace(-3, 3, nz + 1), element
    )
    heat = 12e-6 * 100 * body.at[..., 2] / 6
    found = solve(body, elastic(body, thermal=heat), body.free())
    line = body.on(1, 0.0) & body.on(2, -3.0)
    kappa = -curvature(body.points, found.displacement, where=line)
    return body.points.size, kappa / 2.0e-4 - 1, np.abs(found.stress[..., 0]).max()


def collapse(element, cells):
    """Error of the pressure that a ring a = 100, b = 200 carries when driven beyond yield."""
    body, fixed = plastic.ring(*cells, element=element)
    pressure, _ = plastic.limit_pressure(body, fixed)
    return body.points.size, pressure / plastic.RING_E - 1


def edge_bar(element, cells):
    """Half of the edge-heated bar: cells along, in the rest of the width, in the strip, through."""
    along, rest, strip, through = cells
    y = np.r_[-20.0, 16 - np.geomspace(36, 4 / strip, rest + 1)[1:], np.linspace(16, 20, strip + 1)]
    y = np.unique(np.round(y, 9))
    z = np.linspace(-3, 3, through + 1)
    body = box(np.linspace(0, bars.HALF, along + 1), y, z, element)
    return body, body.at[..., 1] > 16


def edge_heated(element, cells):
    """Final curvature of the free bar heated along one edge, and seconds a Newton iteration."""
    body, strip = edge_bar(element, cells)
    found, _, _ = bars.edge_history(body, strip, "free", bars.HEAT_AND_COOL, along_only=False)
    return body.points.size, bars.edge_curvature(body, found.displacement), iteration(body, strip)


def iteration(body, strip, repeats=5):
    """Median processor time of one Newton iteration, strip flowing: tangent, factor, solve."""
    law = elastic(body, 200e3, 0.3, yield_stress=240.0)
    internal_variables = inherent(body, np.where(strip, 12e-6 * 300, 0.0), 0)
    fixed = bars.edge_supports(body, "free").ravel()
    took = []
    for _ in range(repeats):
        start = time.process_time()
        force, *_, data, _ = body.model.evaluate(body.still(), law, internal_variables, True)
        rhs = -force.ravel()
        rhs[fixed] = 0.0
        body.model.solver.hold(data, fixed)
        body.model.solver.factor(data)
        body.model.solver.solve(rhs)
        took.append(time.process_time() - start)
    return float(np.median(took))


PLATES = {
    "brick20": [(4, 2, 1), (8, 3, 1)],
    "tet10": [(4, 2, 1), (8, 3, 1)],
    "brick8": [(8, 3, 1), (16, 5, 2), (32, 10, 4)],
}
RINGS = {
    "brick20": [(4, 4), (6, 6), (10, 8)],
    "tet10": [(4, 4), (6, 6), (10, 8)],
    "brick8": [(6, 6), (12, 10), (24, 16)],
}
BARS = {
    "brick20": [(8, 4, 2, 1), (14, 5, 2, 2), (20, 7, 3, 2)],
    "tet10": [(8, 4, 2, 1), (14, 5, 2, 2), (20, 7, 3, 2)],
    "brick8": [(14, 5, 2, 2), (28, 9, 4, 2), (40, 12, 6, 4)],
}
REFERENCE = ("brick20", (28, 8, 4, 4))


def main() -> None:
    print("Plate bow, linear gradient (exact: curvature alpha dT / h, no stress)\n")
    print("| element | cells | equations | curvature error | largest stress, MPa |")
    print("|---|---|---|---|---|")
    for element, ladder in PLATES.items():
        for cells in ladder:
            size, error, stress = plate_bow(element, cells)
            mesh = " x ".join(map(str, cells))
            print(
                f"| {NAMES[element]} | {mesh} | {size} | {error:+.2%} | {stress:.2g} |", flush=True
            )
    print("\nCollapse of a thick cylinder (Hill: 192.091 MPa)\n")
    print("| element | cells radial x around | equations | pressure error |")
    print("|---|---|---|---|")
    for element, ladder in RINGS.items():
        for cells in ladder:
            size, error = collapse(element, cells)
            mesh = " x ".join(map(str, cells))
            print(f"| {NAMES[element]} | {mesh} | {size} | {error:+.2%} |", flush=True)
    _, exact, _ = edge_heated(*REFERENCE)
    print(
        "\nEdge-heated bar, heated by 600 K and cooled, expanding in all directions. Beam algebra"
    )
    print(f"gives a curvature of 2.4691e-5 1/mm; a finer mesh ({exact:.4e}) is the measure.\n")
    print("| element | cells | equations | bow error | ms an iteration |")
    print("|---|---|---|---|---|")
    for element, ladder in BARS.items():
        for cells in ladder:
            size, kappa, cost = edge_heated(element, cells)
            error = kappa / exact - 1
            mesh = " x ".join(map(str, (cells[0], cells[1] + cells[2], cells[3])))
            print(
                f"| {NAMES[element]} | {mesh} | {size} | {error:+.2%} | {cost * 1e3:.1f} |",
                flush=True,
            )


if __name__ == "__main__":
    main()
