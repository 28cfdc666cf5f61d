"""What is meshed and factored: it stays the same for every case on the same part."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from weldsim.case.load import Case
from weldsim.geometry.grades import Grade
from weldsim.geometry.part import Part
from weldsim.materials.adjusted import filler_metal
from weldsim.materials.material import Material
from weldsim.physics.arrays import Floats, Integers
from weldsim.physics.contact import Contact
from weldsim.physics.gpu.card import chosen_device
from weldsim.physics.gpu.moving import on_a_card
from weldsim.physics.heat_mesh import HeatMesh
from weldsim.physics.mechanics_model import MechanicsModel
from weldsim.physics.plasticity import Filler
from weldsim.simulation.interpolation import (
    child_points,
    distance_to_triangles,
    locate,
    point_children,
    quadrature_map,
    spread_matrix,
)
from weldsim.simulation.land import land_contact
from weldsim.system.device import CPU, GPU

CHORD_SHARE = 1 / 8  # of a chord, that it stands off its arc where it spans 57 degrees


@dataclass(frozen=True)
class Discretisation:
    """Mesh of a part with its solvers and the maps between them.

    Attributes
    ----------
    part : Part
        Mesh with its names.
    material : Material
        Of the part, and of its filler but for the strength.
    grade : Grade
        How fine the mesh is.
    heat_mesh : HeatMesh
        Linear cells on the half-step lattice.
    mechanics : MechanicsModel
        Quadratic cells; faces of open land may touch.
    point_child : ndarray of int, shape (Q,)
        Child that each quadrature point of a cell lies in.
    to_quadrature : ndarray, shape (Q, nl)
        From the lattice points of a cell to its quadrature points.
    spread : sparse matrix, shape (Nh, N)
        From displacement points to lattice points.
    filler : Filler or None
        Where filler has a strength of its own.
    """

    part: Part
    material: Material
    grade: Grade
    heat_mesh: HeatMesh
    mechanics: MechanicsModel
    point_child: Integers
    to_quadrature: Floats
    spread: Any
    filler: Filler | None = None

    @classmethod
    def of(
        cls,
        case: Case,
        part: Part,
        material: Material,
        grade: Grade,
        threads: int,
        device: str = CPU,
    ) -> Discretisation:
        """Prepare the solvers of a meshed part.

        Parameters
        ----------
        case : Case
            Its part says how wide open land stands, its [metal] how strong filler is.
        part : Part
            Its mesh.
        material : Material
            Of the part.
        grade : Grade
            How fine the mesh is.
        threads : int
            For the factorisations and the compiled loops.
        device : {'cpu', 'gpu', 'auto'}
            Where it is computed.

        Returns
        -------
        Discretisation
            Ready for any welds on this part.

        Raises
        ------
        SetupError
            If a card is asked for and there is none.
        """
        lattice = part.lattice
        heat_mesh = HeatMesh.of(lattice.points, lattice.heat_cells, threads)
        element = "brick20" if lattice.heat_cells.shape[1] == 8 else "tet10"
        mechanics = MechanicsModel.of(
            part.mesh, lattice.displacement_cells, lattice.local[lattice.displacement_local],
            lattice.points[: lattice.displacement_points], element, threads,
        )  # fmt: skip
        contact = land_contact(case, part, mechanics.weight, material)
        if contact is not None:
            mechanics = mechanics.touching(contact)
        if chosen_device(device, mechanics.pattern.size) == GPU:
            heat_mesh, mechanics = on_a_card(heat_mesh, mechanics)
        return cls(
            part, material, grade, heat_mesh, mechanics,
            point_children(lattice, mechanics.quadrature),
            quadrature_map(lattice, mechanics.quadrature), spread_matrix(lattice),
            _filler_of(part, filler_metal(material, case.metal)),
        )  # fmt: skip

    @property
    def points(self) -> Floats:
        """Displacement points, (N, 3). [m]"""
        return self.mechanics.points

    @property
    def contact(self) -> Contact | None:
        """Faces of open land that may touch; None without any."""
        return self.mechanics.contact

    @property
    def child_points(self) -> Integers:
        """Quadrature point nearest to the middle of each child, (children,)."""
        return child_points(self.part.lattice, self.mechanics.quadrature)

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
        at_points: Floats = temperature[self.part.lattice.corner_cells] @ self.to_quadrature.T
        return at_points

    def locate(self, places: Floats) -> Any:
        """Interpolation from the lattice points to places.

        Parameters
        ----------
        places : ndarray, shape (K, 3)
            In or on the part. [m]

        Returns
        -------
        sparse matrix, shape (K, Nh)
            See `interpolation.locate`.
        """
        return locate(self.part.heat_mesh, places)

    def off_the_part(self, place: Floats) -> float:
        """How far a place lies off the part.

        Parameters
        ----------
        place : ndarray, shape (3,)
            [m]

        Returns
        -------
        float
            Zero in it, and on a curved face too: the mesh follows it in flat facets. [m]
        """
        try:
            self.part.heat_mesh.element_finder()(*place[:, None])
            return 0.0
        except ValueError:
            pass
        outer = self.heat_mesh.facet_nodes[self.heat_mesh.facet_cells[1] < 0]
        corners = self.heat_mesh.points[outer]
        halves = [corners[:, [0, 1, 2]]]
        if corners.shape[1] == 4:  # listed around the loop
            halves.append(corners[:, [0, 2, 3]])
        triangles = np.concatenate(halves)
        away = distance_to_triangles(place, triangles)
        nearest = int(away.argmin())
        edges = triangles[nearest] - np.roll(triangles[nearest], 1, axis=0)
        chord = float(np.linalg.norm(edges, axis=1).max())
        return float(away[nearest]) if away[nearest] > CHORD_SHARE * chord else 0.0

    def nearest_points(self, places: Floats) -> Integers:
        """Displacement points of the part without filler nearest to places.

        Parameters
        ----------
        places : ndarray, shape (K, 3)
            [m]

        Returns
        -------
        ndarray of int, shape (K,)
            Point numbers.
        """
        body = np.unique(self.mechanics.cells[self.part.regions["part"]])
        away = np.linalg.norm(self.points[body][None] - np.asarray(places)[:, None], axis=2)
        nearest: Integers = body[away.argmin(axis=1)]
        return nearest


def _filler_of(part: Part, material: Material | None) -> Filler | None:
    """All cells that are not there from the start, if their metal is another one.

    Metal of the part that melts keeps its own strength: what mixes in the pool is left out.
    """
    if material is None:
        return None
    cells = np.arange(part.mesh.t.shape[1])
    return Filler(np.setdiff1d(cells, part.regions["part"]), material)


def same_part(one: Any, two: Any) -> bool:
    """Whether two parts are alike, in whatever order their beads stand.

    Parameters
    ----------
    one, two : part records of a joint kind
        As `Case.part`.

    Returns
    -------
    bool
        True where one mesh serves both.
    """
    if type(one) is not type(two):
        return False
    return all(_unordered(v) == _unordered(vars(two)[k]) for k, v in vars(one).items())


def _unordered(value: Any) -> Any:
    return sorted(map(repr, value)) if isinstance(value, tuple) else value
