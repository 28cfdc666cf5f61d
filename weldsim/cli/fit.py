"""`weldsim fit`: what a shop does not know, from curves it has measured."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from weldsim.case.load import Case, load_case
from weldsim.cli.main import WORDS
from weldsim.cli.options import CaseFile, Changes, Cluster, UnitsOfText, Workers, refuse, say
from weldsim.cli.progress import ProgressBar
from weldsim.geometry.grades import GRADE_USE
from weldsim.measurements.bench_columns import ReadingRules
from weldsim.measurements.measured_curve import Measurement, read_measurement
from weldsim.report.fit_record import write_fit
from weldsim.simulation.columns import columns_of_case
from weldsim.studies.fit.fitting import fit
from weldsim.studies.fit.records import FINER, Experiment, Settings
from weldsim.studies.fit.unknowns import unknowns_of
from weldsim.text.fit_words import fit_lines
from weldsim.units import parse

Measured = Annotated[
    list[Path] | None, typer.Option(help="CSV of what was measured on the case; repeat.")
]
Further = Annotated[
    list[Path] | None,
    typer.Option("--with", help="A further case; the --measured behind it belong to it; repeat."),
]
Vary = Annotated[
    list[str] | None,
    typer.Option(
        help="What may vary, KEY=LOW..HIGH, or KEY alone for the usual bounds; in place of "
        "the case's [fit]; repeat."
    ),
]
Map = Annotated[
    list[str] | None,
    typer.Option("--map", help="Header in the CSV, HEADER=GAUGE_SIDE; repeat."),
]
Unit = Annotated[list[str] | None, typer.Option(help="Unit of a column, HEADER=mm; repeat.")]
TimeUnit = Annotated[str | None, typer.Option(help="Unit of the time column.")]
Noise = Annotated[
    list[str] | None,
    typer.Option(help="Standard deviation of a column in its unit, HEADER=0.5; repeat."),
]
Clock = Annotated[
    str, typer.Option(help='How far a clock may be off; "0 s": time 0 is the start of the run.')
]
RunGrade = Annotated[
    str | None,
    typer.Option(
        help="How fine the runs are: "
        + "; ".join(f"{g}: {GRADE_USE[g]}" for g in FINER)
        + " (default: quick)."
    ),
]
Finer = Annotated[
    str | None,
    typer.Option(
        help='Grade of the few runs that tell the grade\'s error, or "none" (default: one finer).'
    ),
]
Runs = Annotated[
    int | None,
    typer.Option(help="Runs of the design (default: 6 an uncertain value, at least 12).", min=4),
]
HoldBack = Annotated[
    str | None, typer.Option(help="Column to predict, not to fit (default: the last).")
]
Out = Annotated[Path, typer.Option(help="Folder of the study; runs in it are used again.")]


def command(
    ctx: typer.Context,
    case: CaseFile,
    measured: Measured = None,
    further: Further = None,
    vary: Vary = None,
    map_: Map = None,
    unit: Unit = None,
    time_unit: TimeUnit = None,
    noise: Noise = None,
    clock: Clock = "30 s",
    grade: RunGrade = None,
    finer: Finer = None,
    runs: Runs = None,
    hold_back: HoldBack = None,
    out: Out = Path("fit"),
    workers: Workers = None,
    cluster: Cluster = None,
    changes: Changes = None,
    units: UnitsOfText = "metric",
):
    """Fit uncertain shop values to measured curves, with intervals."""
    loaded = load_case(case, changes or ())
    unknowns = unknowns_of(loaded, _vary(vary), {} if vary else None)
    rules = ReadingRules(
        dict(_pair(t, "--map") for t in map_ or ()),
        dict(_pair(t, "--unit") for t in unit or ()),
        time_unit,
        {k: _number(v, f"--noise {k}=") for k, v in (_pair(t, "--noise") for t in noise or ())},
    )
    groups = in_turn(ctx.meta.get(WORDS, []), len(measured or ()), len(further or ()))
    files = iter(measured or ())
    cases = [loaded, *(load_case(path, changes or ()) for path in further or ())]
    experiments = [
        _experiment(c, [next(files) for _ in range(count)], rules)
        for c, count in zip(cases, groups, strict=True)
    ]
    settings = _settings(loaded, grade, finer, runs, hold_back, clock, workers, cluster)
    with ProgressBar() as tell:
        found = fit(experiments, unknowns, out, settings, tell)
    say(fit_lines(found), units)
    written = write_fit(found, out, units)
    typer.echo(f"all of it in {', '.join(str(p) for p in written)}")
    typer.echo('later cases name it: [shop] file = "shop.toml"')


def in_turn(words: list[str], measured: int, further: int) -> list[int]:
    """How many files belong to each case: those before the first --with to the first.

    Parameters
    ----------
    words : list of str
        As they stood on the command line.
    measured, further : int
        Files and further cases in all.

    Returns
    -------
    list of int
        One a case.
    """
    out = [0]
    for word in words:
        option = word.partition("=")[0]
        if option == "--with":
            out.append(0)
        elif option == "--measured":
            out[-1] += 1
    if sum(out) != measured or len(out) != further + 1:
        return [measured] + [0] * further
    return out


def _experiment(case: Case, files: list[Path], rules: ReadingRules) -> Experiment:
    if not files:
        refuse(f"--measured: missing for {case.source_file}, such as --measured bench.csv")
    columns = columns_of_case(case)
    read: list[Measurement] = []
    for file in files:
        read.append(read_measurement(file, columns, rules=rules))
    return Experiment(case, tuple(read))


def _settings(case, grade, finer, runs, hold_back, clock, workers, cluster) -> Settings:
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
        seconds, section.get("seed", 1), workers, cluster,
    )  # fmt: skip


def _vary(texts: list[str] | None) -> dict[str, object] | None:
    if not texts:
        return None
    out: dict[str, object] = {}
    for text in texts:
        if "=" not in text:
            out[text.strip()] = "usual"
            continue
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
        refuse(f"{option}{text}: not allowed, write a number greater than zero")
    if not 0 < value < float("inf"):
        refuse(f"{option}{text}: not allowed, write a number greater than zero")
    return value
