"""A band from Python: one call from a case to intervals, files and pictures."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path

from weldsim.case.load import Case
from weldsim.errors import CaseError
from weldsim.report.band_record import write_band
from weldsim.studies.band.band import band
from weldsim.studies.band.records import RUNS, Band, Settings
from weldsim.studies.band.uncertain import posterior_of, uncertain_of
from weldsim.studies.fit.records import FINER
from weldsim.text.quantities import Units


def band_case(
    case: Case,
    out: str | Path,
    spread: Mapping[str, str] | None = None,
    exact: Iterable[str] = (),
    *,
    fitted: str | Path | None = None,
    grade: str = "coarse",
    finer: str | None = None,
    runs: int = RUNS,
    seed: int = 1,
    workers: int | None = None,
    cluster: str | None = None,
    units: Units = "metric",
    progress: Callable[[float, str], None] | None = None,
) -> Band:
    """Find between what each gauge ends, hot and cold, and write what was found.

    Parameters
    ----------
    case : Case
        As it is to be welded.
    out : path-like
        Folder of band.json, band.csv, ends.csv, band.html, pictures and the runs, which are used
        again.
    spread : mapping of str to str, optional
        Key as in `load_case`'s changes -> standard deviation, "8 %", "30 K" or "0.3 mm"; goes
        before the usual ones.
    exact : iterable of str, optional
        Keys that do not scatter here.
    fitted : path-like, optional
        Folder of a fit; default: that of the case's [shop] file.
    grade, finer : str, optional
        Of the runs, and of the one that tells the grade's error, or "none"; default: one finer.
    runs : int, optional
        How many; those in the folder count.
    seed, workers, cluster : optional
        Of all that is drawn; processes, or the address of a Dask scheduler.
    units : {"metric", "us"}, optional
        Of pictures and page.
    progress : callable, optional
        Told the share done, and words.

    Returns
    -------
    Band
        Intervals, shares, and how well they are known; `band_lines` puts it in words.

    Raises
    ------
    WeldsimError
        If something cannot scatter so, or too many runs failed.
    """
    settings = band_settings(grade, finer, runs, seed, workers, cluster)
    kept = posterior_of(case, None if fitted is None else Path(fitted))
    uncertain = uncertain_of(case, spread, exact, kept)
    found = band(case, uncertain, Path(out), settings, progress)
    write_band(found, Path(out), units)
    return found


def band_settings(
    grade: str, finer: str | None, runs: int, seed: int, workers: int | None,
    cluster: str | None = None,
) -> Settings:  # fmt: skip
    """How a band is made, checked.

    Parameters
    ----------
    grade : str
        Of the runs.
    finer : str or None
        Of the one that tells the grade's error; None: the next.
    runs, seed : int
        How many; of all that is drawn.
    workers : int or None
        Processes.
    cluster : str, optional
        Address of a Dask scheduler, or "local".

    Returns
    -------
    Settings
        For `band`.

    Raises
    ------
    CaseError
        If one is not allowed.
    """
    if grade not in FINER:
        raise CaseError(f"grade {grade!r} is not allowed: write {', '.join(FINER)}")
    if finer not in (None, "none", *FINER.values()):
        raise CaseError(f"finer {finer!r} is not allowed: write {', '.join(FINER.values())}, none")
    if not 6 <= runs <= 2000:
        raise CaseError(f"runs {runs}: allowed: 6 to 2000")
    return Settings(grade, finer or FINER[grade], runs, seed=seed, workers=workers, cluster=cluster)
