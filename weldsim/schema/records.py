"""A case as frozen records in SI: part, clamps, tacks, welds, surroundings, gauges, options."""

from __future__ import annotations

import math
from dataclasses import dataclass

from weldsim.schema.process import arc_energy, heat_input
from weldsim.schema.tolerance import Tolerance


@dataclass(frozen=True)
class Hold:
    """How the part is clamped: `one end` the first `length`, `ends` the usual faces, `free` none.

    `release` is "never", "cold" or a time [s]; conductance is that of the contact [W/(m2 K)].
    """

    kind: str
    length: float = 0.0
    conductance: float = 0.0
    release: str | float = "never"


@dataclass(frozen=True)
class StartRule:
    """When something happens: at a `time`, `after` a weld's end, `below` a temperature, `cold`,
    or `never`. [s, K]
    """

    kind: str
    seconds: float = 0.0
    weld: str | None = None
    temperature: float | None = None

    @property
    def limit(self) -> float:
        """Temperature to be below; nan for a rule that is not about one. [K]"""
        return math.nan if self.temperature is None else self.temperature


@dataclass(frozen=True)
class Clamp:
    """Something that holds named faces. [N/m, N m/rad, W/(m2 K)]

    A `rigid` clamp holds them where they are; one that `slides` only across the face. A `spring`
    gives way. A `table` only pushes, where the part lay at the beginning, and only while something
    else holds the part: weight is left out. `temperatures` are those of what it is made of, as
    (time, temperature) [s, K]: that of the air where there are none.
    """

    name: str
    at: tuple[str, ...]
    kind: str = "rigid"
    stiffness: float = 0.0
    turning: float = 0.0
    conductance: float = 0.0
    on: StartRule = StartRule("time", 0.0)
    off: StartRule = StartRule("never")
    slides: bool = False
    temperatures: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class Tack:
    """A short weld along a seam's natural direction; without an arc it is there from the start.

    Attributes
    ----------
    seam : name of the seam it lies on
    begin, finish : stretch along the seam [m]
    size : leg of the tack; the root under it is fused as well [m]
    arc : laid with an arc first of all, in the order of the case
    """

    seam: str
    begin: float
    finish: float
    size: float
    arc: bool = False


@dataclass(frozen=True)
class Arc:
    """The arc of a weld: what it burns with and how it moves. All that is known of it is here.

    Attributes
    ----------
    process : str
        Number of ISO 4063.
    current, voltage : float
        [A, V]
    efficiency : float
        Share of the arc's power that the part takes up.
    speed : float
        Of travel. [m/s]
    front_length, rear_length, half_width, depth : float
        Of the double ellipsoid. [m]
    weave, weave_rate : float
        Amplitude and swings a second. [m, Hz]
    dwell, crater : float
        How long the arc stands at its start and end. [s]
    speed_up : float
        How many times faster than at `speed` it is let run, with as much more power: 1 but for
        beads laid at once, of which a place is heated as long as by the arc that passes it.
    beads : int
        Beads side by side that it lays together, each with its whole heat.
    spread : float
        From the middle of the outermost of them to that of all. [m]
    """

    process: str
    current: float
    voltage: float
    efficiency: float
    speed: float
    front_length: float
    rear_length: float
    half_width: float
    depth: float
    weave: float = 0.0
    weave_rate: float = 0.0
    dwell: float = 0.0
    crater: float = 0.0
    speed_up: float = 1.0
    beads: int = 1
    spread: float = 0.0

    @property
    def power(self) -> float:
        """Heat the part takes up. [W]"""
        return self.efficiency * self.voltage * self.current * self.speed_up * self.beads

    @property
    def pace(self) -> float:
        """Speed at which it is let run. [m/s]"""
        return self.speed * self.speed_up

    @property
    def line_energy(self) -> float:
        """Heat the part takes up along the seam. [J/m]"""
        return self.power / self.pace

    @property
    def arc_energy(self) -> float:
        """U I / v of EN 1011-1. [J/m]"""
        return arc_energy(self.voltage, self.current, self.speed)

    @property
    def heat_input(self) -> float:
        """k U I / v of EN 1011-1. [J/m]"""
        return heat_input(self.voltage, self.current, self.speed, self.process)


@dataclass(frozen=True)
class Weld:
    """One stretch of an arc on a seam.

    Attributes
    ----------
    name : str
    seam : str
        Name of the seam; a bead on a bar is a seam of its own name.
    begin, finish : float
        Stretch along the seam's natural direction, whatever the travel. [m]
    travel : str
        Word of the case for the direction of welding.
    start : StartRule
    arc : Arc
    bead_width : float
        Of the bead's face. [m]
    number : int
        Of the pass on its seam, from 1.
    direction : {1, -1}
        1 along the seam's natural direction.
    filler : bool
        Without it the arc only heats.
    tack : int
        Number of the tack it lays, -1 for a weld.
    shrinkage_along, shrinkage_across : float or None
        Stated for the elastic model.
    """

    name: str
    seam: str
    begin: float
    finish: float
    travel: str
    start: StartRule
    arc: Arc
    bead_width: float
    number: int = 1
    direction: int = 1
    filler: bool = True
    tack: int = -1
    shrinkage_along: float | None = None
    shrinkage_across: float | None = None

    @property
    def length(self) -> float:
        """Of the stretch. [m]"""
        return self.finish - self.begin

    @property
    def duration(self) -> float:
        """Arc time, standing included. [s]"""
        arc = self.arc
        return (arc.dwell + self.length / arc.speed + arc.crater) / arc.speed_up


@dataclass(frozen=True)
class Surroundings:
    """Air around the part and its start temperature. [K, W/(m2 K), 1, K]"""

    ambient: float
    film_coefficient: float
    emissivity: float
    preheat: float


@dataclass(frozen=True)
class MetalFactors:
    """What a shop has found out about its metal beside the published curves.

    Attributes
    ----------
    yield_factor, hardening_factor, expansion_factor, conductivity_factor : float
        On the curves of the material.
    filler_yield_factor : float
        Yield stress of metal that is laid over that of the parts.
    softening_temperature : float or None
        In the place of the material's own. [K]
    """

    yield_factor: float = 1.0
    filler_yield_factor: float = 1.0
    hardening_factor: float = 1.0
    expansion_factor: float = 1.0
    conductivity_factor: float = 1.0
    softening_temperature: float | None = None


@dataclass(frozen=True)
class Gauge:
    """What is read off the part; `at` is a named place or three coordinates [m].

    `tolerance` (`weldsim.schema.tolerance.Tolerance`) says how far from zero its end is still good.
    """

    name: str
    kind: str
    at: str | tuple[float, float, float] | None = None
    aim: str | None = None
    up: str | None = None
    throw: float | None = None
    direction: str | None = None
    tolerance: Tolerance | None = None


@dataclass(frozen=True)
class SolveOptions:
    """Which model, how fine, and when it is over: "cold" or a time [s]."""

    model: str = "plastic"
    grade: str = "normal"
    end: str | float = "cold"
    error_estimate: bool = True
