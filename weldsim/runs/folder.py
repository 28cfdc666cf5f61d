"""The run folder: every file of a run, written whole or not at all, and read back.

    run.json     inputs as resolved, versions, status, times, balances, error estimate, warnings
    case.json    the case as written, so that the folder alone can be resumed
    gauges.csv   first column time_s, then <gauge>_<component>_<unit>
    summary.json what was read off the gauges, per gauge and per weld
    fields/      frame_NNNN.vtu and run.pvd, which a standard viewer opens as one series
    state/       the last two checkpoints, bit for bit
    pictures/, report.html

A file is written under a temporary name in the same folder, flushed to the disk and renamed, so
a crash leaves the old one or the new one. Nothing is remembered outside the folder: a resumed
run continues the series from what it finds there.
"""

from __future__ import annotations

import csv
import io
import json
import re
import xml.etree.ElementTree as ET
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weldsim.errors import StoreError
from weldsim.geometry.part import vtk_cells
from weldsim.runs.checkpoints import (
    CHECKSUM,
    EXTRA,
    STATE,
    checkpoints,
    last_checkpoint,
    state_checksum,
)
from weldsim.runs.frame_files import FIELDS, SERIES, FrameFile, read_series
from weldsim.runs.gauge_table import TIME
from weldsim.runs.reading import GAUGES, MANIFEST, PENDING, PICTURES, read_manifest
from weldsim.runs.stored import read_json_file
from weldsim.simulation.frame import Frame
from weldsim.system.files import TEMPORARY, drop, whole_file, write_json
from weldsim.system.locks import held

KEPT_CHECKPOINTS = 2
OWN = (FIELDS, STATE, PICTURES)  # folders in it
LOCK = "run.lock"  # in the folder of the checkpoints, held while a process computes the run
KELVIN = 273.15  # 0 degC


