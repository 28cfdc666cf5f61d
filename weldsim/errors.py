"""What weldsim refuses: one tree, so that a caller can tell a refusal from a bug.

The command line turns these into their message and exit code 2; anything else keeps its traceback.
"""

import unicodedata

LONGEST_LINE = 900  # letters of a message; a value may have thousands
KEPT_END = 300  # of them at the end, where it says what is allowed


def readable(text: str) -> str:
    """A text that can be printed wherever it comes from.

    Parameters
    ----------
    text : str
        Perhaps with a piece of somebody's file in it.

    Returns
    -------
    str
        Control and other unseen characters as their codes, but for line breaks; long lines without
        their middle.
    """
    return "\n".join(_line(line) for line in str(text).split("\n"))


def _line(line: str) -> str:
    if len(line) > LONGEST_LINE:
        left_out = len(line) - LONGEST_LINE
        begin, end = line[: LONGEST_LINE - KEPT_END], line[-KEPT_END:]
        line = f"{begin} [{left_out} characters left out] {end}"
    return printable(line)


def printable(line: str) -> str:
    """A line without anything that a terminal would obey.

    Parameters
    ----------
    line : str
        Perhaps with a piece of somebody's file in it.

    Returns
    -------
    str
        Blanks of any kind as blanks, control and other unseen characters as their codes.
    """
    if line.isprintable():
        return line
    return "".join(c if c.isprintable() else _shown(c) for c in line)


def _shown(letter: str) -> str:
    """A space for a blank of any kind, the code of what cannot be seen."""
    blank = letter == "\t" or unicodedata.category(letter) == "Zs"
    return " " if blank else letter.encode("unicode_escape").decode()


class WeldsimError(Exception):
    """Root of everything raised for a user's input or refused by the physics.

    Parameters
    ----------
    message : object
        What is said; see `readable`.
    """

    def __init__(self, message: object = "") -> None:
        super().__init__(readable(str(message)))


class CaseError(WeldsimError):
    """A case file asks for something that is not allowed; one line for each mistake.

    Parameters
    ----------
    message : str
        What is said.
    mistakes : iterable, optional
        `weldsim.schema.mistakes.Mistake` records, where they are known.
    """

    def __init__(self, message: str, mistakes=()):
        super().__init__(message)
        self.mistakes = tuple(mistakes)


class MaterialError(WeldsimError):
    """A material file is wrong, or a property was asked for outside its range."""


class MeshError(WeldsimError):
    """The part cannot be meshed, or the mesh is not what the formula says."""


class ConvergenceError(WeldsimError):
    """A solver found no answer; the message holds step, time and residual history."""


class BalanceError(WeldsimError):
    """Heat in is not heat stored plus heat lost."""


class StoreError(WeldsimError):
    """A run folder cannot be written, read or resumed."""


class SetupError(WeldsimError):
    """Something on this machine is missing; the message says how to get it."""


class MeasurementError(WeldsimError):
    """A measured curve cannot be read or used; one line for each mistake."""
