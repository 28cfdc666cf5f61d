"""The help of a verb in a person's words: no types of Python, one way to say a default."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

KINDS = (  # what the library calls the kind of a value, what a person does
    (r"<list\[Path\]>|<path>|<Path>", "PATH"),
    (r"<list\[str\]>|<str>", "TEXT"),
    (r"<int range>|<int>", "N"),
    (r"<float range>|<float>", "NUMBER"),
)
BEHIND = re.compile(r"\s*\[([^\[\]]*(?:default:|required|<=|>=)[^\[\]]*)\]$")
OWN_DEFAULT = re.compile(r" \((default: [^()]*)\)\.?$")


def in_plain_words(command: Any) -> Any:
    """A command whose help says kinds, defaults and bounds in words.

    Parameters
    ----------
    command : Command
        Of a verb; changed in place.

    Returns
    -------
    Command
        The same.
    """
    for parameter in command.params:
        parameter.get_help_record = _said(parameter.get_help_record)
    return command


def _said(record: Callable[[Any], Any]) -> Callable[[Any], Any]:
    def said(context: Any) -> Any:
        found = record(context)
        if found is None:
            return None
        name, text = found
        for kind, word in KINDS:
            name = re.sub(kind, word, name)
        return name, help_text(text)

    return said


def help_text(text: str) -> str:
    """What stands behind an option, with default and bounds in brackets at its end.

    Parameters
    ----------
    text : str
        As the library puts it together: "Runs at most.  [default: 4; 2<=x<=10]".

    Returns
    -------
    str
        "Runs at most (2 to 10; default: 4)."
    """
    behind = BEHIND.search(text)
    if not behind:
        return text
    head = text[: behind.start()]
    parts = [_bounds(part.strip()) for part in behind[1].split(";")]
    if own := OWN_DEFAULT.search(head):
        head, parts = head[: own.start()], [*parts, own[1]]
    parts.sort(key=lambda part: part.startswith("default"))
    return f"{head.rstrip('. ')} ({'; '.join(parts)})."


def _bounds(part: str) -> str:
    """`2 to 10` for `2<=x<=10`, `at least 1` for `x>=1`."""
    number = r"(-?[\d.]+)"
    if both := re.fullmatch(rf"{number}<=x<={number}", part):
        return f"{_short(both[1])} to {_short(both[2])}"
    least = re.fullmatch(rf"x>={number}", part)
    return f"at least {_short(least[1])}" if least else part


def _short(number: str) -> str:
    return f"{float(number):g}"
