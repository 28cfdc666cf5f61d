"""Keys of a case file: their units, words, ranges and defaults, as pydantic models.

A key that is wrong is replaced by `WRONG` and its section read again, so that the rest of the
section can still be checked: every comparison with a nan is false, and nothing follows from it.
"""

from __future__ import annotations

import math
import typing
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Annotated, Any, Literal

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
    field_validator,
)

from weldsim.schema.mistakes import Mistake
from weldsim.units import parse

WRONG = float("nan")  # told from a nan in the file by identity


@dataclass(frozen=True)
class Quantity:
    """Reads a quantity of one kind of `weldsim.units.KINDS`.

    Attributes
    ----------
    kind : str
    sign : {"any", "positive", "not negative"}
        What is allowed.
    """

    kind: str
    sign: str = "any"

    def __call__(self, value) -> float:
        number = parse(value, self.kind)
        if self.sign == "positive" and not number > 0:
            raise ValueError(f"{value!r} is not allowed: it must be greater than zero")
        if self.sign == "not negative" and number < 0:
            raise ValueError(f"{value!r} is not allowed: it must not be negative")
        if self.kind == "temperature" and number <= 0:
            raise ValueError(f"{value!r} is not allowed: it is not above absolute zero")
        return number


@dataclass(frozen=True)
class WordOrTime:
    """Reads one of a few words, or a time that is not negative."""

    words: tuple[str, ...]
    kind = "time"

    def __call__(self, value) -> str | float:
        if value in self.words:
            return value
        try:
            number = parse(value, "time")
        except ValueError:
            listed = ", ".join(f'"{w}"' for w in self.words)
            raise ValueError(
                f'{value!r} is not allowed: write {listed} or a time such as "90 s"'
            ) from None
        if number < 0:
            raise ValueError(f"{value!r} is not allowed: it must not be negative")
        return number


def quantity(kind: str, sign: str = "any"):
    """A pydantic type that reads a quantity of one kind; see `Quantity`."""
    return Annotated[float, BeforeValidator(Quantity(kind, sign))]


def word_or_time(*words: str):
    """A pydantic type that reads a word out of a few, or a time; see `WordOrTime`."""
    return Annotated[Any, BeforeValidator(WordOrTime(words))]


def number_as_text(value):
    """A process may be written 141 as well as "141"."""
    return str(value) if isinstance(value, int) and not isinstance(value, bool) else value


Size = quantity("length", "positive")
Place = quantity("length")
Axis = Literal["+x", "-x", "+y", "-y", "+z", "-z"]
Name = Annotated[str, Field(pattern=r"^[A-Za-z0-9_-]+$")]
Share = Annotated[float, Field(strict=True, ge=0, le=1)]
Shrinkage = Annotated[float, Field(strict=True, gt=-0.1, lt=0.1)]


