"""Names of the welds and of the vise, written on the picture of a part."""

from __future__ import annotations

import numpy as np

from weldsim import charts
from weldsim.charts import QUIET
from weldsim.readback import RunRecord


def name_places(record: RunRecord, stage, frame, axes) -> None:
    """Names of the welds below their beads, and of the vise."""
    box = np.array([frame.points.min(axis=0), frame.points.max(axis=0)])
    if stage.jaws:
        jaw = np.array(stage.jaws[0])
        x, y = stage.to_picture([jaw[:2].mean(), jaw[2:4].mean(), jaw[4]])[0]
        axes.text(x, y - 0.05, "vise", ha="center", va="top", fontsize=10, color=QUIET)
    feet = []
    for weld in record.case.get("welds", []):
        if frame.time < _start(record, weld["name"]):
            continue
        if weld.get("line") != "across":
            _name_seam(record, stage, frame, axes, weld)
            continue
        foot = _moved_point(stage, frame, [weld["at"], box[1, 1], box[0, 2]])
        feet.append((weld["name"], *stage.to_picture(foot)[0]))
    for name, x, y in side_by_side(feet):
        axes.text(x, y - 0.045, name, ha="center", va="top", fontsize=12, fontweight="bold",
                  color=charts.weld_colour(record, name))  # fmt: skip


def _name_seam(record: RunRecord, stage, frame, axes, weld: dict) -> None:
    """Name of a bead along the bar, by its middle: under a bottom edge, above all others."""
    from matplotlib.patheffects import withStroke

    part, face = record.case["part"], weld.get("face")
    begin, finish = weld.get("begin") or 0.0, weld.get("finish") or part["length"]
    y = {"front": part["thickness"] / 2, "back": -part["thickness"] / 2}.get(face, 0.0)
    z = {"top": part["width"] / 2, "bottom": -part["width"] / 2}.get(face, weld.get("at") or 0.0)
    x, y = stage.to_picture(_moved_point(stage, frame, [(begin + finish) / 2, y, z]))[0]
    below = face == "bottom"
    axes.text(x, y + (-0.045 if below else 0.05), weld["name"], ha="center",
              va="top" if below else "bottom", fontsize=12, fontweight="bold",
              color=charts.weld_colour(record, weld["name"]),
              path_effects=[withStroke(linewidth=3, foreground=charts.PAPER)])  # fmt: skip


def side_by_side(feet, gap: float = 0.012, letter: float = 0.014):
    """Names in one row where beads share a place (one on each face), else under their beads.

    Parameters
    ----------
    feet : list of (name, x, y), shares of the picture
    gap, letter : float
        Air between two names and width of a letter, as shares of the picture's width.
    """
    rows = []
    for foot in sorted(feet, key=lambda f: f[1]):
        room = gap + letter * (len(foot[0]) + len(rows[-1][-1][0])) / 2 if rows else 0.0
        if rows and foot[1] - rows[-1][-1][1] < room:
            rows[-1].append(foot)
        else:
            rows.append([foot])
    out = []
    for row in rows:
        width = letter * sum(len(name) for name, *_ in row) + gap * (len(row) - 1)
        x = sum(f[1] for f in row) / len(row) - width / 2
        for name, *_ in row:
            out.append((name, x + letter * len(name) / 2, min(f[2] for f in row)))
            x += letter * len(name) + gap
    return out


def _start(record: RunRecord, name: str) -> float:
    table = {e["name"]: e["start"] for e in record.manifest.get("timetable", [])}
    return table.get(name, np.inf)


def _moved_point(stage, frame, place) -> np.ndarray:
    """Where the drawn point nearest to a place has moved to on the picture. [m]"""
    near = int(np.argmin(np.linalg.norm(frame.points - np.asarray(place), axis=1)))
    return frame.points[near] + stage.warp * frame.displacement[near]
