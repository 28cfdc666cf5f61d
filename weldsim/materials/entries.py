"""Entries of a material file: what they must be, and the line that refuses them."""

from __future__ import annotations

from difflib import get_close_matches
from typing import Any, NoReturn

import numpy as np

from weldsim.errors import MaterialError
from weldsim.units import parse

Table = dict[str, Any]  # a section as TOML gives it
KINDS_OF_UNIT = {
    "W/m/K": "conductivity", "J/kg/K": "specific heat", "J/kg": "latent heat", "Pa": "stress",
    "kg/m3": "density", "K": "temperature",
}  # fmt: skip


class Entries:
    """Checks and converts the entries of one file; every refusal names file, section and key.

    Parameters
    ----------
    label : str
        The file, as messages call it.
    """

    def __init__(self, label: str):
        self.label = label

    def refuse(self, section: str, key: str, value: object, allowed: str) -> NoReturn:
        """Raise `MaterialError` in one line; `value` None is not shown."""
        place = f"{self.label} " + (f"[{section}] " if section else "")
        shown = "" if value is None else f" {value!r}:"
        raise MaterialError(f"{place}{key}:{shown} {allowed}")

    def known_keys(self, section: str, data: Table, allowed: tuple[str, ...]) -> None:
        """Refuse a key of a section that is none of those allowed."""
        for key in data:
            if key not in allowed:
                close = get_close_matches(key, allowed, 1)
                hint = f"did you mean {close[0]}?" if close else f"allowed: {', '.join(allowed)}"
                self.refuse(section, key, None, f"unknown key, {hint}")

    def need(self, section: str, data: Table, key: str) -> Any:
        """The value of a key, which must be there."""
        if key not in data:
            self.refuse(section, key, None, "missing")
        return data[key]

    def text(self, section: str, data: Table, key: str) -> str:
        """The value of a key, which must be a text with something in it."""
        value = self.need(section, data, key)
        if not isinstance(value, str) or not value.strip():
            self.refuse(section, key, value, "must be text")
        return value

    def number(
        self,
        section: str,
        data: Table,
        key: str,
        low: float = -np.inf,
        high: float = np.inf,
    ) -> float:
        """A bare number with low <= number <= high."""
        value = self.need(section, data, key)
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.refuse(section, key, value, "must be a number without a unit")
        if not low <= value <= high:
            self.refuse(section, key, value, f"must be from {low:g} to {high:g}")
        return float(value)

    def quantity(
        self, section: str, data: Table, key: str, unit: str, low: float = -np.inf
    ) -> float:
        """A number with a unit, in SI, not below `low`."""
        value = self.need(section, data, key)
        number = self.si(section, key, value, unit)
        if number < low:
            self.refuse(section, key, value, f"must not be below {low:g} {unit}")
        return number

    def si(self, section: str, key: str, value: Any, unit: str) -> float:
        """A text with a number and a unit, in SI; of unit "1" a plain number."""
        try:
            if unit == "1":
                return _plain(value)
            return parse(value, KINDS_OF_UNIT[unit])
        except ValueError as error:
            self.refuse(section, key, None, str(error))


def is_number(value: object) -> bool:
    """Whether a value is a finite number, and no truth value."""
    return isinstance(value, int | float) and not isinstance(value, bool) and np.isfinite(value)


def _plain(text: Any) -> float:
    """A number without a unit, written as text."""
    try:
        return float(text)
    except (TypeError, ValueError):
        raise ValueError(f'{text!r} is not a plain number; allowed: text such as "1"') from None
