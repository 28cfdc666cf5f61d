"""Sections of a case file as pydantic models: their keys with units, words, ranges and defaults."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from weldsim.schema.quantities import (
    OF_A_SPOT,
    OF_AIR,
    OF_AN_ARC,
    Axis,
    Efficiency,
    Name,
    Section,
    Share,
    Shrinkage,
    Size,
    SpotSize,
    Temperatures,
    number_as_text,
    quantity,
    word_or_time,
)

Factor = Annotated[float, Field(strict=True, ge=0.2, le=5)]


class JointHoldSection(Section):
    """Hold of a joint: its usual faces clamped, or nothing."""

    kind: Literal["ends", "free"]
    conductance: quantity("conductance", "not negative") | None = None
    release: Any = "never"


class ArcSection(Section):
    """The arc of every weld of a joint, unless the weld says otherwise."""

    process: Annotated[str, BeforeValidator(number_as_text)] | None = None
    current: quantity("current", "positive") | None = None
    voltage: quantity("voltage", "positive") | None = None
    efficiency: Efficiency | None = None
    speed: quantity("speed", "positive") | None = None
    front_length: SpotSize | None = None
    rear_length: SpotSize | None = None
    half_width: SpotSize | None = None
    depth: SpotSize | None = None
    weave: quantity("length", "not negative", OF_A_SPOT) | None = None
    weave_rate: quantity("frequency", "positive") | None = None
    dwell: quantity("time", "not negative", OF_AN_ARC) | None = None
    crater: quantity("time", "not negative", OF_AN_ARC) | None = None


PATTERNS = ("continuous", "backstep", "skip", "middle out")


class JointWeldSection(ArcSection):
    """One pass, or a part of one, on a seam of a joint."""

    name: Name
    seam: str
    number: Annotated[int, Field(strict=True, ge=1)] | None = Field(None, alias="pass")
    travel: str
    begin: quantity("length", "not negative") | None = Field(None, alias="from")
    finish: Size | None = Field(None, alias="to")
    pattern: Literal[PATTERNS] = "continuous"
    segment: Size | None = None
    filler: Annotated[bool, Field(strict=True)] = True
    start: Any = None
    shrinkage_along: Shrinkage | None = None
    shrinkage_across: Shrinkage | None = None


class ScheduleSection(Section):
    """Order and pauses in short."""

    order: list[str] | None = None
    pause: word_or_time("cold") | None = None
    interpass: quantity("temperature") | None = None
    cooling_film_coefficient: quantity("conductance", "positive", OF_AIR) | None = None


class TackSection(Section):
    """A tack on a seam."""

    seam: str
    at: Any = "start"
    length: Size
    size: Size
    arc: Annotated[bool, Field(strict=True)] = False


class ClampSection(Section):
    """A clamp beside those of [clamping]."""

    name: Name
    at: Any
    kind: Literal["rigid", "spring", "table"] = "rigid"
    slides: Annotated[bool, Field(strict=True)] = False
    stiffness: quantity("stiffness", "positive") | None = None
    turning: quantity("turning stiffness", "positive") | None = None
    conductance: quantity("conductance", "not negative") = 0.0
    temperature: Temperatures | None = None
    on: Any = "0 s"
    off: Any = "never"


class PresetSection(Section):
    """Tilt given before welding, of the free piece toward each axis."""

    tilt_x: quantity("angle") = 0.0
    tilt_y: quantity("angle") = 0.0
    tilt_z: quantity("angle") = 0.0


class SurroundingsSection(Section):
    """Air around the part, and its preheat."""

    ambient: quantity("temperature") = 293.15
    film_coefficient: quantity("conductance", "not negative", OF_AIR) = 10.0
    emissivity: Share = 0.8
    preheat: quantity("temperature") | None = None


class GaugeSection(Section):
    """What is read off the part."""

    name: Name
    kind: Literal["pointer", "dial", "thermocouple", "bow", "gap", "reaction"]
    at: Any = None
    aim: Axis | None = None
    up: Axis | None = None
    throw: Size | None = None
    direction: Axis | None = None
    tolerance: str | None = None
    size: Size | None = None


class SolveSection(Section):
    """Which model, how fine, and until when."""

    model: Literal["plastic", "elastic"] = "plastic"
    grade: Literal["sketch", "coarse", "quick", "normal", "fine"] = "normal"
    end: word_or_time("cold") = "cold"
    error_estimate: Annotated[bool, Field(strict=True)] = True


class PlanSection(Section):
    """The [plan] section: choices, forbidden ones, what counts."""

    seams: list[str] | None = None
    travel: dict[str, list[str]] = {}
    first: list[str] = []
    last: list[str] = []
    before: list[list[str]] = []
    pause: quantity("time", "not negative") | None = None
    vary: dict[str, list[Any]] = {}
    measure: str
    tolerance: str
    kind: Literal["angle", "linear", "slope", "straightness"] | None = None
    size: quantity("length", "positive") | None = None
    longest: quantity("time", "positive") | None = None
    grade: Literal["sketch", "coarse", "quick", "normal"] = "coarse"
    extrapolate: bool = True
    confirm: Annotated[int, Field(strict=True, ge=0)] = 3
    confirm_grade: Literal["coarse", "quick", "normal", "fine"] = "normal"
    trials: Annotated[int, Field(strict=True, ge=1)] = 200
    seed: Annotated[int, Field(strict=True, ge=0)] = 1
    name: Name = "plan"


class MetalSection(Section):
    """The [metal] section: what a shop has found out about its metal."""

    yield_factor: Factor = 1.0
    filler_yield_factor: Factor = 1.0
    hardening_factor: Annotated[float, Field(strict=True, ge=0, le=5)] = 1.0
    expansion_factor: Factor = 1.0
    conductivity_factor: Factor = 1.0
    softening_temperature: quantity("temperature") | None = None


class ShopSection(Section):
    """The [shop] section: a file of values that were fitted to measurements."""

    file: str = ""


class FitSection(Section):
    """The [fit] section: what may vary, how sure it is beforehand, how many runs."""

    vary: dict[str, list[Any] | Literal["usual"]]
    spread: dict[str, Any] = {}
    groups: dict[str, list[str]] = {}
    source: dict[str, str] = {}
    grade: Literal["sketch", "coarse", "quick", "normal"] = "quick"
    finer: Literal["coarse", "quick", "normal", "fine", "none"] | None = None
    runs: Annotated[int, Field(strict=True, ge=4, le=2000)] | None = None
    hold_back: str | None = None
    seed: Annotated[int, Field(strict=True, ge=0)] = 1


NAMES = (
    "part",
    "clamping",
    "weld",
    "surroundings",
    "gauge",
    "solve",
    "arc",
    "schedule",
    "tack",
    "clamp",
    "preset",
    "plan",
    "metal",
    "shop",
    "fit",
)  # of the sections a case file may hold
TOP = ("title", *NAMES)
ANYWHERE = ("plan", "metal", "shop", "fit")  # sections of every kind of joint
MANY = ("weld", "gauge", "tack", "clamp")  # sections written [[...]]
