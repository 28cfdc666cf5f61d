"""The part in three dimensions, drawn off screen with PyVista into plain images.

A `Stage` fixes everything that must stay the same across the pictures of a run: camera, warp
factor and colour ranges. Text and colour bars are set around the image by `render`, in one type.
Parallel projection, z up; metal that is not laid yet is not drawn.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from weldsim.errors import StoreError
from weldsim.plots.charts import INK, PAPER
from weldsim.plots.melt_smoothing import SOFT, smooth_melt
from weldsim.runs.reading import FieldFrame, RunRecord, read_frame

KELVIN = 273.15
OUTLINE = "#93a0ac"  # the undeformed part
JAWS = "#c3cad0"
FEATURE_ANGLE = 25.0  # degrees between two faces that make an edge worth a line
SHOWN_SHARE = 0.1  # largest displacement as drawn, as a share of the part's length
HIGHEST = 1600.0  # degC; hotter metal takes the last colour
BAR_SIZE = (1500, 600)  # pixel; a bar is long and low
WIDEST, TALLEST, NARROWEST = 1500, 950, 1000  # pixel; bounds of the image of any other part
VIEW = (0.55, 0.80, 0.38)  # toward the eye, from a bar's front
FLAT, FROM_ABOVE = 0.25, 0.75  # height over length of a part seen from higher up, and how high
# dark steel to glowing: lightness only rises, so it reads in grey and with any colour vision
GLOW = ("#334252", "#57485a", "#8c3b36", "#cf5a1c", "#f2971f", "#f9cf5e", "#fdf6cf")
# pale to deep, lightness only falls
MOVED = ("#e9edf0", "#b9d2e0", "#7fb0cc", "#3f86b3", "#1a5a8e", "#0c3159")


@dataclass(frozen=True)
class Stage:
    """What all pictures of a run share.

    Attributes
    ----------
    view : (3,) unit vector from the part to the eye
    centre : (3,) where the camera looks [m]
    reach : half of what has to be seen, to the right and upward [m]
    size : width and height of the image [pixel]
    warp : factor on displacements
    hottest : end of the temperature range [degC]
    coldest : start of it [degC]
    farthest : end of the displacement range [m]
    jaws : boxes (x0, x1, y0, y1, z0, z1) of what grips the part [m]
    soft : (P,) bool, points that were soft at some time of the run; see `carried`
    """

    view: np.ndarray
    centre: np.ndarray
    reach: tuple[float, float]
    size: tuple[int, int]
    warp: float
    coldest: float
    hottest: float
    farthest: float
    jaws: tuple = ()
    soft: object = None

    @property
    def tall(self) -> bool:
        """Whether two pictures are better shown beside each other than one above the other."""
        return self.size[1] > 0.6 * self.size[0]

    @property
    def half_height(self) -> float:
        """Half of what the picture spans upward. [m]"""
        return max(self.reach[1], self.reach[0] * self.size[1] / self.size[0])

    @property
    def right(self) -> np.ndarray:
        """Unit vector to the right of the picture."""
        out = np.cross([0.0, 0.0, 1.0], self.view)
        return out / np.linalg.norm(out)

    @property
    def up(self) -> np.ndarray:
        """Unit vector to the top of the picture."""
        return np.cross(self.view, self.right)

    def to_picture(self, points) -> np.ndarray:
        """Places (P, 3) as shares of the image's width and height from its lower left, (P, 2)."""
        away = np.atleast_2d(points) - self.centre
        half_width = self.half_height * self.size[0] / self.size[1]
        out = np.column_stack([away @ self.right / half_width, away @ self.up / self.half_height])
        return 0.5 + out / 2


