"""All that the future of a run depends on, as one frozen record."""

from __future__ import annotations

from dataclasses import dataclass, field, fields

import numpy as np

from weldsim.physics.heat_conduction import EnergyBalance
from weldsim.physics.mechanics import InternalVariables

NAMES = ("closed_clamps", "released")  # kept as text


@dataclass(frozen=True)
class State:
    """The part at one moment. Shapes: Nh heat points, N displacement points, W welds.

    Attributes
    ----------
    time : since the run started [s]
    temperature, peak_temperature : (Nh,) [K]
    displacement : (N, 3) [m]
    memory : MaterialState at the quadrature points
    stress : (C, Q, 6), order xx yy zz xy yz xz [Pa]
    reached : (W,) how far the torch has come on each seam, -inf before and inf after [m]
    starts, stops : (W,) arc times, nan while they lie ahead [s]
    interpass : (W,) temperature of the bead's base when its arc started [K]
    holding : names of the clamps that grip
    released : names of the clamps that have come off
    anchors : (K, 6) mean shift and turn of each clamp's faces when it gripped [m, rad]
    reaction : (N, 3) what the clamps push the part with [N]
    supplied, lost, stored, start_heat : heat since the start and heat content [J]
    rescale : (2,) least and largest factor the arc's heat was rescaled with
    steps : accepted steps so far
    """

    time: float
    temperature: np.ndarray
    peak_temperature: np.ndarray
    displacement: np.ndarray
    internal_variables: InternalVariables
    stress: np.ndarray
    reached: np.ndarray
    starts: np.ndarray
    stops: np.ndarray
    interpass: np.ndarray
    closed_clamps: tuple[str, ...]
    supplied: float
    lost: float
    stored: float
    rescale: np.ndarray
    steps: int
    start_heat: float = 0.0
    released: tuple[str, ...] = ()
    anchors: np.ndarray = field(default_factory=lambda: np.zeros((0, 6)))
    reaction: np.ndarray = field(default_factory=lambda: np.zeros((0, 3)))

    @property
    def energy_balance(self) -> EnergyBalance:
        """Heat supplied, lost and stored since the start. [J]"""
        return EnergyBalance(self.supplied, self.lost, self.stored - self.start_heat)

    def to_arrays(self) -> dict[str, np.ndarray]:
        """The state as plain arrays, exact to the last bit."""
        out = {}
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
    def from_arrays(cls, arrays) -> State:
        """State from `to_arrays`."""
        values = {}
        for item in fields(cls):
            if item.name == "internal_variables":
                values["internal_variables"] = InternalVariables(
                    **{
                        f.name: arrays[f"internal_variables.{f.name}"]
                        for f in fields(InternalVariables)
                    }
                )
                continue
            value = arrays[item.name]
            if item.name in NAMES:
                value = tuple(str(v) for v in value)
            elif item.name == "steps":
                value = int(value)
            elif np.ndim(value) == 0:
                value = float(value)
            values[item.name] = value
        return cls(**values)
