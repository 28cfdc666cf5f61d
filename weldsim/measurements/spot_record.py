"""A filmed light spot as readings of a pointer, and the file they are kept in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weldsim.errors import MeasurementError
from weldsim.measurements.arc_light import ArcTimes, arc_times, blinded_share
from weldsim.measurements.clip_frames import clip_frames, image_library
from weldsim.measurements.light_spot import SIGNALS, SpotSeen, find_spot, spot_signal
from weldsim.measurements.measured_curve import scatter
from weldsim.measurements.target_marks import find_marks, follow_marks
from weldsim.measurements.target_sheet import TargetSheet
from weldsim.system.files import whole_file

Floats = NDArray[np.float64]

SEARCHED = 60  # frames that are searched for the marks before giving up
CHOSEN_ON = 12  # frames on which the signal that shows the spot best is chosen
SURE = 25.0  # times the scatter of the paper at which brightness is good enough
MOST_PIXELS = 1400  # longest side of the target as it is read
JUMP = 6.0  # times the scatter by which a reading may miss its neighbours' median
JUMP_LEAST = 0.0015  # and at least this [m]
LEAST_NOISE = 0.2  # mm that a reading is good to: a sheet is no flatter, and a film no truer
AT_REST = 1.0  # readings of the first second are the zero where no arc is seen [s]


@dataclass(frozen=True)
class SpotRecord:
    """Where the spot was at each frame that was read. Immutable.

    Attributes
    ----------
    times : ndarray, shape (N,)
        Since the clip began. [s]
    up, right : ndarray, shape (N,)
        From where it was at rest, along the edges of the target; nan where flagged. [m]
    flags : tuple of str
        Empty, or why a frame is left out.
    error : float
        Standard deviation of a reading, from its scatter; nan with too few. [m]
    arc : ArcTimes
        When the arc burnt, on the clip's clock.
    signal : str
        What the spot was told by: one of `SIGNALS`.
    """

    times: Floats
    up: Floats
    right: Floats
    flags: tuple[str, ...]
    error: float
    arc: ArcTimes
    signal: str

    @property
    def used(self) -> NDArray[np.bool_]:
        """Frames that are not flagged, (N,)."""
        return np.array([not f for f in self.flags])

    @property
    def zero_time(self) -> float:
        """When the first arc began; the clip's beginning where none is seen. [s]"""
        return float(self.arc.on[0]) if self.arc.on.size else 0.0

    def reading(self) -> tuple[float, float, float]:
        """Where the spot came to rest: the last 2 s that were seen.

        Returns
        -------
        up, right : float
            From where it was before. [m]
        error : float
            Standard error of the mean, and no less than a tenth of a reading's; of a spot that
            still moved meanwhile how far, `still_moving`. [m]

        Raises
        ------
        MeasurementError
            If it was not seen.
        """
        last = self._last()
        spread = self.error if np.isfinite(self.error) else 0.0
        error = max(spread / np.sqrt(last.sum()), 0.1 * spread, self.still_moving)
        return float(self.up[last].mean()), float(self.right[last].mean()), float(error)

    @property
    def still_moving(self) -> float:
        """How far the spot went in the last 2 s that were seen; zero where it was at rest. [m]

        The mean of their second half less that of the first; what scatter alone leaves between
        two such means stays within three standard deviations of their difference.
        """
        places = np.column_stack([self.up, self.right])[self._last()]
        half = len(places) // 2
        if not half or not np.isfinite(self.error):
            return 0.0
        step = np.abs(places[half:].mean(axis=0) - places[:half].mean(axis=0)).max()
        scatter = self.error * np.sqrt(1 / half + 1 / (len(places) - half))
        return float(step) if step > 3 * scatter else 0.0

    def _last(self) -> NDArray[np.bool_]:
        used = self.used
        if not used.any():
            raise MeasurementError("the spot is not seen in any frame")
        last: NDArray[np.bool_] = used & (self.times >= self.times[used][-1] - 2.0)
        return last


