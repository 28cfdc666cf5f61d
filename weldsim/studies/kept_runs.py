"""Runs of a search, kept in a folder: a search that was stopped resumes.

The end of a run is a small file of readings; the run that is under way, and a finished part that
others go on from, are states. `about` tells runs of one case apart: what is drawn on it, and how.
"""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path

from weldsim import __version__
from weldsim.case.load import Case
from weldsim.errors import StoreError
from weldsim.geometry.grades import GRADES
from weldsim.runs.state_files import read_state, write_state
from weldsim.runs.stored import read_json_file
from weldsim.schema.column import Column, Readings
from weldsim.simulation.model import Model
from weldsim.simulation.state import State
from weldsim.simulation.steps import Step, simulate
from weldsim.system.files import write_json

PATHS = ("material", "file")  # keys of a part that name files, whose contents count
REVISION = 1  # of what is kept; raised where the same inputs come to something else
EVERY = 20.0  # s of computing, after which the state of a run under way is kept again


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

    def state(self, model: Model, *about: str) -> State | None:
        """Where a run has come to.

        Parameters
        ----------
        model : Model
            Of the run.
        *about : str
            What else it depends on.

        Returns
        -------
        State or None
            None where it was not begun, or its file is damaged.
        """
        try:
            return read_state(self._state_path(model, about))
        except (StoreError, OSError):
            return None

    def put_state(self, model: Model, state: State, *about: str) -> None:
        """Keep where a run has come to.

        Parameters
        ----------
        model, state, about
            As in `state`.
        """
        write_state(self._state_path(model, about), state)

    def drop_state(self, model: Model, *about: str) -> None:
        """Forget where a run has come to: its end is kept otherwise.

        Parameters
        ----------
        model, about
            As in `state`.
        """
        with suppress(OSError):
            self._state_path(model, about).unlink(missing_ok=True)

    def _state_path(self, model: Model, about: tuple[str, ...]) -> Path:
        case = model.case  # its records may have been replaced by hand: they count as they are
        own = (repr(case.part), repr(case.welds), repr(model.grade), *about)
        return self._path(case, model.grade.name, own).with_suffix(".npz")

    def _path(self, case: Case, grade: str, about: tuple[str, ...] = ()) -> Path:
        resolved = {k: v for k, v in case.resolved.items() if k != "title"}
        resolved["part"] = {k: v for k, v in resolved["part"].items() if k not in PATHS}
        inputs = [
            __version__,
            REVISION,
            resolved,
            repr(case.solve),
            _contents(case),
            repr(GRADES[grade]),
            *about,
        ]
        name = hashlib.sha256(json.dumps(inputs, default=str).encode()).hexdigest()[:24]
        return self.folder / f"{name}.json"


def run_on(
    model: Model,
    start: State,
    tell: Callable[[Step], None],
    kept: KeptRuns | None = None,
    *about: str,
) -> State:
    """A run to its end, from where it was stopped before.

    Parameters
    ----------
    model : Model
        Of the run.
    start : State
        Where it begins.
    tell : callable(Step)
        Told of each step.
    kept : KeptRuns, optional
        Keeps the state every now and then, and when it is stopped.
    *about : str
        What else it depends on.

    Returns
    -------
    State
        At the end.
    """
    if kept is None:
        for step in simulate(model, start):
            start = step.state
            tell(step)
        return start
    state, written = kept.state(model, *about) or start, time.monotonic()
    try:
        for step in simulate(model, state):
            state = step.state
            tell(step)
            if time.monotonic() - written > EVERY:
                kept.put_state(model, state, *about)
                written = time.monotonic()
    finally:
        kept.put_state(model, state, *about)
    return state


def _contents(case: Case) -> list[str]:
    """What the files hold that a part names, wherever they lie."""
    found = [case.material_path]
    for path in (case.material_path, getattr(case.part, "file", None)):
        if path and Path(path).is_file():
            found.append(hashlib.sha256(Path(path).read_bytes()).hexdigest())
    return found
