"""Gauges: what a person can read off the part, as SI numbers under a `Column`.

A pointer is a light beam fixed to a patch of the part. Its rotation is the least-squares rigid
rotation of the patch; the spot on a target at distance `throw` moves by throw times the tilt of
the beam plus the movement of the patch itself. Up and right are as seen looking along the aim,
right = aim x up. Dial, bow and thermocouple read interpolated displacement and temperature.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from weldsim.case.load import Case
from weldsim.errors import CaseError
from weldsim.joints.registry import kind_of_case, lean_of
from weldsim.physics.arrays import Floats, Integers
from weldsim.physics.rigid_motion import rigid_rotation
from weldsim.schema.column import Column, Readings
from weldsim.schema.records import Gauge
from weldsim.simulation.clamping import Clamping
from weldsim.simulation.discretisation import Discretisation
from weldsim.simulation.state import State

AXES = {"x": 0, "y": 1, "z": 2}


def unit_axis(text: str) -> Floats:
    """Unit vector of an axis.

    Parameters
    ----------
    text : str
        Written like "+x" or "-z".

    Returns
    -------
    ndarray, shape (3,)
        Of length one.
    """
    out = np.zeros(3)
    out[AXES[text[-1]]] = -1.0 if text.startswith("-") else 1.0
    return out


@dataclass(frozen=True)
class Probe:
    """A gauge bound to a mesh: a linear map from a field to its readings.

    Attributes
    ----------
    columns : tuple of Column
        One for each reading.
    displacement_map : sparse matrix, shape (readings, 3 N), optional
        From the displacement. [1, rad/m]
    temperature_map : sparse matrix, shape (readings, Nh), optional
        From the temperature. [1]
    reaction_map : sparse matrix, shape (readings, 3 N), optional
        From the reaction. [1, m]
    """

    columns: tuple[Column, ...]
    displacement_map: Any = None
    temperature_map: Any = None
    reaction_map: Any = None

    def read(
        self, temperature: Floats | None, displacement: Floats | None, reaction: Floats | None
    ) -> dict[Column, float]:
        """Readings in SI.

        Parameters
        ----------
        temperature : ndarray, shape (Nh,), optional
            Not needed by a probe of something else. [K]
        displacement : ndarray, shape (N, 3), optional
            Likewise. [m]
        reaction : ndarray, shape (N, 3), optional
            Likewise. [N]

        Returns
        -------
        dict of Column to float
            [rad, m, K, N, N m]
        """
        values: Floats
        if self.reaction_map is not None and reaction is not None:
            values = self.reaction_map @ reaction.ravel()
        elif self.displacement_map is not None and displacement is not None:
            values = self.displacement_map @ displacement.ravel()
        else:
            values = self.temperature_map @ temperature
        return {c: float(v) for c, v in zip(self.columns, values, strict=True)}


@dataclass(frozen=True)
class Gauges:
    """What is read off a part. N displacement points.

    Attributes
    ----------
    probes : tuple of Probe
        In the order of the case.
    preset : ndarray, shape (N, 3)
        How far the preset puts each point off the straight part. [m]
    under_welds : tuple of (Column, int)
        For each weld its column, and the lattice point under the middle of its bead.
    """

    probes: tuple[Probe, ...]
    preset: Floats
    under_welds: tuple[tuple[Column, int], ...]

    @classmethod
    def of(
        cls,
        case: Case,
        discretisation: Discretisation,
        clamping: Clamping,
        middle_points: tuple[int, ...],
    ) -> Gauges:
        """Bind the gauges of a case.

        Parameters
        ----------
        case : Case
            With its gauges.
        discretisation : Discretisation
            Of its part.
        clamping : Clamping
            Of its clamps.
        middle_points : tuple of int
            Lattice point under the middle of each weld.

        Returns
        -------
        Gauges
            Of the case and its welds.

        Raises
        ------
        CaseError
            For a gauge that stands off the part.
        """
        points = discretisation.points
        preset = lean_of(case, points) if any(case.preset) else np.zeros_like(points)
        names = [Column(w.name, "middle", "degC") for w in case.welds]
        return cls(
            tuple(bind(g, case, discretisation, clamping) for g in case.gauges),
            preset,
            tuple(zip(names, middle_points, strict=True)),
        )

    def read(self, state: State) -> Readings:
        """All gauges, against the straight part: a preset is counted in.

        Parameters
        ----------
        state : State
            At any time.

        Returns
        -------
        Readings
            [rad, m, K, N, N m]
        """
        out: dict[Column, float] = {}
        place = state.displacement + self.preset
        for probe in self.probes:
            out.update(probe.read(state.temperature, place, state.reaction))
        return Readings(out)

    def weld_temperatures(self, state: State) -> Readings:
        """Temperature under the middle of each bead.

        Parameters
        ----------
        state : State
            At any time.

        Returns
        -------
        Readings
            One for each weld. [K]
        """
        return Readings({c: float(state.temperature[p]) for c, p in self.under_welds})


def bind(gauge: Gauge, case: Case, discretisation: Discretisation, clamping: Clamping) -> Probe:
    """Bind a gauge to a mesh.

    Parameters
    ----------
    gauge : Gauge
        Of the case.
    case : Case
        Its part knows named places.
    discretisation : Discretisation
        Of that part.
    clamping : Clamping
        Of its clamps, for reactions.

    Returns
    -------
    Probe
        Ready to read.

    Raises
    ------
    CaseError
        For a gauge that stands off the part, or whose directions are not at right angles.
    """
    at = _Binding(gauge, case, discretisation)
    if gauge.kind == "pointer":
        return at.pointer()
    if gauge.kind == "thermocouple":
        column = Column(gauge.name, "temperature", "degC")
        return Probe((column,), temperature_map=discretisation.locate(at.place[None, :]))
    if gauge.kind == "gap":
        return at.gap()
    if gauge.kind == "reaction":
        return reaction_probe(gauge.name, discretisation.points, clamping.points_of(str(gauge.at)))
    if gauge.kind == "dial":
        return at.displaced("travel", at.place[None, :], [1.0])
    if gauge.kind == "bow":
        return at.displaced("bow", at.bow_places, [-0.5, 1.0, -0.5])
    raise CaseError(f"gauge {gauge.name}: kind {gauge.kind} is unknown")


@dataclass(frozen=True)
class _Binding:
    """One gauge on its way to a probe."""

    gauge: Gauge
    case: Case
    discretisation: Discretisation

    @property
    def place(self) -> Floats:
        """Coordinates of where it stands, (3,): a named place or three lengths. [m]"""
        if isinstance(self.gauge.at, str):
            return self._named(self.gauge.at)
        place = np.asarray(self.gauge.at, dtype=float)
        off = self.discretisation.off_the_part(place)
        if off > 0:
            at = ", ".join(f"{1e3 * x:.6g}" for x in place)
            raise CaseError(
                f"{self.case.source_file} [gauge.{self.gauge.name}] at: ({at}) mm is "
                f"{1e3 * off:.4g} mm off the part, allowed: a place in it or on its faces"
            )
        return place

    def _named(self, name: str) -> Floats:
        return np.asarray(kind_of_case(self.case).place(self.case.part, name), dtype=float)

    @property
    def bow_places(self) -> Floats:
        """Three places in line whose bow is read, (3, 3). [m]"""
        return np.array([self._named(n) for n in kind_of_case(self.case).bow_places])

    def pointer(self) -> Probe:
        """Probe of a light beam."""
        gauge, points = self.gauge, self.discretisation.points
        patch = self.discretisation.part.boundaries[str(gauge.at)]
        patch = patch[patch < len(points)]
        aim, up = unit_axis(gauge.aim or ""), unit_axis(gauge.up or "")
        return pointer(gauge.name, points, patch, aim, up, gauge.throw or 0.0)

    def gap(self) -> Probe:
        """Probe of how far two faces have come apart."""
        import scipy.sparse as sp

        places = kind_of_case(self.case).gap_places(self.case.part)[str(self.gauge.at)]
        below, above = (np.asarray(p, dtype=float) for p in places)
        direction = (above - below) / np.linalg.norm(above - below)
        one, two = self.discretisation.nearest_points(np.array([below, above]))
        rows = sp.lil_matrix((1, self.discretisation.points.size))
        rows[0, 3 * one : 3 * one + 3] = -direction
        rows[0, 3 * two : 3 * two + 3] = direction
        return Probe((Column(self.gauge.name, "opening", "mm"),), rows.tocsr())

    def displaced(self, component: str, places: Floats, weights: list[float]) -> Probe:
        """Probe of the sum of weighted displacements along its direction at places (K, 3)."""
        import scipy.sparse as sp

        direction = unit_axis(self.gauge.direction or "")
        values = self.discretisation.locate(places)  # (K, Nh) interpolation on lattice points
        combined = sp.csr_matrix(np.array([weights])) @ values @ self.discretisation.spread
        rows = sp.kron(combined, sp.csr_matrix(direction[None, :]), format="csr")
        return Probe((Column(self.gauge.name, component, "mm"),), rows)


def pointer(
    name: str, points: Floats, patch: Integers, aim: Floats, up: Floats, throw: float
) -> Probe:
    """Probe of a light beam fixed to some points.

    Parameters
    ----------
    name : str
        Of the gauge.
    points : ndarray, shape (N, 3)
        Displacement points. [m]
    patch : ndarray of int
        Those it is fixed to.
    aim, up : ndarray, shape (3,)
        Unit vectors.
    throw : float
        Distance from the patch to the target. [m]

    Returns
    -------
    Probe
        Tilt and movement of the spot, up and right.

    Raises
    ------
    CaseError
        If `up` is not at right angles to `aim`.
    """
    import scipy.sparse as sp

    if abs(np.dot(aim, up)) > 1e-9:
        raise CaseError(f"gauge {name}: up must be at right angles to aim")
    right = np.cross(aim, up)
    rotation = rigid_rotation(points[patch])
    tilt = np.array([np.cross(aim, e) for e in (up, right)])  # (theta x aim).e = theta.(aim x e)
    angles = tilt @ rotation
    shift = np.zeros((2, 3 * len(patch)))
    for i, e in enumerate((up, right)):
        shift[i] = np.tile(e / len(patch), len(patch))
    rows = np.vstack([angles, throw * angles + shift])
    columns = (3 * patch[:, None] + np.arange(3)).ravel()
    full = sp.lil_matrix((4, 3 * len(points)))
    full[:, columns] = rows
    read = [Column(name, d, unit) for unit in ("mrad", "mm") for d in ("up", "right")]
    return Probe(tuple(read), full.tocsr())


def reaction_probe(name: str, points: Floats, clamped: Integers) -> Probe:
    """Force and moment of a clamp on the part.

    Parameters
    ----------
    name : str
        Of the gauge.
    points : ndarray, shape (N, 3)
        Displacement points. [m]
    clamped : ndarray of int
        Those under the clamp.

    Returns
    -------
    Probe
        Three forces, and three moments about the middle of the clamped points.
    """
    import scipy.sparse as sp

    arm = points[clamped] - points[clamped].mean(axis=0)
    full = sp.lil_matrix((6, 3 * len(points)))
    for i in range(3):
        full[i, 3 * clamped + i] = 1.0
        j, k = (i + 1) % 3, (i + 2) % 3  # moment i = arm j force k - arm k force j
        full[3 + i, 3 * clamped + k] = arm[:, j]
        full[3 + i, 3 * clamped + j] = -arm[:, k]
    forces = [Column(name, f"F{a}", "N") for a in "xyz"]
    return Probe(
        (*forces, *(Column(name, f"M{a}", "Nm") for a in "xyz")), reaction_map=full.tocsr()
    )
