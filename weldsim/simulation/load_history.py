"""What happens when: arcs along their seams, filler that joins, clamps, surroundings."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from weldsim.case.load import Case
from weldsim.joints.registry import kind_of_case, seams_of
from weldsim.physics.arrays import Flags, Floats
from weldsim.physics.heat_conduction import HeatModel
from weldsim.physics.heat_mesh import Reach
from weldsim.physics.heat_source import DoubleEllipsoid
from weldsim.physics.heat_tables import HeatTables
from weldsim.physics.mechanics_model import MechanicsModel
from weldsim.physics.surface_exchange import SurfaceExchange
from weldsim.schema.records import Weld
from weldsim.simulation.activation import Activation
from weldsim.simulation.clamping import Clamping
from weldsim.simulation.discretisation import Discretisation
from weldsim.simulation.resting import on_table
from weldsim.simulation.start_rules import StartRules
from weldsim.simulation.stepping import Stepping

KEPT_EXCHANGES = 4  # a step asks for the surface before and after filler joins, some times over


@dataclass(frozen=True)
class LoadHistory:
    """The loads of a case on its mesh. W welds.

    Attributes
    ----------
    welds : tuple of Weld
        In the order of welding.
    seams : tuple of Seam or CurvedSeam
        Where each of them goes.
    sources : tuple of DoubleEllipsoid
        Their arcs.
    activation : Activation
        Which metal they pass when.
    clamping : Clamping
        What the clamps hold.
    rules : StartRules
        When arcs start and clamps move.
    heat : HeatModel
        The heat mesh in the surroundings of the case.
    torch_step_share : float
        Longest step of an arc on this kind of joint over that of a bead on a bar.
    free, resting : MechanicsModel
        Mechanics of the part, off and on its table; None for `resting` without one.
    """

    welds: tuple[Weld, ...]
    seams: tuple[Any, ...]
    sources: tuple[DoubleEllipsoid, ...]
    activation: Activation
    clamping: Clamping
    rules: StartRules
    heat: HeatModel
    torch_step_share: float
    free: MechanicsModel
    resting: MechanicsModel | None = None
    _exchanges: dict[tuple[bytes, tuple[str, ...]], SurfaceExchange] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )
    _areas: dict[tuple[bytes, str], Floats] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    @classmethod
    def of(cls, case: Case, discretisation: Discretisation, stepping: Stepping) -> LoadHistory:
        """Bind what happens in a case to its mesh.

        Parameters
        ----------
        case : Case
            Welds, clamps, surroundings.
        discretisation : Discretisation
            Of its part.
        stepping : Stepping
            Says how closely the heat is solved.

        Returns
        -------
        LoadHistory
            Of the whole case.
        """
        part, air = discretisation.part, case.surroundings
        seams = tuple(seams_of(case))
        activation = Activation.of(case, part, seams, discretisation.point_child)
        clamping = Clamping.of(case, part)
        contacts = {
            c.name: (nodes, c.conductance)
            for c, nodes in zip(case.clamps, clamping.lattice_points, strict=True)
        }
        heat = HeatModel(
            discretisation.heat_mesh, HeatTables.of(discretisation.material), air.ambient,
            air.film_coefficient, air.emissivity, contacts, stepping.heat_tolerance,
        )  # fmt: skip
        mechanics = discretisation.mechanics
        return cls(
            case.welds, seams, _sources(case, seams), activation, clamping,
            StartRules.of(case, activation.base_points), heat, kind_of_case(case).torch_step,
            mechanics, on_table(clamping, heat.mesh, mechanics, discretisation.material),
        )  # fmt: skip

    @cached_property
    def reaches(self) -> tuple[Reach, ...]:
        """Heat cells near each seam."""
        return tuple(self.heat.mesh.reach(s) for s in self.sources)

    def mechanics(self, closed_clamps: tuple[str, ...]) -> MechanicsModel:
        """Mechanics of the part where it lies.

        Parameters
        ----------
        closed_clamps : tuple of str
            Names of the clamps that grip.

        Returns
        -------
        MechanicsModel
            On its table while it is pressed there.
        """
        on = self.resting is not None and self.clamping.rests(closed_clamps)
        return self.resting if on else self.free  # type: ignore[return-value]

    def exchange(self, active: Flags, closed_clamps: tuple[str, ...]) -> SurfaceExchange:
        """Outer faces of the active heat cells, the last few kept.

        Parameters
        ----------
        active : ndarray of bool, shape (H,)
            Heat cells that are there.
        closed_clamps : tuple of str
            Names of the clamps that grip.

        Returns
        -------
        SurfaceExchange
            See `HeatMesh.exchange`.
        """
        key = active.tobytes(), closed_clamps
        if key not in self._exchanges:
            if len(self._exchanges) >= KEPT_EXCHANGES:
                self._exchanges.pop(next(iter(self._exchanges)))
            self._exchanges[key] = self.heat.exchange(active, closed_clamps)
        return self._exchanges[key]

    def warmth(self, active: Flags, closed_clamps: tuple[str, ...], time: float) -> Floats | None:
        """What clamps bring that are not as warm as the air.

        Parameters
        ----------
        active : ndarray of bool, shape (H,)
            Heat cells that are there.
        closed_clamps : tuple of str
            Names of the clamps that grip.
        time : float
            Since the run started. [s]

        Returns
        -------
        ndarray, shape (Nh,), or None
            Beside the loss that `HeatModel` has, which is to the air's temperature; None where no
            clamp has a temperature of its own. [W]
        """
        own = [c for c in self.clamping.clamps if c.temperatures and c.name in closed_clamps]
        if not own:
            return None
        out = np.zeros(self.heat.points.shape[0])
        for clamp in own:
            nodes, conductance = self.heat.clamp_contacts[clamp.name]
            key = active.tobytes(), clamp.name
            if key not in self._areas:
                if len(self._areas) >= KEPT_EXCHANGES:
                    self._areas.pop(next(iter(self._areas)))
                self._areas[key] = self.heat.mesh.contact_area(active, nodes)
            times, temperatures = zip(*clamp.temperatures, strict=True)
            above = np.interp(time, times, temperatures) - self.heat.ambient_temperature
            out += conductance * above * self._areas[key]
        return out

    def arc_power(self, weld: int, active: Flags, begin: float, end: float) -> tuple[Floats, float]:
        """Mean nodal power of a weld's arc over a step.

        Parameters
        ----------
        weld : int
            Its number.
        active : ndarray of bool, shape (H,)
            Heat cells that are there.
        begin, end : float
            Since the arc's start. [s]

        Returns
        -------
        power : ndarray, shape (Nh,)
            [W]
        factor : float
            It was rescaled with.
        """
        return self.heat.mesh.power(active, self.sources[weld], begin, end, self.reaches[weld])

    def torch_time(self, weld: int, stepping: Stepping) -> float:
        """Longest step while the arc of a weld burns.

        Parameters
        ----------
        weld : int
            Its number.
        stepping : Stepping
            Says how far an arc may go in a step.

        Returns
        -------
        float
            [s]
        """
        spec = self.welds[weld]
        return self.torch_step_share * stepping.torch_step * spec.bead_width / spec.arc.speed

    def progress(self, reached: Floats, stops: Floats, time: float, stepping: Stepping) -> float:
        """Rough share of the steps that lie behind.

        Parameters
        ----------
        reached, stops : ndarray, shape (W,)
            Of a state. [m, s]
        time : float
            [s]
        stepping : Stepping
            Of the run.

        Returns
        -------
        float
            From 0 to 1.
        """
        total = behind = 0.0
        for i, source in enumerate(self.sources):
            steps = source.duration / self.torch_time(i, stepping)
            total += steps
            behind += steps * float(np.clip(reached[i] / source.seam.length, 0, 1))
        # a pause grows from about 3 s after the arc to the 600 s in which a part gets cold
        rest = np.log(600.0 / 3.0) / np.log1p(stepping.rest_growth)
        total += rest
        if not np.any(np.isnan(stops)):
            since = time - float(stops.max()) if stops.size else time
            cooled = np.log(max(since, 3.0) / 3.0) / np.log1p(stepping.rest_growth)
            behind += min(cooled, 0.98 * rest)
        return float(min(behind / total, 1.0))


def _sources(case: Case, seams: tuple[Any, ...]) -> tuple[DoubleEllipsoid, ...]:
    """The arc of every weld."""
    return tuple(DoubleEllipsoid.of(w.arc, s) for w, s in zip(case.welds, seams, strict=True))
