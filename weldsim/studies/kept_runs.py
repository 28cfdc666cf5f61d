"""Ends of the runs of a search, kept in a folder: a search that was stopped resumes."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path

from weldsim import __version__
from weldsim.case.load import Case
from weldsim.errors import StoreError
from weldsim.geometry.grades import GRADES
from weldsim.runs.stored import read_json_file
from weldsim.schema.column import Column, Readings
from weldsim.system.files import write_json

PATHS = ("material", "file")  # keys of a part that name files, whose contents count
REVISION = 1  # of what is kept; raised where the same inputs come to something else


class KeptRuns:
    """Cold readings of runs by what they depend on.

    Parameters
    ----------
    folder : path
        One small file a run.
    """

    def __init__(self, folder: str | Path) -> None:
        self.folder = Path(folder)

    def get(self, case: Case, grade: str) -> tuple[Readings, float] | None:
        """What a run came to before.

        Parameters
        ----------
        case : Case
            As it was run.
        grade : str
            Of the run.

        Returns
        -------
        tuple of Readings and float, or None
            All gauges at the end [SI] and the largest force of a clamp [N]; None where it was not
            run, or its file is damaged.
        """
        path = self._path(case, grade)
        try:
            found = read_json_file(path) if path.is_file() else None
            if found is None:
                return None
            columns = [Column(*c) for c in found["columns"]]
            return Readings(dict(zip(columns, found["values"], strict=True))), found["force_N"]
        except (StoreError, KeyError, TypeError, ValueError):
            return None

    def put(
        self, case: Case, grade: str, readings: Mapping[Column, float], force: float = 0.0
    ) -> None:
        """Keep what a run came to.

        Parameters
        ----------
        case : Case
            As it was run.
        grade : str
            Of the run.
        readings : mapping
            All gauges at the end. [SI]
        force : float, optional
            Largest force of a clamp. [N]
        """
        kept = {
            "columns": [[c.gauge, c.component, c.unit] for c in readings],
            "values": [float(v) for v in readings.values()],
            "force_N": float(force),
        }
        write_json(self._path(case, grade), kept)

    def _path(self, case: Case, grade: str) -> Path:
        resolved = {k: v for k, v in case.resolved.items() if k != "title"}
        resolved["part"] = {k: v for k, v in resolved["part"].items() if k not in PATHS}
        inputs = [
            __version__,
            REVISION,
            resolved,
            repr(case.solve),
            _contents(case),
            repr(GRADES[grade]),
        ]
        name = hashlib.sha256(json.dumps(inputs, default=str).encode()).hexdigest()[:24]
        return self.folder / f"{name}.json"


def _contents(case: Case) -> list[str]:
    """What the files hold that a part names, wherever they lie."""
    found = [case.material_path]
    for path in (case.material_path, getattr(case.part, "file", None)):
        if path and Path(path).is_file():
            found.append(hashlib.sha256(Path(path).read_bytes()).hexdigest())
    return found