def make_stage(record: RunRecord, size=None) -> Stage:
    """Camera, warp and ranges that suit all frames of a run, from one pass through them.

    Parameters
    ----------
    size : (int, int), optional
        Width and height of the images; what suits the part when left out. [pixel]

    Raises
    ------
    StoreError
        If the run has no frames yet, or one cannot be read.
    """
    if not record.frames:
        raise StoreError(f"{record.path}: the run has no frames yet: resume it or wait")
    farthest, hottest, coldest, places, moved = 0.0, -np.inf, np.inf, None, []
    soft = was_soft(record)
    for file in record.frames:
        frame = smooth_melt(read_frame(file), soft)
        on = active_lattice_points(frame)
        places = _outer_points(frame.points) if places is None else places
        ids = np.intersect1d(places, on)
        moved.append((frame.points[ids], frame.displacement[ids]))
        farthest = max(farthest, largest_displacement(frame))
        hottest = max(hottest, float(frame.temperature[on].max()) - KELVIN)
        coldest = min(coldest, float(frame.temperature[on].min()) - KELVIN)
    length = float(np.ptp(frame.points, axis=0).max())
    if record.case.get("part", {}).get("kind") == "bar":
        side = -1.0 if _faces(record)[:1] == ["back"] else 1.0
        view, size = _unit([VIEW[0], VIEW[1] * side, VIEW[2]]), size or BAR_SIZE
    else:
        view = best_view(record.manifest.get("paths", []), np.ptp(frame.points, axis=0))
    stage = Stage(
        view, np.zeros(3), (1.0, 1.0), tuple(size or BAR_SIZE),
        round_warp(SHOWN_SHARE * length / farthest) if farthest > 0 else 1.0,
        coldest, min(max(hottest, coldest + 1), HIGHEST), farthest, _jaws(record), soft,
    )  # fmt: skip
    stage = aim(stage, np.concatenate([p + w * u for p, u in moved for w in (0.0, stage.warp)]))
    return stage if size else replace(stage, size=fitting_size(stage.reach))


def was_soft(record: RunRecord) -> np.ndarray:
    """Points (P,) that a frame shows hotter than metal that carries, bool."""
    return np.any([read_frame(file).temperature > SOFT for file in record.frames], axis=0)


def stage_frame(stage: Stage, file) -> FieldFrame:
    """A frame as it is drawn: soft metal carried along by what surrounds it."""
    return smooth_melt(read_frame(file), stage.soft)


def _unit(vector) -> np.ndarray:
    return np.asarray(vector, dtype=float) / np.linalg.norm(vector)


def best_view(paths, extent) -> np.ndarray:
    """Unit vector to the eye that sees as much of the welds as can be seen from one place.

    Parameters
    ----------
    paths : list of dict
        `points` (M, 3) and `inward` (3,) of each weld, as in run.json. [m]
    extent : (3,)
        Size of the part along the axes. [m]

    Returns
    -------
    ndarray, shape (3,)
        From above unless the welds lie below; the front (+y) and right (+x) where that is as good.
    """
    high = FROM_ABOVE if extent[2] < FLAT * max(extent[0], extent[1]) else VIEW[2]
    best = None
    for up in (1, -1):
        for y in (1, -1):
            for x in (1, -1):
                view = _unit([x * VIEW[0], y * VIEW[1], up * high])
                seen = sum(
                    float(np.linalg.norm(np.diff(np.asarray(p["points"]), axis=0), axis=1).sum())
                    * max(0.0, -float(np.dot(p["inward"], view)))
                    for p in paths
                )
                if best is None or seen > 1.02 * best[0]:
                    best = (seen, view)
    return best[1]


def fitting_size(reach) -> tuple[int, int]:
    """Width and height of an image that something of half sizes `reach` fills. [m, pixel]"""
    shape = reach[0] / reach[1]
    if shape > WIDEST / TALLEST:
        return WIDEST, int(np.clip(WIDEST / shape, BAR_SIZE[1] * 0.8, TALLEST))
    return int(np.clip(TALLEST * shape, NARROWEST, WIDEST)), TALLEST


def _outer_points(points: np.ndarray) -> np.ndarray:
    """Numbers of the points that lie outermost in 26 directions: what bounds a picture."""
    directions = np.array([w for w in np.ndindex(3, 3, 3) if w != (1, 1, 1)]) - 1.0
    return np.unique(np.argmax((points / np.ptp(points, axis=0)) @ directions.T, axis=0))


