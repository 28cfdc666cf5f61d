"""Run folders as the page lists and shows them; ids are made here, so none names a path."""

from __future__ import annotations

import hashlib
import io
import json
import tomllib
import zipfile
from collections.abc import Iterable
from pathlib import Path
from stat import S_ISREG

from weldsim.case.overrides import apply_overrides
from weldsim.errors import StoreError, WeldsimError
from weldsim.page.case_form import Base
from weldsim.page.case_text import edited
from weldsim.page.files import file_stem
from weldsim.page.job_store import Job
from weldsim.page.preview import NOTES
from weldsim.page.run_facts import facts_of
from weldsim.report.viewer import scene_data
from weldsim.runs.reading import GAUGES, MANIFEST, PICTURES, RunRecord, read_run
from weldsim.runs.stored import read_json_file
from weldsim.system.files import plain
from weldsim.text.quantities import in_us
from weldsim.text.words import final_words

LISTED = 60
FILES = {
    "case": ("case.toml", "application/toml"),
    "report": ("report.html", "text/html; charset=utf-8"),
    "pictures": ("pictures.zip", "application/zip"),
    "animation": ("animation", ""),
    "gauges": (GAUGES, "text/csv"),
}
MOVIES = {".mp4": "video/mp4", ".gif": "image/gif"}


def id_of(path: Path) -> str:
    """Id of a folder or file that was there before the page: the head of a hash of its name.

    Parameters
    ----------
    path : path
        In the work folder.

    Returns
    -------
    str
        16 hexadecimal digits.
    """
    return hashlib.sha256(Path(path).name.encode()).hexdigest()[:16]


def run_folders(work: Path) -> dict[str, Path]:
    """Run folders that lie in the work folder, newest first, id -> path.

    Parameters
    ----------
    work : path
        The work folder.

    Returns
    -------
    dict of str to Path
        Links that lead elsewhere are left out.
    """
    found = []
    for path in Path(work).iterdir():
        try:
            state = (path / MANIFEST).stat()
        except OSError:  # no run, or taken away at this moment
            continue
        if S_ISREG(state.st_mode) and not path.is_symlink():
            found.append((state.st_mtime, path))
    found.sort(reverse=True)
    return {id_of(path): path for _, path in found}


def listed_runs(work: Path, jobs: Iterable[Job] = ()) -> list[dict]:
    """Title, state and age of the newest runs; a run of a job goes by the id of that job.

    Parameters
    ----------
    work : path
        The work folder.
    jobs : iterable of Job, optional
        Of the queue.

    Returns
    -------
    list of dict
        `id`, `name`, `title`, `made` [s since 1970], `status`, `grade` and what `facts_of` says.
    """
    of_job = {job.run: job for job in jobs}
    out = []
    for id, path in list(run_folders(work).items())[:LISTED]:
        try:
            manifest, made = read_json_file(path / MANIFEST), (path / MANIFEST).stat().st_mtime
        except (StoreError, OSError):
            continue
        if not isinstance(manifest, dict):
            continue
        job, status = of_job.get(path.name), str(manifest.get("status", ""))
        if job is not None and job.is_open and status != "complete":
            status = job.state
        out.append(
            {
                "id": job.id if job else id, "name": path.name,
                "title": str(manifest.get("title", path.name)), "made": made,
                "status": status, "grade": str(manifest.get("grade", "")),
                "preview": bool(manifest.get("look")), **facts_of(path, manifest),
            }
        )  # fmt: skip
    return out


def source_of(folder: Path) -> str:
    """The case of a run as TOML text: as it was written, or with what --set changed in it.

    Parameters
    ----------
    folder : Path
        A run folder.

    Returns
    -------
    str
        TOML.
    """
    return _case_of(folder)[0]


def base_of(folder: Path) -> Base:
    """The case of a run as what a form may begin from.

    Parameters
    ----------
    folder : Path
        A run folder.

    Returns
    -------
    Base
        With the file it was read from.
    """
    text, source_file = _case_of(folder)
    return Base.of(Path(source_file), text)


def _case_of(folder: Path) -> tuple[str, str]:
    """Text of a run's case and the file it was read from."""
    path = folder / "case.json"
    kept = read_json_file(path)
    kept = kept if isinstance(kept, dict) else {}
    text, changes = str(kept.get("source", "")), kept.get("overrides")
    if changes:
        try:
            tables = tomllib.loads(text)
            mistakes = apply_overrides(tables, map(str, changes))
        except (ValueError, TypeError) as error:
            mistakes = [str(error)]
        if mistakes:
            raise StoreError(f"{path}: cannot be read: {mistakes[0]}")
        text = edited(text, tables)
    return text, str(kept.get("source_file", ""))


def scene_bytes(folder: Path, most_frames: int) -> bytes:
    """What the viewer shows of a run, as JSON.

    Parameters
    ----------
    folder : Path
        A run folder.
    most_frames : int
        Frames at most.

    Returns
    -------
    bytes
        See `report.viewer.scene_data`.
    """
    data = plain(scene_data(folder, most_frames))
    return json.dumps(data, allow_nan=False, separators=(",", ":")).encode()


