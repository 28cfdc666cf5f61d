"""The part before anything is welded, as the page draws it: skin, seams, clamps."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from weldsim.case.load import Case
from weldsim.case.schedule import timetable
from weldsim.case.travel import directions_of_case, opposite
from weldsim.errors import CaseError
from weldsim.geometry.part import vtk_cells
from weldsim.geometry.surface import outer_surface
from weldsim.joints.build import build_part
from weldsim.joints.registry import faces_of, kind_of_case, seams_of
from weldsim.plots.stage import axis_vector, best_view
from weldsim.plots.weld_paths import clamp_places, tack_lines, weld_paths
from weldsim.plots.welds import colours_of
from weldsim.text.describe_joint import up_of

FEW = 25  # places along a seam


def shape_of(case: Case) -> dict:
    """Skin of the coarse mesh with what is filler and what is held, and the welds on it.

    Parameters
    ----------
    case : Case
        Whose part is meshed.

    Returns
    -------
    dict
        `points` (P, 3) mm, rounded; `faces` corner numbers with `tint` 0 steel, 1 filler, 2 held;
        `edges`; `welds` in order with `points` in the direction of travel; `clamps`; `pointers`
        with `place` mm, unit vectors `aim`, `up` and `right` of the target, `throw` m; `eye` and
        `up`, unit vectors.
    """
    part = build_part(case, "coarse")
    points, cells, _ = vtk_cells(part.mesh)
    base = np.ones(len(cells), dtype=bool)
    for name, inside in part.regions.items():
        if name.split()[0] in ("fill", "root", "bead"):
            base[inside] = False
    skin = outer_surface(points, cells, np.array([base, np.ones_like(base)]))
    shown = skin.faces_off > 1
    clamped = np.zeros(len(points), dtype=bool)
    for clamp in case.clamps:
        for face in clamp.at:
            nodes = np.asarray(part.boundaries[face])
            clamped[nodes[nodes < len(points)]] = True
    tint = np.where(clamped[skin.used][skin.faces].all(axis=1), 2, 0)
    tint = np.where(skin.faces_on == 1, 1, tint)
    paths = weld_paths(case)
    colours = colours_of([(w.name, w.seam or w.name) for w in case.welds])
    up = up_of(case.part).tolist()
    looked = [replace(p, inward=_unit(np.atleast_2d(p.inward).mean(axis=0))) for p in paths]
    return {
        "points": _mm(points[skin.used]),
        "faces": skin.faces[shown].tolist(),
        "tint": tint[shown].tolist(),
        "edges": skin.edges[skin.edges_off > 1].tolist(),
        "welds": [
            {
                "number": p.number, "name": p.name, "seam": p.seam, "tack": p.tack,
                "closed": bool(seam.closed), "colour": colours[p.name],
                "points": _mm(_few(p.points)),
                "inward": seen.inward.round(4).tolist(),
            }
            for p, seen, seam in zip(paths, looked, seams_of(case), strict=True)
        ],
        "tacks": [_mm(line) for line in tack_lines(case)],
        "clamps": [{"name": text, "place": _mm(place)} for text, place in clamp_places(case, part)],
        "pointers": _pointers(case),
        "eye": best_view(looked, np.ptp(points, axis=0), up).tolist(),
        "up": up,
    }  # fmt: skip


def directions(case: Case) -> dict:
    """What the page needs to set the order: seams with their passes and directions of travel.

    Parameters
    ----------
    case : Case
        Whose seams are asked for.

    Returns
    -------
    dict
        `seams`: list of `name`, `passes`, `directions` in pairs of opposites, `points` mm,
        `inward`; `faces`: names for clamps and gauges. Where seams lie where the welds are put
        there are none of the part's own, and `travels` says the directions of each weld.
    """
    kind = kind_of_case(case)
    seams, directions = [], directions_of_case(case)
    if kind.seams_of_welds:  # their sections know the words of their own line alone
        lines = kind.seam_lines(case.part)
        own = {w.name: lines[w.seam].directions for w in case.welds}
        travels = {n: {word: opposite(words, word) for word in words} for n, words in own.items()}
        return {"seams": [], "faces": list(faces_of(case.part)), "travels": travels}
    for name, line in kind.seam_lines(case.part).items():
        words = directions[name]
        seams.append(
            {
                "name": name, "passes": line.passes, "closed": line.closed,
                "directions": {w: opposite(words, w) for w in words},
                "points": _mm(_few(line.points)),
                "inward": _unit(line.inwards.mean(axis=0)).round(4).tolist(),
            }
        )  # fmt: skip
    return {"seams": seams, "faces": list(faces_of(case.part)), "travels": {}}


def order_table(case: Case) -> list[dict]:
    """Welds in order with what is known of their times and heat. [s, kJ/mm]

    Parameters
    ----------
    case : Case
        Whose welds are asked for.

    Returns
    -------
    list of dict
        One a weld, in order of welding.
    """

    rows = timetable(case.welds)
    return [
        {
            "name": w.name, "seam": w.seam, "travel": w.travel, "tack": w.tack >= 0,
            "rule": r.rule, "start": r.start, "duration": r.duration,
            "heat_input": 1e-6 * r.heat_input, "arc_energy": 1e-6 * r.arc_energy,
            "into_part": 1e-6 * w.arc.line_energy,
        }
        for w, r in zip(case.welds, rows, strict=True)
    ]  # fmt: skip


def _pointers(case: Case) -> list[dict]:
    """Light beams and the targets they point at."""
    out = []
    for gauge in case.gauges:
        if gauge.kind != "pointer" or not gauge.aim or not gauge.up:
            continue
        try:
            place = kind_of_case(case).place(case.part, str(gauge.at))
        except CaseError:  # a face of a mesh file, whose place only the mesh knows
            continue
        aim, up = axis_vector(gauge.aim), axis_vector(gauge.up)
        out.append(
            {
                "name": gauge.name, "place": _mm(place), "aim": aim, "up": up,
                "right": np.cross(aim, up).tolist(), "up_way": gauge.up, "throw": gauge.throw,
            }
        )  # fmt: skip
    return out


def _unit(vector: np.ndarray) -> np.ndarray:
    return np.asarray(vector) / max(float(np.linalg.norm(vector)), 1e-12)


def _few(points: np.ndarray) -> np.ndarray:
    """Some of the places along a line, both ends among them."""
    return points[np.unique(np.linspace(0, len(points) - 1, min(len(points), FEW)).astype(int))]


def _mm(places: ArrayLike) -> list:
    return (1e3 * np.asarray(places)).round(3).tolist()