def aim(stage: Stage, places: np.ndarray) -> Stage:
    """The stage with its camera on places (P, 3) and what grips the part, with air around. [m]"""
    for box in stage.jaws:
        corners = [[x, y, z] for x in box[:2] for y in box[2:4] for z in box[4:]]
        places = np.concatenate([places, corners])
    flat = np.column_stack([places @ stage.right, places @ stage.up])
    low, high = flat.min(axis=0), flat.max(axis=0)
    middle, reach = (low + high) / 2, (high - low) / 2 * 1.06
    centre = middle[0] * stage.right + middle[1] * stage.up
    return replace(stage, centre=centre, reach=(float(reach[0]), float(reach[1])))


def round_warp(factor: float) -> float:
    """The next lower of 1, 2, 5, 10, 20, 50 ...; 1 where the movement is large anyway."""
    if factor <= 1:
        return 1.0
    power = 10.0 ** np.floor(np.log10(factor))
    return float(power * max(s for s in (1, 2, 5) if s * power <= factor * (1 + 1e-9)))


def active_lattice_points(frame: FieldFrame) -> np.ndarray:
    """Numbers of the points that belong to laid cells."""
    return np.unique(frame.cells[frame.active])


def largest_displacement(frame: FieldFrame) -> float:
    """Of the points that are drawn. [m]"""
    return float(np.linalg.norm(frame.displacement[active_lattice_points(frame)], axis=1).max())


def _faces(record: RunRecord) -> list[str]:
    return [w.get("face", "front") for w in record.case.get("welds", [])]


def _jaws(record: RunRecord) -> tuple:
    """Boxes of a vise's jaws beside a bar, for the eye only."""
    hold, part = record.case.get("hold", {}), record.case.get("part", {})
    if hold.get("kind") != "vise" or part.get("kind") != "bar":
        return ()
    y, z = part["thickness"] / 2, part["width"] / 2
    thick, over = max(0.2 * part["width"], part["thickness"]), 0.06 * part["width"]
    ends = (0.0, hold["length"]), (-z - over, z + over)
    return tuple((*ends[0], *sorted((s * y, s * (y + thick))), *ends[1]) for s in (1, -1))


def colour_map(colours):
    """A smooth matplotlib colour map through a few colours."""
    from matplotlib.colors import LinearSegmentedColormap

    return LinearSegmentedColormap.from_list("weldsim", colours, N=512)


def temperature_scale(stage: Stage):
    """Norm and ticks of the temperature bar: square-root spaced, so that warm metal shows too."""
    from matplotlib.colors import PowerNorm

    ticks = [t for t in (20, 100, 200, 400, 600, 800, 1000, 1250, 1500) if t <= stage.hottest]
    ticks = [t for t in ticks if t >= stage.coldest - 1]
    return PowerNorm(0.5, stage.coldest, stage.hottest), ticks


def draw(stage: Stage, frame: FieldFrame, paint: str, warped=True, outline=None, fine: int = 2):
    """Image of one frame, uint8 (height, width, 3).

    Parameters
    ----------
    paint : {"temperature", "movement"}
        What the colours show.
    warped : bool
        Draw the part where it has moved to, times the warp factor.
    outline : FieldFrame, optional
        Draw the edges of this frame's part as built beside it.
    fine : int
        Draw so many times larger and average, for smooth edges.
    """
    import pyvista

    plotter = pyvista.Plotter(off_screen=True, window_size=[fine * n for n in stage.size])
    plotter.set_background(PAPER)
    try:
        _add_part(plotter, surface_of(frame), stage, paint, stage.warp if warped else 0.0)
        if outline is not None:
            _add_edges(plotter, surface_of(outline), OUTLINE, 1.5 * fine)
        for box in stage.jaws:
            body = pyvista.Box(box)
            plotter.add_mesh(body, color=JAWS, opacity=0.35, lighting=False)
            _add_edges(plotter, body, OUTLINE, fine)
        _place_camera(plotter, stage)
        image = plotter.screenshot(return_img=True)
    finally:
        plotter.close()
    return _average(image[..., :3], fine)


