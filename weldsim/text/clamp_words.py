"""A clamp search in words: what to clamp, where the gauge ends, and what the others gave."""

from __future__ import annotations

from weldsim.studies.clamp_search import ClampSearch, clamp_tables
from weldsim.text.cautions import beside


def clamp_lines(found: ClampSearch) -> list[str]:
    """What to paste into the case."""
    lines = []
    for clamp in clamp_tables(found.best.faces):
        lines += ["[[clamp]]", *(f'{k} = "{v}"' for k, v in clamp.items())]
    return lines


def clamp_words(found: ClampSearch) -> list[str]:
    """In plain words what to do, where it ends, how sure that is, and what the others gave."""
    best, target = found.best, found.target
    lines = ["Clamp nothing more." if not best.faces else
             f"Clamp the {' and the '.join(best.faces)} until the part is cold; the clamps bear up "
             f"to {_force(best.force)}."]  # fmt: skip
    error = "" if found.error is None else f"+-{target.said(found.error, 2)}, "
    lines.append(
        f"{target.gauge.name} then ends {target.said(best.size, 2)} off "
        f"({error}{found.estimate.how}): {beside(found.verdict)}, tolerance {target.tolerance}."
    )
    for other in found.choices[1:]:
        name = " and ".join(other.faces) or "nothing more"
        ends = f"not computed: {other.error}" if other.error else (
            f"ends {target.said(other.size, 2)} off")  # fmt: skip
        lines.append(f"  {name} held: {ends}")
    if found.untried:
        lines.append(f"  {found.untried} larger sets of faces were not tried")
    if best.faces:
        lines.append(
            "What is held keeps stress instead of moving: stand clear and loosen clamps bit by bit."
        )
    return lines


def _force(newton: float) -> str:
    return f"{newton:.2g} N" if newton < 1000 else f"{newton / 1000:.2g} kN"
