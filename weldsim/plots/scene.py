"""The part in three dimensions, drawn off screen with PyVista into plain images.

Text and colour bars are set around an image with matplotlib, in one type. Metal that is not there
yet is not drawn.
"""

from __future__ import annotations

import numpy as np

from weldsim.plots.colour_bars import colour_map, temperature_scale
from weldsim.plots.stage import Stage
from weldsim.plots.vtk_grid import surface_of
from weldsim.runs.frame_files import FieldFrame
from weldsim.system.palette import CLAMP_BAR, GLOW, INK, MOVED, OUTLINE, PAPER

FEATURE_ANGLE = 25.0  # degrees between two faces that make an edge worth a line


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

    def add(plotter) -> None:
        """The painted part, the outline beside it, the jaws."""
        _add_part(plotter, surface_of(frame), stage, paint, stage.warp if warped else 0.0)
        if outline is not None:
            add_edges(plotter, surface_of(outline), OUTLINE, 1.5 * fine)
        for box in stage.jaws:
            body = pyvista.Box(box)
            plotter.add_mesh(body, color=CLAMP_BAR, opacity=0.35, lighting=False)
            add_edges(plotter, body, OUTLINE, fine)

    return render(stage, add, fine=fine)


def render(stage: Stage, add, background: str = PAPER, fine: int = 2) -> np.ndarray:
    """What the stage's camera sees, drawn off screen, uint8 (height, width, 3).

    Parameters
    ----------
    stage : Stage
        Camera and size of the image.
    add : callable(plotter)
        Puts what is to be seen into a `pyvista.Plotter`.
    background : str
        Colour behind it.
    fine : int
        Draw so many times larger and average, for smooth edges.

    Returns
    -------
    ndarray of uint8, shape (height, width, 3)
        The image.
    """
    import pyvista

    plotter = pyvista.Plotter(off_screen=True, window_size=[fine * n for n in stage.size])
    plotter.set_background(background)
    try:
        add(plotter)
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
        Of the part.
    view : ndarray, shape (3,)
        Unit vector to the eye.
    skip : float
        How far in front of a place what covers it does not count: a seam's own bead. [m]
    """
    places = np.atleast_2d(np.asarray(places, dtype=float))
    far = 3 * surface.length + np.linalg.norm(places - surface.center, axis=1).max()
    view = np.asarray(view, dtype=float)
    skip = max(skip, 1e-4 * surface.length)
    hits = [surface.ray_trace(p + skip * view, p + far * view)[1] for p in places]
    return np.array([len(h) > 0 for h in hits])


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
    add_edges(plotter, surface, INK, 2.5, warp)


def add_edges(plotter, surface, colour: str, width: float, warp: float = 0.0) -> None:
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
    plotter.camera.up = stage.vertical
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
