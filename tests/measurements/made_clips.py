"""Clips made for tests: a target seen by a tilted, shaking camera, with a light spot and an arc."""

from fractions import Fraction

import cv2
import numpy as np

from weldsim.measurements.target_sheet import DISC, RING_INSIDE

# in one thread: with several, what is lost by packing hangs on what else the machine does
PACKING = {"crf": "20", "preset": "veryfast", "threads": "1"}

PIXELS_PER_M = 3000.0
MARGIN = 0.06  # of paper about the marks [m]


def drawn_target(sheet):
    """Grey picture of the sheet and the pixels of its mark centres."""
    w, h = (int((s + 2 * MARGIN) * PIXELS_PER_M) for s in (sheet.width, sheet.height))
    picture = np.full((h, w), 225, np.uint8)
    centres = []
    for x, y in sheet.marks:
        c = (x + sheet.width / 2 + MARGIN, sheet.height / 2 - y + MARGIN)
        c = (c[0] * PIXELS_PER_M, c[1] * PIXELS_PER_M)
        centres.append(c)
        for share, grey in ((1.0, 20), (RING_INSIDE, 225), (DISC, 20)):
            r = int(round(share * sheet.mark / 2 * PIXELS_PER_M * 16))
            at = (int(round(c[0] * 16)), int(round(c[1] * 16)))
            cv2.circle(picture, at, r, grey, -1, cv2.LINE_AA, 4)
    for k in range(-10, 11):  # a grid of fine lines
        x = int((sheet.width / 2 + MARGIN + 0.01 * k) * PIXELS_PER_M)
        cv2.line(picture, (x, int(0.09 * PIXELS_PER_M)), (x, h - int(0.09 * PIXELS_PER_M)), 170, 1)
    return picture, np.array(centres, np.float32)


def made_frames(
    sheet,
    spot,
    times,
    rng,
    size=(640, 480),
    tilt=0.0,
    shake=0.0,
    blur=0.0,
    exposure=None,
    arc=None,
    colour="red",
    spot_width=0.004,
    noise=2.0,
):
    """Frames (H, W, 3) of a spot at `spot(t)` (right, up in m) on the sheet.

    `tilt` squeezes one side of the quadrangle by that share, `shake` moves the camera [pixel],
    `blur` is the sigma of the lens [pixel], `exposure(t)` a factor, `arc(t)` whether it burns.
    """
    flat, centres = drawn_target(sheet)
    w, h = size
    for t in times:
        sx, sy = 0.62 * w, 0.78 * h
        if sheet.width / sheet.height < sx / sy:
            sx = sy * sheet.width / sheet.height
        else:
            sy = sx * sheet.height / sheet.width
        mid = np.array([0.45 * w, 0.5 * h]) + rng.normal(0.0, 1.0, 2) * shake
        q = np.array([[-1, -1], [1, -1 + tilt], [1 - tilt, 1 - tilt], [-1, 1]]) / 2 * (sx, sy) + mid
        onto = cv2.getPerspectiveTransform(centres, q.astype(np.float32))
        frame = cv2.warpPerspective(flat, onto, size, flags=cv2.INTER_AREA, borderValue=90)
        frame = np.repeat(frame[..., None].astype(np.float32), 3, axis=2)
        x, y = spot(t)
        # the spot is drawn on the sheet, and the sheet seen: exact under any perspective
        yy, xx = np.mgrid[:h, :w].astype(np.float32)
        back = np.linalg.inv(onto)
        den = back[2, 0] * xx + back[2, 1] * yy + back[2, 2]
        px = (back[0, 0] * xx + back[0, 1] * yy + back[0, 2]) / den / PIXELS_PER_M
        py = (back[1, 0] * xx + back[1, 1] * yy + back[1, 2]) / den / PIXELS_PER_M
        dx = px - (x + sheet.width / 2 + MARGIN)
        dy = py - (sheet.height / 2 - y + MARGIN)
        light = np.exp(-(dx**2 + dy**2) / (2 * (spot_width / 2.35) ** 2))
        gain = {"red": (10, 10, 200), "green": (10, 200, 10), "white": (160, 160, 160)}[colour]
        frame += light[..., None] * np.array(gain, np.float32)
        frame *= 0.7 if exposure is None else exposure(t)
        if arc is not None and arc(t):
            r = np.hypot(xx - 0.92 * w, yy - 0.8 * h)
            flicker = rng.uniform(0.5, 1.0)
            frame += (900.0 * flicker * np.exp(-((r / (0.05 * w)) ** 2)) + 25.0 * flicker)[
                ..., None
            ]
        if blur:
            frame = cv2.GaussianBlur(frame, (0, 0), blur)
        frame += rng.normal(0.0, noise, frame.shape)
        yield np.clip(frame, 0, 255).astype(np.uint8)


def write_clip(path, times, frames):
    """A film whose frames carry these times [s]."""
    import av

    with av.open(str(path), "w") as film:
        stream = film.add_stream("libx264", rate=30, options=PACKING)
        stream.codec_context.time_base = Fraction(1, 1000)
        stream.time_base = Fraction(1, 1000)
        for t, picture in zip(times, frames, strict=True):
            if not stream.codec_context.width or stream.codec_context.width != picture.shape[1]:
                stream.width, stream.height = picture.shape[1], picture.shape[0]
                stream.pix_fmt = "yuv420p"
            frame = av.VideoFrame.from_ndarray(picture, format="bgr24")
            frame.pts = int(round(1000 * t))
            frame.time_base = Fraction(1, 1000)
            film.mux(stream.encode(frame))
        film.mux(stream.encode())
    return path
