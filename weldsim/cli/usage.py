"""What is wrong with a command line, in one line with a hint.

The library that reads the command line says it in three lines and without the value; what it found
is read here off its exception, whose class lies elsewhere from version to version.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable
from difflib import get_close_matches
from typing import Any

NEAR = 0.5  # likeness from which a name is offered in place of another
OURS = {"Input should be": "must be", "requires an argument": "needs a value"}
RENAMED = {"--companion": "--error-estimate", "--no-companion": "--no-error-estimate"}


def is_usage_error(error: BaseException) -> bool:
    """Whether an exception is about the words of the command line."""
    return hasattr(error, "format_message") and hasattr(error, "exit_code")


def one_line(error: Any, verbs: Iterable[str], written: list[str]) -> str:
    """A complaint about the command line, with the nearest name or what is allowed.

    Parameters
    ----------
    error : Exception
        One for which `is_usage_error` holds.
    verbs : iterable of str
        All there are.
    written : list of str
        The words of the command line.

    Returns
    -------
    str
        Such as "weldsim run: no option --grad, did you mean --grade?".
    """
    context = getattr(error, "ctx", None)
    where = context.command_path if context is not None else "weldsim"
    option, parameter = getattr(error, "option_name", None), getattr(error, "param", None)
    kind = type(error).__name__
    if kind == "NoSuchOption":
        return f"{where}: no option {option}{_nearest(option, _options(context), where)}"
    if kind == "BadOptionUsage":
        return f"{where}: {option}: {_plain(error.message, option)}"
    if kind == "MissingParameter" and parameter is not None:
        return f"{where}: {_name(parameter)} is missing{_meaning(parameter)}"
    if parameter is not None:
        name = _name(parameter)
        return f"{where}: {name}{_value(name, written)}: {_plain(error.message, name)}"
    unknown = next((w for w in written if not w.startswith("-")), "")
    if "No such command" in error.format_message() and unknown:
        return f"{where}: no command {unknown}{_nearest(unknown, verbs, where)}"
    return f"{where}: {_plain(error.format_message(), '')}; help: {where} -h"


def _options(context: Any) -> list[str]:
    """Names of the options of a command."""
    if context is None:
        return []
    found = [n for p in context.command.params for n in (*p.opts, *p.secondary_opts)]
    return [*(n for n in found if n.startswith("--")), "--help"]


def _nearest(word: str, known: Iterable[str], where: str) -> str:
    known = list(known)
    near = get_close_matches(word, known, n=1, cutoff=NEAR)
    if RENAMED.get(word) in known:
        return f", it is called {RENAMED[word]} now"
    return f", did you mean {near[0]}?" if near else f"; what there is: {where} -h"


def _name(parameter: Any) -> str:
    """`--out`, or an argument as the help shows it."""
    long = [n for n in parameter.opts if n.startswith("--")]
    return long[0] if long else str(parameter.metavar or parameter.name).upper()


def _meaning(parameter: Any) -> str:
    """What the help says of it."""
    text = (getattr(parameter, "help", None) or "").rstrip(".")
    return f" ({text[0].lower()}{text[1:]})" if text else ""


def _value(name: str, written: list[str]) -> str:
    """What was written behind an option."""
    for place, word in enumerate(written):
        key, sign, value = word.partition("=")
        if key == name and (sign or place + 1 < len(written)):
            return f" {value if sign else written[place + 1]}"
    return ""


def _plain(message: str, name: str) -> str:
    """The library's words, as ours are."""
    text = message.rstrip(".").removeprefix(f"Option {name!r} ").partition(", unable to")[0]
    for theirs, ours in OURS.items():
        text = text.replace(theirs, ours)
    return f"{text[:1].lower()}{text[1:]}"


def refuse_usage(error: Any, verbs: Iterable[str], written: list[str]) -> int:
    """Say what is wrong with the command line; where nothing was asked for, the help.

    Returns
    -------
    int
        Exit code.
    """
    if type(error).__name__ == "NoArgsIsHelpError":
        error.show()
    else:
        print(one_line(error, verbs, written), file=sys.stderr)
    return int(error.exit_code)
