"""The part in three dimensions for a page: what viewer.js shows, and its scripts.

`scene_data` turns a run folder into a record that JSON can hold: the outer surface of the part
once, then time, movement and temperature of some of its frames. `viewer_parts` gives the scripts
and the style that stand in a page. Clock: seconds since the first arc started. Lengths in mm,
temperatures in degC: the units of the screen, which viewer.js turns into US ones when asked.
"""

from __future__ import annotations

import base64
from functools import lru_cache
from importlib.resources import files

import numpy as np

from weldsim.errors import CaseError, StoreError
from weldsim.geometry.surface import OuterSurface, outer_surface
from weldsim.plots.melt_smoothing import smooth_melt, softened_points
from weldsim.plots.pointer_plot import path_on_target
from weldsim.plots.stage import HIGHEST, axis_vector, best_view, farthest_moved, warp_for
from weldsim.plots.welds import (
    along,
    arc_times,
    clock,
    first_arc_start,
    is_tack,
    seam_of,
    weld_colour,
)
from weldsim.runs.frame_files import FrameFile, read_frame
from weldsim.runs.reading import RunRecord, read_run
from weldsim.runs.recorded_case import recorded_case, recorded_paths
from weldsim.schema.tolerance import read_tolerance
from weldsim.system.palette import GLOW, MOVED

KELVIN = 273.15
SCRIPTS = ("three.min.js", "viewer_kit.js", "viewer_sketch.js", "viewer_target.js",
           "viewer_scene.js", "viewer_overlay.js", "viewer_chart.js", "viewer.js")  # fmt: skip
PATH_PLACES = 17  # places along a weld, close enough to bend with the part
MOST_BYTES = 8_000_000  # of one scene in a page
LEAST_FRAMES = 4
LEVELS = 32767  # steps of a movement either way


def scene_data(run_folder, most_frames: int = 60, most_bytes: int = MOST_BYTES) -> dict:
    """What viewer.js shows of a run, finished or not, ready for JSON.

    Parameters
    ----------
    run_folder : path
        Of a run, finished or not.
    most_frames : int
        Frames are left out evenly above this number, or where the record would grow over
        `most_bytes`; the first and the last stay.

    Returns
    -------
    dict
        Arrays are base64 of little-endian numbers. `points` float32 (P, 3) mm; `faces`, `edges`:
        `index` uint32 into the points, `on` and `off` uint16, frame from which and before which
        one shows; `outline` uint32, edges at the start; `times` s; `move` int16 (P, 3) a frame, in
        units of `move_unit` mm; `heat` uint16 (P,) a frame, degC = `heat_from` + value *
        `heat_unit`; `arcs`, `welds`, `clamps`, `pointers`, `ranges`, `colours`, `view`, `warp`.
        Movement is exact to half of `move_unit`, temperature to half of `heat_unit`; between
        frames both are taken as straight.

    Raises
    ------
    StoreError
        If the folder is no run, or has no frames yet.
    """
    record = read_run(run_folder)
    if not record.frames:
        raise StoreError(f"{record.path}: the run has no frames yet: resume it or wait")
    first = _frame(record.frames[0])
    rough = 8 * 4 / 3 * surface_size(first)
    most = min(most_frames, max(LEAST_FRAMES, int(most_bytes / max(rough, 1.0))))
    frames = [_frame(f) for f in pick_frames(record.frames, most)]
    surface = outer_surface(first.points, first.cells, [f.active for f in frames])
    softened = softened_points(record, frames)
    frames = [smooth_melt(f, softened) for f in frames]  # melt has no shape to draw
    return {
        "format": 1,
        "title": record.title,
        "complete": record.complete,
        "status": record.manifest.get("status", "running"),
        **_mesh(first.points, surface),
        **_fields(record, frames, surface),
        **_places(record, 1e3 * first.points[surface.used], surface),
        "pointers": [_pointer(record, g) for g in record.pointers],
        "view": [float(v) for v in view_of(record, first.points)],
        "up": recorded_case(record).part.up,
        "colours": {"temperature": list(GLOW), "displacement": list(MOVED)},
    }


