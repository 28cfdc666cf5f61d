"""How lines are shown on a terminal: wrapped at its width, verdicts and warnings in colour.

Where the output is no terminal a line stays a line, plain, for whoever reads it by program.
"""

from __future__ import annotations

import textwrap

import typer
from rich.console import Console
from rich.text import Text

from weldsim.errors import printable

STYLES = (  # what is looked for, how it is shown; a word says the same without the colour
    (r"\binside\b(?! and\b)", "bold green"),
    (r"\boutside\b(?! and\b)", "bold red"),
    (r"\btoo close to call\b", "bold yellow"),
    (r"^\s*(?:Warning|Caution|Cautions):", "bold yellow"),
)


def show(line: str, console: Console | None = None) -> None:
    """Print a line.

    Parameters
    ----------
    line : str
        Leading blanks are kept, also where it is wrapped.
    console : Console, optional
        Where to; standard output when left out.
    """
    line = printable(line)
    console = console or Console(highlight=False)
    if not console.is_terminal:
        typer.echo(line)
        return
    indent = " " * (len(line) - len(line.lstrip()))
    wrapped = textwrap.wrap(
        line, console.width, subsequent_indent=indent + "  ", break_long_words=False,
        break_on_hyphens=False, replace_whitespace=False, drop_whitespace=True,
    )  # fmt: skip
    for part in wrapped or [""]:
        text = Text(part)
        for pattern, style in STYLES:
            text.highlight_regex(pattern, style)
        console.print(text, soft_wrap=True)