def read_clip(
    path: str | Path,
    sheet: TargetSheet,
    rate: float = 10.0,
    mirrored: bool = False,
    progress: Callable[[float], None] | None = None,
) -> SpotRecord:
    """Follow the light spot through a clip.

    Parameters
    ----------
    path : path-like
        A film of the target, marks in view, the camera upright to within 40 degrees.
    sheet : TargetSheet
        Distances of its marks.
    rate : float
        Most readings a second. [1/s]
    mirrored : bool
        Whether it was filmed from behind.
    progress : callable, optional
        Told the share of the film that is read, 0 to 1.

    Returns
    -------
    SpotRecord
        In metres on the target.

    Raises
    ------
    MeasurementError
        If it is no film, the marks are not found, or the spot never is.
    SetupError
        If a library is missing.
    """
    path = Path(path)
    eye = _Eye(sheet)
    times, seen, shares = [], [], []
    for time, picture in clip_frames(path, rate, progress):
        times.append(time)
        seen.append(eye.look(picture))
        shares.append(eye.blinded(picture))
        if eye.places is None and len(times) >= SEARCHED:
            break
    if eye.places is None:
        raise MeasurementError(
            f"{path}: the four marks of the target are not seen, allowed: all four in view and "
            f"sharp, the camera upright (weldsim target prints the sheet)"
        )
    return _record(path, eye, np.array(times), seen, np.array(shares), mirrored)


class _Eye:
    """What is known of the target from frame to frame."""

    def __init__(self, sheet: TargetSheet) -> None:
        self.sheet, self.radius = sheet, 0.0
        self.places: Floats | None = None
        self.tried: list[dict[str, SpotSeen]] = []
        self.scale, self.kind = 0.0, ""
        self.usable = np.zeros((0, 0), bool)
        self.target: NDArray[np.bool_] | None = None

    def look(self, picture: NDArray[np.uint8]) -> dict[str, SpotSeen]:
        """The spot by each signal that is still tried; nothing where the marks are not seen."""
        cv2 = image_library()
        grey = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY)
        if not self._aim(grey):
            return {}
        straight = self._straight(picture)
        kinds = (self.kind,) if self.kind else SIGNALS
        out = {
            k: find_spot(spot_signal(straight, k, self.scale), self.usable, self.scale)
            for k in kinds
        }
        if not self.kind:
            self.tried.append(out)
            if len(self.tried) >= CHOSEN_ON:
                self.kind = clearest(self.tried)
        return out

    def _aim(self, grey: NDArray[np.uint8]) -> bool:
        """Find the marks, or keep where they were last when one is hidden."""
        followed = None if self.places is None else follow_marks(grey, self.places, self.radius)
        if followed is not None:
            self.places = followed
            return True
        found = find_marks(grey)
        if found is not None:
            self.places, self.radius = found
            if not self.scale:
                self._measure(grey.shape)
            return True
        return self.places is not None

    def _measure(self, shape: tuple[int, ...]) -> None:
        """Pixels a metre of the target as it is read, and where the spot may be."""
        assert self.places is not None
        sides = np.hypot(*(self.places - np.roll(self.places, 1, axis=0)).T)
        w, h = self.sheet.width, self.sheet.height
        self.scale = min(float(sides.max()) / max(w, h) * 1.1, MOST_PIXELS / max(w, h))
        size = (round(h * self.scale) + 1, round(w * self.scale) + 1)
        y, x = np.mgrid[: size[0], : size[1]]
        self.usable = np.ones(size, bool)
        for cy in (0, size[0] - 1):
            for cx in (0, size[1] - 1):
                self.usable &= np.hypot(x - cx, y - cy) > 0.75 * self.sheet.mark * self.scale
        cv2 = image_library()
        mask = np.zeros(shape[:2], np.uint8)
        cv2.fillConvexPoly(mask, np.round(self.places).astype(np.int32), 1)
        self.target = mask.astype(bool)

    def _straight(self, picture: NDArray[np.uint8]) -> NDArray[np.uint8]:
        cv2 = image_library()
        h, w = self.usable.shape
        corners = np.array([[0, 0], [w - 1, 0], [w - 1, h - 1], [0, h - 1]], np.float32)
        assert self.places is not None
        onto = cv2.getPerspectiveTransform(self.places.astype(np.float32), corners)
        out: NDArray[np.uint8] = cv2.warpPerspective(picture, onto, (w, h), flags=cv2.INTER_LINEAR)
        return out

    def blinded(self, picture: NDArray[np.uint8]) -> float:
        """Share of the picture beside the target that is blinded."""
        target = self.target
        if target is None:
            target = np.zeros(picture.shape[:2], bool)
        return blinded_share(picture, target)

    def metres(self, spot: SpotSeen) -> tuple[float, float]:
        """Up and right of the middle of the target. [m]"""
        h, w = self.usable.shape
        right = (spot.x / (w - 1) - 0.5) * self.sheet.width
        return (0.5 - spot.y / (h - 1)) * self.sheet.height, right


