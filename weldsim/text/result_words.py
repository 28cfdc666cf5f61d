"""The words of a run for notebooks: what the terminal says of a run folder."""

from __future__ import annotations

from weldsim.runs.result import Result
from weldsim.text.words import final_words


def result_words(result: Result) -> list[str]:
    """Where each gauge ends, how sure that is, and what to be careful about.

    Parameters
    ----------
    result : Result
        Computed or read from a folder.

    Returns
    -------
    list of str
        One for each line, in the units of the trade.
    """
    return [str(line) for line in final_words(result.record)]
