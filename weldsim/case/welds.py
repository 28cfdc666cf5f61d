"""Arc stretches in order of welding, from [arc], [schedule] and [[weld]]."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from weldsim.case.keys import SECTIONS
from weldsim.case.order import Wanted, in_order
from weldsim.case.passes import pieces
from weldsim.case.tables import Tables
from weldsim.case.travel import directions_of
from weldsim.geometry.path import SeamLine
from weldsim.schema.process import PROCESSES
from weldsim.schema.quantities import WRONG
from weldsim.schema.records import Arc, Clamp, StartRule, Tack, Weld
from weldsim.schema.rules import read_rule, start_rule
from weldsim.schema.section_checks import is_known, such_as

NEEDED = ("process", "current", "voltage", "efficiency", "speed")
ARC = (
    *NEEDED, "front_length", "rear_length", "half_width", "depth", "weave", "weave_rate", "dwell",
    "crater",
)  # fmt: skip
MOST_STRETCHES = 200  # of a pass
BETWEEN_TACKS = 5.0  # s from the end of a tack to the arc of the next
SLACK = 1e-6  # m; a stretch may be this much longer than its seam


@dataclass
class WeldsSoFar:
    """Welds read so far, and what all of them share."""

    tables: Tables
    part: Any
    arc: Any
    schedule: Any
    welds: list[Weld] = field(default_factory=list)
    idle: dict[str, float] = field(default_factory=dict)  # s around the arc of a weld, see `_idle`

    @property
    def last(self) -> str | None:
        """Name of the weld before the next one."""
        return self.welds[-1].name if self.welds else None


def read_welds(
    tables: Tables,
    part: Any,
    written: Sequence[tuple[str, Any]],
    tacks: Sequence[Tack],
    clamps: Sequence[Clamp],
) -> tuple[tuple[Weld, ...], float | None]:
    """Welds of the case in order, arc-welded tacks first.

    Parameters
    ----------
    tables : Tables
        Where they stand, and where mistakes are noted.
    part : record of a joint kind
        What is welded.
    written : sequence of (str, JointWeldSection)
        [[weld]] sections by name.
    tacks : sequence of Tack
        Those with an arc are welded first.
    clamps : sequence of Clamp
        Toward or away from which a travel may be said to go.

    Returns
    -------
    welds : tuple of Weld
        In order of welding.
    cooling_film_coefficient : float or None
        Of forced cooling between them. [W/(m2 K)]
    """
    kind = tables.kind
    arc, schedule = (
        tables.one(name, {}) if name in kind.sections else _nothing(name)
        for name in ("arc", "schedule")
    )
    if schedule.pause is not None and schedule.interpass is not None:
        text = "write either pause or interpass, not both"
        tables.say("schedule", "", "interpass", schedule.interpass, text)
    lines = kind.seam_lines(part)
    so_far = WeldsSoFar(tables, part, arc, schedule)
    wanted = in_order(tables, schedule, written, lines)
    for number, tack in enumerate(tacks):
        if tack.arc:
            _add_tack(so_far, number, tack, lines[tack.seam])
    faces = [face for clamp in clamps for face in clamp.at]
    clamped = [kind.place(part, face) for face in faces if kind.has_place(part, face)]
    for one in wanted:
        _add(so_far, one, directions_of(one.line, part, clamped))
    if not so_far.welds and not kind.seams_of_welds:
        _check_any(tables, lines)
    return tuple(so_far.welds), schedule.cooling_film_coefficient


def _nothing(section: str) -> Any:
    """A section that this kind of joint does not have."""
    return SECTIONS[section]()


def _check_any(tables: Tables, lines: Mapping[str, SeamLine]) -> None:
    """That something is welded, unless a mistake in it has been told."""
    if any(m.section == "weld" or m.key.startswith("order") for m in tables.mistakes):
        return
    words = ", ".join(f'"{n}:{next(iter(v.directions))}"' for n, v in list(lines.items())[:2])
    text = f"missing, allowed: seams in sequence with their travel, such as [{words}], or [[weld]] "
    tables.say("schedule", "", "order", None, text + "sections")


def _add(so_far: WeldsSoFar, wanted: Wanted, directions: dict[str, int]) -> None:
    """The welds of all passes of one item of the order."""
    direction = directions.get(wanted.travel)
    if direction is None:
        words = " or ".join(f'"{w}"' for w in directions)
        text = f"{wanted.travel!r} is not allowed on {wanted.line.name}: write {words}"
        _say(so_far.tables, wanted, "travel", wanted.travel, text)
        return
    for number in wanted.passes:
        _add_pass(so_far, wanted, number, direction)


def _say(tables: Tables, wanted: Wanted, key: str, value: object, text: str) -> None:
    section, name, before = wanted.where
    tables.say(section, name, f"{before} {key}".strip(), value, text)


def _add_pass(so_far: WeldsSoFar, wanted: Wanted, number: int, direction: int) -> None:
    """Stretches of one pass in order, with their start rules."""
    section, line = wanted.section, wanted.line
    values = _arc_of(so_far, wanted)
    runs = _stretches(so_far.tables, wanted, direction)
    label = wanted.name if len(wanted.passes) == 1 else f"{wanted.name}.{number}"
    own = (
        {"filler": section.filler, "shrinkage_along": section.shrinkage_along,
         "shrinkage_across": section.shrinkage_across}
        if section else {}
    )  # fmt: skip
    for count, (begin, finish, way) in enumerate(runs, 1):
        last = so_far.last
        rule = StartRule("after", 0.0, last) if count > 1 else _start(so_far, wanted)
        name = label if len(runs) == 1 else f"{label}.{count}"
        arc = arc_on(line, values)
        so_far.idle[name] = _idle(line, arc, finish - begin, so_far.schedule.pause)
        so_far.welds.append(
            Weld(
                name=name, begin=begin, finish=finish, travel=wanted.travel,
                start=_later(rule, so_far.idle, name), seam=line.name, number=number,
                direction=way, arc=arc, bead_width=line.width, **own,
            )
        )  # fmt: skip


def _idle(line: SeamLine, arc: Arc, length: float, pause: Any) -> float:
    """Time the beads of a run would take longer than its arc burns; none of one that travels."""
    if not line.at_once:
        return 0.0
    usual = pause if isinstance(pause, float) and is_known(pause) else 0.0
    waits = sum(usual if wait is None else wait for wait in line.waits)
    return arc.beads * length / arc.speed + waits - length / arc.pace


def _later(rule: StartRule, idle: Mapping[str, float], name: str) -> StartRule:
    """A rule about time with the beads' heat amid the time that laying them takes."""
    if rule.kind not in ("time", "after"):
        return rule
    before = idle.get(rule.weld, 0.0) if rule.weld else 0.0
    return replace(rule, seconds=rule.seconds + before / 2 + idle[name] / 2)