def viewer_parts() -> tuple[list[tuple[str, str]], str]:
    """Scripts in the order they have to run, as name and text, and the style sheet's text.

    They are plain scripts: once all have run, `weldsimView(element, data)` is there.
    """
    folder = files("weldsim") / "data" / "page"
    scripts = [(name, (folder / name).read_text(encoding="utf-8")) for name in SCRIPTS]
    return scripts, (folder / "viewer.css").read_text(encoding="utf-8")


def pick_frames(frames, most: int) -> list[FrameFile]:
    """At most `most` of the frames, evenly, the first and the last among them."""
    some = np.linspace(0, len(frames) - 1, min(most, len(frames)))
    return [frames[i] for i in np.unique(np.round(some).astype(int))]


def surface_size(frame) -> int:
    """Number of points on the outside of all cells of a frame, about those of its surface."""
    return len(outer_surface(frame.points, frame.cells, np.ones((1, len(frame.cells)), bool)).used)


def view_of(record: RunRecord, points) -> np.ndarray:
    """Unit vector to the eye that sees most of the welds."""
    vertical = axis_vector(recorded_case(record).part.up)
    return best_view(recorded_paths(record), np.ptp(points, axis=0), vertical)


@lru_cache(maxsize=96)
def _read(file: FrameFile, changed: int):
    return read_frame(file)


def _frame(file: FrameFile):
    """A frame; kept in memory, since a live page asks for the same ones over and over."""
    return _read(file, file.path.stat().st_mtime_ns)


def packed(values, kind: str) -> str:
    """Numbers as base64 of little-endian `kind`, such as "<f4"."""
    return base64.b64encode(np.ascontiguousarray(values, dtype=kind).tobytes()).decode()


def _mesh(points, surface: OuterSurface) -> dict:
    built = surface.edges[surface.edges_on == 0]
    return {
        "points": packed(1e3 * points[surface.used], "<f4"),
        "corners": int(surface.faces.shape[1]),
        "faces": {
            "index": packed(surface.faces, "<u4"),
            "on": packed(surface.faces_on, "<u2"),
            "off": packed(surface.faces_off, "<u2"),
        },
        "edges": {
            "index": packed(surface.edges, "<u4"),
            "on": packed(surface.edges_on, "<u2"),
            "off": packed(surface.edges_off, "<u2"),
        },
        "outline": packed(built, "<u4"),
    }


def _fields(record: RunRecord, frames, surface: OuterSurface) -> dict:
    """Times, quantised movement and temperature, their ranges, and a warp that shows it."""
    zero = first_arc_start(record)
    move = [1e3 * f.displacement[surface.used] for f in frames]
    heat = [f.temperature[surface.used] - KELVIN for f in frames]
    active = [np.unique(f.cells[f.active]) for f in frames]
    farthest = max(
        float(np.linalg.norm(f.displacement[n], axis=1).max())
        for f, n in zip(frames, active, strict=True)
    )
    if record.complete:  # not of some frames alone: pictures and view are drawn alike
        farthest = farthest_moved(record)
    hottest = (
        max(float(f.temperature[n].max()) for f, n in zip(frames, active, strict=True)) - KELVIN
    )
    coldest = min(float(h.min()) for h in heat)
    move_unit = max(max(float(np.abs(m).max()) for m in move), 1e-9) / LEVELS
    heat_unit = max(max(float(h.max()) for h in heat) - coldest, 1e-6) / (2 * LEVELS + 1)
    length = float(np.ptp(frames[0].points, axis=0).max())
    return {
        "times": [round(f.time - zero, 3) for f in frames],
        "move_unit": move_unit,
        "move": [packed(np.round(m / move_unit), "<i2") for m in move],
        "heat_from": coldest,
        "heat_unit": heat_unit,
        "heat": [packed(np.round((h - coldest) / heat_unit), "<u2") for h in heat],
        "ranges": {
            "temperature": [coldest, min(max(hottest, coldest + 1.0), HIGHEST)],
            "displacement": [0.0, max(1e3 * farthest, 1e-6)],
        },
        "hotter": hottest > HIGHEST,  # than the last colour says
        "warp": warp_for(length, farthest),
    }


