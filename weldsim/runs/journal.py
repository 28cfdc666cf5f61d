"""What a run has gathered, kept on disk as it goes: readings, frames, checkpoints.

A stopped or killed run goes on from its last checkpoint with the same bits as one that was never
stopped: the checkpoint holds the state and all that was gathered up to it.
"""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from weldsim.errors import StoreError
from weldsim.physics.quasi_newton import Kept
from weldsim.runs.folder import RunFolder
from weldsim.runs.gauge_table import GaugeTable
from weldsim.runs.manifest import manifest_of
from weldsim.runs.reading import MANIFEST
from weldsim.schema.column import Column
from weldsim.simulation.frame import field_frame
from weldsim.simulation.measures import PartingWatch
from weldsim.simulation.model import Model
from weldsim.simulation.state import State
from weldsim.simulation.steps import Step, start_state

CHECKPOINT_SECONDS = 15.0  # wall time between checkpoints: what kill -9 may cost
FRAMES = 72  # about this many pictures of the fields in a run
KEPT = "kept."  # before the names of a checkpoint's arrays of the kept factor
COOLING_STEPS = 60.0  # about so many steps follow the last arc


@dataclass(frozen=True)
class Record:
    """What the run has gathered besides the state; part of every checkpoint.

    Attributes
    ----------
    columns : what is read, gauges first, then the welds
    rows : (N, 1 + K) time and readings in SI
    frames, last_frame : number of frames written; step of the newest
    iterations, heat_iterations, retries : of all steps
    factorisations, back_substitutions : of their equilibria
    seconds : spent on the steps [s]
    largest_gap : of the energy balance on the way
    released : what each opening of clamps moved: time, clamps, change of each gauge in SI
    parted : time [s] and weld at which a cross-section was first liquid through; empty for never
    hinged : the same for one that was too hot through and through to carry anything
    """

    columns: tuple[Column, ...] = ()
    rows: tuple[Sequence[float], ...] = ()
    frames: int = 0
    last_frame: int = -1
    iterations: int = 0
    heat_iterations: int = 0
    retries: int = 0
    factorisations: int = 0
    back_substitutions: int = 0
    seconds: float = 0.0
    largest_gap: float = 0.0
    released: tuple[dict[str, Any], ...] = ()
    parted: tuple[Any, ...] = ()
    hinged: tuple[Any, ...] = ()

    def after(
        self,
        step: Step,
        row: tuple[float, ...],
        seconds: float,
        parts: bool = False,
        hinges: bool = False,
    ) -> Record:
        """The record with one more step; `parts`, `hinges`: what a cross-section then does."""
        released = self.released
        if step.phase == "release":
            change = [new - old for new, old in zip(row[1:], self.rows[-1][1:], strict=True)]
            opened = {
                "time_s": step.time,
                "clamps": list(step.state.released),
                "change": change[: len(step.gauges)],
            }
            released = (*released, opened)
        return replace(
            self,
            rows=(*self.rows, row),
            iterations=self.iterations + step.iterations,
            heat_iterations=self.heat_iterations + step.heat_iterations,
            retries=self.retries + step.retries,
            factorisations=self.factorisations + step.effort.factorisations,
            back_substitutions=self.back_substitutions + step.effort.back_substitutions,
            seconds=seconds,
            largest_gap=max(self.largest_gap, step.state.energy_balance.gap),
            released=released,
            parted=self.parted or ((step.time, step.phase) if parts else ()),
            hinged=self.hinged or ((step.time, step.phase) if hinges else ()),
        )

    @property
    def table(self) -> GaugeTable:
        """All readings so far."""
        rows = np.array(self.rows)
        return GaugeTable(self.columns, rows[:, 0], rows[:, 1:])

    @property
    def shown_releases(self) -> list[dict[str, Any]]:
        """`released` by the names and in the units of gauges.csv."""
        out = []
        for opened in self.released:
            moved = zip(self.columns, opened["change"], strict=False)  # gauges come first
            out.append({**opened, "change": {c.name: c.factor * v for c, v in moved}})
        return out

    def to_extra(self) -> dict[str, Any]:
        """The record as a checkpoint keeps it."""
        return {**vars(self), "columns": [[c.gauge, c.component, c.unit] for c in self.columns]}

    @classmethod
    def from_extra(cls, extra: Mapping[str, Any]) -> Record:
        """The record of a checkpoint."""
        columns = tuple(Column(*parts) for parts in extra["columns"])
        tuples = {
            name: tuple(extra.get(name, ())) for name in ("rows", "released", "parted", "hinged")
        }
        return cls(**{**extra, **tuples, "columns": columns})


