"""A run folder read back: manifest, readings, summary, frames, checkpoints. Writes nothing."""

from __future__ import annotations

import csv
import json
import re
import xml.etree.ElementTree as ET
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weldsim.errors import StoreError
from weldsim.joints.protocol import JointKind
from weldsim.joints.registry import joint_kind
from weldsim.runs.gauge_table import TIME, GaugeTable
from weldsim.schema.column import Column

MANIFEST, GAUGES, SUMMARY = "run.json", "gauges.csv", "summary.json"
FIELDS, STATE, PICTURES, SERIES = "fields", "state", "pictures", "run.pvd"
EXTRA = "extra.json"  # entry of a checkpoint beside the state arrays
OLD_KEYS = {"film": "film_coefficient", "cooling_film": "cooling_film_coefficient"}  # format 1
OLD_NAMES = {"hold": "clamping", "companion": "error_estimate"}
FORMAT = 2  # of a run folder; 1 is what the first versions wrote, without this number
PENDING = "no estimated error: the coarser run has not been made yet"


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


@dataclass(frozen=True)
class ReadColumn(Column):
    """One column of gauges.csv taken apart.

    `weld` names the weld whose bead the temperature was read under, None for a gauge.
    """

    weld: str | None = None


@dataclass(frozen=True)
class RunRecord:
    """A run read back for showing.

    Attributes
    ----------
    path : run folder
    manifest : run.json
    gauges : column name -> readings (N,), `time_s` first
    summary : summary.json; empty while the run is not complete
    frames : frames of the series in order of time
    """

    path: Path
    manifest: dict[str, Any]
    gauges: dict[str, NDArray[np.float64]]
    summary: dict[str, Any] = field(default_factory=dict)
    frames: tuple[FrameFile, ...] = ()

    @property
    def title(self) -> str:
        return str(self.manifest.get("title", self.path.name))

    @property
    def grade(self) -> str:
        """Of the mesh and the steps."""
        return str(self.manifest.get("grade", ""))

    @property
    def complete(self) -> bool:
        return self.manifest.get("status") == "complete"

    @property
    def case(self) -> dict[str, Any]:
        """The case in SI as run.json holds it."""
        return dict(self.manifest.get("case", {}))

    @property
    def joint(self) -> JointKind:
        """What the joint kind of the case answers; a bar's where the run does not say."""
        return joint_kind(self.case.get("part", {}).get("kind", "bar"))

    @property
    def errors(self) -> dict[str, float]:
        """Estimated discretisation error of final readings, column -> unit of the column."""
        return dict(self.manifest.get("error_estimate", {}).get("values", {}))

    @property
    def pointers(self) -> list[dict[str, Any]]:
        """The pointers of the case whose readings are there."""
        found = [g for g in self.case.get("gauges", []) if g.get("kind") == "pointer"]
        return [g for g in found if f"{g['name']}_up_mm" in self.gauges]

    @property
    def columns(self) -> list[ReadColumn]:
        """All columns but the time, gauges first, taken apart."""
        welds = {f"{w['name']}_middle_degC": w["name"] for w in self.case.get("welds", [])}
        names = sorted((g["name"] for g in self.case.get("gauges", [])), key=len, reverse=True)
        out = [_split(name, names, welds.get(name)) for name in self.gauges if name != "time_s"]
        return sorted(out, key=lambda c: c.weld is not None)

    @property
    def table(self) -> GaugeTable:
        """The readings in SI."""
        columns = [Column(c.gauge, c.component, c.unit) for c in self.columns]
        values = [c.to_si(self.gauges[c.name]) for c in columns]
        return GaugeTable(columns, self.gauges[TIME], np.array(values).T)


def _split(name: str, gauges: list[str], weld: str | None) -> ReadColumn:
    if weld is not None:
        return ReadColumn(weld, "middle", "degC", weld)
    rest, _, unit = name.rpartition("_")
    gauge = next((g for g in gauges if rest.startswith(f"{g}_")), rest.partition("_")[0])
    return ReadColumn(gauge, rest[len(gauge) + 1 :], unit)


def read_run(path: str | Path) -> RunRecord:
    """Read a run folder. An unfinished run gives the readings of its last checkpoint.

    Raises
    ------
    StoreError
        If `path` is no run folder, or holds no readings yet.
    """
    path = Path(path)
    if not (path / MANIFEST).exists():
        where = "not a run folder" if path.is_dir() else "no such run folder"
        raise StoreError(f"{path}: {where}: it holds no {MANIFEST}")
    manifest = read_json_file(path / MANIFEST)
    if not isinstance(manifest, dict):
        raise StoreError(f"{path / MANIFEST}: cannot be read: it holds no record of a run")
    manifest = up_to_date(manifest, path / MANIFEST)
    if not (path / GAUGES).exists():
        return _unfinished_run(path, manifest)
    summary = read_json_file(path / SUMMARY) if (path / SUMMARY).exists() else {}
    return RunRecord(path, manifest, read_gauges(path / GAUGES), summary, tuple(read_series(path)))


def up_to_date(manifest: dict[str, Any], path: Path) -> dict[str, Any]:
    """run.json in the words of this version, whichever wrote it.

    Raises
    ------
    StoreError
        If it was written in a format this version does not know.
    """
    written = manifest.get("format", 1)
    if not isinstance(written, int) or not 1 <= written <= FORMAT:
        raise StoreError(
            f"{path}: format {written!r} is not one this version of weldsim reads, allowed: "
            f"1 to {FORMAT}; read it with the version that wrote it"
        )
    case = manifest.get("case")
    if written == 1 and isinstance(case, dict):
        case = dict(case)
        air = case.get("surroundings")
        if isinstance(air, dict) and "film" in air:
            case["surroundings"] = {OLD_KEYS.get(k, k): v for k, v in air.items()}
        manifest = {**manifest, "case": {OLD_KEYS.get(k, k): v for k, v in case.items()}}
    if isinstance(manifest.get("case"), dict):
        manifest = {**manifest, "case": _renamed(manifest["case"])}
    return manifest


