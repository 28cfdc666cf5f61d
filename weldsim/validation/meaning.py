"""What rows mean to somebody with a joint: how to read them, and which speak of its kind."""

from __future__ import annotations

from weldsim.joints.registry import KINDS, joint_kind
from weldsim.validation.catalogue import CHECKS
from weldsim.validation.rows import NUMBERLESS, Row

QUICK = "the quick list"
WHAT_IT_IS = (
    "weldsim computes, before the arc is struck, where a welded part will move. Here parts of that "
    "computation stand beside what others measured, published or derived. One set of defaults for "
    "all rows; where a row departs from it, the row says so. No value of the model is tuned to "
    "make a row hold."
)
HOW_TO_READ = (
    "Expected is what the source says, computed what weldsim gives, the error is the one less the "
    "other: in per cent of what is expected, or in its unit where a per cent says less.",
    "The tolerance was set before the first run, for the reason that stands beside it: what "
    "cells and steps of the check leave out, what the source itself is good for. It is not widened "
    "when a row fails.",
    "A row holds when all of its comparisons do; the one that uses most of its tolerance is shown, "
    "the others are folded under it.",
    "How it is known says whether somebody read the value in the source, in a copy of it, derived "
    "it again or had it from memory.",
    "A row supports a part of what a run computes, never the whole: where heat goes, what it does "
    "to the metal, what is left. Rows are compared again with weldsim validate --only NAME.",
)
ALL_KINDS = (
    "Heat flow, mechanics and cooling are the same for every kind of joint, and each was compared "
    "by itself. Rows that speak of one kind more than of others:"
)


def not_computed(rows: list[Row], which: str) -> str:
    """What the quick list leaves out, and where it stands what came of that.

    Parameters
    ----------
    rows : list of Row
        That were computed.
    which : str
        Which list they are of.

    Returns
    -------
    str
        Nothing for any list but `QUICK`.
    """
    there = {r.name.partition("/")[0] for r in rows}
    titles = [c.title for c in CHECKS if not c.quick and c.name not in there]
    if which != QUICK or not titles:
        return ""
    return (
        "The quick list leaves out what takes minutes to hours: " + "; ".join(titles) + ". Not all "
        'of these hold: what came of them stands in the README, "What it was compared with".'
    )


def counted(rows: list[Row], **wanted: str) -> tuple[int, int, int, int]:
    """How many rows hold, fail, are not claimed, and came to no numbers.

    Parameters
    ----------
    rows : list of Row
        Any.
    **wanted : str
        What a row has to have: `group`, `against`.

    Returns
    -------
    tuple of int
        Four counts.
    """
    own = [r.state for r in rows if all(getattr(r, k) == v for k, v in wanted.items())]
    first = (own.count("holds"), own.count("fails"), own.count("not claimed"))
    return (*first, len(own) - sum(first))


def for_kinds(rows: list[Row]) -> list[tuple[str, list[Row]]]:
    """Joint kinds in words, each with the rows that speak of it.

    Parameters
    ----------
    rows : list of Row
        Those without numbers are left out.

    Returns
    -------
    list of (str, list of Row)
        In the order of the kinds; the list may be empty.
    """
    said = [r for r in rows if r.state not in NUMBERLESS]
    return [(joint_kind(kind).label, [r for r in said if kind in r.kinds]) for kind in KINDS]


def of_parts(rows: list[Row]) -> str:
    """What measurements of whole parts the rows hold, in a sentence or two."""
    parts = dict.fromkeys(
        r.check or r.title for r in rows
        if r.group == "joints" and r.against == "measured" and r.state not in NUMBERLESS
    )  # fmt: skip
    rest = (
        "read what a run says as a direction and an order of magnitude until you have measured a "
        "joint like yours; weldsim fit takes what you measured."
    )
    if not parts:
        return f"No row is a measurement of a whole welded joint: {rest}"
    return f"Of whole parts, these were measured: {'; '.join(parts)}. Otherwise {rest}"