def clearest(tried: list[dict[str, SpotSeen]]) -> str:
    """The signal that shows the spot most surely, brightness where it does so well enough.

    Films keep colours at half the sharpness of brightness, and late where things move.

    Parameters
    ----------
    tried : list of dict of str to SpotSeen
        What each signal saw in some frames.

    Returns
    -------
    str
        One of `SIGNALS`.
    """
    seen = {k: sum(not s[k].flag for s in tried) for k in SIGNALS}
    surety = {k: float(np.median([s[k].surety for s in tried])) for k in SIGNALS}
    if seen["bright"] == max(seen.values()) and surety["bright"] >= SURE:
        return "bright"
    return max(SIGNALS, key=lambda k: (seen[k], surety[k]))


def _record(
    path: Path,
    eye: _Eye,
    times: Floats,
    seen: list[dict[str, SpotSeen]],
    shares: Floats,
    mirrored: bool,
) -> SpotRecord:
    kind = eye.kind or clearest([s for s in seen if len(s) > 1])
    up, right = np.full(len(times), np.nan), np.full(len(times), np.nan)
    flags = []
    for k, spots in enumerate(seen):
        spot = spots.get(kind)
        flags.append("no marks" if spot is None else spot.flag)
        if spot is not None and not spot.flag:
            up[k], right[k] = eye.metres(spot)
    right = -right if mirrored else right
    flags = _without_jumps(times, up, right, flags)
    used = np.array([not f for f in flags])
    if not used.any():
        raise MeasurementError(
            f"{path}: the light spot is not seen in any frame, allowed: a spot brighter or more "
            f"coloured than the paper, up to 30 mm wide"
        )
    up[~used], right[~used] = np.nan, np.nan
    arc = arc_times(times, shares)
    rest = used & (times < arc.on[0]) if arc.on.size else used & (times <= times[used][0] + AT_REST)
    rest = rest if rest.any() else used & (times <= times[used][0])
    up, right = up - np.median(up[rest]), right - np.median(right[rest])
    error = max(scatter(times[used], up[used]), scatter(times[used], right[used]))
    return SpotRecord(times, up, right, tuple(flags), error, arc, kind)


def _without_jumps(times: Floats, up: Floats, right: Floats, flags: list[str]) -> list[str]:
    """Flag readings far from the median of the ten about them: a reflection, a passing hand."""
    from scipy.ndimage import median_filter

    used = np.array([not f for f in flags])
    out = list(flags)
    if used.sum() < 11:
        return out
    places = np.flatnonzero(used)
    for values in (up, right):
        off = np.abs(values[used] - median_filter(values[used], 11, mode="nearest"))
        limit = max(JUMP * 1.4826 * float(np.median(off)), JUMP_LEAST)
        for k in places[off > limit]:
            out[k] = "jump"
    return out


def write_spot_file(path: str | Path, record: SpotRecord, gauge: str, source: str) -> Path:
    """Write readings as `read_measurement` reads them.

    Parameters
    ----------
    path : path-like
        To write; whole or not at all.
    record : SpotRecord
        From `read_clip`.
    gauge : str
        Name of the pointer.
    source : str
        Name of the clip.

    Returns
    -------
    Path
        The file. Its time is 0 when the first arc begins, where one is seen.

    Raises
    ------
    StoreError
        If the disk refuses.
    """
    path = Path(path)
    arcs = ", ".join(f"{a:.2f} to {b:.2f} s" for a, b in zip(*record.arc, strict=True))
    lines = [
        f"# light spot of {source}; told by: {record.signal}",
        f"# arc on, on the clip's clock: {arcs or 'not seen; time is from the first frame'}",
        f"time_s,{gauge}_up_mm,{gauge}_right_mm,{gauge}_up_noise_mm,{gauge}_right_noise_mm,flag",
    ]
    noise = f"{1e3 * record.error:.4f}" if np.isfinite(record.error) and record.error > 0 else ""
    for k, time in enumerate(record.times):
        row: list[Any] = [f"{time - record.zero_time:.4f}"]
        if record.flags[k]:
            row += ["", "", "", ""]
        else:
            row += [f"{1e3 * record.up[k]:.4f}", f"{1e3 * record.right[k]:.4f}", noise, noise]
        lines.append(",".join([*row, record.flags[k]]))
    with whole_file(path) as beside:
        beside.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path
