"""A case bound to a mesh: what is meshed and factored, what happens when, what is read."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from weldsim.case.load import Case
from weldsim.errors import CaseError
from weldsim.geometry.grades import GRADES, Grade
from weldsim.geometry.part import Part
from weldsim.joints.build import build_part
from weldsim.materials.adjusted import adjusted
from weldsim.materials.material import Material, load_material
from weldsim.physics.arrays import Flags, Floats, Integers
from weldsim.physics.contact import Contact
from weldsim.physics.gpu.card import refused_without_card
from weldsim.physics.heat_conduction import HeatModel
from weldsim.physics.heat_source import DoubleEllipsoid
from weldsim.physics.mechanics_model import MechanicsModel
from weldsim.physics.springs import Spring
from weldsim.schema.column import Readings
from weldsim.simulation.activation import Activation
from weldsim.simulation.discretisation import Discretisation, same_part
from weldsim.simulation.gauges import Gauges, Probe
from weldsim.simulation.load_history import LoadHistory
from weldsim.simulation.shrinkage import Shrinkage
from weldsim.simulation.state import State
from weldsim.simulation.stepping import Stepping
from weldsim.system.device import wanted_device
from weldsim.system.threads import use_threads


@dataclass(frozen=True)
class Model:
    """A case ready to run. Immutable: another case is another model on the same discretisation.

    Attributes
    ----------
    case : Case
        What was asked for.
    discretisation : Discretisation
        What is meshed and factored.
    history : LoadHistory
        What happens when.
    gauges : Gauges
        What is read.
    stepping : Stepping
        How the run goes through time.
    shrinkage : Shrinkage, optional
        Inherent strain; of the `elastic` model only.
    """

    case: Case
    discretisation: Discretisation
    history: LoadHistory
    gauges: Gauges
    stepping: Stepping
    shrinkage: Shrinkage | None = None

    @classmethod
    def of(
        cls, case: Case, discretisation: Discretisation, stepping: Stepping | None = None
    ) -> Model:
        """Bind a case to a discretisation of its part.

        Parameters
        ----------
        case : Case
            Any whose part and beads the mesh has room for.
        discretisation : Discretisation
            Of that part.
        stepping : Stepping, optional
            That of the discretisation's grade when left out.

        Returns
        -------
        Model
            Ready to run.

        Raises
        ------
        CaseError
            For a gauge that stands off the part.
        """
        stepping = stepping or Stepping.of(discretisation.grade)
        history = LoadHistory.of(case, discretisation, stepping)
        gauges = Gauges.of(case, discretisation, history.clamping, history.activation.middle_points)
        shrinkage = None
        if case.solve.model == "elastic":
            shrinkage = Shrinkage.of(
                case, discretisation.part, history.seams, discretisation.material
            )
        return cls(case, discretisation, history, gauges, stepping, shrinkage)

    def for_case(self, case: Case) -> Model:
        """A model of another case on the same discretisation.

        Parameters
        ----------
        case : Case
            Of the same part and material: other welds, clamps, surroundings, gauges.

        Returns
        -------
        Model
            With this one's stepping.

        Raises
        ------
        CaseError
            If the part or the material is another one.
        """
        if not same_part(case.part, self.case.part) or case.preset != self.case.preset:
            raise CaseError(f"{case.source_file} [part]: another part needs a mesh of its own")
        return Model.of(case, self.discretisation, self.stepping)

    def with_stepping(self, stepping: Stepping) -> Model:
        """The same case gone through in other steps.

        Parameters
        ----------
        stepping : Stepping
            The other steps.

        Returns
        -------
        Model
            All else the same.
        """
        heat = replace(self.heat, tolerance=stepping.heat_tolerance)
        return replace(self, history=replace(self.history, heat=heat), stepping=stepping)

    # what many callers ask for
    @property
    def part(self) -> Part:
        """Mesh of the part with its names."""
        return self.discretisation.part

    @property
    def material(self) -> Material:
        """Of the part, and of its filler but for the strength."""
        return self.discretisation.material

    @property
    def grade(self) -> Grade:
        """How fine the mesh is."""
        return self.discretisation.grade

    @property
    def mechanics(self) -> MechanicsModel:
        """Cells and solver of the mechanics."""
        return self.discretisation.mechanics

    @property
    def contact(self) -> Contact | None:
        """Faces of open land that may touch."""
        return self.discretisation.contact

    @property
    def points(self) -> Floats:
        """Displacement points, (N, 3). [m]"""
        return self.discretisation.points

    @property
    def heat(self) -> HeatModel:
        """Cells and solver of the heat, in the surroundings of the case."""
        return self.history.heat

    @property
    def seams(self) -> tuple[Any, ...]:
        """Where each weld goes."""
        return self.history.seams

    @property
    def sources(self) -> tuple[DoubleEllipsoid, ...]:
        """Arc of each weld."""
        return self.history.sources

    @property
    def activation(self) -> Activation:
        """When each cell joins."""
        return self.history.activation

    @property
    def probes(self) -> tuple[Probe, ...]:
        """Gauges of the case bound to the mesh."""
        return self.gauges.probes

    # lookups on a state
    def active_points(self, state: State) -> Flags:
        """Quadrature points that carry load.

        Parameters
        ----------
        state : State
            At any time.

        Returns
        -------
        ndarray of bool, shape (C, Q)
            See `Activation.active_points`.
        """
        return self.activation.active_points(state.reached)

    def active_cells(self, state: State) -> Flags:
        """Heat cells that conduct.

        Parameters
        ----------
        state : State
            At any time.

        Returns
        -------
        ndarray of bool, shape (H,)
            See `Activation.active_cells`.
        """
        return self.activation.active_cells(state.reached)

    def stored(self, state: State) -> float:
        """Heat content of the metal that is there, from the zero of the enthalpy table.

        Parameters
        ----------
        state : State
            At any time.

        Returns
        -------
        float
            [J]
        """
        exchange = self.history.exchange(self.active_cells(state), state.closed_clamps)
        return self.heat.stored(state.temperature, exchange)

    def at_quadrature(self, temperature: Floats) -> Floats:
        """Temperature at the mechanics' quadrature points.

        Parameters
        ----------
        temperature : ndarray, shape (Nh,)
            [K]

        Returns
        -------
        ndarray, shape (C, Q)
            [K]
        """
        return self.discretisation.at_quadrature(temperature)

    def clamp_points(self, name: str) -> Integers:
        """Displacement points under a clamp.

        Parameters
        ----------
        name : str
            Of the clamp.

        Returns
        -------
        ndarray of int
            Point numbers.
        """
        return self.history.clamping.points_of(name)

    def supports(self, closed_clamps: tuple[str, ...]) -> Flags:
        """Unknowns that are held.

        Parameters
        ----------
        closed_clamps : tuple of str
            Names of the clamps that grip.

        Returns
        -------
        ndarray of bool, shape (N, 3)
            See `Clamping.supports`.
        """
        return self.history.clamping.supports(closed_clamps)

    def springs(self, state: State) -> tuple[Spring, ...]:
        """Elastic clamps that grip.

        Parameters
        ----------
        state : State
            At any time.

        Returns
        -------
        tuple of Spring
            See `Clamping.springs`.
        """
        return self.history.clamping.springs(state.closed_clamps, state.anchors)

    def torch_time(self, weld: int) -> float:
        """Longest step while the arc of a weld burns.

        Parameters
        ----------
        weld : int
            Its number.

        Returns
        -------
        float
            [s]
        """
        return self.history.torch_time(weld, self.stepping)

    def read(self, state: State) -> Readings:
        """All gauges.

        Parameters
        ----------
        state : State
            At any time.

        Returns
        -------
        Readings
            In SI, see `Gauges.read`.
        """
        return self.gauges.read(state)

    def weld_temperatures(self, state: State) -> Readings:
        """Temperature under the middle of each bead.

        Parameters
        ----------
        state : State
            At any time.

        Returns
        -------
        Readings
            [K]
        """
        return self.gauges.weld_temperatures(state)

    def progress(self, state: State) -> float:
        """Rough share of the steps that lie behind.

        Parameters
        ----------
        state : State
            At any time.

        Returns
        -------
        float
            From 0 to 1.
        """
        return self.history.progress(state.reached, state.stops, state.time, self.stepping)


def build_model(
    case: Case,
    grade: str | Grade | None = None,
    threads: int | None = None,
    part: Part | None = None,
    material: Material | None = None,
    stepping: Stepping | None = None,
    device: str | None = None,
) -> Model:
    """Mesh a case and prepare its solvers.

    Parameters
    ----------
    case : Case
        Any.
    grade : str or Grade, optional
        How fine; the case's own when left out.
    threads : int, optional
        `system.threads.default_threads` when left out.
    part : Part, optional
        Mesh of the case's part at that grade, where there is one already.
    material : Material, optional
        In the place of the case's own.
    stepping : Stepping, optional
        In the place of the grade's own.
    device : {'auto', 'cpu', 'gpu'}, optional
        Where it is computed; `system.device.wanted_device` when left out.

    Returns
    -------
    Model
        Ready to run.

    Raises
    ------
    WeldsimError
        For a part that cannot be meshed, a material, a gauge off the part, or a card not there.
    """
    device, threads = refused_without_card(wanted_device(device)), use_threads(threads)
    level = grade if isinstance(grade, Grade) else GRADES[grade or case.solve.grade]
    material = material or adjusted(load_material(case.material_path), case.metal)
    part = part or build_part(case, level)
    return Model.of(case, Discretisation.of(case, part, material, level, threads, device), stepping)