def stamp_of(folder: Path) -> str:
    """Changes whenever the viewer has something new to show.

    Parameters
    ----------
    folder : Path
        A run folder, there or not yet.

    Returns
    -------
    str
        64 hexadecimal digits.
    """
    parts = []
    for path in (folder / "fields" / "run.pvd", folder / MANIFEST, folder / GAUGES):
        parts.append(str(path.stat().st_mtime_ns) if path.exists() else "-")
    state = sorted((folder / "state").glob("checkpoint_*.npz")) if folder.exists() else []
    return hashlib.sha256("|".join([*parts, state[-1].name if state else ""]).encode()).hexdigest()


def _words(record: RunRecord, job: Job | None) -> list[str]:
    """What the run came to; how to resume it is for the page to say while a job holds it."""
    lines = final_words(record)
    if job is None or record.complete:
        return lines
    named = {"waiting": "waiting in the queue", "running": "still under way"}
    state = named.get(job.state, job.state)
    now = float(record.gauges["time_s"][-1])
    tail = f": {job.error}" if job.error else ""
    first = f"This run is {state}; it has come to {now:.0f} s, and what follows is not the end"
    return [first + tail, *lines[1:]]


def summary_of(folder: Path, job: Job | None = None) -> dict:
    """A run in words, its end readings with their errors, and which files there are.

    Parameters
    ----------
    folder : Path
        A run folder.
    job : Job, optional
        The job whose run it is.

    Returns
    -------
    dict
        As the page shows it.
    """
    record = read_run(folder)
    kind = record.manifest.get("look")
    preview = kind if kind in NOTES else ""
    readings = []
    for column in record.columns:
        if column.weld is None:
            error = record.errors.get(column.name)
            readings.append(
                {
                    "name": column.name, "gauge": column.gauge, "component": column.component,
                    "unit": column.unit, "end": float(record.gauges[column.name][-1]),
                    "error": error,
                }
            )  # fmt: skip
    welds = [w["name"] for w in record.case.get("welds", [])]
    lines = [NOTES[preview] + "."] if preview == "look" else _words(record, job)
    return plain(
        {
            "title": record.title, "status": record.manifest.get("status"), "look": preview,
            "note": NOTES[preview] + "." if preview else "", "grade": record.manifest.get("grade"),
            "model": record.case.get("solve", {}).get("model"),
            "words": list(map(str, lines)), "words_us": in_us(lines),
            "readings": readings, "welds": welds,
            "how": record.manifest.get("error_estimate", {}).get("how", ""),
            "files": [name for name in FILES if file_path(folder, name) is not None]
            + ["sheet"] * (record.complete and not preview),
        }
    )  # fmt: skip


def file_path(folder: Path, what: str) -> Path | None:
    """Path behind a file that can be fetched or is made when it is; None where there is none.

    Parameters
    ----------
    folder : Path
        A run folder.
    what : str
        A key of `FILES`.

    Returns
    -------
    Path or None
        Where it lies.
    """
    if what == "case":
        path = folder / "case.json"
        return path if path.is_file() else None
    if what == "pictures":
        return folder / PICTURES if any((folder / PICTURES).glob("*.png")) else None
    if what == "animation":
        found = [p for p in (folder / PICTURES).glob("*") if p.suffix in MOVIES]
        return min(found, key=lambda p: p.suffix != ".mp4", default=None)
    path = folder / FILES[what][0]
    return path if path.is_file() else None


def fetch(folder: Path, what: str) -> tuple[bytes, str, str]:
    """Bytes, name and media type of a file of a run.

    Parameters
    ----------
    folder : Path
        A run folder.
    what : str
        A key of `FILES`.

    Returns
    -------
    tuple of bytes, str and str
        Content, name of the file and media type.

    Raises
    ------
    WeldsimError
        If the run has no such file, or not yet.
    """
    path = file_path(folder, what)
    if path is None:
        raise WeldsimError("this run has no such file, or not yet")
    own, kind = (path.name, MOVIES[path.suffix]) if what == "animation" else FILES[what]
    name = f"{stem_of(folder)}_{own}"
    if what == "case":
        return source_of(folder).encode(), name.replace("_case.toml", ".toml"), kind
    if what == "pictures":
        return _zip(sorted(path.glob("*"))), name, kind
    return path.read_bytes(), name, kind


def stem_of(folder: Path) -> str:
    """What names of files of a run begin with: its title, so that they are known again.

    Parameters
    ----------
    folder : Path
        A run folder.

    Returns
    -------
    str
        See `file_stem`.
    """
    try:
        manifest = read_json_file(folder / MANIFEST)
        title = str(manifest.get("title", ""))
    except (StoreError, AttributeError):
        title = ""
    return file_stem(title, folder.name)


def _zip(paths: Iterable[Path]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:
        for path in paths:
            if path.suffix in (".png", ".gif", ".mp4", ".svg"):
                archive.write(path, path.name)
    return out.getvalue()
