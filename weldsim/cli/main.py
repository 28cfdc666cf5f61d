"""The command line: a table of verbs, each in a module of its own that is loaded when it is used.

`weldsim --help` reads the table alone, so that it answers at once; a verb's module imports what
the verb needs at its top.
"""

from __future__ import annotations

import re
import sys
from contextlib import suppress
from importlib import import_module
from importlib.metadata import version
from shutil import get_terminal_size
from typing import Annotated

import typer
from typer.core import TyperGroup

from weldsim.cli.help_words import in_plain_words
from weldsim.cli.usage import is_usage_error, refuse_usage
from weldsim.errors import WeldsimError
from weldsim.system.signals import exit_code_of, heed_ending_signals
from weldsim.system.threads import single_blas_thread

WIDEST = 120  # letters in a line of help
# Verb -> the line that the help shows for it, the first of the docstring of `command` in
# `weldsim.cli.VERB`; in the order of the help.
VERBS = {
    "new": "Write a commented starter case.",
    "check": "Say in words what would be simulated, without running it.",
    "material": "Print and plot the property curves of a material with their sources.",
    "run": "Compute a case into a run folder.",
    "show": "Draw the pictures, the animation and the report of a run.",
    "report": "Write one page that says what came out; several runs stand side by side.",
    "version": "Print the version.",
    "plan": "Compare sequences and settings, and say which one to weld.",
    "next": "After some welds and a reading: what explains it, and what to weld next.",
    "why": "Say which weld, and which part of it, moved each gauge.",
    "preset": "The tilt to give before welding, or where to clamp, so that the part ends straight; "
    "checked by a run.",
    "sheet": "Print a bench sheet: which weld when, its travel, what the gauges should read; with "
    "boxes.",
    "correct": "Where a heating line or one more bead would bring a welded part back.",
    "fit": "Fit uncertain shop values to measured curves, with intervals.",
    "band": "The range in which each gauge ends, hot and cold, and what explains the spread.",
    "target": "Print the target for a light spot, with marks that a film of it is measured by.",
    "watch-spot": "Read a filmed light spot into a gauge file and a picture.",
    "validate": "Compute what others measured, published or derived, and say row by row whether "
    "it holds.",
    "lesson": "Open a lesson as a notebook.",
    "serve": "A local page: choose a joint, weld it on screen, watch it move.",
}

KEPT = "stopped; what is computed stays: resume with the same command"
LOST = "stopped; nothing is kept of it: begin again"
# run, plan, band, validate and a row of heats (why) say more themselves
STOPPED = {"fit": KEPT, "next": KEPT, "preset": KEPT, "correct": KEPT, "why": LOST}

WORDS = "weldsim.words"
NAMED = re.compile(r"([a-z-]+)(?::| ['\"\d-])")  # an argument and its value, or a colon


class LazyGroup(TyperGroup):
    """Commands that stand in for their verbs until one is called."""

    def main(self, args=None, standalone_mode=True, **options):
        """Run; what is wrong with the command line is one line and exit code 2."""
        written = list(sys.argv[1:] if args is None else args)
        try:
            code = super().main(args=args, standalone_mode=False, **options)
        except Exception as error:
            if not (standalone_mode and is_usage_error(error)):
                raise
            sys.exit(refuse_usage(error, VERBS, written))
        if standalone_mode:
            sys.exit(code if isinstance(code, int) else 0)
        return code

    def invoke(self, ctx):
        """Carry out the verb; a stop ends with the code of its signal, whichever verb it is."""
        try:
            return super().invoke(ctx)
        except KeyboardInterrupt as stop:
            text = STOPPED.get(ctx.invoked_subcommand or "", "stopped")
            with suppress(OSError):  # the terminal may be gone
                print(text, file=sys.stderr, flush=True)
            raise typer.Exit(exit_code_of(stop)) from None

    def resolve_command(self, ctx, args):
        """The name of the verb called, its command loaded from its module, the other words."""
        name, stand_in, rest = super().resolve_command(ctx, args)
        ctx.meta[WORDS] = list(rest)  # for a verb that heeds the order of its options
        return name, stand_in and load_verb(name), rest

    def format_commands(self, ctx, formatter):
        """Every verb with its whole line, wrapped."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, self.get_command(ctx, name).help) for name in VERBS])


def load_verb(name: str):
    """The command of a verb, from its module."""
    alone = _typer()
    alone.command(name=name)(import_module(f"weldsim.cli.{name.replace('-', '_')}").command)
    return options_as_typed(in_plain_words(typer.main.get_command(alone)))


def options_as_typed(command):
    """The command, which names in its refusals options as they are typed, "--gauge 'dial' ...":
    rooms below name their arguments, which scripts call them by."""
    own = {n for p in command.params for n in p.opts if n.startswith("--")}
    carry_out = command.invoke

    def invoke(ctx):
        try:
            return carry_out(ctx)
        except WeldsimError as error:
            named = NAMED.match(str(error))  # "workers die ..." is a sentence and no option
            if named is None or f"--{named[1]}" not in own:
                raise
            raise type(error)(f"--{error}") from None

    command.invoke = invoke
    return command


def _typer(**options) -> typer.Typer:
    """A command line of ours: `-h`, no markup in help (a [plan] is a section), no completion."""
    return typer.Typer(
        add_completion=False,
        pretty_exceptions_enable=False,
        rich_markup_mode=None,
        context_settings={
            "help_option_names": ["-h", "--help"],
            "max_content_width": min(get_terminal_size().columns, WIDEST),
        },
        **options,
    )


def _stand_in() -> None:
    """Takes a verb's place in the help."""


def _say_version(asked: bool) -> None:
    if asked:
        typer.echo(version("weldsim"))
        raise typer.Exit


app = _typer(
    cls=LazyGroup,
    help="Where a welded part will move, computed before the arc is struck.",
    no_args_is_help=True,
)


@app.callback()
def _whole(
    _version: Annotated[
        bool,
        typer.Option("--version", callback=_say_version, is_eager=True, help="Print the version."),
    ] = False,
) -> None:
    """Where a welded part will move, computed before the arc is struck."""


for _name, _line in VERBS.items():
    app.command(name=_name, help=_line)(_stand_in)


def main() -> None:
    """Entry point: refusals are one line each and exit code 2."""
    single_blas_thread()  # numpy asks when it is imported, which is later
    heed_ending_signals()
    try:
        app(standalone_mode=True)
    except WeldsimError as error:
        print(error, file=sys.stderr)
        sys.exit(2)
    except KeyboardInterrupt as stop:
        sys.exit(exit_code_of(stop))


if __name__ == "__main__":
    main()
