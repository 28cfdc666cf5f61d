"""Readings of a whole run: one array a column in SI, a data frame, or what gauges.csv holds."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from weldsim.errors import SetupError
from weldsim.schema.column import Column, Readings

if TYPE_CHECKING:
    import pandas

SI_UNITS = {"mrad": "rad", "mm": "m", "degC": "K", "N": "N", "Nm": "N m"}
TIME = "time_s"  # first column of gauges.csv

Key = Column | tuple[str, str] | tuple[str, str, str]


class GaugeTable(Mapping[Column, NDArray[np.float64]]):
    """What every gauge read at every moment, in SI. Immutable.

    Parameters
    ----------
    columns : sequence of Column
        K of them.
    times : array_like, shape (N,)
        Since the run started. [s]
    values : array_like, shape (N, K)
        [rad, m, K, N, N m]

    Notes
    -----
    A column is found by its gauge and component, ``table["pointer", "up"]``, or by its `Column`.
    A pointer reads two things up: the tilt of its beam and the movement of its spot. Two names give
    the first of them, the tilt in rad; a third, the unit it is shown in, says which:
    ``table["pointer", "up", "mm"]`` is the spot in m.
    """

    __slots__ = ("_by_name", "_columns", "_times", "_values")

    def __init__(self, columns: Iterable[Column], times: Any, values: Any) -> None:
        self._columns = tuple(columns)
        self._times = _frozen(times)
        self._values = _frozen(values).reshape(len(self._times), len(self._columns))
        names: dict[tuple[str, ...], int] = {}
        for k, c in enumerate(self._columns):
            names.setdefault((c.gauge, c.component), k)
            names[c.gauge, c.component, c.unit] = k
        self._by_name = names

    @classmethod
    def of_readings(cls, times: Iterable[float], readings: Iterable[Readings]) -> GaugeTable:
        """The table of readings taken one after the other.

        Parameters
        ----------
        times : iterable of float
            [s]
        readings : iterable of Readings
            All of the same columns.

        Returns
        -------
        GaugeTable
            Columns in the order of the first reading.
        """
        rows = list(readings)
        columns = tuple(rows[0]) if rows else ()
        return cls(columns, list(times), [[row[c] for c in columns] for row in rows])

    @property
    def times(self) -> NDArray[np.float64]:
        """Times of the readings since the run started, (N,). [s]"""
        return self._times

    @property
    def columns(self) -> tuple[Column, ...]:
        """The columns, gauges in the order of the case, then the welds."""
        return self._columns

    @property
    def array(self) -> NDArray[np.float64]:
        """All readings, (N, K). [rad, m, K, N, N m]"""
        return self._values

    def column(self, key: Key) -> Column:
        """The column of a gauge and component, and of a unit where two share them.

        Parameters
        ----------
        key : Column or tuple of str
            ``("pointer", "up")`` or ``("pointer", "up", "mm")``.

        Returns
        -------
        Column
            With the unit it is shown in.

        Raises
        ------
        KeyError
            If there is none; the message lists those that are there.
        """
        return self._columns[self._index(key)]

    def unit(self, key: Key) -> str:
        """The SI unit of a column: rad, m, K, N or N m.

        Parameters
        ----------
        key : Column or tuple of str
            See `column`.

        Returns
        -------
        str
            Of the arrays here, not of gauges.csv.
        """
        return SI_UNITS[self.column(key).unit]

    def at(self, time: float) -> Readings:
        """Readings at a moment, straight between the two that are nearest.

        Parameters
        ----------
        time : float
            Within the run. [s]

        Returns
        -------
        Readings
            In SI.

        Raises
        ------
        ValueError
            If the run does not reach there.
        """
        if not self._times.size or not self._times[0] <= time <= self._times[-1]:
            reach = f"{self._times[0]:g} to {self._times[-1]:g} s" if self._times.size else "no"
            raise ValueError(f"{time:g} s: the run has readings of {reach}")
        return Readings(
            {
                c: float(np.interp(time, self._times, self._values[:, k]))
                for k, c in enumerate(self._columns)
            }
        )

    @property
    def end(self) -> Readings:
        """The last reading of every column."""
        return Readings(dict(zip(self._columns, self._values[-1].tolist(), strict=True)))

    def display(self) -> dict[str, NDArray[np.float64]]:
        """Arrays by the names and in the units of gauges.csv, `time_s` first.

        Returns
        -------
        dict of ndarray, shape (N,)
            [mrad, mm, degC, N, N m]
        """
        shown = {c.name: c.to_display(self._values[:, k]) for k, c in enumerate(self._columns)}
        return {TIME: self._times, **shown}

    def to_dataframe(self) -> pandas.DataFrame:
        """The table as a pandas data frame in SI.

        Returns
        -------
        pandas.DataFrame
            Index `time_s`; columns of three levels: `gauge`, `component`, `unit` (of SI).

        Raises
        ------
        SetupError
            If pandas is not installed.
        """
        try:
            import pandas
        except ImportError:
            raise SetupError(
                'a data frame needs pandas, which is not installed: pip install "weldsim[notebook]"'
            ) from None
        names = [(c.gauge, c.component, SI_UNITS[c.unit]) for c in self._columns]
        heads = pandas.MultiIndex.from_tuples(names, names=["gauge", "component", "unit"])
        index = pandas.Index(self._times, name=TIME)
        return pandas.DataFrame(self._values, index=index, columns=heads)

    def _index(self, key: Key) -> int:
        parts = (key.gauge, key.component, key.unit) if isinstance(key, Column) else tuple(key)
        try:
            return self._by_name[parts]
        except KeyError:
            known = ", ".join(repr((c.gauge, c.component, c.unit)) for c in self._columns)
            raise KeyError(f"no gauge reads {parts!r}, allowed: {known}") from None

    def __getitem__(self, key: Key) -> NDArray[np.float64]:
        return self._values[:, self._index(key)]

    def __iter__(self) -> Iterator[Column]:
        return iter(self._columns)

    def __len__(self) -> int:
        return len(self._columns)

    def __repr__(self) -> str:
        names = ", ".join(f"({c.gauge!r}, {c.component!r}) [{self.unit(c)}]" for c in self._columns)
        return f"GaugeTable of {len(self._times)} times: {names}"


def _frozen(values: Any) -> NDArray[np.float64]:
    out = np.array(values, dtype=np.float64)
    out.flags.writeable = False
    return out
