"""The benchmark problem and the stopwatch the scripts here share.

A bar, 200 x 40 x 6 mm, in bricks that are fine around a hot spot and grow away from it. The bar
was heated at one place, has yielded there, and the spot has moved on by 2 mm: the state in the
middle of a bead, when every Newton iteration costs most.
"""

from __future__ import annotations

import os

# Before numpy: its BLAS threads fight with the direct solver's.
for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import time
from dataclasses import dataclass, field

import numpy as np

from weldsim.materials.material import load_material
from weldsim.physics.equilibrium import accept, solve_equilibrium
from weldsim.physics.mechanics_model import MechanicsModel
from weldsim.physics.plasticity import InternalVariables, Properties

LENGTH, WIDTH, THICKNESS = 0.2, 0.04, 0.006  # m
SPOT, SPOT_SIZE, SPOT_RISE = 0.085, 0.012, 1100.0  # place along the bar, radius [m], rise [K]
AMBIENT = 293.15  # K

# points along x, y, z of the 8-node bricks; "10k" means about 10,000 equations
GRIDS = {"tiny": (12, 2, 5), "10k": (55, 4, 15), "20k": (70, 5, 19), "70k": (100, 8, 29)}


def axis(points: int, length: float, middle: float, ratio: float) -> np.ndarray:
    """Coordinates that are `ratio` times denser at `middle` than at the far end. [m]"""
    x = np.linspace(0, length, 2001)
    density = 1 / (1 + (ratio - 1) * np.clip(np.abs(x - middle) / (0.4 * length) - 0.3, 0, 1))
    share = np.concatenate([[0], np.cumsum((density[1:] + density[:-1]) / 2)])
    return np.interp(np.linspace(0, share[-1], points), share, x)


def axes(counts: tuple[int, int, int]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Grid lines along x, y and z. [m]"""
    nx, ny, nz = counts
    x = axis(nx, LENGTH, SPOT, 4.0)
    y = np.linspace(-THICKNESS / 2, THICKNESS / 2, ny)
    z = np.linspace(-WIDTH / 2, WIDTH / 2, nz)
    return x, y, z


def hot_spot(points: np.ndarray, moved: float = 0.0) -> np.ndarray:
    """Temperature at points (..., 3), the spot moved along the bar by `moved`. [K]"""
    away = (points[..., 0] - SPOT - moved) ** 2 + points[..., 2] ** 2
    depth = 0.7 + 0.3 * points[..., 1] / THICKNESS
    return AMBIENT + SPOT_RISE * depth * np.exp(-away / SPOT_SIZE**2)


@dataclass
class Problem:
    """Mechanics half-way through a step: everything one Newton iteration needs."""

    counts: tuple[int, int, int]
    mesh: object
    model: MechanicsModel
    temperature: np.ndarray  # (C, Q) [K]
    properties: Properties
    internal_variables: InternalVariables
    displacement: np.ndarray  # (N, 3) [m]
    fixed: np.ndarray  # (N, 3) bool

    @property
    def unknowns(self) -> int:
        return self.displacement.size


def build(counts, element: str = "brick8", threads: int = 2, moved: float = 0.002) -> Problem:
    """Bricks on the grid of `counts` points; for 20-node bricks every second grid line is kept."""
    import skfem

    from weldsim.geometry.lattice import build_lattice

    if element == "brick8":
        mesh = skfem.MeshHex1.init_tensor(*axes(counts))
        points, cells, local = mesh.p.T.copy(), mesh.t.T, mesh.elem.refdom.p.T
    else:
        mesh = skfem.MeshHex1.init_tensor(*axes(tuple((n + 2) // 2 for n in counts)))
        lattice = build_lattice(mesh)
        points = lattice.points[: lattice.displacement_points]
        cells, local = lattice.displacement_cells, lattice.local[lattice.displacement_local]
    model = MechanicsModel.of(mesh, cells, local, points, element, threads)
    places = quadrature_places(mesh, model)
    material = load_material("carbon-steel")
    fixed = np.zeros(points.shape, dtype=bool)
    fixed[points[:, 0] < 1e-9] = True

    internal_variables = InternalVariables.virgin(*model.shape_counts)
    first = Properties.of(material, hot_spot(places))
    found = solve_equilibrium(model, np.zeros(points.shape), first, internal_variables, fixed)
    internal_variables, _ = accept(
        model, found, first, internal_variables, np.zeros(model.shape_counts, dtype=bool)
    )
    temperature = hot_spot(places, moved)
    return Problem(
        counts, mesh, model, temperature, Properties.of(material, temperature), internal_variables,
        found.displacement, fixed,
    )  # fmt: skip


def quadrature_places(mesh, model) -> np.ndarray:
    """Coordinates of the quadrature points of straight-edged bricks, shape (C, Q, 3). [m]"""
    corner = mesh.elem.refdom.p.T  # (8, 3) of zeros and ones
    q = model.quadrature[:, None, :]
    shape = np.prod(np.where(corner == 1, q, 1 - q), axis=2)  # (Q, 8)
    return np.einsum("qa,dac->cqd", shape, mesh.p[:, mesh.t])


@dataclass
class Contest:
    """Times jobs in turn, again and again, and keeps the best of each.

    Taking turns spreads other load on the machine evenly; the best time is the one least
    disturbed.
    """

    jobs: dict = field(default_factory=dict)
    best: dict = field(default_factory=dict)

    def run(self, repeats: int, budget: float = 60.0) -> dict[str, float]:
        """Best wall time of each job [s], after one warm-up each, within a time budget [s]."""
        for job in self.jobs.values():
            job()
        begin = time.perf_counter()
        for turn in range(repeats):
            for name, job in self.jobs.items():
                start = time.perf_counter()
                job()
                spent = time.perf_counter() - start
                self.best[name] = min(spent, self.best.get(name, np.inf))
            if turn >= 2 and time.perf_counter() - begin > budget:
                break
        return self.best


def machine() -> str:
    """The machine in general words."""
    import platform

    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    return f"{cores} cores, {platform.system()} on {platform.machine()}, numpy {np.__version__}"


def row(*cells) -> str:
    return "| " + " | ".join(str(c) for c in cells) + " |"


def header(*cells) -> str:
    return row(*cells) + "\n" + row(*["---"] * len(cells))
