"""The command line: one function a verb, light at the top, the work imported where it is used."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Annotated

import typer  # noqa: E402

from weldsim.errors import WeldsimError

app = typer.Typer(
    help="Where a welded part will move, computed before the arc is struck.",
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
)
Changes = Annotated[
    list[str] | None,
    typer.Option("--set", help="Change a key of the case, such as part.thickness='8 mm'."),
]
CaseFile = Annotated[Path, typer.Argument(help="Case file (TOML).", show_default=False)]
RunDir = Annotated[Path, typer.Argument(help="Run folder.", show_default=False)]


@app.command()
def new(
    kind: Annotated[
        str,
        typer.Argument(
            help="Joint kind: bar, square-tube-tee, round-tube-saddle, round-tube-butt, "
            "plate-butt, plate-tee, tube-socket, mesh or step."
        ),
    ],
    out: Annotated[
        Path | None, typer.Option(help="File to write; KIND.toml when left out.")
    ] = None,
):
    """Write a commented starter case."""
    from weldsim.case.starters import write_starter

    path = write_starter(kind, out)
    typer.echo(f"wrote {path}; look it over, then: weldsim check {path}")


@app.command()
def check(
    case: CaseFile,
    changes: Changes = None,
    picture: Annotated[
        Path | None, typer.Option(help="Draw the part with its welds, in order, into this file.")
    ] = None,
):
    """Say in words what would be simulated, without running it."""
    from weldsim.case.load import load_case
    from weldsim.text.describe import describe

    loaded = load_case(case, changes or ())
    for line in describe(loaded):
        typer.echo(line)
    if picture is not None:
        from weldsim.plots.layout import draw_layout

        draw_layout(loaded, picture)
        typer.echo(f"layout drawn in {picture}")


@app.command()
def material(
    name: Annotated[str, typer.Argument(help="Name of a material, or the path of its file.")],
    plot: Annotated[Path | None, typer.Option(help="Draw the curves into this file.")] = None,
):
    """Print and plot the property curves of a material with their sources."""
    from weldsim.materials.material import load_material
    from weldsim.plots.material_plot import material_text, plot_material

    found = load_material(name)
    typer.echo(material_text(found))
    path = plot or Path(f"{Path(name).stem}.png")
    plot_material(found, path)
    typer.echo(f"curves drawn in {path}")


@app.command()
def run(
    case: Annotated[Path | None, typer.Argument(help="Case file (TOML).")] = None,
    out: Annotated[Path | None, typer.Option(help="Run folder; runs/DATE_TITLE else.")] = None,
    changes: Changes = None,
    resume: Annotated[Path | None, typer.Option(help="Go on with a stopped run folder.")] = None,
    companion: Annotated[
        bool | None,
        typer.Option(help="Coarser second run for the error estimate (the case decides)."),
    ] = None,
    pictures: Annotated[bool, typer.Option(help="Draw pictures and report afterwards.")] = True,
):
    """Compute a case into a run folder."""
    from weldsim.case.load import load_case
    from weldsim.runs.runner import run_case

    if (case is None) == (resume is None):
        _refuse("run: give either a case file, or --resume with a stopped run folder")
    if resume is not None and (changes or out or companion is not None):
        _refuse(
            "run: --resume goes on with the case as it was: leave out --set, --out and --companion"
        )
    loaded = None if case is None else load_case(case, changes or ())
    try:
        with _progress() as report:
            folder = run_case(loaded, out, resume, companion, report, notice=_notice)
    except KeyboardInterrupt as stop:
        # a dated folder is made below the command line, which tells its name with the stop
        where = resume or out or getattr(stop, "run_folder", "FOLDER")
        print(f"stopped; go on with: weldsim run --resume {where}", file=sys.stderr)
        raise typer.Exit(130) from None
    _words(folder)
    if pictures:
        _pictures(folder)


@app.command()
def show(
    run_dir: RunDir,
    figure: Annotated[
        str | None, typer.Option(help="One picture for print in place of all; a wrong name lists.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option(help="File of that picture: .svg, .pdf or .png.")
    ] = None,
):
    """Draw the pictures, the animation and the report of a run."""
    if figure is None:
        if out is not None:
            _refuse("show: --out goes with --figure NAME")
        _pictures(run_dir)
        return
    from weldsim.plots.print_figures import draw

    path = out or Path(run_dir) / "pictures" / f"{figure}.pdf"
    typer.echo(f"drawn in {draw(figure, run_dir, path)}")


@app.command()
def report(
    runs: Annotated[list[Path], typer.Argument(help="Run folders; several are compared.")],
    out: Annotated[
        Path | None, typer.Option(help="File to write; report.html of the first run else.")
    ] = None,
    units: Annotated[str, typer.Option(help="Units shown first: metric or us.")] = "metric",
):
    """Write one page that says what came out; several runs stand side by side."""
    from weldsim.report.report import write_report
    from weldsim.runs.reading import read_run

    for run_dir in runs:
        read_run(run_dir)
    if units not in ("metric", "us"):
        _refuse(f'report: --units {units!r} is not allowed: write "metric" or "us"')
    typer.echo(f"report: {write_report(runs if len(runs) > 1 else runs[0], out, units)}")


@app.command()
def version():
    """Print the version."""
    from weldsim import __version__

    typer.echo(__version__)


def _notice(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


def _words(folder: Path) -> None:
    from weldsim.report.comparison import verdicts
    from weldsim.runs.reading import read_run
    from weldsim.text.words import final_words

    record = read_run(folder)
    for line in final_words(record):
        typer.echo(line)
    for v in verdicts(record):
        typer.echo(f"{v['gauge']}, tolerance {v['tolerance']}: {v['verdict']}")
    typer.echo(f"run folder: {folder}")


def _pictures(folder: Path) -> None:
    from weldsim.runs.reading import read_run

    read_run(folder)  # refuses what is no run before the heavy libraries load
    from weldsim.plots.pictures import show_run
    from weldsim.report.report import write_report

    with _progress() as report:
        made = show_run(folder, report)
    for note in made.notes:
        typer.echo(note)
    page = write_report(folder)
    typer.echo(f"{len(made.paths)} pictures in {Path(folder) / 'pictures'}, report: {page}")


class _progress:
    """A bar with time left on a terminal; a line every tenth elsewhere."""

    def __enter__(self):
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

        self._console = Console(stderr=True)
        self._last, self._bar = -1, None
        if self._console.is_terminal:
            self._bar = Progress(
                TextColumn("{task.description:<28}"),
                BarColumn(),
                TextColumn("{task.percentage:3.0f} %"),
                TimeRemainingColumn(),
                console=self._console,
            )
            self._bar.start()
            self._task = self._bar.add_task("starting", total=1.0)
        return self.tell

    def tell(self, share: float, text: str) -> None:
        if self._bar is not None:
            self._bar.update(self._task, completed=share, description=text)
        elif int(10 * share) > self._last:
            self._last = int(10 * share)
            print(f"{100 * share:3.0f} %  {text}", file=sys.stderr, flush=True)

    def __exit__(self, *error):
        if self._bar is not None:
            self._bar.stop()


def _refuse(text: str):
    raise WeldsimError(text)


def _more_verbs() -> None:
    from weldsim.cli import study_verbs as cli_study

    cli_study.add_to(app)


_more_verbs()


def main() -> None:
    """Entry point: refusals are one line each and exit code 2."""
    # One BLAS thread for numpy, whose threads fight with those of the factorisation; the solver's
    # own are set where it is made. numpy reads these when it is imported, which is later.
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "VECLIB_MAXIMUM_THREADS"):
        os.environ.setdefault(name, "1")
    try:
        app(standalone_mode=True)
    except WeldsimError as error:
        print(error, file=sys.stderr)
        sys.exit(2)
    except KeyboardInterrupt:
        sys.exit(130)


if __name__ == "__main__":
    main()
