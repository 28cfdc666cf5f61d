"""Types of the values in a case file: quantities with units, words, names, shares."""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import pairwise
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, field_validator

from weldsim.units import parse

WRONG = float("nan")  # told from a nan in the file by identity

# Least (of what must be greater than zero) and most of a kind in a case, in SI and as it is said:
# no arc weld comes near either, so what lies beyond is a slip of unit or key
Bound = tuple[float, str]
LEAST: dict[str, Bound] = {
    "length": (1e-6, "0.001 mm"), "speed": (1e-6, "0.001 mm/s"), "current": (0.1, "0.1 A"),
    "voltage": (0.1, "0.1 V"), "frequency": (1e-3, "0.001 Hz"), "stiffness": (1.0, "1 N/m"),
    "turning stiffness": (1e-3, "0.001 N m/rad"),
}  # fmt: skip
MOST: dict[str, Bound] = {
    "length": (1000.0, "1 km"), "speed": (10.0, "10 m/s"), "current": (1e4, "10 kA"),
    "voltage": (1e3, "1000 V"), "frequency": (1e4, "10 kHz"), "stiffness": (1e12, "1e12 N/m"),
    "turning stiffness": (1e12, "1e12 N m/rad"), "temperature": (3273.15, "3000 degC"),
    "conductance": (1e6, "1e6 W/m2/K"), "angle": (6.3, "360 deg"), "time": (1e7, "1e7 s"),
}  # fmt: skip
OF_A_SPOT: Bound = (0.2, "200 mm")  # what an arc heats, and how far it weaves
OF_AN_ARC: Bound = (3600.0, "1 h")  # how long one stands still
OF_AIR: Bound = (1e5, "1e5 W/m2/K")  # heat loss to air; jets of boiling water take away less


@dataclass(frozen=True)
class Quantity:
    """Reads a quantity of one kind of `weldsim.units.KINDS`.

    Attributes
    ----------
    kind : str
    sign : {"any", "positive", "not negative"}
        What is allowed.
    most : (float, str), optional
        Largest magnitude, in SI and as it is said; that of the kind when left out.
    """

    kind: str
    sign: str = "any"
    most: Bound | None = None

    def __call__(self, value) -> float:
        number = parse(value, self.kind)
        most, least = self.most or MOST[self.kind], LEAST.get(self.kind)
        if abs(number) > most[0]:
            raise ValueError(f"{value!r} is far beyond any weld; allowed: up to {most[1]}")
        if self.sign == "positive" and least is not None and 0 < number < least[0]:
            raise ValueError(f"{value!r} is far below any weld; allowed: from {least[1]}")
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


def temperatures(value) -> tuple[tuple[float, float], ...]:
    """Read a temperature, or how it changes: [["0 s", "20 degC"], ["600 s", "35 degC"]].

    Parameters
    ----------
    value : str or list
        As the file has it.

    Returns
    -------
    tuple of (float, float)
        Times and temperatures; one pair for a temperature that stays. [s, K]

    Raises
    ------
    ValueError
        In words, with an example of what is allowed.
    """
    such = 'write "40 degC", or times with temperatures: [["0 s", "20 degC"], ["600 s", "35 degC"]]'
    read = Quantity("temperature")
    if not isinstance(value, list | tuple):
        return ((0.0, read(value)),)
    if not value or not all(isinstance(v, list | tuple) and len(v) == 2 for v in value):
        raise ValueError(f"{value!r} is not allowed: {such}")
    out = tuple((parse(t, "time"), read(v)) for t, v in value)
    if any(a[0] >= b[0] for a, b in pairwise(out)):
        raise ValueError(f"times that do not rise are not allowed: {such}")
    return out


def quantity(kind: str, sign: str = "any", most: Bound | None = None):
    """A pydantic type that reads a quantity of one kind.

    Parameters
    ----------
    kind, sign, most
        See `Quantity`.

    Returns
    -------
    type
        To annotate a field of a `Section` with.
    """
    return Annotated[float, BeforeValidator(Quantity(kind, sign, most))]


def word_or_time(*words: str):
    """A pydantic type that reads a word out of a few, or a time.

    Parameters
    ----------
    *words : str
        Those allowed.

    Returns
    -------
    type
        To annotate a field of a `Section` with.
    """
    return Annotated[Any, BeforeValidator(WordOrTime(words))]


def number_as_text(value):
    """A number of a process as text: it may be written 141 as well as "141".

    Parameters
    ----------
    value : object
        As the file has it.

    Returns
    -------
    object
        Text for a whole number, else the value.
    """
    return str(value) if isinstance(value, int) and not isinstance(value, bool) else value


Size = quantity("length", "positive")
SpotSize = quantity("length", "positive", OF_A_SPOT)
Place = quantity("length")
Temperatures = Annotated[Any, BeforeValidator(temperatures)]
Axis = Literal["+x", "-x", "+y", "-y", "+z", "-z"]
Name = Annotated[str, Field(pattern=r"^[A-Za-z0-9_-]+$")]


def share_of_percent(value: Any) -> Any:
    """A share as the trade writes it, "77 %", as a number.

    Parameters
    ----------
    value : object
        As the file has it.

    Returns
    -------
    object
        A number for text that ends in a per cent sign, else the value.
    """
    if isinstance(value, str) and (found := PERCENT.fullmatch(value)):
        return float(found[1]) / 100
    return value


PERCENT = re.compile(r"\s*(\d{1,3}(?:\.\d{1,6})?)\s*%\s*")
Share = Annotated[float, BeforeValidator(share_of_percent), Field(strict=True, ge=0, le=1)]
Efficiency = Annotated[float, BeforeValidator(share_of_percent), Field(strict=True, gt=0, le=1)]
Shrinkage = Annotated[float, Field(strict=True, gt=-0.1, lt=0.1)]


class Section(BaseModel):
    """No key but those named; `WRONG` passes."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=False)

    @field_validator("*", mode="wrap")
    @classmethod
    def _let_wrong_pass(cls, value, check):
        return value if value is WRONG else check(value)
