"""A fit from Python: one call from a case and what was measured to values, files and pictures."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from weldsim.case.load import Case
from weldsim.errors import CaseError
from weldsim.measurements.for_case import read_for_case
from weldsim.measurements.measured_curve import Measurement
from weldsim.report.fit_record import write_fit
from weldsim.studies.fit.fitting import fit
from weldsim.studies.fit.records import FINER, Experiment, Fit, Settings
from weldsim.studies.fit.unknowns import unknowns_of
from weldsim.units import parse

Measured = str | Path | Measurement | Sequence[str | Path | Measurement]


def fit_case(
    case: Case,
    measured: Measured,
    out: str | Path,
    vary: Mapping[str, Any] | None = None,
    *,
    also: Sequence[tuple[Case, Measured]] = (),
    grade: str | None = None,
    finer: str | None = None,
    runs: int | None = None,
    hold_back: str | None = None,
    clock: str | float = "30 s",
    seed: int = 1,
    workers: int | None = None,
    progress: Callable[[float, str], None] | None = None,
) -> Fit:
    """Fit what a shop does not know to what was measured, and write what was learnt.

    Parameters
    ----------
    case : Case
        As it was welded. Its [fit] section counts where an argument is left out.
    measured : path-like, Measurement or sequence of them
        Files, or what `read_measurement` gave.
    out : path-like
        Folder of fit.json, shop.toml, draws.csv, fit.html and the runs, which are used again.
    vary : mapping of str to pair, optional
        Key as in `load_case`'s changes -> lowest and highest.
    also : sequence of (Case, measured), optional
        Further experiments that share what varies.
    grade : str, optional
        Of the runs; default: quick.
    finer : str, optional
        Grade of the few runs that tell the grade's error, or "none"; default: one finer.
    runs : int, optional
        Of the design; default: 6 an unknown, at least 12.
    hold_back : str, optional
        Column to predict, not to fit; default: the last.
    clock : str or float, optional
        How far a clock may be off; 0: time 0 is the start of the run. [s]
    seed, workers : int, optional
        Of design and draws; processes.
    progress : callable, optional
        Told the share done, and words.

    Returns
    -------
    Fit
        Values with intervals.

    Raises
    ------
    WeldsimError
        If something cannot vary so, a file cannot be used or cannot tell anything.
    """
    settings = _settings(case, grade, finer, runs, hold_back, clock, seed, workers)
    unknowns = unknowns_of(case, vary, {} if vary else None)
    experiments = [_experiment(c, m) for c, m in ((case, measured), *also)]
    write_fit(found := fit(experiments, unknowns, Path(out), settings, progress), Path(out))
    return found


def _settings(
    case: Case,
    grade: str | None,
    finer: str | None,
    runs: int | None,
    hold_back: str | None,
    clock: str | float,
    seed: int,
    workers: int | None,
) -> Settings:
    section = case.tables.get("fit", {})
    grade = grade or section.get("grade", "quick")
    finer = finer or section.get("finer")
    if grade not in FINER:
        raise CaseError(f"grade {grade!r} is not allowed: write {', '.join(FINER)}")
    if finer not in (None, "none", *FINER.values()):
        raise CaseError(f"finer {finer!r} is not allowed: write {', '.join(FINER.values())}, none")
    return Settings(
        grade, finer or FINER[grade], runs or section.get("runs"),
        hold_back or section.get("hold_back"), _seconds(clock), seed, workers,
    )  # fmt: skip


def _experiment(case: Case, measured: Measured) -> Experiment:
    several = [measured] if isinstance(measured, str | Path | Measurement) else list(measured)
    read = (m if isinstance(m, Measurement) else read_for_case(m, case) for m in several)
    return Experiment(case, tuple(read))


def _seconds(clock: str | float) -> float:
    try:
        out = parse(clock, "time") if isinstance(clock, str) else float(clock)
    except ValueError as error:
        raise CaseError(f"clock {error}") from None
    if not 0 <= out <= 3600:
        raise CaseError(f"clock {clock}: allowed: 0 s to 3600 s")
    return out
