"""Preview and coarse run of a case into a run folder that everything else can read.

How they are computed is in `simulation.preview`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from importlib.resources import files
from itertools import islice

import numpy as np

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

MOST_FRAMES = 12  # besides the end of each arc
NOTES = {
    "look": "Preview: plastic model at grade sketch in long steps, no estimated error. It shows "
    "which way and which sequence, not how much",
    "rough": "Coarse run: plastic model at grade coarse, no estimated error. It shows which way "
    "and which sequence, not how much",
}


def preview(text: str, source_file: str, folder: str, kind: str, tell: Tell) -> str:
    """Compute a preview of a case into a run folder that everything else can read.

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
    states, rows = [], []
    for state, phase in equilibrium_states(model):
        row = {**model.read(state), **model.weld_temperatures(state)}
        rows.append((state.time, Readings(row)))
        states.append((state, phase))
        tell(0.95 * model.progress(state), f"{phase}, {state.time:.0f} s")
    run = RunFolder.create(folder, case.title)
    record = {"source": text, "source_file": source_file, "overrides": [], "companion": False}
    run.write_json("case.json", record)
    for number, index in enumerate(picked(states)):
        run.write_frame(number, field_frame(model, states[index][0]), model.part)
    _finish(run, model, kind, states[-1][0], rows)
    return str(run.path)


def picked(states: Sequence[tuple[State, str]], most: int = MOST_FRAMES) -> list[int]:
    """Which states are kept as frames: evenly, first, last and every end of an arc among them.

    Parameters
    ----------
    states : sequence of (State, str)
        With the kind of event that led to each.
    most : int, optional
        Without the ends of arcs.

    Returns
    -------
    list of int
        Their numbers, in order.
    """
    kinds = [kind for _, kind in states]
    ends = [
        i for i, k in enumerate(kinds) if k == "weld" and (i + 1 == len(kinds) or kinds[i + 1] != k)
    ]
    even = np.round(np.linspace(0, len(states) - 1, min(most, len(states)))).astype(int)
    return sorted({*even.tolist(), *ends})


def _finish(
    run: RunFolder, model: Model, kind: str, state: State, rows: list[tuple[float, Readings]]
) -> None:
    case = model.case
    shown = GaugeTable.of_readings(*zip(*rows, strict=True)).display()
    run.write_gauges(shown)
    arcs = timetable(model, state)
    summary = summarise(shown, arcs, case, solidus=model.material.solidus)
    run.write_json("summary.json", summary)
    manifest = {
        **manifest_of(model, state, "complete"),
        "case": {**case.resolved, "solve": asdict(case.solve)},
        "overrides": [], "grade": PREVIEW_GRADES[kind], "warnings": [NOTES[kind]], "look": kind,
        "steps": state.steps, "simulated_s": state.time,
        "error_estimate": {"how": "a look has none", "values": {}},
    }  # fmt: skip
    run.write_json("run.json", manifest)


def warm_up() -> None:
    """Load and compile what a preview needs, so that the first one is as fast as the next."""
    text = (files("weldsim") / "data" / "starters" / "bar.toml").read_text(encoding="utf-8")
    model = preview_model(parse_case(text, "bar.toml"))
    for _ in islice(equilibrium_states(model), 3):
        pass
    versions()