class Section(BaseModel):
    """No key but those named; `WRONG` passes."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=False)

    @field_validator("*", mode="wrap")
    @classmethod
    def _let_wrong_pass(cls, value, check):
        return value if value is WRONG else check(value)


class JointHoldSection(Section):
    """Hold of a joint: its usual faces gripped, or nothing."""

    kind: Literal["ends", "free"]
    conductance: quantity("conductance", "not negative") | None = None
    release: Any = "never"


class ArcSection(Section):
    """The arc of every weld of a joint, unless the weld says otherwise."""

    process: Annotated[str, BeforeValidator(number_as_text)] | None = None
    current: quantity("current", "positive") | None = None
    voltage: quantity("voltage", "positive") | None = None
    efficiency: Annotated[float, Field(strict=True, gt=0, le=1)] | None = None
    speed: quantity("speed", "positive") | None = None
    front_length: Size | None = None
    rear_length: Size | None = None
    half_width: Size | None = None
    depth: Size | None = None
    weave: quantity("length", "not negative") | None = None
    weave_rate: quantity("frequency", "positive") | None = None
    dwell: quantity("time", "not negative") | None = None
    crater: quantity("time", "not negative") | None = None


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
    cooling_film_coefficient: quantity("conductance", "positive") | None = None


class TackSection(Section):
    seam: str
    at: Any = "start"
    length: Size
    size: Size
    arc: Annotated[bool, Field(strict=True)] = False


class ClampSection(Section):
    name: Name
    at: Any
    kind: Literal["rigid", "spring"] = "rigid"
    stiffness: quantity("stiffness", "positive") | None = None
    turning: quantity("turning stiffness", "positive") | None = None
    conductance: quantity("conductance", "not negative") = 0.0
    on: Any = "0 s"
    off: Any = "never"


class PresetSection(Section):
    """Lean given on purpose: how far the free end points off, toward each axis."""

    lean_x: quantity("angle") = 0.0
    lean_y: quantity("angle") = 0.0
    lean_z: quantity("angle") = 0.0


class SurroundingsSection(Section):
    ambient: quantity("temperature") = 293.15
    film_coefficient: quantity("conductance", "not negative") = 10.0
    emissivity: Share = 0.8
    preheat: quantity("temperature") | None = None


class GaugeSection(Section):
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
    model: Literal["plastic", "elastic"] = "plastic"
    grade: Literal["quick", "normal", "fine"] = "normal"
    end: word_or_time("cold") = "cold"
    companion: Annotated[bool, Field(strict=True)] = True


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
    grade: Literal["sketch", "coarse", "quick", "normal"] = "sketch"
    confirm: Annotated[int, Field(strict=True, ge=0)] = 3
    confirm_grade: Literal["coarse", "quick", "normal", "fine"] = "normal"
    trials: Annotated[int, Field(strict=True, ge=1)] = 200
    seed: Annotated[int, Field(strict=True, ge=0)] = 1
    name: Name = "plan"


NAMES = (
    "part",
    "hold",
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
)  # of the sections a case file may hold
TOP = ("title", *NAMES)
MANY = ("weld", "gauge", "tack", "clamp")  # sections written [[...]]
RENAMED = {  # keys of older case files
    ("surroundings", "film"): "film_coefficient",
    ("schedule", "cooling_film"): "cooling_film_coefficient",
}
EXAMPLES = {
    "length": '"200 mm"', "width": '"40 mm"', "thickness": '"6 mm"', "current": '"150 A"',
    "voltage": '"12 V"', "speed": '"1.3 mm/s"', "efficiency": "0.77", "emissivity": "0.8",
    "bead_width": '"7 mm"', "bead_height": '"1.5 mm"', "travel": '"up"', "face": '"front"',
    "material": '"carbon-steel"', "name": '"A"', "process": '"141"', "at": '"75 mm"',
    "conductance": '"500 W/m2/K"', "aim": '"+x"', "up": '"+z"', "throw": '"5 m"',
    "direction": '"+z"',
}  # fmt: skip
EXAMPLES_OF = {
    ("part", "kind"): '"bar"', ("hold", "kind"): '"vise" or "free"',
    ("gauge", "kind"): '"pointer"', ("gauge", "name"): '"pointer"',
    ("gauge", "at"): '"free end"', ("hold", "length"): '"25 mm"',
}  # fmt: skip


def keys_of(model: type[Section]) -> list[str]:
    """Keys of a section as they are written in the file."""
    return [f.alias or n for n, f in model.model_fields.items()]


# keys read by hand later, as a number they are
READ_LATER = {"start": "time", "on": "time", "off": "time", "release": "time", "at": "length"}


def quantity_kind(model: type[Section], key: str) -> str | None:
    """Kind of the quantity that a key holds (see `weldsim.units.KINDS`), None where it is none."""
    field = next((f for n, f in model.model_fields.items() if (f.alias or n) == key), None)
    if field is None:
        return None
    if field.annotation is Any and not field.metadata:
        return READ_LATER.get(key)
    return next((r.kind for r in readers(field.annotation, field.metadata)), None)


def readers(annotation, metadata) -> list:
    """`Quantity` and `WordOrTime` of a field, wherever in its type they stand."""
    found = [m.func for m in metadata if isinstance(m, BeforeValidator)]
    out = [f for f in found if isinstance(f, (Quantity, WordOrTime))]
    if typing.get_origin(annotation) is Annotated:
        inner, *more = typing.get_args(annotation)
        return out + readers(inner, more)
    return out + [r for inner in typing.get_args(annotation) for r in readers(inner, ())]


def unknown_key(section: str, key: str, keys: list[str]) -> str:
    """What to say of a key that a section does not have: its new name, or the nearest one."""
    now = RENAMED.get((section, key))
    if now in keys:
        return f", it is called {now} now"
    return nearest(key, keys)


def such_as(section: str, key: str) -> str:
    """An example of a key's value, as the end of a sentence."""
    example = EXAMPLES_OF.get((section, key)) or EXAMPLES.get(key)
    return f", such as {example}" if example else ""


