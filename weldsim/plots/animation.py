"""Animation of a run: the part glowing and moving on the left, its light spot or gauge beside it.

Every frame of the run is shown for the same time, whatever time lies between: the torch is
followed step by step, the long cooling passes quickly. The clock is on the picture. GIF always;
MP4 where an encoder is installed.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from weldsim.plots.colour_bars import temperature_bar
from weldsim.plots.image_figure import warp_words
from weldsim.plots.pointer_plot import path_on_target, set_equal_limits
from weldsim.plots.scene import draw
from weldsim.plots.stage import stage_frame
from weldsim.plots.style import new_figure, styled
from weldsim.plots.welds import arc_times, axis_cut, clock, first_arc_start, weld_colour
from weldsim.runs.frame_files import read_frame
from weldsim.runs.reading import RunRecord
from weldsim.system.files import whole_file
from weldsim.system.palette import ARC, INK, LINE, LINES, PAPER, QUIET, SPOT, WELDS
from weldsim.text.quantities import unit_word

SIZE = (1120, 544)  # pixels, multiples of 16 for the encoder
SCENE = (720, 416)
MORE = 208  # pixels; what a part as tall as wide adds to both heights, a multiple of 16
DPI = 80
RATE = 10  # frames a second
HOLD = 20  # frames that the end stays
NO_ENCODER = "no MP4: no encoder here; for one: pip install weldsim[video]"


def write_movie(record: RunRecord, stage, folder: Path, report=None):
    """Write animation.gif and, where an encoder is installed, animation.mp4.

    Parameters
    ----------
    stage : Stage
        Camera, warp and colour ranges of the stills.
    report : callable(share), optional

    Returns
    -------
    paths : list of Path
    notes : list of str
        One line for what could not be made.
    """
    size = (SCENE[0], SCENE[1] + MORE * stage.tall)
    images = list(movie_frames(record, replace(stage, size=size), report))
    images += [images[-1]] * HOLD
    paths, notes = [folder / "animation.gif"], []
    with whole_file(paths[0]) as beside:
        write_gif(images, beside)
    if encoder() is None:
        notes.append(NO_ENCODER)
    else:
        paths.append(folder / "animation.mp4")
        with whole_file(paths[1]) as beside:
            write_mp4(images, beside)
    return paths, notes


def encoder() -> str | None:
    """Path of an MP4 encoder, None without one."""
    try:
        import imageio_ffmpeg

        return imageio_ffmpeg.get_ffmpeg_exe()
    except (ImportError, RuntimeError):
        return None


def write_gif(images, path) -> None:
    """Write images (H, W, 3) as one GIF with one palette, so that colours do not flicker."""
    from PIL import Image

    sample = np.concatenate([*images[:: max(1, len(images) // 12)], _accents(images[0].shape[1])])
    palette = Image.fromarray(sample).quantize(256, method=Image.Quantize.MEDIANCUT)
    frames = [
        Image.fromarray(i).quantize(palette=palette, dither=Image.Dither.NONE) for i in images
    ]
    frames[0].save(
        path, format="GIF", save_all=True, append_images=frames[1:], duration=1000 // RATE, loop=0
    )


def _accents(width: int) -> np.ndarray:
    """Stripes of the small marks' colours: by area alone they would miss their palette entry."""
    from matplotlib.colors import to_rgb

    marks = (SPOT, INK, QUIET, *WELDS, *LINES)
    stripes = [np.tile(np.array(to_rgb(c)) * 255, (60, width, 1)) for c in marks]
    return np.concatenate(stripes).round().astype(np.uint8)


def write_mp4(images, path) -> None:
    """Write images (H, W, 3), sides multiples of 16, as H.264."""
    import imageio_ffmpeg

    height, width = images[0].shape[:2]
    writer = imageio_ffmpeg.write_frames(
        str(path), (width, height), fps=RATE, codec="libx264", quality=8, macro_block_size=16,
        output_params=["-f", "mp4", "-movflags", "+faststart"],
    )  # fmt: skip
    writer.send(None)
    for image in images:
        writer.send(np.ascontiguousarray(image))
    writer.close()


def movie_frames(record: RunRecord, stage, report=None):
    """Images (H, W, 3) uint8, one a frame of the run."""

    board = Board(record, stage)
    built = read_frame(record.frames[0])
    for number, file in enumerate(record.frames):
        frame = stage_frame(stage, file)
        yield board.show(file.time, draw(stage, frame, "temperature", outline=built))
        if report is not None:
            report((number + 1) / len(record.frames))


