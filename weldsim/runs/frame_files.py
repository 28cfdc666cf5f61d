"""Frames of a run folder read back: the series, and the fields of one moment."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weldsim.errors import StoreError
from weldsim.runs.stored import LARGEST
from weldsim.system.files import check_regular, read_file

FIELDS, SERIES = "fields", "run.pvd"
FRAME = re.compile(r"frame_(\d{1,9})\.vtu")


@dataclass(frozen=True)
class FrameFile:
    """One frame of a series: its number, time [s] and file."""

    index: int
    time: float
    path: Path


@dataclass(frozen=True)
class FieldFrame:
    """One frame read back. Shapes: P points, C cells, in VTK's order of corners.

    Attributes
    ----------
    time : [s]
    points : (P, 3) [m]
    cells : (C, 8) or (C, 4)
    temperature : (P,) [K]
    displacement : (P, 3) [m]
    active : (C,) bool, metal that is there
    von_mises : (C,) [Pa]
    equivalent_plastic_strain : (C,)
    stress : (C, 6), xx yy zz xy yz xz [Pa]; None in folders of before it was kept
    plastic_strain : (C, 6), in that order
    """

    time: float
    points: NDArray[np.float64]
    cells: NDArray[np.int64]
    temperature: NDArray[np.float64]
    displacement: NDArray[np.float64]
    active: NDArray[np.bool_]
    von_mises: NDArray[Any]
    equivalent_plastic_strain: NDArray[Any]
    stress: NDArray[Any] | None = None
    plastic_strain: NDArray[Any] | None = None


def read_series(path: str | Path) -> list[FrameFile]:
    """Frames that fields/run.pvd names, those whose file is there; empty without a series."""
    folder = Path(path) / FIELDS
    if not (folder / SERIES).exists():
        return []
    try:
        entries = list(_xml(read_file(folder / SERIES)).iter("DataSet"))
        frames = [_frame_file(folder, e.attrib["file"], e.attrib["timestep"]) for e in entries]
    except (ET.ParseError, LookupError, ValueError) as error:  # an encoding that nobody knows
        raise StoreError(f"{folder / SERIES}: cannot be read: {error}") from error
    return [f for f in frames if f.path.is_file()]


def _xml(text: bytes) -> ET.Element:
    """A document without a type definition, whose entities could grow without end."""
    if b"<!DOCTYPE" in text or b"<!ENTITY" in text:
        raise ValueError("a type definition is not allowed")
    return ET.fromstring(text)


def _frame_file(folder: Path, name: str, time: str) -> FrameFile:
    """A frame that a series names: a file of that folder and no other."""
    found = FRAME.fullmatch(name)
    if found is None or not abs(float(time)) <= LARGEST:
        raise ValueError(f"{name[:40]!r} at {time[:20]!r} is no frame")
    return FrameFile(int(found[1]), float(time), folder / name)


def read_frame(frame: FrameFile) -> FieldFrame:
    """Read one frame of a series; `StoreError` if the file is damaged."""
    check_regular(frame.path)
    import meshio

    try:
        # not `meshio.read`, which ends the process on a damaged file
        mesh = meshio.vtu.read(frame.path)
        cells = {name: values[0] for name, values in mesh.cell_data.items()}
        found = FieldFrame(
            time=frame.time,
            points=mesh.points,
            cells=mesh.cells[0].data,
            temperature=mesh.point_data["temperature_K"],
            displacement=mesh.point_data["displacement_m"],
            active=cells["active" if "active" in cells else "laid"].astype(bool),  # format 1: laid
            von_mises=cells["von_mises_Pa"],
            equivalent_plastic_strain=cells["equivalent_plastic_strain"],
            stress=cells.get("stress_Pa"),
            plastic_strain=cells.get("plastic_strain"),
        )
        _check_frame(found)
    except Exception as error:  # whatever the readers of XML, base64 and zlib raise
        raise StoreError(f"{frame.path}: cannot be read: {error}") from error
    return found


def _check_frame(frame: FieldFrame) -> None:
    """Refuse fields that do not belong to one mesh, or numbers that are none."""
    points, cells = len(frame.points), len(frame.cells)
    corners = frame.cells.shape[1:]
    shapes = {
        "points": (frame.points, (points, 3)),
        "temperature": (frame.temperature, (points,)),
        "displacement": (frame.displacement, (points, 3)),
        "active": (frame.active, (cells,)),
        "von Mises stress": (frame.von_mises, (cells,)),
        "plastic strain": (frame.equivalent_plastic_strain, (cells,)),
        "stress": (frame.stress, (cells, 6)),
        "strain": (frame.plastic_strain, (cells, 6)),
    }
    if not cells or corners not in ((4,), (8,)):
        raise ValueError("cells must be tetrahedra or hexahedra")
    if frame.cells.min() < 0 or frame.cells.max() >= points:
        raise ValueError("a cell names a point that is not there")
    for name, (values, shape) in shapes.items():
        if values is not None and np.shape(values) != shape:
            raise ValueError(f"{name} has shape {np.shape(values)} where {shape} is due")
        if values is not None and not np.all(np.abs(values) <= LARGEST):
            raise ValueError(f"{name} must be finite")
