"""Sections of a case that a flat bar writes otherwise than a joint: sizes, clamping, beads."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from weldsim.joints.registry import KINDS
from weldsim.schema.quantities import (
    Efficiency,
    Name,
    Place,
    Section,
    Shrinkage,
    Size,
    SpotSize,
    number_as_text,
    quantity,
    word_or_time,
)


class BarSection(Section):
    """Sizes of a bar."""

    kind: Literal[tuple(KINDS)]
    length: Size
    width: Size
    thickness: Size
    material: str


class ClampingSection(Section):
    """What clamps a bar: its first stretch between jaws, or nothing."""

    kind: Literal["one end", "free"]
    length: quantity("length", "not negative") | None = None
    conductance: quantity("conductance", "not negative") | None = None
    release: word_or_time("never", "cold") = "never"


class BeadSection(Section):
    """A bead on a bar, where it lies and how it is welded."""

    name: Name
    face: Literal["front", "back", "top", "bottom"]
    line: Literal["across", "along"] | None = None
    at: Place | None = None
    begin: Place | None = Field(None, alias="from")
    finish: Place | None = Field(None, alias="to")
    travel: Literal["up", "down", "+x", "-x"]
    process: Annotated[str, BeforeValidator(number_as_text)]
    current: quantity("current", "positive")
    voltage: quantity("voltage", "positive")
    efficiency: Efficiency
    speed: quantity("speed", "positive")
    bead_width: Size
    bead_height: Size
    front_length: SpotSize | None = None
    rear_length: SpotSize | None = None
    half_width: SpotSize | None = None
    depth: SpotSize | None = None
    start: Any = "0 s"
    filler: Annotated[bool, Field(strict=True)] = True
    shrinkage_along: Shrinkage | None = None
    shrinkage_across: Shrinkage | None = None
