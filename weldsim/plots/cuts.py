"""Plane cuts through welds: temperature and stress on the section at the middle of a bead."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from weldsim.errors import WeldsimError
from weldsim.materials.material import load_material
from weldsim.plots.vtk_grid import active_grid
from weldsim.runs.frame_files import read_frame
from weldsim.runs.reading import RunRecord
from weldsim.runs.recorded_case import recorded_case, recorded_paths

KELVIN = 273.15
A1 = 723 + KELVIN  # begin of transformation of unalloyed steel, iron-carbon diagram [K]
USUAL_BEAD = 0.006  # m; width of a bead where a run does not tell
ASIDE = 0.013  # of the bead width that a cut stands beside the middle, off the mesh's own planes


@dataclass(frozen=True)
class Cut:
    """A plane section. N places, M triangles; coordinates across and upward in the plane.

    Attributes
    ----------
    weld : name
    places : (N, 2) [m]
    triangles : (M, 3)
    temperature : (N,) [degC]
    stress : (M,) equivalent stress [Pa]
    border : (L, 2, 2) ends of the lines that bound the metal [m]
    window : ((low, high), (low, high)) part of the plane to show [m]
    across, upward : names of the axes of the part that the coordinates lie along
    """

    weld: str
    places: np.ndarray
    triangles: np.ndarray
    temperature: np.ndarray
    stress: np.ndarray
    border: np.ndarray
    window: tuple
    across: str
    upward: str

    def triangulation(self):
        """For matplotlib's maps. [mm]"""
        from matplotlib.tri import Triangulation

        return Triangulation(*(1e3 * self.places.T), self.triangles)


def cut_frame(record: RunRecord, frame, weld: str, reach: float) -> Cut:
    """The section of a frame through the middle of a weld, as built.

    Parameters
    ----------
    frame : FieldFrame
    reach : float
        How far the window goes either way, in bead widths.

    Raises
    ------
    WeldsimError
        If the plane meets no metal.
    """
    origin, normal, width = _plane(record, weld)
    grid = active_grid(frame)
    grid.cell_data["stress"] = np.asarray(frame.von_mises, dtype=float)[frame.active]
    section = grid.slice(normal=normal, origin=origin + ASIDE * width * normal)
    if not section.n_cells:
        raise WeldsimError(f"{record.path}: the section through weld {weld} meets no metal")
    section = section.triangulate()
    (a, across), (b, upward) = _plane_axes(record, normal)
    edges = section.extract_feature_edges(
        boundary_edges=True, feature_edges=False, manifold_edges=False, non_manifold_edges=False
    )
    ends = edges.lines.reshape(-1, 3)[:, 1:]
    border = np.stack([edges.points @ a, edges.points @ b], axis=1)[ends]
    places = np.stack([section.points @ a, section.points @ b], axis=1)
    middle = np.array([origin @ a, origin @ b])
    low = np.maximum(middle - reach * width, places.min(axis=0) - 0.15 * width)
    high = np.minimum(middle + reach * width, places.max(axis=0) + 0.15 * width)
    return Cut(
        weld, places, section.faces.reshape(-1, 4)[:, 1:], section.point_data["temperature"],
        section.cell_data["stress"], border, ((low[0], high[0]), (low[1], high[1])), across, upward,
    )  # fmt: skip


def peak_temperature(record: RunRecord, weld: str, reach: float) -> tuple[Cut, np.ndarray]:
    """Section of the last frame and the highest temperature of each of its places. [degC]

    The largest of the stored frames: between two of them it may have been hotter.
    """
    from dataclasses import replace

    frames = [read_frame(f) for f in record.frames]
    hottest = np.max([f.temperature for f in frames], axis=0)
    cut = cut_frame(record, replace(frames[-1], temperature=hottest), weld, reach)
    return cut, cut.temperature


def marked_temperatures(record: RunRecord) -> list[tuple[str, float]]:
    """Temperatures worth a line in this metal, hottest first: name and degC."""

    name = recorded_case(record).part.material
    found = [("A1", A1)] if "steel" in name and "stainless" not in name else []
    try:
        material = load_material(name)
    except (WeldsimError, OSError):
        return [(n, t - KELVIN) for n, t in found]
    found += [("solidus", material.solidus), ("softening", material.softening_temperature)]
    found = [(n, t - KELVIN) for n, t in found if np.isfinite(t)]
    return sorted(found, key=lambda f: -f[1])


def _plane(record: RunRecord, weld: str):
    """Middle of a weld, direction of travel there, width of its bead. [m]"""
    points = next(p for p in recorded_paths(record) if p.name == weld).points
    steps = np.diff(points, axis=0)
    along = np.append(0.0, np.cumsum(np.linalg.norm(steps, axis=1)))
    at = along[-1] / 2
    k = min(int(np.searchsorted(along, at, side="right")) - 1, len(steps) - 1)
    middle = points[k] + (at - along[k]) / (along[k + 1] - along[k]) * steps[k]
    width = recorded_case(record).weld(weld).bead_width or USUAL_BEAD
    return middle, steps[k] / np.linalg.norm(steps[k]), width


def _plane_axes(record: RunRecord, normal):
    """Two unit vectors of the plane with their names: one as upright as can be."""
    bar = recorded_case(record).seams_of_welds
    order = (1, 2, 0) if bar else (2, 1, 0)  # a bar's beads lie on its +y face
    k = next(i for i in order if abs(normal[i]) < 0.9)
    upward = np.eye(3)[k] - normal[k] * normal
    upward /= np.linalg.norm(upward)
    across = np.cross(upward, normal)
    across *= np.sign(across[np.argmax(np.abs(across))])
    return (across, _axis_name(across)), (upward, "xyz"[k])


def _axis_name(direction) -> str:
    k = int(np.argmax(np.abs(direction)))
    return "xyz"[k] if abs(direction[k]) > 0.999 else "across the weld"
