"""Preview and coarse run of a case into a run folder that can be read while it grows.

How it is computed is in `simulation.preview`.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from importlib.resources import files
from itertools import islice
from typing import Any

from weldsim.case.load import parse_case
from weldsim.page.worker_process import Tell
from weldsim.runs.folder import RunFolder
from weldsim.runs.gauge_table import GaugeTable
from weldsim.runs.manifest import manifest_of, timetable, versions
from weldsim.runs.summary import summarise
from weldsim.schema.column import Readings
from weldsim.simulation.frame import field_frame
from weldsim.simulation.model import Model
from weldsim.simulation.preview import PREVIEW_GRADES, equilibrium_states, preview_model
from weldsim.simulation.state import State

FRAME_SHARE = 1 / 16  # of the way, between two frames besides the ends of arcs
NOTES = {
    "look": "Preview: plastic model at grade sketch in long steps, no estimated error. It shows "
    "which way and which sequence, not how much",
    "rough": "Coarse run: plastic model at grade coarse, no estimated error. It shows which way "
    "and which sequence, not how much",
}


def preview(text: str, source_file: str, folder: str, kind: str, tell: Tell) -> str:
    """Compute a preview of a case into a run folder that can be read from the first state on.

    Parameters
    ----------
    text, source_file : str
        The case as `parse_case` takes it.
    folder : str
        To be made.
    kind : str
        `look` or `rough`.
    tell : callable(share, text)
        Told after each step; what it raises stops it.

    Returns
    -------
    str
        The folder.
    """
    tell(0.0, "meshing")
    case = parse_case(text, source_file)
    model = preview_model(case, kind)
    run = RunFolder.create(folder, case.title)
    record = {"source": text, "source_file": source_file, "overrides": [], "error_estimate": False}
    run.write_json("case.json", record)
    growing = Growing(run, model, kind)
    try:
        for state, phase in equilibrium_states(model):
            growing.take(state, phase)
            tell(0.95 * model.progress(state), f"{phase}, {state.time:.0f} s")
    except BaseException:
        growing.show("stopped")
        raise
    growing.finish()
    return str(run.path)


@dataclass
class Growing:
    """A run folder that shows each state soon after it was found.

    Attributes
    ----------
    run : RunFolder
        Empty but for the case.
    model : Model
        Of the case.
    kind : str
        `look` or `rough`.
    """

    run: RunFolder
    model: Model
    kind: str
    _rows: list[tuple[float, Readings]] = field(default_factory=list)
    _last: tuple[State, str] | None = None
    _frames: int = 0
    _shown: float = -1.0  # share of the way at which the last frame was written
    _pending: bool = False  # whether the last state is on no frame yet

    def take(self, state: State, phase: str) -> None:
        """Read a state; show it where enough has happened, and the end of each arc.

        Parameters
        ----------
        state : State
            In equilibrium.
        phase : str
            Kind of the event that led to it.
        """
        if self._last is not None and self._last[1] == "weld" != phase:
            self.show()
        row = {**self.model.read(state), **self.model.weld_temperatures(state)}
        self._rows.append((state.time, Readings(row)))
        self._last, self._pending = (state, phase), True
        if self.model.progress(state) >= self._shown + FRAME_SHARE:
            self.show()

    def show(self, status: str = "running") -> None:
        """Write the last state with all readings so far.

        Parameters
        ----------
        status : {"running", "stopped", "complete"}, optional
            Of the run.
        """
        if self._last is None:
            return
        state = self._last[0]
        readings = GaugeTable.of_readings(*zip(*self._rows, strict=True)).display()
        self.run.write_gauges(readings)
        self.run.write_json("run.json", self._manifest(state, status))
        if self._pending:
            self.run.write_frame(self._frames, field_frame(self.model, state), self.model.part)
            self._frames += 1
            self._shown, self._pending = self.model.progress(state), False
        if status == "complete":
            arcs, solidus = timetable(self.model, state), self.model.material.solidus
            summary = summarise(readings, arcs, self.model.case, solidus=solidus)
            self.run.write_json("summary.json", summary)

    def finish(self) -> None:
        """Write what is left and call it complete."""
        self.show("complete")

    def _manifest(self, state: State, status: str) -> dict[str, Any]:
        case = self.model.case
        return {
            **manifest_of(self.model, state, status),
            "case": {**case.resolved, "solve": asdict(case.solve)},
            "overrides": [], "grade": PREVIEW_GRADES[self.kind], "warnings": [NOTES[self.kind]],
            "look": self.kind, "steps": state.steps, "simulated_s": state.time,
            "error_estimate": {"how": "a preview has none", "values": {}},
        }  # fmt: skip


def warm_up() -> None:
    """Load and compile what a preview needs, so that the first one is as fast as the next."""
    text = (files("weldsim") / "data" / "starters" / "bar.toml").read_text(encoding="utf-8")
    model = preview_model(parse_case(text, "bar.toml"))
    for _ in islice(equilibrium_states(model), 3):
        pass
    versions()