class Board:
    """The figure around the scene, drawn once and then only moved along."""

    @styled
    def __init__(self, record: RunRecord, stage):
        from matplotlib.backends.backend_agg import FigureCanvasAgg

        self.record = record
        w, h = SIZE[0], SIZE[1] + stage.size[1] - SCENE[1]
        self.figure = new_figure(w / DPI, h / DPI, DPI)
        self.canvas = FigureCanvasAgg(self.figure)
        scene = self.figure.add_axes((0, 80 / h, stage.size[0] / w, stage.size[1] / h))
        scene.set_axis_off()
        blank = np.full((*stage.size[::-1], 3), 255, dtype=np.uint8)
        self.image = scene.imshow(blank, aspect="auto", interpolation="nearest")
        bar = self.figure.add_axes((170 / w, 52 / h, 380 / w, 12 / h))
        temperature_bar(self.figure, stage, bar)
        self.figure.text(0.014, 1 - 14 / h, record.title, fontsize=13, va="top")
        self.figure.text(0.014, 1 - 42 / h, warp_words(stage), fontsize=9.5, va="top", color=QUIET)
        self.shape = 312 / (h - 184)
        side = self.figure.add_axes((790 / w, 74 / h, 312 / w, (h - 184) / h))
        self.move = self._path(side) if record.pointers else self._curve(side)
        self.clock = self.figure.text(
            790 / w, 1 - 14 / h, "", fontsize=15, va="top", fontfamily="monospace"
        )
        self.phase = self.figure.text(790 / w, 1 - 52 / h, "", fontsize=11, va="top")

    def _path(self, axes):
        """Path of the first pointer: all of it pale, what lies behind in ink, the spot red."""
        gauge = self.record.pointers[0]
        right, up = path_on_target(self.record, gauge)
        axes.plot(right, up, color=LINE, lw=1.5)
        set_equal_limits(axes, right, up, self.shape)
        axes.set_xlabel("right, mm")
        axes.set_ylabel("up, mm")
        axes.set_title(f"spot of {gauge['name']} at {gauge['throw']:g} m", fontsize=10, color=QUIET)
        (trail,) = axes.plot([], [], color=INK, lw=1.8)
        (dot,) = axes.plot([], [], "o", ms=9, color=SPOT, mec=PAPER, clip_on=False)
        times = self.record.gauges["time_s"]

        def move(time):
            behind = times <= time
            here = np.interp(time, times, right), np.interp(time, times, up)
            trail.set_data(np.append(right[behind], here[0]), np.append(up[behind], here[1]))
            dot.set_data([here[0]], [here[1]])

        return move

    def _curve(self, axes):
        """History of the first gauge with the moment marked."""
        column = self.record.columns[0]
        times, values = clock(self.record), self.record.gauges[column.name]
        for _, start, stop in arc_times(self.record):
            axes.axvspan(start, stop, color=ARC, lw=0)
        axes.plot(times, values, color=LINES[0])
        axes.set_xlim(times[0], axis_cut(self.record))
        axes.set_xlabel("time, s")
        axes.set_title(f"{column.gauge} {column.component}, {unit_word(column.unit)}")
        (dot,) = axes.plot([], [], "o", ms=9, color=SPOT, mec=PAPER, clip_on=False)
        zero = first_arc_start(self.record)

        def move(time):
            at = min(time - zero, axes.get_xlim()[1])
            dot.set_data([at], [np.interp(time - zero, times, values)])

        return move

    @styled
    def show(self, time: float, picture) -> np.ndarray:
        """The board at a time of the run [s] with a picture of the part (h, w, 3)."""
        self.image.set_data(picture)
        self.move(time)
        now = time - first_arc_start(self.record)
        self.clock.set_text(f"{now:6.0f} s")
        words, colour = phase_at(self.record, now)
        self.phase.set_text(words)
        self.phase.set_color(colour)
        self.canvas.draw()
        return np.asarray(self.canvas.buffer_rgba())[..., :3].copy()


def phase_at(record: RunRecord, time: float) -> tuple[str, str]:
    """What goes on at a time of the pictures' clock [s], and the colour of the words."""
    found = arc_times(record)
    for name, start, stop in found:
        if start <= time < stop:
            return f"arc {name} on", weld_colour(record, name)
    if any(start > time for _, start, _ in found):
        return "pause", QUIET
    return "cooling", QUIET
