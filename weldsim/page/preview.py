"""Quick look and rough run: a case on the coarsest mesh while a class waits.

The quick look takes the elastic model: shrinkage from each point's own peak temperature. It knows
where the heat goes and in which order, and loses what the direction of travel does. On a bar that
is heated through, its sideways bow comes out on the wrong side; it is for playing only. The rough
run takes the plastic model in the steps of the coarse grade: several times slower, right in sign.
Neither has an error estimate.
"""

from __future__ import annotations

from copy import copy
from dataclasses import asdict, replace
from importlib.resources import files

import numpy as np

from weldsim.case.load import parse_case
from weldsim.physics.mechanics import Properties, accept
from weldsim.runs.folder import RunFolder
from weldsim.runs.gauge_table import GaugeTable
from weldsim.runs.manifest import manifest_of, timetable, versions
from weldsim.runs.summary import summarise
from weldsim.schema.column import Readings
from weldsim.simulation.steps import (
    advance,
    build_model,
    equilibrium_of,
    field_frame,
    heat_to_limit,
    next_event,
    start_state,
)

TORCH_STEP = 1.2  # bead widths of travel in a step; with 0.8 the demo's end is 1.4 times as far
MOST_STEPS = 24  # of one arc; a longer seam goes in longer steps
REST_GROWTH = 1.0  # length of a step of a pause as a share of the time since the arc stopped
HEAT_TOLERANCE = 1e-3  # residual power; a thousand times that of a run, a quarter fewer iterations
EVERY = 2  # steps of a pause for one equilibrium; while an arc burns each has its own
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
    model = copy(build_model(case, GRADE[kind]))
    if kind == "rough":
        return model
    torch = TORCH_STEP
    for i, source in enumerate(model.sources):
        steps = source.duration / model.torch_time(i) * model.grade.torch_step
        torch = max(torch, steps / MOST_STEPS)
    model.grade = replace(model.grade, torch_step=torch, heat_substeps=1, rest_growth=REST_GROWTH)
    model.heat = copy(model.heat)
    model.heat.tolerance = HEAT_TOLERANCE
    return model


def steps_of(model):
    """Settled states from the start to the end of the case, with what led to them."""
    state, elastic = start_state(model), model.case.solve.model == "elastic"
    yield state, "start"
    count, kind = 0, "start"
    while (event := next_event(model, state)) is not None:
        event = _longer(model, state, event)
        if event.kind in ("release", "grip") or not elastic:
            state, _ = advance(model, state, event)
            yield state, event.kind
            continue
        kind = event.kind
        state = _heated(model, state, event)
        count += 1
        due = kind == "weld" or any(model.changes(state))
        if count % EVERY == 0 or due:
            count = 0
            state = _settled(model, state)
            yield state, kind
    if count:
        yield _settled(model, state), kind


def _longer(model, state, event):
    """The last pause in steps that grow without end: the pipeline's stop growing at 120 s."""
    if event.kind != "rest" or np.isnan(state.stops).any():
        return event
    longer = model.grade.rest_growth * (state.time - float(state.stops.max()))
    room = model.next_change(state) - state.time
    if model.case.solve.end != "cold":
        room = min(room, model.case.solve.end - state.time)
    return replace(event, duration=max(event.duration, min(longer, room)))


def _heated(model, state, event):
    """State after a step of the heat alone, its shrinkage brought up to date."""
    heated, _ = heat_to_limit(model, state, event)
    now = model.at_quadrature(heated.temperature)
    properties = Properties.of(model.material, now, model.active_points(heated), softens=False)
    return replace(
        heated, internal_variables=model.shrink(heated, now, properties), steps=state.steps + 1
    )


def _settled(model, state):
    """The same state in equilibrium. As in the pipeline, filler not laid is free of stress."""
    found, properties = equilibrium_of(model, state, state)
    properties = replace(properties, thermal_strain=np.zeros_like(properties.thermal_strain))
    waiting = ~model.active_points(state)
    internal_variables, stress = accept(
        model.mechanics, found, properties, state.internal_variables, waiting
    )
    return replace(
        state, displacement=found.displacement, internal_variables=internal_variables,
        stress=stress, reaction=found.reaction,
    )  # fmt: skip


def preview(text: str, source_file: str, folder: str, kind: str, progress) -> str:
    """Compute a preview of a case into a run folder that everything else can read.

    Parameters
    ----------
    text, source_file : str
        The case as `parse_case` takes it.
    folder : str
        To be made.
    kind : str
        `look` or `rough`.
    progress : callable(share, text)
        Told after each step; what it raises stops it.

    Returns
    -------
    str
        The folder.
    """
    progress(0.0, "meshing")
    case = parse_case(text, source_file)
    model = preview_model(case, kind)
    states, rows = [], []
    for state, phase in steps_of(model):
        row = {**model.read(state), **model.weld_temperatures(state)}
        rows.append((state.time, Readings(row)))
        states.append((state, phase))
        progress(0.95 * model.progress(state), f"{phase}, {state.time:.0f} s")
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
