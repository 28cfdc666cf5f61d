"""A run folder read back: manifest, readings, summary, frames, checkpoints. Writes nothing."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weldsim.errors import StoreError
from weldsim.joints.protocol import JointKind
from weldsim.joints.registry import joint_kind
from weldsim.runs.checkpoints import last_checkpoint
from weldsim.runs.frame_files import FrameFile, read_series
from weldsim.runs.gauge_table import TIME, GaugeTable
from weldsim.runs.stored import checked, format_of, read_json_file, read_stored
from weldsim.runs.stored_records import StoredManifest, StoredSource, StoredSummary
from weldsim.schema.column import DISPLAY_UNITS, Column
from weldsim.system.files import read_file

MANIFEST, GAUGES, SUMMARY = "run.json", "gauges.csv", "summary.json"
SOURCE = "case.json"
PICTURES = "pictures"
OLD_KEYS = {"film": "film_coefficient", "cooling_film": "cooling_film_coefficient"}  # format 1
OLD_NAMES = {"hold": "clamping", "companion": "error_estimate"}
MOST = 1e40  # of a reading in any unit; more no picture can be drawn of
FORMAT = 2  # of a run folder; 1 is what the first versions wrote, without this number
PENDING = "no estimated error: the coarser run has not been made yet"


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
    manifest = read_manifest(path)
    if not (path / GAUGES).exists():
        return _unfinished_run(path, manifest)
    summary = read_stored(path / SUMMARY, StoredSummary) if (path / SUMMARY).exists() else {}
    return RunRecord(path, manifest, read_gauges(path / GAUGES), summary, tuple(read_series(path)))


def read_manifest(path: str | Path) -> dict[str, Any]:
    """run.json of a folder, checked and in the words of this version.

    Raises
    ------
    StoreError
        If it is missing, damaged, or not what a run writes.
    """
    file = Path(path) / MANIFEST
    raw = read_json_file(file)
    return checked(up_to_date(raw, file) if isinstance(raw, dict) else raw, StoredManifest, file)


def read_source(path: str | Path) -> dict[str, Any]:
    """case.json of a folder, checked: the case as it was written.

    Raises
    ------
    StoreError
        If it is missing, damaged, or not what a run writes.
    """
    file = Path(path) / SOURCE
    raw = read_json_file(file)
    if isinstance(raw, dict):
        raw = {OLD_NAMES.get(k, k): v for k, v in raw.items()}
    return checked(raw, StoredSource, file)


def up_to_date(manifest: dict[str, Any], path: Path) -> dict[str, Any]:
    """run.json in the words of this version, whichever wrote it.

    Raises
    ------
    StoreError
        If it was written in a format this version does not know.
    """
    written = format_of(manifest, FORMAT, path)
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


def read_gauges(path: str | Path) -> dict[str, NDArray[np.float64]]:
    """Columns of a gauges.csv, name -> array (N,).

    Raises
    ------
    StoreError
        If it is not a table of readings in order of time.
    """
    try:
        head, *rows = csv.reader(io.StringIO(read_file(path).decode("utf-8"), newline=""))
        table = np.array([[float(v) for v in row] for row in rows]).reshape(len(rows), len(head))
    except (ValueError, csv.Error) as error:
        raise StoreError(f"{path}: cannot be read: {error}") from error
    found = dict(zip(head, table.T, strict=True))
    _check_readings(path, found, len(head))
    return found


def _check_readings(path: str | Path, found: dict[str, NDArray[np.float64]], count: int) -> None:
    """Refuse columns that are no readings of gauges."""
    names = list(found)
    if names[:1] != [TIME] or len(names) != count:
        what = f"its first column must be {TIME}, and each name stand once"
    elif wrong := [n for n in names[1:] if not _known_unit(n)]:
        units = ", ".join(DISPLAY_UNITS)
        what = f"column {wrong[0][:40]!r}: a name that ends with a unit is expected: {units}"
    elif not found[TIME].size or np.any(np.diff(found[TIME]) < 0):
        what = "readings must be there, in order of time"
    elif not all(np.all(np.abs(values) <= MOST) for values in found.values()):
        what = "every reading must be a finite number"
    else:
        return
    raise StoreError(f"{path}: cannot be read: {what}")


def _known_unit(column: str) -> bool:
    """Whether the name of a column ends with a unit that is known."""
    rest, _, unit = column.rpartition("_")
    return bool(rest.partition("_")[2]) and unit in DISPLAY_UNITS