def _places(record: RunRecord, surface_points, surface: OuterSurface) -> dict:
    """Arcs, welds in order with their paths, and clamps; each place with the nearest point."""
    from scipy.spatial import cKDTree

    # of the metal that is there from the start: beads wrinkle when drawn larger than life
    solid = np.unique(surface.faces[surface.faces_on == 0])
    tree = cKDTree(surface_points[solid])

    def placed(places) -> dict:
        places = 1e3 * np.asarray(places, dtype=float).reshape(-1, 3)
        near = solid[tree.query(places)[1]]
        return {"points": places.round(3).tolist(), "near": near.tolist()}

    welds = [
        {
            "number": number,
            "name": path.name,
            **_kind(record, path.name),
            "inward": path.inward.tolist(),
            **placed(along(path.points, np.linspace(0, 1, PATH_PLACES))),
        }
        for number, path in enumerate(recorded_paths(record), 1)
    ]  # fmt: skip
    speeds = {w.name: 1e3 * (w.speed or 0.0) * w.speed_up for w in recorded_case(record).welds}
    burning = {e["name"] for e in record.manifest.get("timetable", []) if e["end"] is None}
    arcs = [
        {"name": name, "start": round(start, 3), "end": round(stop, 3),
         "burning": name in burning,  # the run has come no further than this arc
         "speed": speeds.get(name, 0.0), **_kind(record, name)}
        for name, start, stop in arc_times(record)
    ]  # fmt: skip
    clamps = [{"name": c["name"], **placed(c["places"])} for c in record.manifest.get("clamps", [])]
    return {"arcs": arcs, "welds": welds, "clamps": clamps}


def _kind(record: RunRecord, name: str) -> dict:
    """Seam, colour and whether it lays a tack, of a weld."""
    return {
        "seam": seam_of(record, name),
        "colour": weld_colour(record, name),
        "tack": is_tack(record, name),
    }


def _pointer(record: RunRecord, gauge: dict) -> dict:
    """Readings of a pointer for its target: mm at `throw` m, with the estimated error."""
    right, up = path_on_target(record, gauge)
    name = gauge["name"]
    return {
        "name": name,
        "throw": gauge["throw"],
        "aim": gauge["aim"],
        "up_way": gauge["up"],
        "right_way": right_way(gauge),
        "times": np.round(clock(record), 3).tolist(),
        "right": np.round(right, 4).tolist(),
        "up": np.round(up, 4).tolist(),
        "error": [record.errors.get(f"{name}_{side}_mm") for side in ("right", "up")],
        "tolerance": _ring(gauge),
    }


def _ring(gauge: dict) -> float | None:
    """Radius of a pointer's tolerance on its target [mm]; None where it has none in numbers."""

    given = gauge.get("tolerance")
    try:
        if isinstance(given, dict):
            value, measure = float(given["value"]), given["measure"]
        elif given:
            found = read_tolerance(str(given), "angle")
            value, measure = found.value, found.measure
        else:
            return None
    except (CaseError, KeyError, TypeError, ValueError):
        return None  # the report says why it cannot be judged
    return 1e3 * value * (gauge["throw"] if measure == "angle" else 1.0)


def right_way(gauge: dict) -> str:
    """Axis of the part, such as "+y", that right on the target points along, looking along aim."""
    aim, up = (
        np.eye(3)["xyz".index(gauge[key][-1])] * (-1 if gauge[key][0] == "-" else 1)
        for key in ("aim", "up")
    )
    right = np.cross(aim, up)
    axis = int(np.argmax(np.abs(right)))
    return ("+" if right[axis] > 0 else "-") + "xyz"[axis]