def hidden_places(surface, places, view, skip: float) -> np.ndarray:
    """Which places (K, 3) the part hides from an eye far away in direction `view`, (K,) bool.

    Parameters
    ----------
    surface : pyvista.PolyData
    view : (3,) unit vector
    skip : float
        How far in front of a place what covers it does not count: a seam's own bead. [m]
    """
    places = np.atleast_2d(np.asarray(places, dtype=float))
    far = 3 * surface.length + np.linalg.norm(places - surface.center, axis=1).max()
    view = np.asarray(view, dtype=float)
    skip = max(skip, 1e-4 * surface.length)
    hits = [surface.ray_trace(p + skip * view, p + far * view)[1] for p in places]
    return np.array([len(h) > 0 for h in hits])


def surface_of(frame: FieldFrame):
    """Outer faces of the laid metal as built, with temperature [degC] and displacement [m]."""
    import pyvista

    cells, kind = frame.cells[frame.active], {8: 12, 4: 10}[frame.cells.shape[1]]
    flat = np.column_stack([np.full(len(cells), cells.shape[1]), cells]).ravel()
    grid = pyvista.UnstructuredGrid(
        flat, np.full(len(cells), kind), np.asarray(frame.points, dtype=float)
    )
    grid.point_data["temperature"] = frame.temperature - KELVIN
    grid.point_data["displacement"] = frame.displacement
    return grid.extract_surface(algorithm="dataset_surface")


def _add_part(plotter, surface, stage: Stage, paint: str, warp: float) -> None:
    """The painted surface: colours looked up beforehand, so that bar and picture agree."""
    if paint == "temperature":
        norm, colours = temperature_scale(stage)[0], colour_map(GLOW)
        share = norm(np.clip(surface["temperature"], stage.coldest, stage.hottest))
    else:
        moved = np.linalg.norm(surface["displacement"], axis=1)
        share, colours = moved / max(stage.farthest, 1e-12), colour_map(MOVED)
    # the share, not the colour, is interpolated between points: no muddy in-between colours
    surface.point_data["share"] = np.asarray(share, dtype=float)
    # light as on the part as built: exaggerated movement would crease the faces of the beads
    surface = surface.compute_normals(
        cell_normals=False,
        split_vertices=True,
        feature_angle=FEATURE_ANGLE,
        auto_orient_normals=True,
    )
    moved = surface.warp_by_vector("displacement", factor=warp)
    moved.point_data.active_normals = surface.point_data["Normals"]
    actor = plotter.add_mesh(
        moved, scalars="share", cmap=colours, clim=(0.0, 1.0), show_scalar_bar=False,
        n_colors=512, interpolate_before_map=True, ambient=0.72, diffuse=0.34, specular=0.0,
    )  # fmt: skip
    actor.prop.interpolation = "Phong"
    _add_edges(plotter, surface, INK, 2.5, warp)


def _add_edges(plotter, surface, colour: str, width: float, warp: float = 0.0) -> None:
    """Sharp edges of a surface as built, drawn where they have moved to."""
    edges = surface.clean().extract_feature_edges(
        feature_angle=FEATURE_ANGLE, boundary_edges=True, manifold_edges=False
    )
    if edges.n_cells:
        if warp:
            edges = edges.warp_by_vector("displacement", factor=warp)
        plotter.add_mesh(edges, color=colour, line_width=width, lighting=False)


def _place_camera(plotter, stage: Stage) -> None:
    distance = 20 * stage.half_height
    plotter.camera.position = stage.centre + distance * stage.view
    plotter.camera.focal_point = stage.centre
    plotter.camera.up = (0.0, 0.0, 1.0)
    plotter.enable_parallel_projection()
    plotter.camera.parallel_scale = stage.half_height
    plotter.reset_camera_clipping_range()


def _average(image: np.ndarray, fine: int) -> np.ndarray:
    """Mean of each block of `fine` x `fine` pixels."""
    if fine == 1:
        return image.copy()
    h, w = image.shape[0] // fine, image.shape[1] // fine
    blocks = image[: fine * h, : fine * w].reshape(h, fine, w, fine, 3).astype(np.uint32)
    return (blocks.sum(axis=(1, 3)) // fine**2).astype(np.uint8)
