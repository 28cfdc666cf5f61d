"""Verbs about choosing, explaining, correcting and showing: one function each."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path
from typing import Annotated

import typer

Changes = Annotated[
    list[str] | None,
    typer.Option("--set", help="Change a key of the case, such as part.thickness='8 mm'."),
]
Workers = Annotated[int | None, typer.Option(help="Processes; one a core when left out.", min=1)]
Cluster = Annotated[
    str | None,
    typer.Option(help='Address of a Dask scheduler, or "local" for one of this machine\'s own.'),
]
CaseFile = Annotated[Path, typer.Argument(help="Case file (TOML).", show_default=False)]
RunDir = Annotated[Path, typer.Argument(help="Run folder.", show_default=False)]


def add_to(app: typer.Typer) -> None:
    """Hang the verbs of this module on the program."""
    for verb in (plan, next_, why, preset, correct, serve):
        app.command(name=verb.__name__.strip("_"))(verb)


def plan(
    case: Annotated[Path, typer.Argument(help="Case file with a [plan] section.")],
    out: Annotated[Path, typer.Option(help="Study folder; one that is there goes on.")],
    changes: Changes = None,
    workers: Workers = None,
    cluster: Cluster = None,
    confirm: Annotated[bool, typer.Option(help="Run the best few again at a finer grade.")] = True,
):
    """Compare orders, directions and settings, and say which one to weld."""
    from weldsim.report.plan_report import write_pages
    from weldsim.studies.plan.ranking import study
    from weldsim.studies.plan.record import write_plan
    from weldsim.studies.plan.space import load_plan
    from weldsim.text.plan_words import plan_lines

    loaded = load_plan(case, changes or ())
    try:
        with _bar() as tell:
            found = study(loaded, out, workers, cluster, tell, confirm)
    except KeyboardInterrupt:
        again = ["weldsim", "plan", str(case), "--out", str(out)]
        again += [part for change in changes or () for part in ("--set", change)]
        again += [] if confirm else ["--no-confirm"]
        print(f"stopped; what is computed stays: go on with {shlex.join(again)}", file=sys.stderr)
        raise typer.Exit(130) from None
    path = write_plan(found, out)
    pages = write_pages(found, out)
    for line in plan_lines(found):
        typer.echo(line)
    typer.echo(f"{len(found.rows)} schedules in {path}; " + ", ".join(str(p) for p in pages))


def next_(
    folder: Annotated[Path, typer.Argument(help="Study folder of weldsim plan, or a run folder.")],
    after: Annotated[
        str,
        typer.Option(help='Welded so far, "front:+x,back:-x", or the last seam of the run\'s own.'),
    ],
    reading: Annotated[
        list[str], typer.Option(help="What a gauge reads now, such as pointer.up=-12mm; repeat.")
    ],
    noise: Annotated[
        float | None, typer.Option(help="How well it is read: standard deviation, in its unit.")
    ] = None,
    tolerance: Annotated[
        str | None, typer.Option(help="Tolerance, where the folder's case states none.")
    ] = None,
    workers: Workers = None,
    cluster: Cluster = None,
):
    """After some welds and a reading: what explains it, and how to go on."""
    from weldsim.studies.next.advice import (
        advice_lines,
        advise,
        open_study,
        read_moves,
        read_readings,
        study_error,
    )
    from weldsim.studies.plan.executor import executor

    if noise is not None and not noise > 0:
        _refuse(f"--noise {noise:g}: must be greater than zero")
    loaded, where, record = open_study(folder, tolerance)
    done = read_moves(loaded, after)
    columns, values = read_readings(loaded, reading)
    with _bar() as tell, executor(workers, cluster) as found:
        advice = advise(
            loaded, where, done, columns, values, found, noise, study_error(record), tell, record
        )
    for line in advice_lines(loaded, advice):
        typer.echo(line)


def why(
    run_dir: Annotated[
        Path, typer.Argument(help="Run folder; with --crossover the case file of a bar.")
    ],
    replay: Annotated[
        bool,
        typer.Option(help="Run it again to tell heating from cooling; else by place alone."),
    ] = True,
    crossover: Annotated[
        bool, typer.Option(help="Run a bar at several heats: along the travel against the side.")
    ] = False,
    out: Annotated[Path | None, typer.Option(help="Folder of the crossover chart.")] = None,
    changes: Changes = None,
):
    """Say which weld, and which part of it, moved each gauge."""
    import json

    if crossover:
        from weldsim.case.load import load_case
        from weldsim.plots.attribution_pictures import write_crossover
        from weldsim.studies.heat_sweep import crossover as cross
        from weldsim.studies.heat_sweep import crossover_words

        case = load_case(run_dir, changes or ())
        with _bar() as tell:
            found = cross(case, progress=tell)
        typer.echo(crossover_words(found))
        typer.echo(f"chart beside {write_crossover(found, out or Path('runs') / 'crossover')}")
        return
    if changes or out:
        _refuse("why: --set and --out go with --crossover")
    from weldsim.plots.attribution_pictures import write_why

    with _bar() as tell:
        path = write_why(run_dir, replay, tell)
    for line in json.loads(path.read_text(encoding="utf-8"))["in_words"]:
        typer.echo(line)
    typer.echo(f"all of it in {path}")


def preset(
    case: CaseFile,
    gauge: Annotated[
        str | None, typer.Option(help="Gauge; the first that reads a movement else.")
    ] = None,
    tolerance: Annotated[
        str | None,
        typer.Option(help='Such as "0.5 mrad"; the gauge\'s own, else 1 mrad or 0.5 mm.'),
    ] = None,
    clamp: Annotated[
        bool, typer.Option("--clamp", help="Look for where to clamp instead of a lean.")
    ] = False,
    grade: Annotated[str | None, typer.Option(help="coarse, quick, normal or fine.")] = None,
    runs: Annotated[int, typer.Option(help="Runs at most.", min=2, max=10)] = 4,
    out: Annotated[Path, typer.Option(help="File to write.")] = Path("preset.json"),
    changes: Changes = None,
):
    """How far to set the part off, or where to clamp it, so that it ends straight; run to check."""
    from weldsim.case.load import load_case
    from weldsim.studies.clamp_search import (
        find_holding,
        holding_lines,
        holding_words,
        write_holding,
    )
    from weldsim.studies.preset import find_preset, preset_lines, preset_words, write_preset

    _grade(grade)
    loaded = load_case(case, changes or ())
    with _bar() as tell:
        if clamp:
            found = find_holding(loaded, gauge, tolerance, grade, progress=tell)
        else:
            found = find_preset(loaded, gauge, tolerance, grade, runs, progress=tell)
    if clamp:
        lines, path = (*holding_words(found), *holding_lines(found)), write_holding(found, out)
    else:
        lines, path = (*preset_words(found), *preset_lines(found)), write_preset(found, out)
    for line in lines:
        typer.echo(line)
    typer.echo(f"all of it in {path}")


def correct(
    case: CaseFile,
    gauge: Annotated[
        str | None, typer.Option(help="Gauge; the first that reads a movement else.")
    ] = None,
    kind: Annotated[
        str, typer.Option(help="line: heat without filler; bead: one more bead.")
    ] = "line",
    limit: Annotated[
        str | None,
        typer.Option(help='Hottest a line may get, such as "650 degC"; the material\'s own else.'),
    ] = None,
    tolerance: Annotated[
        str | None,
        typer.Option(help='Such as "0.5 mrad"; the gauge\'s own, else 1 mrad or 0.5 mm.'),
    ] = None,
    grade: Annotated[str | None, typer.Option(help="coarse, quick, normal or fine.")] = None,
    out: Annotated[Path, typer.Option(help="File to write.")] = Path("correct.json"),
    changes: Changes = None,
):
    """Where a heating line or one more bead would bring a welded part back."""
    from weldsim.case.load import load_case
    from weldsim.studies.correction import correction_words, find_correction, write_correction
    from weldsim.text.cautions import CAUTIONS, DEFER
    from weldsim.units import parse

    _grade(grade)
    if limit is not None and kind != "line":
        _refuse("correct: --limit goes with --kind line")
    try:
        top = None if limit is None else parse(limit, "temperature")
    except ValueError as error:
        _refuse(f"--limit: {error}")
    loaded = load_case(case, changes or ())
    with _bar() as tell:
        found = find_correction(
            loaded, gauge, kind, grade=grade, limit=top, tolerance=tolerance, progress=tell
        )
    for line in (*correction_words(found), *CAUTIONS, DEFER):
        typer.echo(line)
    typer.echo(f"all of it in {write_correction(found, out)}")


def serve(
    host: Annotated[str, typer.Option(help="Address to listen on.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(help="Port.", min=0, max=65535)] = 8716,
    lan: Annotated[
        bool, typer.Option("--lan", help="Let others on the network in, with a key.")
    ] = False,
    work: Annotated[Path, typer.Option(help="Folder for runs.")] = Path("runs"),
    workers: Annotated[int, typer.Option(help="Runs at a time.", min=1)] = 1,
    open_browser: Annotated[
        bool, typer.Option("--open/--no-open", help="Open the page in the browser.")
    ] = True,
):
    """A local page: choose a joint, weld it on screen, watch it move."""
    from weldsim.page.app import serve as start

    start(host=host, port=port, lan=lan, work=work, open_browser=open_browser, workers=workers)


def _grade(grade: str | None) -> None:
    known = ("coarse", "quick", "normal", "fine")
    if grade is not None and grade not in known:
        _refuse(f"--grade {grade!r} is not allowed: write {', '.join(known)}")


def _bar():
    from weldsim.cli.main import _progress

    return _progress()


def _refuse(text: str):
    from weldsim.errors import WeldsimError

    raise WeldsimError(text)
