"""When welds start and clamps move: the rules of a case read on a state."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from weldsim.case.load import Case
from weldsim.physics.arrays import Floats, Integers
from weldsim.schema.records import Clamp, StartRule, Weld
from weldsim.simulation.state import State

COLD = 2.0  # K above ambient, what "cold" means
RULE_BAND = 0.5  # K by which a temperature rule may be overshot


@dataclass(frozen=True)
class Watch:
    """A temperature that ends a pause when it has fallen to a limit.

    Attributes
    ----------
    limit : float
        [K]
    points : tuple of ndarrays of int, optional
        Lattice points whose hottest counts; those of the whole part when left out.
    """

    limit: float
    points: tuple[Integers, ...] | None = None

    def temperature(self, state: State) -> float:
        """What is watched.

        Parameters
        ----------
        state : State
            At any time.

        Returns
        -------
        float
            [K]
        """
        if self.points is None:
            return float(state.temperature.max())
        return max(float(state.temperature[p].max()) for p in self.points)


@dataclass(frozen=True)
class StartRules:
    """What starts, closes and opens when.

    Attributes
    ----------
    welds : tuple of Weld
        In the order of welding.
    clamps : tuple of Clamp
        In the order of the case.
    ambient : float
        [K]
    end : float or "cold"
        When the case is over. [s]
    base_points : tuple of ndarrays of int
        For each weld, lattice points where its bead sits on metal that is there.
    """

    welds: tuple[Weld, ...]
    clamps: tuple[Clamp, ...]
    ambient: float
    end: float | str
    base_points: tuple[Integers, ...]

    @classmethod
    def of(cls, case: Case, base_points: tuple[Integers, ...]) -> StartRules:
        """Rules of a case.

        Parameters
        ----------
        case : Case
            Any.
        base_points : tuple of ndarrays of int
            Where each of its beads sits.

        Returns
        -------
        StartRules
            Of its welds and clamps.
        """
        return cls(case.welds, case.clamps, case.surroundings.ambient, case.solve.end, base_points)

    @property
    def cold(self) -> float:
        """Temperature at which the part counts as cold. [K]"""
        return self.ambient + COLD

    def base_temperature(self, temperature: Floats, weld: int | None) -> float:
        """Highest temperature where a bead sits on the part.

        Parameters
        ----------
        temperature : ndarray, shape (Nh,)
            [K]
        weld : int, optional
            Its number; None for all welds.

        Returns
        -------
        float
            [K]
        """
        points = self.base_points if weld is None else (self.base_points[weld],)
        return max(float(temperature[p].max()) for p in points)

    def _number(self, rule: StartRule) -> int | None:
        if rule.weld is None:
            return None
        return [w.name for w in self.welds].index(rule.weld)

    def moment(self, rule: StartRule, state: State) -> float:
        """When a rule comes true as known now.

        Parameters
        ----------
        rule : StartRule
            Of a weld or clamp.
        state : State
            Now.

        Returns
        -------
        float
            Infinite while a temperature or a weld is awaited. [s]
        """
        if rule.kind == "never":
            return np.inf
        if rule.kind == "time":
            return rule.seconds
        if rule.kind == "cold":
            over = not np.any(np.isnan(state.stops) & ~np.isnan(state.starts))
            started = state.steps > 0
            cold = over and started and state.temperature.max() <= self.cold + 1e-9
            return state.time if cold else np.inf
        other = self._number(rule)
        if other is not None and np.isnan(state.stops[other]):
            return np.inf
        if rule.kind == "after":
            return float(state.stops[other]) + rule.seconds
        assert rule.temperature is not None  # of a rule of kind "below"
        ready = self.base_temperature(state.temperature, other) <= rule.temperature + RULE_BAND
        return state.time if ready else np.inf

    def due(self, state: State, weld: int) -> float:
        """When a weld's arc may start as known now.

        Parameters
        ----------
        state : State
            Now.
        weld : int
            Its number.

        Returns
        -------
        float
            Infinite while a temperature rule is not met. [s]
        """
        return self.moment(self.welds[weld].start, state)

    def met(self, rule: StartRule, state: State) -> bool:
        """Whether a clamp's rule has come true; cold means cold after the last weld.

        Parameters
        ----------
        rule : StartRule
            Of a clamp.
        state : State
            Now.

        Returns
        -------
        bool
            True from the moment on.
        """
        if rule.kind == "cold" and np.any(np.isnan(state.stops)):
            return False
        return self.moment(rule, state) <= state.time + 1e-9

    def changes(self, state: State) -> tuple[list[str], list[str]]:
        """Clamps that are due to open and to close now.

        Parameters
        ----------
        state : State
            Now.

        Returns
        -------
        opening, closing : list of str
            Names; what has opened once stays open.
        """
        off = [
            c.name for c in self.clamps
            if c.name in state.closed_clamps and self.met(c.off, state)
        ]  # fmt: skip
        on = [
            c.name for c in self.clamps
            if c.name not in state.closed_clamps and c.name not in state.released
            and self.met(c.on, state)
        ]  # fmt: skip
        return off, on

    def next_change(self, state: State) -> float:
        """Time at which the next clamp opens or closes as far as that is known.

        Parameters
        ----------
        state : State
            Now.

        Returns
        -------
        float
            Infinite when none is known. [s]
        """
        rules = [
            c.off if c.name in state.closed_clamps else c.on
            for c in self.clamps if c.name not in state.released
        ]  # fmt: skip
        known = [self.moment(r, state) for r in rules if r.kind in ("time", "after")]
        return min((t for t in known if t > state.time + 1e-9), default=np.inf)

    def watched(self, state: State) -> Watch | None:
        """The temperature whose fall ends the pause that goes on.

        Parameters
        ----------
        state : State
            In a pause.

        Returns
        -------
        Watch or None
            None where the clock ends it.
        """
        waiting = np.flatnonzero(np.isnan(state.starts))
        if waiting.size:
            rule = self.welds[waiting[0]].start
            if rule.kind == "cold":
                return Watch(self.cold)
            if rule.kind != "below" or rule.temperature is None:
                return None
            other = self._number(rule)
            points = self.base_points if other is None else (self.base_points[other],)
            return Watch(rule.temperature, points)
        return Watch(self.cold) if self.end == "cold" else None
