"""From the flat layout of a branch on a chord to the round tubes, weld included."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from weldsim.joints.round_layout import polar, widen
from weldsim.joints.round_stub import RoundStub, plan

CAP = 1.0  # push of the face on flat flanks, in legs; a third of a leg at the throat, as a bead
CAP_GROWTH = 3  # power of the flatness: none of the push is left where the faces meet squarely
BUMP = 0.045  # legs; rise of the line of fusion amid the foot on flat flanks: no straight corner
DENT = 0.25  # legs; fusion into the root there, where the fillet is one cell wide; the same reason
FLAT = 0.9  # cosine between both surfaces' normals from which the root is drawn in
SMOOTH = 0.1  # rad; half the stretch over which the direction of the foot is averaged


@dataclass(frozen=True)
class SaddleMap:
    """Where places of the flat layout lie on a saddle; called with points (P, 3). [m]

    Attributes
    ----------
    stub : RoundStub
        The branch.
    radius, wall : float
        Outer radius and wall of the chord. [m]
    rings : list
        Rings of the patch around the branch; see `weldsim.joints.round_layout.widen`.
    whole : bool
        The fillet is not cut in the middle of its sides.
    """

    stub: RoundStub
    radius: float
    wall: float
    rings: list
    whole: bool = False

    def __call__(self, points: np.ndarray) -> np.ndarray:
        stub, radius = self.stub, self.radius
        rho, circle, square = polar(points)
        z = points[:, 2]
        on = plan(stub, rho, circle, square, stub.radius)
        sine = np.clip(on[:, 1] / radius, -1.0, 1.0)
        below = radius * (np.sqrt(1 - sine**2) - 1)  # height of the chord's surface
        on[:, 1] = radius * np.arcsin(sine)
        foot = np.clip(rho - stub.radius, 0.0, stub.leg)
        on += foot[:, None] * self._outward(circle)
        on = self._widen_box(rho, on, square, points)
        cosine = stub.radius / radius * circle[:, 1] ** 2  # between both surfaces' normals
        flatness, share = cosine**CAP_GROWTH, foot / stub.leg
        bump = BUMP * stub.leg * flatness * (1 - np.abs(2 * share - 1))
        down = np.minimum(z, 0.0)
        angle = on[:, 1] / radius
        deep = radius + down + bump * (1 + down / self.wall)
        out = np.stack([on[:, 0], deep * np.sin(angle), deep * np.cos(angle) - radius], axis=1)
        up = np.maximum(z, 0.0)
        weld = stub.gap + stub.leg
        fade = np.clip((up - weld) / (stub.length - weld), 0.0, 1.0)  # to the branch's flat end
        out[:, 2] += up - fade * below
        out[:, :2] += (CAP * flatness * share * up)[:, None] * circle
        if self.whole:
            out[:, :2] -= self._dent(rho, z, cosine)[:, None] * circle
        return out

    def _meeting(self, angle: np.ndarray) -> np.ndarray:
        """Line where both surfaces meet on the unrolled chord, shape (P, 2). [m]"""
        sine = np.clip(self.stub.radius * np.sin(angle) / self.radius, -1.0, 1.0)
        return np.stack([self.stub.radius * np.cos(angle), self.radius * np.arcsin(sine)], axis=1)

    def _outward(self, circle: np.ndarray) -> np.ndarray:
        """Direction of the foot on the unrolled chord, shape (P, 2)."""
        angle = np.arctan2(circle[:, 1], circle[:, 0])
        along = self._meeting(angle + SMOOTH) - self._meeting(angle - SMOOTH)
        out = np.stack([along[:, 1], -along[:, 0]], axis=1)
        return out / np.linalg.norm(out, axis=1)[:, None]

    def _dent(self, rho: np.ndarray, z: np.ndarray, cosine: np.ndarray) -> np.ndarray:
        """How far the root is drawn in on flat flanks, nothing an eighth leg off. [m]"""
        stub = self.stub
        off = np.abs(rho - stub.radius) + np.maximum(z - stub.gap, 0.0)
        near = np.clip(1 - 8 * off / stub.leg, 0.0, 1.0)
        flatness = np.clip((cosine - FLAT) / (1 - FLAT), 0.0, 1.0)
        return DENT * stub.leg * flatness * near * (1 + np.minimum(z, 0.0) / self.wall)

    def _widen_box(
        self, rho: np.ndarray, on: np.ndarray, square: np.ndarray, points: np.ndarray
    ) -> np.ndarray:
        """Places beyond the toe; beyond the patch the layout has the chord's own lengths. [m]"""
        edge, half = self.rings[-1]
        patch = widen(rho, on, square, self.rings)
        for axis in range(2):
            flat = points[:, axis]
            inside = np.clip(flat / edge, -1.0, 1.0) * half[axis]
            box = inside + np.sign(flat) * np.maximum(np.abs(flat) - edge, 0.0)
            patch[:, axis] = np.where(rho > edge * (1 + 1e-12), box, patch[:, axis])
        return patch
