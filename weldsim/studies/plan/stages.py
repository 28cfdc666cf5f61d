"""What the gauges read between the welds of a sequence that a study has computed."""

from __future__ import annotations

from pathlib import Path

from weldsim.schema.column import Column, Readings
from weldsim.studies.plan.branches import bind, read_branch
from weldsim.studies.plan.outcomes import root_job
from weldsim.studies.plan.prefix_tree import PrefixTree
from weldsim.studies.plan.space import Moves, Plan


def stages(
    plan: Plan, setting: int, moves: Moves, grade: str, folder: str | Path
) -> list[Readings | None]:
    """Readings after each weld of a sequence, before the next arc; nothing is computed.

    Parameters
    ----------
    plan : Plan
    setting : int
        Number in `plan.settings`.
    moves : row of moves
        A whole sequence.
    grade : str
        At which it was run.
    folder : path
        Study folder.

    Returns
    -------
    list of Readings or None
        One for each weld, None where its branch does not lie there. [SI]
    """
    root = root_job(plan, setting, grade, folder)
    tree = PrefixTree(root.plan, root, bind(root).symmetries)
    tree.add(moves)
    names, view = tree.path(moves)
    out: list[Readings | None] = []
    for name in names:
        record = read_branch(folder, name)
        if record is None or not record.get("readings"):
            out.append(None)
            continue
        columns = [Column(*c) for c in record["columns"]]
        out.append(Readings(dict(zip(columns, record["readings"][-1][view], strict=True))))
    return out
