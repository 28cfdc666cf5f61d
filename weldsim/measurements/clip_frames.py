"""Frames of a filmed clip with the times the camera gave them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weldsim.errors import MeasurementError, SetupError

Picture = NDArray[np.uint8]

LONGEST_SIDE = 8192  # pixels
NEEDED = 'a clip needs OpenCV and PyAV, which are not installed: pip install "weldsim[clips]"'


def image_library() -> Any:
    """OpenCV.

    Returns
    -------
    module
        `cv2`, on one thread: frames are read one by one.

    Raises
    ------
    SetupError
        If it is not installed.
    """
    try:
        import cv2
    except ImportError:
        raise SetupError(NEEDED) from None
    cv2.setNumThreads(1)
    return cv2


def clip_frames(
    path: Path, rate: float, progress: Callable[[float], None] | None = None
) -> Iterator[tuple[float, Picture]]:
    """Frames of a clip, no more often than asked for.

    Parameters
    ----------
    path : Path
        Any film that PyAV reads.
    rate : float
        Most frames a second; the others are passed over. [1/s]
    progress : callable, optional
        Told the share of the film that is read, 0 to 1.

    Yields
    ------
    time : float
        As the file has it, since its first frame; cameras of phones do not keep even steps. [s]
    picture : ndarray of uint8, shape (H, W, 3)
        Blue, green, red.

    Raises
    ------
    MeasurementError
        If it is no film, has no picture, or its times run back.
    SetupError
        If PyAV is not installed.
    """
    try:
        import av
    except ImportError:
        raise SetupError(NEEDED) from None
    if not path.is_file():
        raise MeasurementError(f"{path}: no such file, allowed: a film such as clip.mp4")
    try:
        with av.open(str(path), mode="r") as film:
            if not film.streams.video:
                raise MeasurementError(f"{path}: no picture in it, allowed: a film")
            stream = film.streams.video[0]
            width, height = stream.codec_context.width, stream.codec_context.height
            if max(width, height) > LONGEST_SIDE:
                raise MeasurementError(
                    f"{path}: {width} x {height} pixels, allowed: up to {LONGEST_SIDE} each way"
                )
            length = float(film.duration or 0) / av.time_base
            for time, picture in _decoded(film, stream, path, rate):
                yield time, picture
                if progress and length > 0:
                    progress(min(1.0, time / length))
    except av.FFmpegError as error:
        raise MeasurementError(
            f"{path}: cannot be read as a film, allowed: such as clip.mp4 ({error.strerror})"
        ) from None


def _decoded(film: Any, stream: Any, path: Path, rate: float) -> Iterator[tuple[float, Picture]]:
    first = last = None
    due = 0.0
    for frame in film.decode(stream):
        if frame.time is None:
            continue
        first = frame.time if first is None else first
        time = float(frame.time - first)
        if last is not None and time < last:
            raise MeasurementError(f"{path}: its times run back at {last:g} s")
        last = time
        if time + 1e-9 < due:
            continue
        due = max(due + 1.0 / rate, time)  # keeps the mean rate where frames come late
        yield time, frame.to_ndarray(format="bgr24")
    if last is None:
        raise MeasurementError(f"{path}: no frame in it, allowed: a film")
