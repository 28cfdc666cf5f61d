"""Why a gauge ends where it ends, on paper: pictures, and why.json or crossover.json."""

from __future__ import annotations

from pathlib import Path

from weldsim.plots.attribution_pictures import crossover_chart, draw_why
from weldsim.plots.style import save
from weldsim.report.study_records import crossover_record, why_record
from weldsim.runs.folder import RunFolder
from weldsim.studies.attribution import explain


def write_why(run_folder, replay: bool = True, progress=None, threads=None) -> Path:
    """Explain a run; why.json and pictures go into its folder.

    Parameters
    ----------
    run_folder : path
        Of a finished run.
    replay : bool
        Run it again to tell heating from cooling; else by place alone.
    progress : callable(share, text), optional
        Told how far the work is, 0 to 1.
    threads : int, optional
        Of the solver.

    Returns
    -------
    Path
        Of why.json.
    """
    why = explain(run_folder, replay, progress, threads)
    folder = RunFolder.open(run_folder)
    made, notes = draw_why(why, folder.path)
    record = why_record(why)
    record["pictures"] = [str(p.relative_to(folder.path)) for p in made]
    record["notes"] = notes
    return folder.write_json("why.json", record)


def write_crossover(found, folder) -> Path:
    """crossover.json and crossover.png into a folder, made where missing; path of the former."""

    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    save(crossover_chart(found), folder / "crossover.png")
    return RunFolder(folder).write_json("crossover.json", crossover_record(found))
