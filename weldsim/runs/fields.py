"""Fields of the part at one moment, and the moments of a run at which they were kept."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, overload

import numpy as np
from numpy.typing import NDArray

from weldsim.geometry.part import mesh_of_vtk, vtk_cells
from weldsim.runs.frame_files import FrameFile, read_frame
from weldsim.simulation.frame import Frame, field_frame
from weldsim.simulation.model import Model
from weldsim.simulation.state import State
from weldsim.system.libraries import import_pyvista

if TYPE_CHECKING:
    import pyvista
    import skfem

Array = NDArray[np.float64]
KELVIN = 273.15  # 0 degC


@dataclass(frozen=True, eq=False)
class Fields:
    """The part at one moment. Shapes: P points and C cells of the mesh.

    Attributes
    ----------
    time : float
        Since the run started; of the moment that was kept. [s]
    mesh : skfem.Mesh
        Linear hexahedra or tetrahedra of the part as built. [m]
    temperature : ndarray, shape (P,)
        [K]
    displacement : ndarray, shape (P, 3)
        Filler rides on the part: melt has no shape to keep. [m]
    active : ndarray of bool, shape (C,)
        Metal that is there.
    von_mises : ndarray, shape (C,)
        Equivalent stress; single precision where it was read from a folder. [Pa]
    equivalent_plastic_strain : ndarray, shape (C,)
    stress : ndarray, shape (C, 6), optional
        xx yy zz xy yz xz; None in folders of before it was kept. [Pa]
    plastic_strain : ndarray, shape (C, 6), optional
        In that order, shears of the tensor.
    """

    time: float
    mesh: skfem.Mesh
    temperature: Array
    displacement: Array
    active: NDArray[np.bool_]
    von_mises: NDArray[Any]
    equivalent_plastic_strain: NDArray[Any]
    stress: NDArray[Any] | None = None
    plastic_strain: NDArray[Any] | None = None

    @classmethod
    def of_frame(cls, frame: Frame, mesh: skfem.Mesh) -> Fields:
        """Fields of a frame that a model gave.

        Parameters
        ----------
        frame : Frame
            Of any moment.
        mesh : skfem.Mesh
            Its heat mesh.

        Returns
        -------
        Fields
            Of the same arrays.
        """
        return cls(
            frame.time, mesh, frame.temperature, frame.displacement, frame.active,
            frame.von_mises, frame.equivalent_plastic_strain, frame.stress, frame.plastic_strain,
        )  # fmt: skip

    @classmethod
    def of_state(cls, model: Model, state: State) -> Fields:
        """Fields of a state of a model, such as `simulate` gives step by step.

        Parameters
        ----------
        model : Model
            The case on its mesh.
        state : State
            Of that model.

        Returns
        -------
        Fields
            At the state's time.
        """
        return cls.of_frame(field_frame(model, state), model.part.heat_mesh)

    def integral(self, values: Array) -> float:
        """Volume integral over the active metal of values at the points.

        Parameters
        ----------
        values : array_like, shape (P,)
            Linear between the points of a cell, as the fields are.

        Returns
        -------
        float
            In the unit of the values times m3.
        """
        import skfem

        kind = skfem.ElementHex1 if self.mesh.t.shape[0] == 8 else skfem.ElementTetP1
        basis = skfem.Basis(self.mesh, kind(), elements=np.flatnonzero(self.active), intorder=3)
        return float((basis.interpolate(np.asarray(values, dtype=float)) * basis.dx).sum())

    def nearest_point(self, place: Sequence[float]) -> int:
        """Number of the mesh point nearest to a place.

        Parameters
        ----------
        place : sequence of float
            Its three coordinates in the part as built. [m]

        Returns
        -------
        int
            From 0.
        """
        away = np.linalg.norm(self.mesh.p.T - np.asarray(place, dtype=float), axis=1)
        return int(np.argmin(away))

    def to_pyvista(self) -> pyvista.UnstructuredGrid:
        """The mesh with its fields, named with their units as in the files of a run folder.

        Returns
        -------
        pyvista.UnstructuredGrid
            Point data `temperature_K`, `temperature_degC`, `displacement_m`; cell data `active`,
            `von_mises_Pa`, `equivalent_plastic_strain`, and `stress_Pa` and `plastic_strain` with
            six components where they are kept; field data `time_s`.

        Raises
        ------
        SetupError
            If PyVista is not installed.
        """
        library = import_pyvista()
        points, cells, kind = vtk_cells(self.mesh)
        cell_type = {"hexahedron": library.CellType.HEXAHEDRON, "tetra": library.CellType.TETRA}
        grid: pyvista.UnstructuredGrid = library.UnstructuredGrid(
            {cell_type[kind]: cells}, np.ascontiguousarray(points)
        )
        grid.point_data["temperature_K"] = self.temperature
        grid.point_data["temperature_degC"] = self.temperature - KELVIN
        grid.point_data["displacement_m"] = self.displacement
        grid.cell_data["active"] = self.active.astype(np.uint8)
        grid.cell_data["von_mises_Pa"] = self.von_mises
        grid.cell_data["equivalent_plastic_strain"] = self.equivalent_plastic_strain
        for name, values in (("stress_Pa", self.stress), ("plastic_strain", self.plastic_strain)):
            if values is not None:
                grid.cell_data[name] = values
        grid.field_data["time_s"] = [self.time]
        return grid


class FieldSeries(Sequence[Fields]):
    """Fields at the moments of a run that were kept, in order of time; read when asked for.

    Parameters
    ----------
    times : sequence of float
        [s]
    load : callable(int) -> Fields
        Gives the fields of a number.
    """

    __slots__ = ("_load", "times")

    def __init__(self, times: Sequence[float], load: Callable[[int], Fields]) -> None:
        self.times: Array = np.array(times, dtype=float)
        self.times.flags.writeable = False
        self._load = load

    @classmethod
    def of_frames(cls, frames: Sequence[Frame], mesh: skfem.Mesh) -> FieldSeries:
        """Series of frames that are in memory.

        Parameters
        ----------
        frames : sequence of Frame
            In order of time.
        mesh : skfem.Mesh
            The heat mesh of all of them.

        Returns
        -------
        FieldSeries
            Nothing is copied.
        """
        kept = tuple(frames)
        return cls([f.time for f in kept], lambda number: Fields.of_frame(kept[number], mesh))

    @classmethod
    def of_files(cls, files: Sequence[FrameFile]) -> FieldSeries:
        """Series of the frame files of a run folder.

        Parameters
        ----------
        files : sequence of FrameFile
            In order of time.

        Returns
        -------
        FieldSeries
            Nothing is read yet.
        """
        kept = tuple(files)
        return cls([f.time for f in kept], lambda number: _read(kept[number]))

    def nearest(self, time: float) -> Fields:
        """The fields that were kept nearest to a time; their own time stands in them.

        Parameters
        ----------
        time : float
            [s]

        Returns
        -------
        Fields
            At `Fields.time`.

        Raises
        ------
        ValueError
            If no fields were kept.
        """
        if not self.times.size:
            raise ValueError(f"{time:g} s: this run kept no fields")
        return self._load(int(np.argmin(np.abs(self.times - time))))

    def __len__(self) -> int:
        return len(self.times)

    @overload
    def __getitem__(self, index: int) -> Fields: ...

    @overload
    def __getitem__(self, index: slice) -> list[Fields]: ...

    def __getitem__(self, index: int | slice) -> Fields | list[Fields]:
        if isinstance(index, slice):
            return [self._load(i) for i in range(*index.indices(len(self)))]
        return self._load(range(len(self))[index])

    def __iter__(self) -> Iterator[Fields]:
        return (self._load(i) for i in range(len(self)))


def _read(file: FrameFile) -> Fields:
    frame = read_frame(file)
    return Fields(
        frame.time,
        mesh_of_vtk(frame.points, frame.cells),
        frame.temperature,
        frame.displacement,
        frame.active,
        frame.von_mises,
        frame.equivalent_plastic_strain,
        frame.stress,
        frame.plastic_strain,
    )
