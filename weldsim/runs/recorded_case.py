"""The case that run.json holds, as records: one place that knows its keys and what old runs lack.

A run folder is read long after the case file may have changed, and by programs newer than the one
that wrote it. So a key that is not there has the value it would have had then.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, TypeVar

import numpy as np

from weldsim.joints.protocol import JointKind
from weldsim.joints.registry import joint_kind
from weldsim.runs.reading import RunRecord

_Record = TypeVar("_Record")


@dataclass(frozen=True)
class RecordedRule:
    """When something starts or a clamp comes off. `seconds` [s], `temperature` [K]."""

    kind: str
    seconds: float = 0.0
    weld: str | None = None
    temperature: float = 0.0


@dataclass(frozen=True)
class RecordedPart:
    """The part: its sizes as far as it is a bar [m], and what it is made of."""

    kind: str = "bar"
    material: str = ""
    up: str = "+z"
    length: float = 0.0
    width: float = 0.0
    thickness: float = 0.0
    penetration: float | None = None


@dataclass(frozen=True)
class RecordedWeld:
    """A weld in SI: where it lies, and how it is laid.

    Attributes
    ----------
    face, line, at : face and line of a bar that a bead lies on, and where [m]; empty on a joint
    seam, number : seam and pass
    begin, finish : ends along the seam [m]
    tack : number of the tack that the arc lays, -1 for none
    filler : whether metal is added
    speed, bead_width : [m/s, m]
    """

    name: str
    seam: str = ""
    number: int = 1
    travel: str = ""
    face: str = ""
    line: str = ""
    at: float = 0.0
    begin: float = 0.0
    finish: float = 0.0
    tack: int = -1
    filler: bool = True
    process: str = ""
    current: float | None = None
    voltage: float | None = None
    speed: float | None = None
    speed_up: float = 1.0
    bead_width: float = 0.0

    @property
    def is_tack(self) -> bool:
        """Whether the arc lays a tack."""
        return self.tack >= 0

    @property
    def group(self) -> str:
        """The seam, on a bar the weld itself: what welds of one colour and one line share."""
        return self.name if self.face or not self.seam else self.seam


@dataclass(frozen=True)
class RecordedClamp:
    """A clamp. `stiffness` [N/m], `turning` [N m/rad], `conductance` [W/m2/K]."""

    name: str
    at: tuple[str, ...] = ()
    kind: str = "rigid"
    stiffness: float = 0.0
    turning: float = 0.0
    conductance: float = 0.0
    on: RecordedRule | None = None
    off: RecordedRule = RecordedRule("never")
    slides: bool = False


@dataclass(frozen=True)
class RecordedGauge:
    """A gauge: its kind, where it sits (a name or a place [m]), and what it looks along."""

    name: str
    kind: str = ""
    at: Any = ""
    aim: str = ""
    up: str = ""
    throw: float = 0.0


@dataclass(frozen=True)
class RecordedCase:
    """The case of a run.

    Attributes
    ----------
    part, welds, clamps, gauges : records
    tacks_with_arc : for each tack whether it was laid with an arc
    clamping, clamped_length : kind of the [clamping] section, and how far it reaches on a bar [m]
    model, end : of the [solve] section
    tilted : whether a preset was given
    cooling_film : forced cooling between welds [W/m2/K], None without
    filler_yield_factor : yield stress of the filler over that of the part
    """

    part: RecordedPart
    welds: tuple[RecordedWeld, ...] = ()
    clamps: tuple[RecordedClamp, ...] = ()
    gauges: tuple[RecordedGauge, ...] = ()
    tacks_with_arc: tuple[bool, ...] = ()
    clamping: str = "free"
    clamped_length: float = 0.0
    model: str = "plastic"
    end: Any = None
    tilted: bool = False
    cooling_film: float | None = None
    filler_yield_factor: float = 1.0

    @property
    def joint(self) -> JointKind:
        """What the joint kind of the case answers."""
        return joint_kind(self.part.kind)

    @property
    def seams_of_welds(self) -> bool:
        """Whether seams lie where the case puts its welds: beads on the faces of a bar."""
        return self.joint.seams_of_welds

    def weld(self, name: str) -> RecordedWeld:
        """A weld by its name; one that knows nothing but its name where there is none."""
        return next((w for w in self.welds if w.name == name), RecordedWeld(name))

    def gauge(self, name: str) -> RecordedGauge:
        """A gauge by its name; one of no kind where there is none."""
        return next((g for g in self.gauges if g.name == name), RecordedGauge(name))


@dataclass(frozen=True)
class RecordedPath:
    """Where an arc went: places (M, 3) in the direction of travel [m], unit vector inward."""

    name: str
    seam: str
    points: np.ndarray
    inward: np.ndarray


def recorded_case(record: RunRecord) -> RecordedCase:
    """The case of a run as it was resolved, in SI.

    Parameters
    ----------
    record : RunRecord

    Returns
    -------
    RecordedCase
    """
    case = record.case
    clamping, solve = case.get("clamping") or {}, case.get("solve") or {}
    return RecordedCase(
        part=_read(RecordedPart, case.get("part") or {}),
        welds=tuple(_read(RecordedWeld, w) for w in case.get("welds") or []),
        clamps=tuple(_read_clamp(c) for c in case.get("clamps") or []),
        gauges=tuple(_read(RecordedGauge, g) for g in case.get("gauges") or []),
        tacks_with_arc=tuple(bool(t.get("arc")) for t in case.get("tacks") or []),
        clamping=clamping.get("kind", "free"),
        clamped_length=clamping.get("length", 0.0),
        model=solve.get("model", "plastic"),
        end=solve.get("end"),
        tilted=any(case.get("preset") or ()),
        cooling_film=case.get("cooling_film_coefficient"),
        filler_yield_factor=(case.get("metal") or {}).get("filler_yield_factor", 1.0),
    )


def recorded_paths(record: RunRecord) -> tuple[RecordedPath, ...]:
    """Where the arcs of a run went, in order; empty for runs that do not tell.

    Parameters
    ----------
    record : RunRecord

    Returns
    -------
    tuple of RecordedPath
    """
    return tuple(
        RecordedPath(
            p["name"],
            p.get("seam") or p["name"],
            np.asarray(p["points"], dtype=float),
            np.asarray(p["inward"], dtype=float),
        )
        for p in record.manifest.get("paths") or []
    )


def _read(kind: type[_Record], raw: Mapping[str, Any]) -> _Record:
    """A record of what is known of it; what is not there or null has its usual value."""
    known = {f.name: raw.get(f.name) for f in fields(kind)}  # type: ignore[arg-type]
    return kind(**{name: value for name, value in known.items() if value is not None})


def _read_clamp(raw: Mapping[str, Any]) -> RecordedClamp:
    rules = {
        k: _read(RecordedRule, raw[k]) if isinstance(raw.get(k), Mapping) else None
        for k in ("on", "off")
    }
    return _read(RecordedClamp, {**raw, **rules, "at": tuple(raw.get("at") or ())})