@dataclass(frozen=True)
class RunFolder:
    """A run folder on disk; the record holds its path and nothing else.

    Attributes
    ----------
    path : Path
    """

    path: Path

    @staticmethod
    def refuse_used(path: str | Path) -> None:
        """Refuse a path at which no run folder can be made, before anything is computed.

        Raises
        ------
        StoreError
            If it is a file, or a folder that holds something.
        """
        path = Path(path)
        if path.exists() and (not path.is_dir() or not _unused(path)):
            what = "folder with files in it" if path.is_dir() else "file"
            raise StoreError(
                f"{path}: there is a {what} of this name already; choose another name, or resume "
                "the run in it"
            )

    @classmethod
    def create(cls, path: str | Path | None = None, title: str = "run") -> RunFolder:
        """Make a run folder: at `path`, or a dated one under runs/ when left out.

        Raises
        ------
        StoreError
            If `path` is a file or a folder that holds something, or cannot be made.
        """
        try:
            if path is None:
                path = _dated_folder(title)
            else:
                path = Path(path)
                cls.refuse_used(path)
                path.mkdir(parents=True, exist_ok=True)
            for name in OWN:
                (path / name).mkdir(exist_ok=True)
        except OSError as error:
            raise StoreError(f"{path}: could not be made: {error}") from error
        return cls(path)

    @classmethod
    def open(cls, path: str | Path) -> RunFolder:
        """Open a run folder, also one that a run is writing to at this moment.

        Raises
        ------
        StoreError
            If `path` is no run folder.
        """
        path = Path(path)
        if not path.is_dir():
            raise StoreError(f"{path}: no such run folder")
        for name in OWN:
            if (path / name).is_symlink():
                raise StoreError(
                    f"{path / name}: leads to another place, so nothing is written there, allowed: "
                    "a folder of its own"
                )
        if not any((path / name).exists() for name in (MANIFEST, "case.json")):
            hint = "; a run may begin in it" if _unused(path) else ""
            raise StoreError(f"{path}: not a run folder: it holds no {MANIFEST}{hint}")
        return cls(path)

    @classmethod
    def resume(cls, path: str | Path) -> RunFolder:
        """Open the folder of a stopped run to go on with it; clears what a kill left half written.

        Apart from `open`, since clearing would break a run that is writing.

        Raises
        ------
        StoreError
            If `path` is no run folder, or its run is complete and so is its error estimate.
        """
        folder = cls.open(path)
        if folder.done:
            raise StoreError(
                f"{path}: this run is complete, nothing is left to resume; "
                "run its case into a new folder"
            )
        try:
            for left in folder.path.rglob(f"*{TEMPORARY}"):
                left.unlink(missing_ok=True)
            for name in OWN:
                (folder.path / name).mkdir(exist_ok=True)
        except OSError as error:
            raise StoreError(f"{path}: cannot be written to: {error}") from error
        return folder

    @contextmanager
    def kept_by_one(self) -> Iterator[None]:
        """Hold the folder, so that no other process computes its run meanwhile.

        Raises
        ------
        StoreError
            If another process holds it, or it cannot be written to.
        """
        try:
            (self.path / STATE).mkdir(exist_ok=True)
        except OSError as error:
            raise StoreError(f"{self.path}: cannot be written to: {error}") from error
        with held(self.path / STATE / LOCK, why="another process computes this run"):
            yield

    @property
    def status(self) -> str:
        """`running`, `complete`, `stopped`, `failed`, or `none` before run.json exists.

        A run that was killed still says `running`.
        """
        if not (self.path / MANIFEST).exists():
            return "none"
        return str(read_manifest(self.path)["status"])

    @property
    def done(self) -> bool:
        """Whether nothing is left to do: the run is complete, and so is its error estimate."""
        if self.status != "complete":
            return False
        estimate = read_manifest(self.path).get("error_estimate") or {}
        return bool(estimate.get("how") != PENDING)

    def write_json(self, name: str, value: Any) -> Path:
        """Write a JSON file; numpy values become plain, nan and inf become null."""
        return write_json(self.path / name, value)

    def read_json(self, name: str) -> dict[str, Any]:
        """Read a JSON file of the folder; `StoreError` if it is missing or damaged."""
        found: dict[str, Any] = read_json_file(self.path / name)
        return found

    def write_gauges(self, columns: Mapping[str, Sequence[float] | NDArray[np.float64]]) -> Path:
        """Write gauges.csv: numbers that read back to the same bits.

        Parameters
        ----------
        columns : dict of array_like, shape (N,)
            Name of a column -> its readings, in the unit the name ends with; `time_s` first.

        Returns
        -------
        pathlib.Path

        Raises
        ------
        StoreError
            If the first column is not `time_s`, or one is shorter than the others.
        """
        names = list(columns)
        if names[:1] != [TIME]:
            raise StoreError(f"{GAUGES}: the first column is {TIME}, not {names[:1]}")
        count = len(columns[TIME])
        for name in names:
            if len(columns[name]) != count:
                raise StoreError(f"{GAUGES}: {name} has {len(columns[name])} of {count} readings")
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(names)
        for row in zip(*columns.values(), strict=True):
            writer.writerow([repr(float(value)) for value in row])
        with whole_file(self.path / GAUGES) as beside:
            beside.write_text(out.getvalue(), encoding="utf-8")
        return self.path / GAUGES

    def write_checkpoint(
        self, index: int, arrays: Mapping[str, NDArray[Any]], extra: Mapping[str, Any]
    ) -> Path:
        """Write state/checkpoint_NNNNNNN.npz and drop all but the last two.

        Parameters
        ----------
        index : int
            Accepted steps so far; a later checkpoint has a higher index.
        arrays : dict of ndarray
            The state, kept to the last bit.
        extra : dict
            What the run has gathered (readings so far, counts), of numbers, text and lists.
        """

        # straight through json, not `plain`: nan and inf must come back as they were
        note = json.dumps(extra, default=_json_default).encode()
        path = self.path / STATE / f"checkpoint_{index:07d}.npz"
        with whole_file(path) as beside, open(beside, "wb") as handle:
            kept: dict[str, Any] = {**arrays, EXTRA: np.frombuffer(note, dtype=np.uint8)}
            kept[CHECKSUM] = state_checksum(kept)
            np.savez(handle, **kept)
            handle.flush()
        for old in checkpoints(self.path)[:-KEPT_CHECKPOINTS]:
            drop(old)
        return path

    def last_checkpoint(self) -> tuple[dict[str, NDArray[Any]], dict[str, Any]] | None:
        """See `weldsim.runs.reading.last_checkpoint`."""
        return last_checkpoint(self.path)

    def write_frame(self, index: int, frame: Frame, part: Any) -> Path:
        """Write fields/frame_NNNN.vtu and the series run.pvd.

        Frames of a higher index, left by a run that was killed after its last checkpoint, leave
        the series.

        Parameters
        ----------
        index : int
        frame : Frame
            `time` [s]; `temperature` (P,) [K] and `displacement` (P, 3) [m] at the points;
            `active`, `von_mises` [Pa] and `equivalent_plastic_strain` on the cells (C,), and
            `inherent_strain` where the model has one, `stress` [Pa] and `plastic_strain` (C, 6) in
            the order xx yy zz xy yz xz where they are kept. The file has the temperature in degC
            too, as gauges.csv.
        part : object with `heat_mesh`, a scikit-fem mesh of linear cells
        """
        import meshio

        points, cells, kind = vtk_cells(part.heat_mesh)
        mesh = meshio.Mesh(
            points,
            [(kind, cells.astype(np.int32))],
            point_data={
                "temperature_K": np.asarray(frame.temperature, dtype=float),
                "temperature_degC": np.asarray(frame.temperature - KELVIN, dtype=np.float32),
                "displacement_m": np.asarray(frame.displacement, dtype=float),
            },
            cell_data={
                "active": [np.asarray(frame.active).astype(np.uint8)],
                "von_mises_Pa": [np.asarray(frame.von_mises, dtype=np.float32)],
                "equivalent_plastic_strain": [
                    np.asarray(frame.equivalent_plastic_strain, dtype=np.float32)
                ],
            },
        )
        if frame.inherent_strain is not None:
            mesh.cell_data["inherent_strain"] = [
                np.asarray(frame.inherent_strain, dtype=np.float32)
            ]
        for name, values in (("stress_Pa", frame.stress), ("plastic_strain", frame.plastic_strain)):
            if values is not None:
                mesh.cell_data[name] = [np.asarray(values, dtype=np.float32)]
        path = self.path / FIELDS / frame_name(index)
        with whole_file(path) as beside:
            mesh.write(beside, file_format="vtu", binary=True, compression="zlib")
        kept = [f for f in read_series(self.path) if f.index < index]
        self._write_series([*kept, FrameFile(index, float(frame.time), path)])
        return path

    def _write_series(self, frames: Iterable[FrameFile]) -> None:
        root = ET.Element("VTKFile", type="Collection", version="1.0", byte_order="LittleEndian")
        series = ET.SubElement(root, "Collection")
        for f in frames:
            ET.SubElement(series, "DataSet", timestep=repr(f.time), part="0", file=f.path.name)
        ET.indent(root)
        with whole_file(self.path / FIELDS / SERIES) as beside:
            ET.ElementTree(root).write(beside, encoding="utf-8", xml_declaration=True)


def frame_name(index: int) -> str:
    """File name of a frame."""
    return f"frame_{index:04d}.vtu"


def _unused(path: Path) -> bool:
    """Whether a folder holds nothing, or what a run leaves that was killed while it began."""
    for item in path.rglob("*"):
        own = item.is_dir() and not item.is_symlink() and item.relative_to(path).as_posix() in OWN
        if not own and item.name != LOCK and not item.name.endswith(TEMPORARY):
            return False
    return True


def _dated_folder(title: str) -> Path:
    """A new folder runs/YYYY-MM-DD_HHMMSS_title, numbered when the second has one."""
    slug = re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")[:40].rstrip("-") or "run"
    stem = f"{datetime.now():%Y-%m-%d_%H%M%S}_{slug}"
    runs = Path("runs")
    runs.mkdir(exist_ok=True)
    for number in range(1, 1000):
        path = runs / (stem if number == 1 else f"{stem}_{number}")
        try:
            path.mkdir()
        except FileExistsError:
            continue
        return path
    raise StoreError(f"{runs / stem}: a thousand runs of this name already")


def _json_default(value: Any) -> Any:
    if hasattr(value, "tolist"):
        return value.tolist()
    raise TypeError(f"a checkpoint cannot hold a {type(value).__name__}")
