"""Blocks of bricks that heat flows through, and the faces it leaves by."""

from __future__ import annotations

import numpy as np

from weldsim.physics.heat_conduction import HeatModel
from weldsim.physics.heat_mesh import HeatMesh
from weldsim.physics.surface_exchange import SurfaceExchange

ZERO = 273.15  # K at 0 degC


def graded(end: float, fine: float, size: float, growth: float) -> np.ndarray:
    """Grid lines from 0 to `end`: equal up to `fine`, then growing. [m]"""
    lines = list(np.linspace(0.0, fine, max(1, round(fine / size)) + 1))
    while lines[-1] < end:
        size *= growth
        lines.append(lines[-1] + size)
    out = np.array(lines)
    out[out > fine] = fine + (out[out > fine] - fine) * (end - fine) / max(out[-1] - fine, 1e-30)
    return out


def block(x: np.ndarray, y: np.ndarray, z: np.ndarray) -> HeatMesh:
    """Bricks of a block with these grid lines."""
    import skfem

    mesh = skfem.MeshHex1.init_tensor(x, y, z)
    return HeatMesh.of(mesh.p.T.copy(), mesh.t.T.copy(), 1)


def everything(model: HeatModel) -> np.ndarray:
    """All cells are there."""
    return np.ones(len(model.mesh.cells), dtype=bool)


def closed(model: HeatModel) -> SurfaceExchange:
    """No heat leaves."""
    full = model.exchange(everything(model))
    return SurfaceExchange(np.zeros_like(full.film_area), full.contact, full.volume, full.active)


def through_levels(model: HeatModel, levels: tuple[float, ...]) -> SurfaceExchange:
    """Heat leaves through planes across z alone: the other sides are cuts. [m]"""
    mesh = model.mesh
    full, area = model.exchange(everything(model)), np.zeros(len(mesh.points))
    for level in levels:
        on = np.isclose(mesh.points[:, 2], level, atol=1e-9)
        outer = (mesh.facet_cells[1] < 0) & on[mesh.facet_nodes].all(axis=1)
        np.add.at(area, mesh.facet_nodes[outer], mesh.facet_share[outer][:, None])
    return SurfaceExchange(area, full.contact, full.volume, full.active)
