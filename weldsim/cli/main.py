"""The command line: a table of verbs, each in a module of its own that is loaded when it is used.

`weldsim --help` reads the table alone, so that it answers at once; a verb's module imports what
the verb needs at its top.
"""

from __future__ import annotations

import sys
from importlib import import_module

import typer
from typer.core import TyperGroup

from weldsim.errors import WeldsimError
from weldsim.system.threads import single_blas_thread

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
    "plan": "Compare orders, directions and settings, and say which one to weld.",
    "next": "After some welds and a reading: what explains it, and how to go on.",
    "why": "Say which weld, and which part of it, moved each gauge.",
    "preset": "How far to set the part off, or where to clamp it, so that it ends straight; "
    "run to check.",
    "sheet": "Print a bench sheet: what to weld, which way, what the gauges should read; with "
    "boxes.",
    "correct": "Where a heating line or one more bead would bring a welded part back.",
    "target": "Print the target for a light spot, with marks that a film of it is measured by.",
    "watch-spot": "Read a filmed light spot into a gauge file and a picture.",
    "lesson": "Open a lesson as a notebook.",
    "serve": "A local page: choose a joint, weld it on screen, watch it move.",
}


class LazyGroup(TyperGroup):
    """Commands that stand in for their verbs until one is called."""

    def resolve_command(self, ctx, args):
        """The name of the verb called, its command loaded from its module, the other words."""
        name, stand_in, rest = super().resolve_command(ctx, args)
        return name, stand_in and load_verb(name), rest


def load_verb(name: str):
    """The command of a verb, from its module."""
    alone = typer.Typer(add_completion=False, pretty_exceptions_enable=False)
    alone.command(name=name)(import_module(f"weldsim.cli.{name.replace('-', '_')}").command)
    return typer.main.get_command(alone)


def _stand_in() -> None:
    """Takes a verb's place in the help."""


app = typer.Typer(
    cls=LazyGroup,
    help="Where a welded part will move, computed before the arc is struck.",
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
)
for _name, _line in VERBS.items():
    app.command(name=_name, help=_line)(_stand_in)


def main() -> None:
    """Entry point: refusals are one line each and exit code 2."""
    single_blas_thread()  # numpy asks when it is imported, which is later
    try:
        app(standalone_mode=True)
    except WeldsimError as error:
        print(error, file=sys.stderr)
        sys.exit(2)
    except KeyboardInterrupt:
        sys.exit(130)


if __name__ == "__main__":
    main()
