"""Names of welds and clamps and the direction of travel, written on the picture of a part.

Places on a picture are in inches from its lower left, so that text and lines can be compared.
Labels are placed here, not by a library: adjustText knows neither the side on which a label had
better lie nor that a curve between its points must stay free, and put names onto paths and welds.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from weldsim.plots.scene import hidden_places
from weldsim.plots.stage import active_lattice_points
from weldsim.plots.style import text_width
from weldsim.plots.vtk_grid import surface_of
from weldsim.plots.welds import along, first_of_seams, paths_of, weld_colour
from weldsim.runs.reading import RunRecord
from weldsim.runs.recorded_case import RecordedWeld, recorded_case
from weldsim.system.palette import INK, PAPER, QUIET

HEADLINE = np.array([0.28, -0.2])  # inch; steps over what is written in the upper left corner
SEEN = 0.25  # share of a path that has to be in sight for it not to lie behind
BESIDE = 0.14  # inch from a seam to the arrow beside it
ARROW = (0.35, 0.8)  # inch; shortest and longest arrow
LINE = 0.2  # inch; height of a line of text


@dataclass(frozen=True)
class Label:
    """A text that belongs to a place on a picture. [inch]

    Attributes
    ----------
    text : what is written
    anchor : (2,) the place it belongs to
    away : (2,) direction in which it had better lie
    size : of the letters [pt]
    extra : width of what stands before the text
    """

    text: str
    anchor: np.ndarray
    away: np.ndarray
    size: float = 12.0
    extra: float = 0.0

    @property
    def box(self) -> np.ndarray:
        """Width and height, (2,)."""
        return np.array([self.extra + 1.08 * text_width(self.text, self.size), LINE])


def name_places(record: RunRecord, stage, frame, axes, built=None) -> None:
    """Names of the welds and of what holds the part, on the part where it has moved to.

    Parameters
    ----------
    frame, built : FieldFrame
        What is drawn, and the part before the first arc, whose metal hides welds behind it.
    """
    if not recorded_case(record).seams_of_welds:
        _name_joint(record, stage, frame, axes, built)
        return
    box = np.array([frame.points.min(axis=0), frame.points.max(axis=0)])
    if stage.jaws:
        jaw = np.array(stage.jaws[0])
        x, y = stage.to_picture([jaw[:2].mean(), jaw[2:4].mean(), jaw[4]])[0]
        axes.text(x, y - 0.05, "clamp", ha="center", va="top", fontsize=10, color=QUIET)
    feet = []
    for weld in recorded_case(record).welds:
        if frame.time < _start(record, weld.name):
            continue
        if weld.line != "across":
            _name_seam(record, stage, frame, axes, weld)
            continue
        foot = _moved_point(stage, frame, [weld.at, box[1, 1], box[0, 2]])
        feet.append((weld.name, *stage.to_picture(foot)[0]))
    for name, x, y in side_by_side(feet):
        axes.text(x, y - 0.045, name, ha="center", va="top", fontsize=12, fontweight="bold",
                  color=weld_colour(record, name))  # fmt: skip


def _name_seam(record: RunRecord, stage, frame, axes, weld: RecordedWeld) -> None:
    """Name of a bead along the bar, by its middle: under a bottom edge, above all others."""
    from matplotlib.patheffects import withStroke

    part, middle = recorded_case(record).part, (weld.begin + weld.finish) / 2
    if not weld.finish:  # runs that do not tell: all along
        middle = part.length / 2
    y = {"front": part.thickness / 2, "back": -part.thickness / 2}.get(weld.face, 0.0)
    z = {"top": part.width / 2, "bottom": -part.width / 2}.get(weld.face, weld.at)
    x, y = stage.to_picture(_moved_point(stage, frame, [middle, y, z]))[0]
    below = weld.face == "bottom"
    axes.text(x, y + (-0.045 if below else 0.05), weld.name, ha="center",
              va="top" if below else "bottom", fontsize=12, fontweight="bold",
              color=weld_colour(record, weld.name),
              path_effects=[withStroke(linewidth=3, foreground=PAPER)])  # fmt: skip


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


def _name_joint(record: RunRecord, stage, frame, axes, built) -> None:
    """Names and arrows of the welds begun so far, and names of the clamps."""

    size, base = picture_size(axes), surface_of(built or frame)
    labels, taken = [], [[0.0, size[1]] + HEADLINE * np.array(list(np.ndindex(12, 4)))]
    case = recorded_case(record)
    begun = [p for p in paths_of(record) if frame.time >= _start(record, p.name)]
    named = first_of_seams([(p.name, p.seam) for p in begun])
    for path in begun:
        name, places = path.name, path.points
        behind = hidden_places(base, places, stage.view, 0.5 * case.weld(name).bead_width)
        flat = stage.to_picture(_moved_points(stage, frame, places)) * size
        at, dull = best_place(behind)
        foot = along(flat, [at])[0]
        away = outward(stage, path.inward, flat, foot, size)
        colour = weld_colour(record, name)
        taken += [flat, draw_arrow(axes, flat, away, colour, size, dull, at)]
        if name in named:
            text = f"{name} (behind)" if dull else name
            labels.append((Label(text, foot, away), colour))
    for clamp in record.manifest.get("clamps", []):
        for place in clamp["places"]:
            here = stage.to_picture(_moved_points(stage, frame, [place]))[0] * size
            dull = hidden_places(base, [place], stage.view, 0.0)[0]
            axes.plot(*(here / size), "s", ms=4, color=PAPER if dull else INK,
                      mec=QUIET if dull else PAPER, zorder=6)  # fmt: skip
            text = f"{clamp['name']} (behind)" if dull else clamp["name"]
            labels.append((Label(text, here, here - size / 2, 9.5), INK))
    write_labels(axes, labels, np.concatenate(taken), size)


def picture_size(axes) -> np.ndarray:
    """Width and height of a picture that fills its axes, (2,). [inch]"""
    place = axes.get_position()
    figure = axes.figure
    return np.array([place.width * figure.get_figwidth(), place.height * figure.get_figheight()])


def best_place(behind: np.ndarray) -> tuple[float, bool]:
    """Share of a path where it is best named, and whether it lies behind the part as a whole.

    Parameters
    ----------
    behind : ndarray of bool, shape (K,)
        Which of K places at equal steps along the path are hidden.

    Returns
    -------
    (float, bool)
        The middle of what is in sight; of the path where next to nothing is.
    """
    shares = np.linspace(0.0, 1.0, len(behind))
    seen = np.flatnonzero((shares >= 0.1) & (shares <= 0.9) & ~behind)
    if seen.size < SEEN * len(behind):
        return 0.5, True
    runs = np.split(seen, np.flatnonzero(np.diff(seen) > 1) + 1)
    return float(shares[max(runs, key=len)].mean()), False


def outward(stage, inward, flat: np.ndarray, foot: np.ndarray, size) -> np.ndarray:
    """Unit vector (2,) out of the part at a place (2,) of a seam (M, 2) on the picture. [inch]"""
    inward = np.asarray(inward, dtype=float)
    out = -np.array([inward @ stage.right, inward @ stage.up])
    if np.linalg.norm(flat[-1] - flat[0]) < 0.3 * np.linalg.norm(np.ptp(flat, axis=0)):
        out = foot - flat.mean(axis=0)  # runs around
    if np.linalg.norm(out) < 0.2:
        out = foot - np.asarray(size) / 2
    return out / max(np.linalg.norm(out), 1e-9)


def beside(flat: np.ndarray, away: np.ndarray, at: float = 0.5) -> np.ndarray | None:
    """Line (K, 2) of an arrow beside a seam (M, 2) at a share of it, on the side of `away`. [inch]

    None for a seam that points at the eye.
    """
    length = float(np.linalg.norm(np.diff(flat, axis=0), axis=1).sum())
    half = 0.5 * min(0.8, ARROW[1] / max(length, 1e-9))
    at = min(max(at, half), 1.0 - half)
    line = along(flat, np.linspace(at - half, at + half, 9))
    chord = line[-1] - line[0]
    span = float(np.linalg.norm(chord))
    if span < 1e-3:
        return None
    if span < ARROW[0]:  # a tack: an arrow that can be seen is longer than it
        line = line.mean(axis=0) + np.outer(np.linspace(-0.5, 0.5, 9), chord / span * ARROW[0])
    normal = np.array([-chord[1], chord[0]]) / span
    return line + BESIDE * normal * (1.0 if normal @ away >= 0 else -1.0)


def draw_arrow(axes, flat, away, colour: str, size, dull=False, at: float = 0.5) -> np.ndarray:
    """Arrow in the direction of travel beside a seam (M, 2) [inch]; the places it covers."""
    from matplotlib.patheffects import withStroke

    line = beside(flat, away, at)
    if line is None:
        return flat[:1]
    halo = [withStroke(linewidth=3.2, foreground=PAPER)]
    shaft = line / size
    axes.plot(*shaft[:-1].T, color=colour, lw=1.6, ls=(0, (3, 2)) if dull else "-", zorder=7,
              path_effects=None if dull else halo)  # fmt: skip
    head = axes.annotate(
        "", shaft[-1], shaft[-2], zorder=8,
        arrowprops={"arrowstyle": "-|>,head_width=0.22,head_length=0.45", "color": colour,
                    "lw": 1.6, "shrinkA": 0, "shrinkB": 0},
    )  # fmt: skip
    head.arrow_patch.set_path_effects(halo)  # weld colours are close to those of hot metal
    return along(line, np.linspace(0, 1, 12))


def write_labels(axes, labels, taken, size) -> list[np.ndarray]:
    """Write (Label, colour) where they cover neither each other nor places (K, 2). [inch]

    Returns
    -------
    list of ndarray, shape (2,)
        Middles of the labels. [inch]
    """
    from matplotlib.patheffects import withStroke

    places = place_labels([label for label, _ in labels], taken, size)
    for (label, colour), place in zip(labels, places, strict=True):
        leader(axes, label, place, colour, size)
        start = place + [label.extra / 2, 0.0]
        axes.text(*(start / size), label.text, ha="center", va="center", fontsize=label.size,
                  fontweight="bold" if label.size > 10 else "normal", color=colour, zorder=9,
                  path_effects=[withStroke(linewidth=3, foreground=PAPER)])  # fmt: skip
    return places


def leader(axes, label: Label, place, colour: str, size) -> None:
    """Thin line from a label that lies far off to what it names."""
    half = label.box / 2
    edge = np.clip(label.anchor, place - half, place + half)
    if np.linalg.norm(edge - label.anchor) > 1.6 * LINE:
        ends = np.array([edge, label.anchor]) / size
        axes.plot(*ends.T, color=colour, lw=0.7, zorder=6.5)


def place_labels(labels, taken, size) -> list[np.ndarray]:
    """Middles of labels, each near its anchor, the first ones best. [inch]

    Parameters
    ----------
    labels : list of Label
    taken : ndarray, shape (K, 2), or None
        Places that had better stay free.
    size : (2,)
        Of the picture.
    """
    size = np.asarray(size, dtype=float)
    anchors = np.array([label.anchor for label in labels]).reshape(-1, 2)
    busy = anchors if taken is None else np.concatenate([anchors, taken])
    boxes: list[tuple[np.ndarray, np.ndarray]] = []
    out = []
    for label in labels:
        length = np.linalg.norm(label.away)
        first = np.arctan2(label.away[1], label.away[0]) if length > 1e-9 else np.pi / 2
        best = None
        for reach in (0.12, 0.25, 0.42, 0.65, 0.95, 1.3):
            for turn in np.deg2rad([0, 25, -25, 50, -50, 80, -80, 115, -115, 150, -150, 180]):
                direction = np.array([np.cos(first + turn), np.sin(first + turn)])
                middle = label.anchor + direction * (reach + label.box / 2 * np.abs(direction))
                low, high = middle - label.box / 2, middle + label.box / 2
                cost = reach + 0.25 * abs(turn)
                cost += 10.0 * sum(np.all(low < b) and np.all(high > a) for a, b in boxes)
                cost += 0.6 * np.sum(np.all((busy > low - 0.03) & (busy < high + 0.03), axis=1))
                cost += 20.0 * bool(np.any(low < 0.03) or np.any(high > size - 0.03))
                if best is None or cost < best[0]:
                    best = (cost, middle, (low - 0.02, high + 0.02))
        boxes.append(best[2])
        out.append(best[1])
    return out


def _moved_points(stage, frame, places) -> np.ndarray:
    """Where places (K, 3) along a line have moved to on the picture. [m]

    A straight line through how the drawn points nearest to them moved: metal near an arc moves by
    jumps, and an arrow has to stay an arrow.
    """

    places = np.atleast_2d(np.asarray(places, dtype=float))
    on = active_lattice_points(frame)
    away = np.linalg.norm(frame.points[on][None] - places[:, None], axis=2)
    moved = stage.warp * frame.displacement[on[np.argmin(away, axis=1)]]
    if len(places) > 2:
        share = np.linspace(-0.5, 0.5, len(places))
        slope = share @ moved / (share @ share)
        moved = moved.mean(axis=0) + np.outer(share, slope)
    return places + moved