def nearest(word, known) -> str:
    """The nearest known word, or all of them, as the end of a sentence."""
    near = near_to(word, known)
    return near or f", known: {', '.join(str(k) for k in known)}"


def near_to(word, known) -> str:
    """The nearest known word as the end of a sentence; nothing when none is near."""
    near = get_close_matches(str(word), [str(k) for k in known], n=1, cutoff=0.6)
    return f", did you mean {near[0]}?" if near else ""


def check_section(
    section: str, model: type[Section], values, mistakes: list, name: str = ""
) -> Section:
    """Read a section by its model; what is wrong is added to `mistakes` and stands as `WRONG`.

    Parameters
    ----------
    section : str
        Name of the section.
    model : type of Section
        What its keys mean.
    values : dict or anything
        As the file has them.
    mistakes : list
        `Mistake` records are added.
    name : str
        Of the entry, where the section may stand more than once.
    """
    keys = keys_of(model)
    if not isinstance(values, dict):
        if values is not None:
            text = f"{values!r} is not a section with keys"
            mistakes.append(Mistake(section, name, "", values, text))
        return model.model_validate(dict.fromkeys(keys, WRONG))
    try:
        return model.model_validate(values)
    except ValidationError as error:
        found = error.errors()
    for one in found:
        key, value = str(one["loc"][0]), one.get("input")
        mistakes.append(Mistake(section, name, key, value, key_mistake(one, section, keys)))
    bad = {str(e["loc"][0]) for e in found}
    rest = {k: v for k, v in values.items() if k in keys}
    rest.update((k, WRONG) for k in bad if k in keys)
    return model.model_validate(rest)


COMPARED = ("greater_than", "less_than", "greater_than_equal", "less_than_equal")
WANTED_TYPES = {
    "list_type": "write a list", "int_type": "write a whole number",
    "bool_type": "write true or false",
}  # fmt: skip


def key_mistake(error: dict, section: str, keys: list[str]) -> str:
    """What pydantic says of a key, in our words, to be put behind the key."""
    key = str(error["loc"][0])
    value, kind, context = error.get("input"), error["type"], error.get("ctx", {})
    if kind == "extra_forbidden":
        return f"unknown key{unknown_key(section, key, keys)}"
    if kind == "missing":
        return f"missing key{such_as(section, key)}"
    if kind == "value_error":
        return str(context["error"])
    written = str(value).lower() if isinstance(value, bool) else repr(value)
    shown = f"{written} is not allowed"
    if kind == "literal_error":
        words = [w.strip("'") for w in context["expected"].replace(" or ", ", ").split(", ")]
        return f"{shown}: write " + " or ".join(f'"{w}"' for w in words) + near_to(value, words)
    if kind == "string_pattern_mismatch":
        return f"{shown}: letters, digits, - and _ only"
    if kind in COMPARED:
        sign = kind.replace("_than_equal", " than or equal to").replace("_", " ")
        return f"{shown}: it must be {sign} {next(iter(context.values())):g}"
    if kind in WANTED_TYPES:
        return f"{shown}: {WANTED_TYPES[kind]}"
    if kind == "float_type":
        return f"{shown}: write a number without quotes{such_as(section, key)}"
    if kind == "string_type":
        return f"{shown}: write text in quotes{such_as(section, key)}"
    return f"{shown}: {error['msg'][0].lower() + error['msg'][1:]}"


def is_known(value) -> bool:
    """Whether a value was read, rather than standing for a mistake."""
    return not (isinstance(value, float) and math.isnan(value))
