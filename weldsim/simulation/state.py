"""All that the future of a run depends on, as one frozen record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any

import numpy as np

from weldsim.physics.arrays import Floats
from weldsim.physics.energy_balance import EnergyBalance
from weldsim.physics.plasticity import InternalVariables

NAMES = ("closed_clamps", "released")  # kept as text
COUNTS = ("steps", "steps_since_equilibrium")


@dataclass(frozen=True)
class State:
    """The part at one moment.

    Nh heat points, N displacement points, C cells of Q quadrature points, W welds, K clamps.

    Attributes
    ----------
    time : float
        Since the run started. [s]
    temperature, peak_temperature : ndarray, shape (Nh,)
        [K]
    displacement : ndarray, shape (N, 3)
        [m]
    internal_variables : InternalVariables
        At the quadrature points.
    stress : ndarray, shape (C, Q, 6)
        Order xx yy zz xy yz xz. [Pa]
    reached : ndarray, shape (W,)
        How far the arc has come on each seam, -inf before and inf after. [m]
    starts, stops : ndarray, shape (W,)
        Arc times, nan while they lie ahead. [s]
    interpass : ndarray, shape (W,)
        Temperature of the bead's base when its arc started. [K]
    closed_clamps : tuple of str
        Names of the clamps that grip.
    supplied, lost : float
        Heat since the start. [J]
    stored : float
        Heat content of the metal, from the zero of the enthalpy table. [J]
    rescale : ndarray, shape (2,)
        Least and largest factor the arc's heat was rescaled with.
    steps : int
        Accepted steps so far.
    brought_heat : float
        Heat content the metal came with: the part at the start, filler as it joined. [J]
    released : tuple of str
        Names of the clamps that have come off.
    anchors : ndarray, shape (K, 6)
        Mean shift and turn of each clamp's faces when it gripped. [m, rad]
    reaction : ndarray, shape (N, 3)
        What the clamps push the part with. [N]
    inherent_strain : ndarray, shape (C, Q)
        Shrinkage of a restrained bar at each point, negative for shorter; of the `elastic` model,
        zero in the `plastic` one. [1]
    steps_since_equilibrium : int
        Steps of the heat alone since the displacement was in equilibrium.
    """

    time: float
    temperature: Floats
    peak_temperature: Floats
    displacement: Floats
    internal_variables: InternalVariables
    stress: Floats
    reached: Floats
    starts: Floats
    stops: Floats
    interpass: Floats
    closed_clamps: tuple[str, ...]
    supplied: float
    lost: float
    stored: float
    rescale: Floats
    steps: int
    brought_heat: float = 0.0
    released: tuple[str, ...] = ()
    anchors: Floats = field(default_factory=lambda: np.zeros((0, 6)))
    reaction: Floats = field(default_factory=lambda: np.zeros((0, 3)))
    inherent_strain: Floats = field(default_factory=lambda: np.zeros((0, 0)))
    steps_since_equilibrium: int = 0

    @property
    def energy_balance(self) -> EnergyBalance:
        """Heat supplied, lost and stored since the start. [J]"""
        return EnergyBalance(self.supplied, self.lost, self.stored - self.brought_heat)

    def to_arrays(self) -> dict[str, np.ndarray[Any, Any]]:
        """The state as plain arrays.

        Returns
        -------
        dict of str to ndarray
            Exact to the last bit; `from_arrays` takes it back.
        """
        out: dict[str, np.ndarray[Any, Any]] = {}
        for item in fields(self):
            value = getattr(self, item.name)
            if item.name == "internal_variables":
                out.update(
                    {f"internal_variables.{f.name}": getattr(value, f.name) for f in fields(value)}
                )
            elif item.name in NAMES:
                out[item.name] = np.array(list(value), dtype=str)
            else:
                out[item.name] = np.asarray(value)
        return out

    @classmethod
    def from_arrays(cls, arrays: Mapping[str, np.ndarray[Any, Any]]) -> State:
        """State from plain arrays.

        Parameters
        ----------
        arrays : mapping of str to ndarray
            As `to_arrays` gives them.

        Returns
        -------
        State
            Equal to the last bit.

        Raises
        ------
        KeyError
            If an array is missing.
        """
        values: dict[str, Any] = {}
        for item in fields(cls):
            if item.name == "internal_variables":
                values[item.name] = InternalVariables(
                    *(arrays[f"{item.name}.{f.name}"] for f in fields(InternalVariables))
                )
                continue
            value: Any = arrays[item.name]
            if item.name in NAMES:
                value = tuple(str(v) for v in value)
            elif item.name in COUNTS:
                value = int(value)
            elif np.ndim(value) == 0:
                value = float(value)
            values[item.name] = value
        return cls(**values)
