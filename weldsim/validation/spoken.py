"""What a test calls the number that it compares: the message of its assertion.

`assert got == pytest.approx(56.05), "temperature 20 mm deep after 60 s [degC]"`, and `err_msg` of
`numpy.testing.assert_allclose`. A unit in brackets at its end is that of the number compared.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from types import CodeType, FrameType

UNITS = {  # of a test, SI: what a row shows it in
    "Pa": (1e-6, "MPa"), "m": (1e3, "mm"), "m2": (1e6, "mm2"), "m3": (1e9, "mm3"),
    "rad": (1e3, "mrad"), "W/m3": (1e-9, "W/mm3"), "1": (1.0, ""),
}  # fmt: skip


def words(frame: FrameType, line: int) -> str:
    """The message of the assertion on a line of a test, with its names filled in.

    Parameters
    ----------
    frame : frame
        Of the function that the line stands in.
    line : int
        One of the lines of the assertion.

    Returns
    -------
    str
        Nothing where the assertion has no message, or one of names that the frame does not know.
    """
    message = messages(Path(frame.f_code.co_filename)).get(line)
    if message is None:
        return ""
    try:
        return str(eval(message, frame.f_globals, frame.f_locals))  # noqa: S307  # the test's own
    except NameError:
        return ""


@cache
def messages(path: Path) -> dict[int, CodeType]:
    """Messages of a file of tests by the lines of their assertions.

    Parameters
    ----------
    path : path
        Of Python.

    Returns
    -------
    dict
        Line number to the compiled message; without what has none.
    """
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return {
        line: compile(ast.Expression(message), str(path), "eval")
        for node in ast.walk(tree)
        for message in said(node)
        for line in range(node.lineno, (node.end_lineno or node.lineno) + 1)
    }


def said(node: ast.AST) -> Iterator[ast.expr]:
    """The message of an assertion, be it a statement or a call of numpy.

    Parameters
    ----------
    node : ast.AST
        Of a file of tests.

    Yields
    ------
    ast.expr
        One, or none.
    """
    if isinstance(node, ast.Assert) and node.msg is not None:
        yield node.msg
    elif isinstance(node, ast.Call):
        yield from (k.value for k in node.keywords if k.arg == "err_msg")


def in_unit(asked: str) -> tuple[str, float, str]:
    """What is compared, the factor to the unit it is shown in, and that unit.

    Parameters
    ----------
    asked : str
        With a unit in brackets, or without.

    Returns
    -------
    quantity : str
        Without the unit.
    factor : float
        For expected, computed and allowed.
    unit : str
        Empty where there is none.
    """
    found = re.fullmatch(r"(.*\S)\s*\[([^\[\]]+)\]", asked)
    if found is None:
        return asked, 1.0, ""
    return (found[1], *UNITS.get(found[2], (1.0, found[2])))
