"""What run.json, summary.json, case.json and why.json may hold: a model each."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from weldsim.geometry.grades import GRADES
from weldsim.joints.registry import KINDS
from weldsim.runs.stored import LARGEST, Stored

LONGEST = 20_000  # letters of a text: a case file in it, an error with its history

Number = Annotated[float, Field(strict=True, ge=-LARGEST, le=LARGEST)]
Count = Annotated[int, Field(strict=True, ge=-(10**9), le=10**12)]
Text = Annotated[str, Field(strict=True, max_length=LONGEST)]
Name = Annotated[str, Field(strict=True, min_length=1, max_length=200)]
Flag = Annotated[bool, Field(strict=True)]
Place = Annotated[list[Number], Field(min_length=3, max_length=3)]
Axis = Annotated[str, Field(pattern=r"^[+-][xyz]$")]


class StoredRule(Stored):
    """When something starts. [s, K]"""

    kind: Name
    seconds: Number | None = None
    weld: Text | None = None
    temperature: Number | None = None


class StoredPart(Stored):
    """The part as resolved. [m]"""

    kind: Name = "bar"
    material: Text = ""
    up: Axis | None = None
    length: Number | None = None
    width: Number | None = None
    thickness: Number | None = None
    penetration: Number | None = None

    @model_validator(mode="after")
    def _known_kind(self) -> StoredPart:
        if self.kind not in KINDS:
            raise ValueError(f"kind {self.kind!r} is no joint of this version")
        return self


class StoredWeld(Stored):
    """A weld in SI."""

    name: Name
    seam: Text | None = None
    number: Count | None = None
    travel: Text | None = None
    face: Text | None = None
    line: Text | None = None
    at: Number | None = None
    begin: Number | None = None
    finish: Number | None = None
    tack: Count | None = None
    filler: Flag | None = None
    process: Text | None = None
    current: Number | None = None
    voltage: Number | None = None
    speed: Number | None = None
    bead_width: Number | None = None
    start: StoredRule | None = None


class StoredClamp(Stored):
    """A clamp in SI."""

    name: Name
    at: list[Text] | None = None
    kind: Text | None = None
    stiffness: Number | None = None
    turning: Number | None = None
    conductance: Number | None = None
    on: StoredRule | None = None
    off: StoredRule | None = None


class StoredGauge(Stored):
    """A gauge."""

    name: Name
    kind: Text | None = None
    at: Text | Place | None = None
    aim: Axis | None = None
    up: Axis | None = None
    throw: Number | None = None
    tolerance: Text | dict[str, Any] | None = None

    @model_validator(mode="after")
    def _whole_pointer(self) -> StoredGauge:
        if self.kind == "pointer":
            if self.aim is None or self.up is None or self.throw is None:
                raise ValueError("a pointer needs aim, up and throw")
            if self.aim[1] == self.up[1]:
                raise ValueError(f"up {self.up} of a pointer lies along its beam {self.aim}")
        return self


class StoredTack(Stored):
    """A tack."""

    arc: Any = None


class StoredSolve(Stored):
    """The [solve] section."""

    model: Text | None = None
    grade: Text | None = None
    end: Text | Number | None = None


class StoredClamping(Stored):
    """The [clamping] section."""

    kind: Text | None = None
    length: Number | None = None


class StoredMetal(Stored):
    """The [metal] section, as far as a report reads it."""

    filler_yield_factor: Number = 1.0


class StoredCase(Stored):
    """The case as resolved, in SI."""

    title: Text = ""
    part: StoredPart = StoredPart()
    clamping: StoredClamping = StoredClamping()
    welds: list[StoredWeld] = []
    clamps: list[StoredClamp] = []
    gauges: list[StoredGauge] = []
    tacks: list[StoredTack] = []
    surroundings: dict[Text, Any] = {}
    solve: StoredSolve = StoredSolve()
    preset: list[Number] = []
    metal: StoredMetal = StoredMetal()
    cooling_film_coefficient: Number | None = None


class StoredPath(Stored):
    """Where an arc went. [m]"""

    name: Name
    seam: Text | None = None
    points: Annotated[list[Place], Field(min_length=2)]
    inward: Place


class StoredPlaces(Stored):
    """Where a clamp grips. [m]"""

    name: Name
    places: Annotated[list[Place], Field(min_length=1)]


class StoredArc(Stored):
    """When an arc burned. [s]"""

    name: Name
    start: Number
    end: Number | None


class StoredBalances(Stored):
    """Heat of a run. [J]"""

    heat_supplied_J: Number
    heat_lost_J: Number
    heat_stored_J: Number
    largest_heat_gap: Number = 0.0
    source_rescale_least: Number = 1.0
    source_rescale_most: Number = 1.0


class StoredEstimate(Stored):
    """Estimated errors by column, in its unit."""

    how: Text = ""
    values: dict[Text, Number] = {}


class StoredManifest(Stored):
    """run.json."""

    format: Count = 1
    title: Text = "run"
    status: Literal["none", "running", "complete", "stopped", "failed"] = "running"
    case: StoredCase = StoredCase()
    overrides: list[Text] = []
    versions: dict[Text, Text] = {}
    grade: Name = next(iter(GRADES))
    solver: Text = ""
    instructions: Text = ""
    softening_temperature_K: Number | None = None
    mesh: dict[Text, Count] = {}
    warnings: list[Text] = []
    paths: list[StoredPath] = []
    clamps: list[StoredPlaces] = []
    timetable: list[StoredArc] = []
    balances: StoredBalances | None = None
    stage_times: dict[Text, Number] = {}
    error_estimate: StoredEstimate | None = None
    error: Text | None = None
    look: Text | None = None


class StoredReadOff(Stored):
    """What was read off one gauge; its unit is that of the column."""

    final: Number
    extreme: Number
    extreme_time_s: Number
    travel: Number
    settled_s: Number
    settled_after_arc_s: Number | None  # null while the arc burns


class StoredWeldEnd(Stored):
    """What a weld came to."""

    name: Name
    start_s: Number | None = None
    end_s: Number | None = None
    arc_energy_kJ_mm: Number | None = None
    heat_input_kJ_mm: Number | None = None
    t8_5_s: Number | None = None
    highest_interpass_degC: Number | None = None


class StoredReaction(Stored):
    """What a clamp pushes with."""

    force_N: Number
    moment_Nm: Number


class StoredRelease(Stored):
    """What an opening of clamps moved."""

    time_s: Number
    clamps: list[Text]
    change: dict[Text, Number]


class StoredStress(Stored):
    """Stress left in the part."""

    largest_von_mises_MPa: Number | None = None
    mean_weld_zone_MPa: Number | None = None
    reactions: dict[Text, StoredReaction] = {}
    released: list[StoredRelease] = []


class StoredVerdict(Stored):
    """A reading against its tolerance."""

    gauge: Text
    tolerance: Text
    reading: Text
    verdict: Text
    value: Number | None = None
    error: Number | None = None
    unit: Text | None = None


class StoredTolerances(Stored):
    """Verdicts, or why there are none."""

    verdicts: list[StoredVerdict] = []
    reason: Text = ""


class StoredSummary(Stored):
    """summary.json."""

    gauges: dict[Text, StoredReadOff] = {}
    welds: list[StoredWeldEnd] = []
    last_arc_stop_s: Number | None = None
    tolerances: StoredTolerances | None = None
    locked_in: StoredStress | None = None


class StoredSource(Stored):
    """case.json: the case as it was written."""

    source: Annotated[str, Field(strict=True, max_length=10**7)]
    source_file: Text
    overrides: list[Text] = []
    error_estimate: Flag = True


class StoredParts(Stored):
    """Parts of one reading, in its unit."""

    gauge_value: Number | None = None
    residual: Number | None = None
    welds: dict[Text, Number | None] = {}
    others: dict[Text, Number | None] = {}


class StoredWhy(Stored):
    """why.json."""

    in_words: list[Text] = []
    in_words_us: list[Text] | None = None
    how: Text = ""
    error: Text | None = ""
    readings: dict[Text, StoredParts] = {}
    # of files in the folder of pictures: no path leads out of it
    pictures: list[Annotated[str, Field(pattern=r"^(pictures/)?[\w.-]+$", max_length=200)]] = []

    @model_validator(mode="after")
    def _line_for_line(self) -> StoredWhy:
        if self.in_words_us is not None and len(self.in_words_us) != len(self.in_words):
            raise ValueError("in_words_us has another number of lines than in_words")
        return self
