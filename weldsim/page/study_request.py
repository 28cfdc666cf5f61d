"""What a request for a study may hold, checked before anything is put into the queue."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from weldsim.case.load import Case, parse_case
from weldsim.errors import CaseError, StoreError, WeldsimError
from weldsim.geometry.grades import GRADES
from weldsim.page.case_form import messages_of
from weldsim.page.worker_process import Tell
from weldsim.schema.sections import PlanSection
from weldsim.studies.clamp_search import choices_of
from weldsim.studies.fit.records import FINER
from weldsim.studies.heat_sweep import swept_pointer
from weldsim.studies.next.given import open_study, read_moves, read_readings
from weldsim.studies.plan.checks import columns_of, words_of
from weldsim.studies.plan.shop_spread import ShopSpread, read_spread
from weldsim.studies.plan.space import LARGEST_FULL_STUDY, Plan, parse_plan
from weldsim.studies.targets import MOVEMENTS, limit_for, target_of
from weldsim.units import parse

MOST_READINGS, LONGEST = 12, 300
MOST_UNKNOWNS, MOST_FILES, MOST_RULES = 8, 10, 500
LINES = ("line", "bead")


def options_of(kind: str, body: dict[str, Any]) -> dict[str, Any]:
    """The options of a study out of a request, those that its kind has.

    Parameters
    ----------
    kind : str
        Of a study.
    body : dict
        Of the request.

    Returns
    -------
    dict
        As JSON holds it; without what the request left blank.

    Raises
    ------
    WeldsimError
        One line for a value that is not such.
    """
    out = {}
    for key in KEYS[kind]:
        value = body.get(key)
        if value is None or value == "":
            continue
        wanted, allowed = CHECKS[key]
        if not allowed(value):
            raise WeldsimError(f"{key}: {value!r} is not allowed: {wanted}")
        out[key] = value
    return out


def _text(value: object) -> bool:
    return isinstance(value, str) and len(value) <= LONGEST


def _number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and 0 < value < 1e6


def _readings(value: object) -> bool:
    return isinstance(value, list) and 0 < len(value) <= MOST_READINGS and all(map(_text, value))


def _temperature(value: object) -> bool:
    try:
        return _text(value) and parse(value, "temperature") > 0
    except ValueError:
        return False


def _clock(value: object) -> bool:
    try:
        return _text(value) and 0.0 <= parse(value, "time") <= 3600.0
    except ValueError:
        return False


def _varied(value: object) -> bool:
    def bounds(b: object) -> bool:
        return isinstance(b, list) and 2 <= len(b) <= 3 and all(map(_text, b))

    keys = isinstance(value, dict) and 0 < len(value) <= MOST_UNKNOWNS
    return keys and all(_text(k) and bounds(b) for k, b in value.items())


def _spreads(value: object) -> bool:
    some = isinstance(value, dict) and len(value) <= MOST_READINGS
    return some and all(_text(k) and _text(v) for k, v in value.items())


def _measured(value: object) -> bool:
    def one(m: object) -> bool:
        named = isinstance(m, dict) and _text(m.get("of", ""))
        return named and rules_fault(m.get("rules", {})) is None

    return isinstance(value, list) and 0 < len(value) <= MOST_FILES and all(map(one, value))


def rules_fault(rules: object) -> str | None:
    """What is wrong with the rules by which a table is read.

    Parameters
    ----------
    rules : object
        As JSON brings it: `map` and `unit`, header -> column or unit; `time_unit`; `noise`, header
        -> standard deviation.

    Returns
    -------
    str or None
        One line; None where they are good.
    """
    if not isinstance(rules, dict):
        return "rules: allowed: map, unit, time_unit and noise"
    for key in ("map", "unit", "noise"):
        given = rules.get(key, {})
        if not isinstance(given, dict) or len(given) > MOST_RULES:
            return f"{key}: allowed: a value for each header"
        good = _number if key == "noise" else _text
        for header, value in given.items():
            if not (_text(header) and good(value)):
                wanted = "a number greater than zero" if key == "noise" else "a name"
                return f"{key} of {header[:40]}: {str(value)[:40]!r} is not allowed: {wanted}"
    unused = rules.get("unused", [])
    if not isinstance(unused, list) or not all(map(_text, unused[: MOST_RULES + 1])):
        return "unused: allowed: headers of columns"
    if not _text(rules.get("time_unit", "")):
        return "time unit: allowed: s, min, h or ms"
    return None


CHECKS: dict[str, tuple[str, Callable[[Any], bool]]] = {
    "gauge": ("the name of a gauge", _text),
    "tolerance": ('such as "0.5 mrad"', _text),
    "grade": (", ".join(GRADES), lambda v: v in GRADES),
    "runs": ("a whole number from 2 to 10", lambda v: v in range(2, 11) and isinstance(v, int)),
    "line": (", ".join(LINES), lambda v: v in LINES),
    "limit": ('such as "650 degC"', _temperature),
    "after": ('such as "front:+x, back:-x"', _text),
    "readings": ('one a side, such as "pointer.up=-12 mm"', _readings),
    "noise": ("a number greater than zero", _number),
    "replay": ("true or false", lambda v: isinstance(v, bool)),
    "vary": ("1 to 8 keys with their lowest and highest", _varied),
    "finer": (", ".join((*FINER.values(), "none")), lambda v: v in (*FINER.values(), "none")),
    "design": ("a whole number from 4 to 400", lambda v: isinstance(v, int) and v in range(4, 401)),
    "clock": ('from "0 s" to "3600 s"', _clock),
    "hold_back": ("a column that was measured", _text),
    "spread": ('keys with a standard deviation, such as "8 %"', _spreads),
    "exact": ("a list of keys", _readings),
    "sample": ("a whole number from 6 to 200", lambda v: isinstance(v, int) and v in range(6, 201)),
    "band": ("a band of this list", _text),
    "measured": (f"1 to {MOST_FILES} measurements", _measured),
}
KEYS: dict[str, tuple[str, ...]] = {
    "plan": ("band",),
    "band": ("grade", "finer", "sample", "spread", "exact"),
    "next": ("after", "readings", "noise", "tolerance", "band"),
    "why": ("replay",),
    "preset": ("gauge", "tolerance", "grade", "runs"),
    "clamps": ("gauge", "tolerance", "grade"),
    "correct": ("gauge", "tolerance", "grade", "line", "limit"),
    "heats": ("grade",),
    "fit": ("vary", "grade", "finer", "design", "clock", "hold_back", "measured"),
}


def check_target(
    text: str, source_file: str, options: dict[str, Any], tell: Tell | None = None
) -> None:
    """Refuse a search for something that the case does not have; a worker's task.

    Parameters
    ----------
    text, source_file : str
        The case as `parse_case` takes it.
    options : dict
        Of a search.
    tell : callable, optional
        Not used.
    """
    case = parse_case(text, source_file)
    target_of(case, options.get("gauge"), options.get("tolerance"), options.get("grade"))


def check_spread(text: str, source_file: str, folder: str, tell: Tell | None = None) -> None:
    """Refuse a band that tells nothing of what a plan measures; a worker's task.

    Parameters
    ----------
    text, source_file : str
        The case as `parse_plan` takes it.
    folder : str
        Of the band.
    tell : callable, optional
        Not used.
    """
    spread_for(parse_plan(text, source_file), folder)


def spread_for(plan: Plan, folder: str) -> ShopSpread:
    """How far parts scatter, for what a plan measures.

    Parameters
    ----------
    plan : Plan
        Of the same job.
    folder : str
        Of the band.

    Returns
    -------
    ShopSpread
        See `read_spread`; refused in one line that names no folder.
    """
    if not (Path(folder) / "band.json").is_file():
        raise WeldsimError("band: it is not complete yet")
    try:
        return read_spread(plan, Path(folder))
    except StoreError as error:
        text = str(error).replace(f"{Path(folder) / 'band.json'}: ", "band: ")
        raise WeldsimError(text) from None


def check_reading(folder: str, options: dict[str, Any], tell: Tell | None = None) -> None:
    """Refuse readings that a study cannot take; a worker's task.

    Parameters
    ----------
    folder : str
        Of the study, or of a run.
    options : dict
        Of the kind `next`.
    tell : callable, optional
        Not used.
    """
    try:
        study = open_study(folder, options.get("tolerance"))
        read_moves(study.plan, options.get("after", ""))
        read_readings(study.plan, options.get("readings", ()), options.get("noise"))
        if options.get("band"):
            spread_for(study.plan, options["band"])
    except CaseError as error:  # a person sees no options of the command line here
        raise CaseError(str(error).replace("--after ", "").replace("--reading ", "")) from None


def plan_check(text: str, source_file: str, tell: Tell | None = None) -> dict[str, Any]:
    """What a [plan] asks for, or what is wrong with it; a worker's task.

    Parameters
    ----------
    text, source_file : str
        The case, as `parse_plan` takes it.
    tell : callable, optional
        Not used.

    Returns
    -------
    dict
        `ok` and `messages`; if all is well also what `plan_facts` says.
    """
    try:
        plan = parse_plan(text, source_file)
    except CaseError as error:
        return {"ok": False, "messages": messages_of(error, source_file)}
    return {"ok": True, "messages": [], **plan_facts(plan)}


def plan_facts(plan: Plan) -> dict[str, Any]:
    """What a page shows of a plan before it is computed, and offers to read after a weld.

    Parameters
    ----------
    plan : Plan
        That was read.

    Returns
    -------
    dict
        `sequences` how many, `seams` with the words for their travel, `sides` of gauges with the
        units they are read in, `measure`, `tolerance`, `grade` and `confirm_grade`.
    """
    sides: dict[str, list[str]] = {}
    for column in columns_of(plan.case):
        if column.unit in ("mm", "mrad"):
            name = ".".join(p for p in (column.gauge, column.component) if p)
            sides.setdefault(name, []).append(column.unit)
    return {
        "sequences": plan.size,
        "seams": {s: list(plan.known[s]) for s in plan.seams},
        "all": {s: list(w) for s, w in plan.known.items()},
        "most": LARGEST_FULL_STUDY,
        "trials": plan.section.trials,
        "sides": sides,
        "measure": plan.section.measure,
        "tolerance": str(plan.tolerance),
        "grade": plan.section.grade,
        "confirm_grade": plan.section.confirm_grade,
        "confirm": plan.section.confirm,
        "settings": [s.label for s in plan.settings],
    }


def usual_plan(text: str, source_file: str, tell: Tell | None = None) -> dict[str, Any]:
    """A [plan] section for a case that has none: all seams, the first gauge that reads movement.

    Parameters
    ----------
    text, source_file : str
        The case as `parse_case` takes it.
    tell : callable, optional
        Not used.

    Returns
    -------
    dict
        `plan`: the section; `gauges`: what may be measured, name -> tolerance that it states or a
        usual one; `seams`: their travels in words; `asks`: further questions that suit it. Empty
        where nothing reads movement.
    """
    case = parse_case(text, source_file)
    gauges = {g.name: limit_for(g).text for g in case.gauges if g.kind in MOVEMENTS}
    if not gauges:
        return {"plan": {}, "gauges": {}, "seams": {}, "asks": []}
    name, tolerance = next(iter(gauges.items()))
    section: dict[str, Any] = {
        "measure": name, "tolerance": tolerance, "confirm": 2, "confirm_grade": "quick",
    }  # fmt: skip
    sized = next((g for g in case.tables.get("gauge", ()) if g.get("name") == name), {})
    if "size" in sized:
        section["size"] = sized["size"]
    every = words_of(case, PlanSection(measure=name, tolerance=tolerance), [])
    can = {"heats": _answers(swept_pointer, case), "clamps": _answers(choices_of, case)}
    asks = [kind for kind, suits in can.items() if suits]
    seams = {seam: list(words.values()) for seam, words in every.items()}
    return {"plan": section, "gauges": gauges, "seams": seams, "asks": asks}


def _answers(work: Callable[[Case], object], case: Case) -> bool:
    """Whether a case is one that a question can be asked of."""
    try:
        work(case)
    except WeldsimError:
        return False
    return True
