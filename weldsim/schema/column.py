"""One number that is read off a part, and a whole reading of them.

Inside, readings are SI: rad, m, K, N, N m. What a person reads is in the unit of the column, which
its name ends with ("pointer_up_mrad"): `Column` is the border between the two.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

Number = TypeVar("Number", float, "NDArray[np.float64]")

# display unit -> what to multiply an SI value with, and what to add then
DISPLAY_UNITS: dict[str, tuple[float, float]] = {
    "mrad": (1e3, 0.0),
    "mm": (1e3, 0.0),
    "degC": (1.0, -273.15),
    "N": (1.0, 0.0),
    "Nm": (1.0, 0.0),
}


@dataclass(frozen=True)
class Column:
    """One reading of a gauge.

    Attributes
    ----------
    gauge : str
        Name of the gauge, or of the weld under which a temperature is read.
    component : str
        What of it: "up", "travel", "Fx" ...
    unit : str
        The unit it is shown in, one of `DISPLAY_UNITS`.

    Raises
    ------
    ValueError
        If the unit is not one of them.
    """

    gauge: str
    component: str
    unit: str

    def __post_init__(self) -> None:
        if self.unit not in DISPLAY_UNITS:
            allowed = ", ".join(DISPLAY_UNITS)
            raise ValueError(f"{self.unit!r} is no unit of a column, allowed: {allowed}")

    @property
    def name(self) -> str:
        """Name of the column in gauges.csv: gauge, component and unit."""
        return f"{self.gauge}_{self.component}_{self.unit}"

    def __str__(self) -> str:
        return self.name

    @property
    def factor(self) -> float:
        """Display units in one SI unit; a difference needs nothing else."""
        return DISPLAY_UNITS[self.unit][0]

    def to_display(self, si: Number) -> Number:
        """A value in the unit of the column.

        Parameters
        ----------
        si : float or ndarray
            [rad, m, K, N, N m]

        Returns
        -------
        float or ndarray
            [mrad, mm, degC, N, N m]
        """
        factor, offset = DISPLAY_UNITS[self.unit]
        return si * factor + offset

    def to_si(self, shown: Number) -> Number:
        """A value in SI.

        Parameters
        ----------
        shown : float or ndarray
            In the unit of the column. [mrad, mm, degC, N, N m]

        Returns
        -------
        float or ndarray
            [rad, m, K, N, N m]
        """
        factor, offset = DISPLAY_UNITS[self.unit]
        return (shown - offset) / factor


class Readings(Mapping[Column, float]):
    """What all gauges read at one moment, in SI, in the order of the case. Immutable.

    Parameters
    ----------
    values : mapping of Column to float
        [rad, m, K, N, N m]

    Notes
    -----
    A value is found by its `Column` or by its gauge and component: ``readings["pointer", "up"]``.
    Where one component is read in two units, as a pointer's, that is the first one: its angle.
    """

    __slots__ = ("_by_part", "_values")

    def __init__(self, values: Mapping[Column, float]) -> None:
        self._values = dict(values)
        self._by_part: dict[tuple[str, str], Column] = {}
        for c in self._values:
            self._by_part.setdefault((c.gauge, c.component), c)

    def __getitem__(self, key: Column | tuple[str, str]) -> float:
        return self._values[key if isinstance(key, Column) else self._by_part[key]]

    def __iter__(self) -> Iterator[Column]:
        return iter(self._values)

    def __len__(self) -> int:
        return len(self._values)

    def __repr__(self) -> str:
        return f"Readings({self.display()})"

    def display(self) -> dict[str, float]:
        """Values as gauges.csv holds them.

        Returns
        -------
        dict of str to float
            Name of a column -> value in its unit. [mrad, mm, degC, N, N m]
        """
        return {c.name: c.to_display(v) for c, v in self._values.items()}
