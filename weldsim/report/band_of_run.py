"""The bands that belong to runs, for their report."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

from weldsim.errors import StoreError
from weldsim.runs.reading import RunRecord
from weldsim.studies.band.kept import IN_RUN, RECORD, KeptBand, read_kept_band


def bands_of(records: Sequence[RunRecord], folders: Iterable[Path | str]) -> list[KeptBand | None]:
    """The band of each run, where there is one.

    Parameters
    ----------
    records : sequence of RunRecord
        R runs.
    folders : iterable of path
        Of bands; each goes to the runs that are of its job.

    Returns
    -------
    list of KeptBand or None
        One a run; one in its own folder where none of those given is of its job.

    Raises
    ------
    StoreError
        If a folder holds no band, or it is of none of the runs.
    """
    folders = list(folders)
    given = [read_kept_band(Path(f)) for f in folders]
    jobs = [record.manifest.get("case", {}) for record in records]
    for band, folder in zip(given, folders, strict=True):
        if not any(band.is_of(job) for job in jobs):
            names = ", ".join(record.path.name for record in records)
            raise StoreError(
                f"{folder}: its band is of another job than {names}: part, welds, clamps or "
                "surroundings differ; allowed: weldsim band of the same case with the same --set"
            )
    out: list[KeptBand | None] = []
    for record, job in zip(records, jobs, strict=True):
        own = record.path / IN_RUN
        near = [read_kept_band(own)] if (own / RECORD).is_file() else []
        out.append(next((b for b in (*given, *near) if b.is_of(job)), None))
    return out


def band_caption(band: KeptBand | None) -> str:
    """What the pale bands in the plots are; empty without one."""
    if band is None:
        return ""
    finer = (
        f"shifted by the step to grade {band.finer}"
        if band.finer != "none"
        else "without a finer one"
    )
    return (
        f"Pale behind each curve: where nine of ten parts lie when hand, fit-up, metal and heat "
        f"scatter as usual, by weldsim band ({band.folder}: {band.runs} runs at grade "
        f"{band.grade}, {finer}). The curve of this run is at its own grade, so it may lie off the "
        "middle of the band."
    )
