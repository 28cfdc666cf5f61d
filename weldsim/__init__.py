"""Where a welded part will move, computed before the arc is struck.

>>> import weldsim
>>> case = weldsim.load_case("cases/pivot_arm.toml", {"weld.A.current": "120 A"})
>>> result = weldsim.solve(case, grade="quick")  # in memory, nothing written  # doctest: +SKIP
>>> result.gauges["pointer", "up"]  # rad, one for each of result.times  # doctest: +SKIP

Importing the package loads nothing else; each name below loads what it needs when it is first used.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from weldsim.case.load import Case, load_case
    from weldsim.errors import (
        BalanceError,
        CaseError,
        ConvergenceError,
        MaterialError,
        MeasurementError,
        MeshError,
        SetupError,
        StoreError,
        WeldsimError,
    )
    from weldsim.materials.material import Material, load_material
    from weldsim.measurements.for_case import read_for_case as read_measurement
    from weldsim.measurements.measured_curve import Measurement
    from weldsim.measurements.spot_record import read_clip, write_spot_file
    from weldsim.measurements.target_sheet import PAPERS, TargetSheet
    from weldsim.plots import results as plot
    from weldsim.plots.target_sheet_print import print_target
    from weldsim.report.banded import band_case as band
    from weldsim.report.fitted import fit_case as fit
    from weldsim.runs.error_estimate import ErrorEstimate
    from weldsim.runs.fields import Fields
    from weldsim.runs.gauge_table import GaugeTable
    from weldsim.runs.result import Result
    from weldsim.runs.result import read_result as read_run
    from weldsim.runs.solving import OwnGauge, resume, run, solve
    from weldsim.runs.summary import cooling_time, settling_time
    from weldsim.schema.column import Column, Readings
    from weldsim.schema.process import heat_input
    from weldsim.schema.tolerance import Tolerance, read_tolerance, verdict
    from weldsim.schema.tolerance import limit as tolerance_limit
    from weldsim.simulation.steps import build_model, simulate
    from weldsim.studies.attribution import explain, explain_state
    from weldsim.studies.band.records import Band
    from weldsim.studies.clamp_search import find_clamps
    from weldsim.studies.correction import LineChoice, find_correction
    from weldsim.studies.fit.records import Fit
    from weldsim.studies.next.advice import advise, expected_after
    from weldsim.studies.next.given import OpenedStudy, open_study, read_moves, read_readings
    from weldsim.studies.plan.ranking import rank
    from weldsim.studies.plan.rows import Study
    from weldsim.studies.plan.space import Plan, load_plan
    from weldsim.studies.preset import find_preset
    from weldsim.studies.targets import SearchOptions, target_of
    from weldsim.text.band_words import band_lines
    from weldsim.text.cautions import CAUTIONS, DEFER
    from weldsim.text.describe import describe
    from weldsim.text.fit_words import fit_lines
    from weldsim.text.next_words import advice_lines
    from weldsim.text.plan_words import plan_lines
    from weldsim.text.result_words import result_words

__version__ = "0.1.0"

# public name -> module it lives in, and its name there where that is another one
_HOMES = {
    "BalanceError": "weldsim.errors",
    "Band": "weldsim.studies.band.records",
    "CAUTIONS": "weldsim.text.cautions",
    "Case": "weldsim.case.load",
    "CaseError": "weldsim.errors",
    "Column": "weldsim.schema.column",
    "ConvergenceError": "weldsim.errors",
    "DEFER": "weldsim.text.cautions",
    "ErrorEstimate": "weldsim.runs.error_estimate",
    "Fields": "weldsim.runs.fields",
    "Fit": "weldsim.studies.fit.records",
    "GaugeTable": "weldsim.runs.gauge_table",
    "LineChoice": "weldsim.studies.correction",
    "Material": "weldsim.materials.material",
    "MaterialError": "weldsim.errors",
    "Measurement": "weldsim.measurements.measured_curve",
    "MeasurementError": "weldsim.errors",
    "MeshError": "weldsim.errors",
    "OpenedStudy": "weldsim.studies.next.given",
    "OwnGauge": "weldsim.runs.solving",
    "PAPERS": "weldsim.measurements.target_sheet",
    "Plan": "weldsim.studies.plan.space",
    "Readings": "weldsim.schema.column",
    "Result": "weldsim.runs.result",
    "SearchOptions": "weldsim.studies.targets",
    "SetupError": "weldsim.errors",
    "StoreError": "weldsim.errors",
    "Study": "weldsim.studies.plan.rows",
    "TargetSheet": "weldsim.measurements.target_sheet",
    "Tolerance": "weldsim.schema.tolerance",
    "WeldsimError": "weldsim.errors",
    "advice_lines": "weldsim.text.next_words",
    "advise": "weldsim.studies.next.advice",
    "band": "weldsim.report.banded:band_case",
    "band_lines": "weldsim.text.band_words",
    "build_model": "weldsim.simulation.steps",
    "cooling_time": "weldsim.runs.summary",
    "describe": "weldsim.text.describe",
    "expected_after": "weldsim.studies.next.advice",
    "explain": "weldsim.studies.attribution",
    "explain_state": "weldsim.studies.attribution",
    "find_clamps": "weldsim.studies.clamp_search",
    "find_correction": "weldsim.studies.correction",
    "find_preset": "weldsim.studies.preset",
    "fit": "weldsim.report.fitted:fit_case",
    "fit_lines": "weldsim.text.fit_words",
    "heat_input": "weldsim.schema.process",
    "load_case": "weldsim.case.load",
    "load_material": "weldsim.materials.material",
    "load_plan": "weldsim.studies.plan.space",
    "open_study": "weldsim.studies.next.given",
    "plan_lines": "weldsim.text.plan_words",
    "plot": "weldsim.plots.results",
    "print_target": "weldsim.plots.target_sheet_print",
    "rank": "weldsim.studies.plan.ranking",
    "read_clip": "weldsim.measurements.spot_record",
    "read_measurement": "weldsim.measurements.for_case:read_for_case",
    "read_moves": "weldsim.studies.next.given",
    "read_readings": "weldsim.studies.next.given",
    "read_run": "weldsim.runs.result:read_result",
    "read_tolerance": "weldsim.schema.tolerance",
    "result_words": "weldsim.text.result_words",
    "resume": "weldsim.runs.solving",
    "run": "weldsim.runs.solving",
    "settling_time": "weldsim.runs.summary",
    "simulate": "weldsim.simulation.steps",
    "solve": "weldsim.runs.solving",
    "target_of": "weldsim.studies.targets",
    "tolerance_limit": "weldsim.schema.tolerance:limit",
    "verdict": "weldsim.schema.tolerance",
    "write_spot_file": "weldsim.measurements.spot_record",
}
_MODULES = ("plot",)

__all__ = [
    "BalanceError",
    "Band",
    "CAUTIONS",
    "Case",
    "CaseError",
    "Column",
    "ConvergenceError",
    "DEFER",
    "ErrorEstimate",
    "Fields",
    "Fit",
    "GaugeTable",
    "LineChoice",
    "Material",
    "MaterialError",
    "Measurement",
    "MeasurementError",
    "MeshError",
    "OpenedStudy",
    "OwnGauge",
    "PAPERS",
    "Plan",
    "Readings",
    "Result",
    "SearchOptions",
    "SetupError",
    "StoreError",
    "Study",
    "TargetSheet",
    "Tolerance",
    "WeldsimError",
    "__version__",
    "advice_lines",
    "advise",
    "band",
    "band_lines",
    "build_model",
    "cooling_time",
    "describe",
    "expected_after",
    "explain",
    "explain_state",
    "find_clamps",
    "find_correction",
    "find_preset",
    "fit",
    "fit_lines",
    "heat_input",
    "load_case",
    "load_material",
    "load_plan",
    "open_study",
    "plan_lines",
    "plot",
    "print_target",
    "rank",
    "read_clip",
    "read_measurement",
    "read_moves",
    "read_readings",
    "read_run",
    "read_tolerance",
    "result_words",
    "resume",
    "run",
    "settling_time",
    "simulate",
    "solve",
    "target_of",
    "tolerance_limit",
    "verdict",
    "write_spot_file",
]


def __getattr__(name: str) -> Any:
    """Load a public name when it is first asked for (PEP 562)."""
    home = _HOMES.get(name)
    if home is None:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    module, _, there = home.partition(":")
    found = import_module(module)
    value = found if name in _MODULES else getattr(found, there or name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    """Public names, and the sub-packages that are loaded."""
    return sorted({*globals(), *__all__})