def _renamed(case: dict[str, Any]) -> dict[str, Any]:
    """A recorded case with the names that sections and keys have now."""
    case = {OLD_NAMES.get(k, k): v for k, v in case.items()}
    for section in ("clamping", "solve"):
        if isinstance(case.get(section), dict):
            case[section] = {OLD_NAMES.get(k, k): v for k, v in case[section].items()}
    if isinstance(case.get("clamping"), dict) and case["clamping"].get("kind") == "vise":
        case["clamping"]["kind"] = "one end"
    return case


def _unfinished_run(path: Path, manifest: dict[str, Any]) -> RunRecord:
    """What the last checkpoint knows: readings, arcs so far, and the frames up to it."""
    found = last_checkpoint(path)
    rows = found[1].get("rows") if found else None
    if found is None or not rows:
        raise StoreError(f"{path}: the run has no readings yet: resume it or wait")
    gauges = _columns_of(rows, found[1].get("columns"))
    names = [w["name"] for w in manifest.get("case", {}).get("welds", [])]
    manifest = {**manifest, "timetable": _arcs_so_far(names, found[0])}
    frames = [f for f in read_series(path) if f.time <= gauges["time_s"][-1] + 1e-9]
    return RunRecord(path, manifest, gauges, {}, tuple(frames))


def _columns_of(rows: list[Any], columns: list[Any] | None) -> dict[str, NDArray[np.float64]]:
    """Readings of a checkpoint by the names of gauges.csv; format 1 kept them so already."""
    if columns is None:
        return {name: np.array([row[name] for row in rows]) for name in rows[0]}
    table = np.array(rows)
    return GaugeTable([Column(*parts) for parts in columns], table[:, 0], table[:, 1:]).display()


def _arcs_so_far(names: list[str], arrays: Mapping[str, NDArray[Any]]) -> list[dict[str, Any]]:
    """Timetable from the `starts` and `stops` of a state, nan while they lie ahead. [s]"""
    if "starts" not in arrays:
        return []
    return [
        {"name": name, "start": float(start), "end": float(stop) if stop == stop else None}
        for name, start, stop in zip(names, arrays["starts"], arrays["stops"], strict=False)
        if start == start
    ]


def checkpoints(path: str | Path) -> list[Path]:
    """Checkpoint files of a run folder, oldest first."""
    return sorted((Path(path) / STATE).glob("checkpoint_[0-9]*.npz"), key=_number)


def last_checkpoint(
    path: str | Path,
) -> tuple[dict[str, NDArray[Any]], dict[str, Any]] | None:
    """State arrays and extra of the newest checkpoint that can be read; None without any.

    Raises
    ------
    StoreError
        If there are checkpoints and none can be read.
    """
    found, trouble = checkpoints(path), None
    for file in reversed(found):
        try:
            with np.load(file, allow_pickle=False) as data:
                arrays = {name: data[name] for name in data.files}
            extra = json.loads(arrays.pop(EXTRA).tobytes())
        except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile) as error:
            trouble = error
            continue
        return arrays, extra
    if found:
        raise StoreError(f"{found[-1]}: cannot be read: {trouble}; start the run afresh")
    return None


def read_gauges(path: str | Path) -> dict[str, NDArray[np.float64]]:
    """Columns of a gauges.csv, name -> array (N,)."""
    try:
        with open(path, encoding="utf-8", newline="") as handle:
            head, *rows = csv.reader(handle)
        table = np.array([[float(v) for v in row] for row in rows]).reshape(len(rows), len(head))
    except (OSError, ValueError) as error:
        raise StoreError(f"{path}: cannot be read: {error}") from error
    return dict(zip(head, table.T, strict=True))


def read_series(path: str | Path) -> list[FrameFile]:
    """Frames that fields/run.pvd names, those whose file is there; empty without a series."""
    folder = Path(path) / FIELDS
    if not (folder / SERIES).exists():
        return []
    try:
        entries = ET.parse(folder / SERIES).getroot().iter("DataSet")
        frames = [
            FrameFile(
                _number(e.attrib["file"]), float(e.attrib["timestep"]), folder / e.attrib["file"]
            )
            for e in entries
        ]
    except (ET.ParseError, KeyError, ValueError) as error:
        raise StoreError(f"{folder / SERIES}: cannot be read: {error}") from error
    return [f for f in frames if f.path.exists()]


def read_frame(frame: FrameFile) -> FieldFrame:
    """Read one frame of a series; `StoreError` if the file is damaged."""
    import meshio

    try:
        mesh = meshio.read(frame.path, file_format="vtu")
        cells = {name: values[0] for name, values in mesh.cell_data.items()}
        return FieldFrame(
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
    except (OSError, KeyError, ValueError, IndexError, meshio.ReadError) as error:
        raise StoreError(f"{frame.path}: cannot be read: {error}") from error


def read_json_file(path: Path) -> Any:
    """Content of a JSON file; `StoreError` if it is missing or damaged."""
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise StoreError(f"{path}: cannot be read: {error}") from error


def _number(name: str | Path) -> int:
    """Number in a file name such as frame_0012.vtu."""
    found = re.search(r"(\d+)\.\w+$", str(name))
    if found is None:
        raise ValueError(f"{name}: no number in this name of a file")
    return int(found[1])
