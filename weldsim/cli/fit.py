"""`weldsim fit`: what a shop does not know, from curves it has measured."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from weldsim.case.load import Case, load_case
from weldsim.cli.options import CaseFile, Changes, Workers, refuse
from weldsim.cli.progress import ProgressBar
from weldsim.measurements.bench_columns import ReadingRules
from weldsim.measurements.measured_curve import Measurement, read_measurement
from weldsim.report.fit_record import write_fit
from weldsim.simulation.columns import columns_of_case
from weldsim.studies.fit.fitting import FINER, Experiment, Settings, fit
from weldsim.studies.fit.unknowns import unknowns_of
from weldsim.text.fit_words import fit_lines
from weldsim.units import parse


def command(
    case: CaseFile,
    measured: Annotated[
        list[Path] | None, typer.Option(help="CSV of what was measured on the case; repeat.")
    ] = None,
    with_: Annotated[
        list[Path] | None,
        typer.Option("--with", help="A further case; its CSV is the --also of its turn."),
    ] = None,
    also: Annotated[
        list[Path] | None,
        typer.Option(help="CSV of what was measured on the --with case, in turn."),
    ] = None,
    vary: Annotated[
        list[str] | None,
        typer.Option(help="What may vary, KEY=LOW..HIGH; in place of the case's [fit]; repeat."),
    ] = None,
    map_: Annotated[
        list[str] | None,
        typer.Option("--map", help="Header in the CSV, HEADER=GAUGE_SIDE; repeat."),
    ] = None,
    unit: Annotated[
        list[str] | None, typer.Option(help="Unit of a column, HEADER=mm; repeat.")
    ] = None,
    time_unit: Annotated[str | None, typer.Option(help="Unit of the time column.")] = None,
    noise: Annotated[
        list[str] | None,
        typer.Option(help="Standard deviation of a column in its unit, HEADER=0.5; repeat."),
    ] = None,
    clock: Annotated[
        str, typer.Option(help='How far a clock may be off; "0 s": time 0 is the start of the run.')
    ] = "30 s",
    grade: Annotated[str | None, typer.Option(help="Of the runs. Default: quick.")] = None,
    finer: Annotated[
        str | None,
        typer.Option(help='Grade of the one run that tells the grade\'s error, or "none".'),
    ] = None,
    runs: Annotated[int | None, typer.Option(help="Runs of the design.", min=4)] = None,
    hold_back: Annotated[
        str | None, typer.Option(help="Column to predict, not to fit. Default: the last.")
    ] = None,
    out: Annotated[
        Path, typer.Option(help="Folder of the study; runs in it are used again.")
    ] = Path("fit"),
    workers: Workers = None,
    changes: Changes = None,
):
    """Fit what a shop does not know to measured curves, with intervals."""
    loaded = load_case(case, changes or ())
    unknowns = unknowns_of(loaded, _vary(vary), {} if vary else None)
    rules = ReadingRules(
        dict(_pair(t, "--map") for t in map_ or ()),
        dict(_pair(t, "--unit") for t in unit or ()),
        time_unit,
        {k: _number(v, "--noise") for k, v in (_pair(t, "--noise") for t in noise or ())},
    )
    experiments = [_experiment(loaded, measured or [], rules)]
    if len(with_ or ()) != len(also or ()):
        refuse("--with: each further case needs one --also FILE.csv, in turn")
    experiments += [
        _experiment(load_case(path, changes or ()), [file], rules)
        for path, file in zip(with_ or (), also or (), strict=True)
    ]
    with ProgressBar() as tell:
        found = fit(experiments, unknowns, out, _settings(loaded, grade, finer, runs, hold_back,
                                                          clock, workers), tell)  # fmt: skip
    for line in fit_lines(found):
        typer.echo(line)
    written = write_fit(found, out)
    typer.echo(f"all of it in {', '.join(str(p) for p in written)}")
    typer.echo('later cases name it: [shop] file = "shop.toml"')


def _experiment(case: Case, files: list[Path], rules: ReadingRules) -> Experiment:
    if not files:
        refuse("--measured: missing, such as --measured bench.csv")
    columns = columns_of_case(case)
    read: list[Measurement] = []
    for file in files:
        read.append(read_measurement(file, columns, rules=rules))
    return Experiment(case, tuple(read))


def _settings(case, grade, finer, runs, hold_back, clock, workers) -> Settings:
    section = case.tables.get("fit", {})
    grade = grade or section.get("grade", "quick")
    if grade not in FINER:
        refuse(f"--grade {grade!r} is not allowed: write {', '.join(FINER)}")
    finer = finer or section.get("finer") or FINER[grade]
    if finer not in (*FINER.values(), "none"):
        refuse(f"--finer {finer!r} is not allowed: write {', '.join(FINER.values())}, none")
    try:
        seconds = parse(clock, "time")
    except ValueError as error:
        refuse(f"--clock {error}")
    if not 0 <= seconds <= 3600:
        refuse(f"--clock {clock}: allowed: 0 s to 3600 s")
    return Settings(
        grade, finer, runs or section.get("runs"), hold_back or section.get("hold_back"),
        seconds, section.get("seed", 1), workers,
    )  # fmt: skip


def _vary(texts: list[str] | None) -> dict[str, list[object]] | None:
    if not texts:
        return None
    out: dict[str, list[object]] = {}
    for text in texts:
        key, bounds = _pair(text, "--vary")
        low, sign, high = bounds.partition("..")
        if not sign:
            refuse(f"--vary {text}: write KEY=LOW..HIGH, such as arc.efficiency=0.5..0.95")
        out[key] = [_plain(low.strip()), _plain(high.strip())]
    return out


def _plain(text: str) -> object:
    try:
        return float(text)
    except ValueError:
        return text


def _pair(text: str, option: str) -> tuple[str, str]:
    key, sign, value = text.partition("=")
    if not sign or not key.strip() or not value.strip():
        refuse(f"{option} {text}: write NAME=VALUE")
    return key.strip(), value.strip()


def _number(text: str, option: str) -> float:
    try:
        value = float(text)
    except ValueError:
        refuse(f"{option} {text}: allowed: a number greater than zero")
    if not 0 < value < float("inf"):
        refuse(f"{option} {text}: allowed: a number greater than zero")
    return value