class Journal:
    """State and record of a run that is under way, and its folder.

    Both are replaced at once, so that whatever stops the run finds a pair that belongs together.
    """

    def __init__(
        self, folder: RunFolder, model: Model, checkpoint_seconds: float = CHECKPOINT_SECONDS
    ) -> None:
        self.folder, self.model = folder, model
        self.state: State = start_state(model)
        self.kept: Kept | None = None  # what the next step may begin with
        self.record = Record()
        self._every = checkpoint_seconds
        self._clock = FrameClock(model, FRAMES)
        self._watch = PartingWatch(model)
        self._began = self._saved = time.perf_counter()
        self._before = 0.0

    def begin(self) -> None:
        """The part before the first arc."""
        columns = (*self.model.read(self.state), *self.model.weld_temperatures(self.state))
        self.record = Record(columns, (row_of(self.model, self.state),))
        self._frame()

    def go_on(self) -> bool:
        """Take up the last checkpoint; False when there is none."""
        found = self.folder.last_checkpoint()
        if found is None:
            return False
        arrays, extra = found
        try:
            state, self.record = State.from_arrays(arrays), Record.from_extra(extra)
            self.kept = self._kept_of(arrays)
            self.state = _of_the_shape(state, self.state)
        except (KeyError, TypeError, ValueError, AttributeError):
            raise StoreError(
                f"{self.folder.path}: its checkpoint was written by another version of weldsim, "
                "which kept the state otherwise; run its case into a new folder"
            ) from None
        self._before = self.record.seconds
        return True

    def add(self, step: Step) -> None:
        """Note an accepted step; a frame and a checkpoint when they are due."""
        seconds = self._before + time.perf_counter() - self._began
        parts = not self.record.parted and self._watch.parts(step.state)
        hinges = not self.record.hinged and self._watch.hinges(step.state)
        record = self.record.after(step, row_of(self.model, step.state), seconds, parts, hinges)
        self.state, self.record, self.kept = step.state, record, step.effort.kept
        if self._clock.due(step):
            self._frame()
        if time.perf_counter() - self._saved > self._every:
            self.checkpoint()

    def checkpoint(self) -> None:
        """Write the pair of state and record."""
        arrays = self.state.to_arrays()
        if self.kept is not None:
            arrays |= {KEPT + name: value for name, value in self.kept.to_arrays().items()}
        self.folder.write_checkpoint(self.state.steps, arrays, self.record.to_extra())
        self._saved = time.perf_counter()

    def _kept_of(self, arrays: Mapping[str, Any]) -> Kept | None:
        """The factor of a checkpoint; without it the next step would end within the tolerance, but
        not at the same bits."""
        own = {k.removeprefix(KEPT): v for k, v in arrays.items() if k.startswith(KEPT)}
        if not own:
            return None
        mechanics, springs = self.model.mechanics, self.model.springs(self.state)
        if mechanics.card is not None:
            on_card: Kept = mechanics.card.kept_from(own, springs)
            return on_card
        return Kept.from_arrays(mechanics.solver, own, springs)

    def close(self) -> None:
        """Last frame and checkpoint of a march that has come to its end."""
        self._frame()
        self.checkpoint()

    def tell(self, status: str, **more: Any) -> None:
        """Write run.json as far as it is known."""
        manifest = manifest_of(self.model, self.state, status)
        self.folder.write_json(MANIFEST, {**manifest, **more})

    def _frame(self) -> None:
        if self.record.last_frame == self.state.steps:
            return
        self.folder.write_frame(
            self.record.frames, field_frame(self.model, self.state), self.model.part
        )
        self.record = replace(
            self.record, frames=self.record.frames + 1, last_frame=self.state.steps
        )


class FrameClock:
    """Which steps keep their fields: evenly many, and the first of every phase.

    Parameters
    ----------
    model : Model
    frames : int or None
        About how many; None for every step, 0 for none.
    """

    def __init__(self, model: Model, frames: int | None) -> None:
        self._never = frames == 0
        self._every = 1 if not frames else max(1, round(expected_steps(model) / frames))
        self._phase = "rest"

    def due(self, step: Step) -> bool:
        """Whether a step keeps its fields; asked once for each, in order."""
        changed, self._phase = step.phase != self._phase, step.phase
        return not self._never and (changed or step.state.steps % self._every == 0)


def _of_the_shape(state: State, start: State) -> State:
    """A state that was read, if its arrays have the shapes and types of this model's."""
    due = start.to_arrays()
    for name, values in state.to_arrays().items():
        if values.dtype.kind != "U" and (values.shape, values.dtype) != (
            due[name].shape,
            due[name].dtype,
        ):
            raise ValueError(f"{name} has another shape")
    return state


def row_of(model: Model, state: State) -> tuple[float, ...]:
    """Time and readings of a state, the welds' own temperatures last. [s, SI]"""
    welds = model.weld_temperatures(state)
    return (state.time, *model.read(state).values(), *welds.values())


def expected_steps(model: Model) -> float:
    """About how many steps a case takes, cooling included."""
    torch = sum(s.duration / model.torch_time(i) for i, s in enumerate(model.sources))
    return float(torch) + COOLING_STEPS
