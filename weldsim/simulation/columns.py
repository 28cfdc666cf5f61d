"""Columns a case will have, known without a mesh."""

from __future__ import annotations

from weldsim.case.load import Case
from weldsim.schema.column import Column

# kind of gauge -> (component, unit shown) of what it reads; see `weldsim.simulation.gauges`
READS: dict[str, tuple[tuple[str, str], ...]] = {
    "pointer": (("up", "mrad"), ("right", "mrad"), ("up", "mm"), ("right", "mm")),
    "dial": (("travel", "mm"),),
    "bow": (("bow", "mm"),),
    "gap": (("opening", "mm"),),
    "thermocouple": (("temperature", "degC"),),
    "reaction": (
        ("Fx", "N"), ("Fy", "N"), ("Fz", "N"), ("Mx", "Nm"), ("My", "Nm"), ("Mz", "Nm"),
    ),
}  # fmt: skip


def columns_of_case(case: Case) -> tuple[Column, ...]:
    """What the gauges of a case read.

    Parameters
    ----------
    case : Case
        Any.

    Returns
    -------
    tuple of Column
        In the order of its gauges.
    """
    return tuple(Column(g.name, *end) for g in case.gauges for end in READS[g.kind])
