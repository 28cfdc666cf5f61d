"""What plan.json, band.json and fit.json may hold: a model each, with the format they are in."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, ClassVar

from pydantic import Field

from weldsim.runs.stored import Stored, checked, format_of, read_json_file
from weldsim.runs.stored_records import Count, Flag, Name, Number, Text

Source = Annotated[str, Field(strict=True, max_length=10**7)]
Move = Annotated[list[Name | Count], Field(min_length=2, max_length=2)]  # a seam and its travel


class StoredStudy(Stored):
    """A record that a study leaves."""

    newest: ClassVar[int] = 1  # format that this version writes; it reads all from 1 on
    format: Count = 1


class StoredStep(Stored):
    """How a ranking is off, from rows that were run again. [of the measure]"""

    factors: list[Number] = []
    step: list[Number] | Number | None = None
    share: Number | None = None
    rest: Number | None = None
    compared: Count = 0
    reach: Number | None = None


class StoredSequence(Stored):
    """A row of a plan."""

    schedule: Text = ""
    moves: list[Move] = []
    setting: list[Text] = []
    images: list[Text] = []
    final: Number | None = None
    worst: Number | None = None
    error: Number | None = None
    spot: dict[Text, Number] | None = None
    interval: list[Number] | None = None
    verdict: Text | None = None
    failed: Text | None = None


class StoredPlan(StoredStudy):
    """plan.json."""

    status: Text = "complete"
    title: Text = ""
    case: Source | None = None
    source_file: Text | None = None
    overrides: list[Text] | None = None
    measure: Text | None = None
    unit: Text | None = None
    grade: Name | None = None
    drift: StoredStep | None = None
    drift_alone: StoredStep | None = None
    words: list[Text] = []
    words_us: list[Text] = []
    rows: list[StoredSequence] = []


class StoredSpread(Stored):
    """Between what one reading lies, in the unit of its column."""

    column: Text
    moment: Text
    unit: Text
    value: Number | None = None
    low: Number | None = None
    high: Number | None = None
    standard_deviation: Annotated[float, Field(ge=0.0)]
    standard_deviation_afresh: Annotated[float, Field(ge=0.0)]
    grade_error: Number = 0.0
    surrogate_error: Number = 0.0
    shares: dict[Text, Number] = {}


class StoredBand(StoredStudy):
    """band.json."""

    case: dict[Text, Any] | None = None
    overrides: list[Text] = []
    grade: Name | None = None
    finer: Text | None = None
    runs: Count | None = None
    in_words: list[Text] = []
    in_words_us: list[Text] = []
    readings: list[StoredSpread] = []


class StoredBounds(Stored):
    """Between what a value was looked for. [SI]"""

    low: Number
    high: Number
    usual: Number | None = None


class StoredParameter(Stored):
    """A value that was fitted. [SI]"""

    value: Number
    low: Number
    high: Number
    unit: Text = "1"
    written: Text | Number = ""
    frozen: Flag = False
    prior: StoredBounds
    keys: list[Text] = []


class StoredResidual(Stored):
    """What is left of a curve, in the unit of its column."""

    column: Text
    unit: Text = ""
    readings: Count = 0
    root_mean_square: Number | None = None
    times_s: list[Number | None] = []
    values: list[Number | None] = []


class StoredFit(StoredStudy):
    """fit.json, or as much of it as the page keeps with its answer."""

    in_words: list[Text] = []
    in_words_us: list[Text] = []
    parameters: dict[Text, StoredParameter] = {}
    residuals: list[StoredResidual] = []
    correlation: list[list[Number | None]] = []
    runs: Count | None = None
    grade: Name | None = None
    finer: Text | None = None


class StoredAnswer(StoredStudy):
    """answer.json of the page: a study in words, and its record."""

    kind: Name
    words: list[Text] | None = None
    lines: list[Text] | None = None
    record: dict[Text, Any] | None = None


def read_answer(path: Path) -> dict[str, Any]:
    """answer.json, the record of a fit in it checked as well.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    dict
        As the file has it.

    Raises
    ------
    StoreError
        As `read_study`.
    """
    found = read_study(path, StoredAnswer)
    if found["kind"] == "fit":
        checked(found.get("record", {}), StoredFit, path)
    return found


def read_study(path: Path, model: type[StoredStudy]) -> dict[str, Any]:
    """A record of a study, checked by its model.

    Parameters
    ----------
    path : Path
        plan.json, band.json or fit.json.
    model : type of StoredStudy
        What it may hold.

    Returns
    -------
    dict
        As the file has it.

    Raises
    ------
    StoreError
        If it is missing, damaged, of a newer format, or not what a study writes.
    """
    raw = read_json_file(path)
    format_of(raw, model.newest, path)
    checked(raw, model, path)
    found: dict[str, Any] = raw
    return found