def _stretches(tables: Tables, wanted: Wanted, direction: int) -> list[tuple[float, float, int]]:
    """(begin, finish, direction) of each stretch of a pass; none where it does not fit."""
    section, room = wanted.section, wanted.line.length
    begin = section.begin if section and section.begin is not None else 0.0
    finish = section.finish if section and section.finish is not None else room
    if finish > room + SLACK:
        text = f"{1e3 * finish:.4g} mm is beyond the seam, allowed: up to {1e3 * room:.4g} mm"
        _say(tables, wanted, "to", finish, text)
        return []
    if finish <= begin:
        _say(tables, wanted, "to", finish, f"{1e3 * finish:.4g} mm is not beyond from")
        return []
    pattern = section.pattern if section and is_known(section.pattern) else "continuous"
    segment = section.segment if section else None
    if pattern != "continuous" and segment is None:
        text = f'missing key for {pattern}, such as "20 mm"'
        _say(tables, wanted, "segment", None, text)
        return []
    many = segment is not None and finish - begin > MOST_STRETCHES * segment
    if pattern != "continuous" and many:
        text = (
            f"{1e3 * (segment or 0.0):.3g} mm makes more than {MOST_STRETCHES} stretches of this "
            "pass, allowed: longer ones"
        )
        _say(tables, wanted, "segment", segment, text)
        return []
    return pieces(begin, min(finish, room), direction, pattern, segment)


