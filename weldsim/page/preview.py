"""Quick look and rough run: a case on the coarsest mesh while a class waits.

The quick look takes the elastic model: shrinkage from each point's own peak temperature. It knows
where the heat goes and in which order, and loses what the direction of travel does. On a bar that
is heated through, its sideways bow comes out on the wrong side; it is for playing only. The rough
run takes the plastic model in the steps of the coarse grade: several times slower, right in sign.
Neither has an error estimate.
"""

from __future__ import annotations

from dataclasses import asdict, replace
from importlib.resources import files

import numpy as np

from weldsim.case.load import parse_case
from weldsim.runs.folder import RunFolder
from weldsim.runs.gauge_table import GaugeTable
from weldsim.runs.manifest import manifest_of, timetable, versions
from weldsim.runs.summary import summarise
from weldsim.schema.column import Readings
from weldsim.simulation.frame import field_frame
from weldsim.simulation.model import build_model
from weldsim.simulation.steps import simulate, start_state

TORCH_STEP = 1.2  # bead widths of travel in a step; with 0.8 the demo's end is 1.4 times as far
MOST_STEPS = 24  # of one arc; a longer seam goes in longer steps
REST_GROWTH = 1.0  # length of a step of a pause as a share of the time since the arc stopped
HEAT_TOLERANCE = 1e-3  # residual power; a thousand times that of a run, a quarter fewer iterations
REST_STEPS_PER_EQUILIBRIUM = 2  # while an arc burns each has its own
FRAMES = 12
GRADE = {"look": "sketch", "rough": "coarse"}  # at coarse a quick look takes twice as long
NOTES = {
    "look": "Quick look, for playing only: elastic model on a coarse mesh, no error estimate. It "
    "does not know what the direction of travel does, and where a bar is heated through even the "
    "side it bends to comes out wrong",
    "rough": "Rough run: plastic model on a coarse mesh, no error estimate. It shows which way and "
    "which order, not how much",
}


def preview_model(case, kind: str = "look"):
    """Model of the quick look (`look`) or of the rough run (`rough`) of a case."""
    law = "elastic" if kind == "look" else "plastic"
    case = replace(case, solve=replace(case.solve, model=law, companion=False))
    model = build_model(case, GRADE[kind])
    if kind == "rough":
        return model
    torch = TORCH_STEP
    for i, source in enumerate(model.sources):
        steps = source.duration / model.torch_time(i) * model.stepping.torch_step
        torch = max(torch, steps / MOST_STEPS)
    stepping = replace(
        model.stepping, torch_step=torch, heat_substeps=1, rest_growth=REST_GROWTH,
        heat_tolerance=HEAT_TOLERANCE, longest_last_rest=np.inf,
        rest_steps_per_equilibrium=REST_STEPS_PER_EQUILIBRIUM,
    )  # fmt: skip
    return model.with_stepping(stepping)


def steps_of(model):
    """States in equilibrium from the start to the end of the case, with what led to them."""
    yield start_state(model), "start"
    for step in simulate(model):
        if not step.state.steps_since_equilibrium:
            yield step.state, step.phase.partition(" ")[0]


def preview(text: str, source_file: str, folder: str, kind: str, tell) -> str:
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
    for state, phase in steps_of(model):
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


def picked(states, most: int = FRAMES) -> list[int]:
    """Which states are kept as frames: evenly, first, last and every end of an arc among them."""
    kinds = [kind for _, kind in states]
    ends = [
        i for i, k in enumerate(kinds) if k == "weld" and (i + 1 == len(kinds) or kinds[i + 1] != k)
    ]
    even = np.round(np.linspace(0, len(states) - 1, min(most, len(states)))).astype(int)
    return sorted({*even.tolist(), *ends})


def _finish(run, model, kind, state, rows) -> None:
    case = model.case
    shown = GaugeTable.of_readings(*zip(*rows, strict=True)).display()
    run.write_gauges(shown)
    arcs = timetable(model, state)
    summary = summarise(shown, arcs, case, solidus=model.material.solidus)
    run.write_json("summary.json", summary)
    manifest = {
        **manifest_of(model, state, "complete"),
        "case": {**case.resolved, "solve": asdict(case.solve)},
        "overrides": [], "grade": GRADE[kind], "warnings": [NOTES[kind]], "look": kind,
        "steps": state.steps, "simulated_s": state.time,
        "error_estimate": {"how": "a look has none", "values": {}},
    }  # fmt: skip
    run.write_json("run.json", manifest)


def warm_up() -> None:
    """Load and compile what a quick look needs, so that the first one is as fast as the next."""
    text = (files("weldsim") / "data" / "starters" / "bar.toml").read_text(encoding="utf-8")
    model = preview_model(parse_case(text, "bar.toml"))
    steps = steps_of(model)
    for _ in range(3):
        next(steps)
    versions()