def _arc_of(so_far: WeldsSoFar, wanted: Wanted) -> dict[str, Any]:
    """Arc values of a pass: its own before those of [arc]."""
    values: dict[str, Any] = {}
    for key in ARC:
        own = getattr(wanted.section, key, None)
        values[key] = getattr(so_far.arc, key) if own is None else own
    for key in NEEDED:
        if values[key] is None:
            text = f"missing here and in [arc]{such_as('arc', key)}"
            _say(so_far.tables, wanted, key, None, text)
            values[key] = WRONG
    process = values["process"]
    if is_known(process) and process not in PROCESSES:
        listed = ", ".join(f"{k} {v[0]}" for k, v in PROCESSES.items())
        text = f"{process!r} is unknown, allowed (ISO 4063): {listed}"
        _say(so_far.tables, wanted, "process", process, text)
    if (values["weave"] or 0) > 0 and values["weave_rate"] is None:
        text = 'missing key beside weave, such as "2 Hz"'
        _say(so_far.tables, wanted, "weave_rate", None, text)
    return values


def arc_on(line: SeamLine, values: Mapping[str, Any]) -> Arc:
    """The arc of a weld on a seam.

    Parameters
    ----------
    line : SeamLine
        The seam, which sizes what is not stated.
    values : mapping
        Of each key in `ARC`, None where nothing is stated; an ellipsoid that is not stated is as
        wide as a pass and as deep as it has to fuse.

    Returns
    -------
    Arc
        Whole, in SI.
    """
    half = float(line.width / np.sqrt(line.passes) / 2)
    usual: dict[str, Any] = {
        "half_width": half,
        "front_length": half,
        "rear_length": 2 * half,
        "depth": line.depth,
    }
    out: dict[str, Any] = {k: values[k] or usual[k] for k in usual}
    out |= {k: values[k] for k in NEEDED}
    out |= {k: values[k] or 0.0 for k in ("weave", "weave_rate", "dwell", "crater")}
    if line.at_once:  # a place is heated as long as by the arc that passes it
        passing = out["front_length"] + out["rear_length"]
        out["speed_up"] = max(1.0, line.length / passing)
    return Arc(**out, beads=line.beads, spread=(line.beads - 1) * line.width / 2)


def _start(so_far: WeldsSoFar, wanted: Wanted) -> StartRule:
    """A weld's own rule, else the schedule's pause or interpass rule after the one before."""
    section, schedule, last = wanted.section, so_far.schedule, so_far.last
    if section is not None and section.start is not None:
        mistakes = so_far.tables.mistakes
        return read_rule(start_rule, section.start, "weld", wanted.name, "start", mistakes)
    if last is None:
        return StartRule("time", 0.0)
    if schedule.interpass is not None and is_known(schedule.interpass):
        return StartRule("below", 0.0, None, schedule.interpass)
    if schedule.pause == "cold":
        return StartRule("cold")
    pause = schedule.pause if schedule.pause is not None and is_known(schedule.pause) else 0.0
    return StartRule("after", pause, last)


def _add_tack(so_far: WeldsSoFar, number: int, tack: Tack, line: SeamLine) -> None:
    """The arc that lays a tack."""
    name, last = f"tack{number + 1}", so_far.last
    travel = next(iter(line.directions))
    values = _arc_of(so_far, Wanted(name, None, line, (1,), travel, tack=number + 1))
    start = StartRule("after", BETWEEN_TACKS, last) if last else StartRule("time", 0.0)
    so_far.welds.append(
        Weld(
            name=name, begin=tack.begin, finish=tack.finish, travel=travel, start=start,
            seam=line.name, number=1, direction=1, tack=number,
            arc=arc_on(line, values), bead_width=line.width,
        )
    )  # fmt: skip
