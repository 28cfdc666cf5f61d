"""The case file: TOML with units in the values, checked as a whole, turned into SI records.

Keys, units and words are checked section by section, then the sections against each other. All
mistakes of a file are reported together, one line each.
"""

from __future__ import annotations

import copy
import tomllib
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

from weldsim.case.overrides import Overrides, apply_overrides, changes_of, check_depth
from weldsim.case.reading import read_tables
from weldsim.case.shop import with_shop_values
from weldsim.errors import CaseError, StoreError
from weldsim.joints.registry import kind_of, kind_of_case
from weldsim.schema.quantities import Section
from weldsim.schema.records import (
    Clamp,
    Gauge,
    Hold,
    MetalFactors,
    SolveOptions,
    Surroundings,
    Tack,
    Weld,
)
from weldsim.system.files import read_file

MOST_BYTES = 4 * 2**20  # of a case file
MOST_MISTAKES = 60  # lines of a refusal
RESOLVED = (
    "title", "clamping", "welds", "surroundings", "gauges", "solve", "clamps", "tacks",
    "cooling_film_coefficient", "preset", "metal",
)  # fmt: skip


@dataclass(frozen=True)
class Case:
    """A whole case in SI, checked.

    Attributes
    ----------
    title : str
    part : record of a joint kind
        Sizes of what is welded. [m]
    clamping, clamps, tacks, welds, surroundings, gauges, solve
        Records of `weldsim.schema.records`.
    source_file, source_text : str
        The case file; with `overrides` they are enough to read the case again, as a run folder
        does.
    overrides : tuple of str
        Changes to the file as the command line writes them, in order.
    cooling_film_coefficient : float or None
        Of forced cooling between welds. [W/(m2 K)]
    preset : tuple of float
        Tilt given before welding, about x, y and z. [rad]
    metal : MetalFactors
        On the curves of the material.
    tables : dict
        The file's tables with all changes in them. Treat as read-only: `with_changes` copies it.
    resolved : dict
        All values in SI as plain data, for run folders and reports.
    """

    title: str
    part: Any
    clamping: Hold
    welds: tuple[Weld, ...]
    surroundings: Surroundings
    gauges: tuple[Gauge, ...]
    solve: SolveOptions
    source_file: str
    source_text: str
    overrides: tuple[str, ...] = ()
    clamps: tuple[Clamp, ...] = ()
    tacks: tuple[Tack, ...] = ()
    cooling_film_coefficient: float | None = None
    preset: tuple[float, float, float] = (0.0, 0.0, 0.0)
    metal: MetalFactors = MetalFactors()
    tables: dict[str, Any] = field(default_factory=dict, compare=False, repr=False)
    resolved: dict[str, Any] = field(default_factory=dict, compare=False, repr=False)

    @property
    def material_path(self) -> str:
        """Name of a material, or the path of its file."""
        return str(self.part.material)

    def with_changes(self, changes: Overrides) -> Case:
        """The case with some keys changed, checked anew.

        Parameters
        ----------
        changes : mapping of str to object, or iterable of str
            ``{"weld.A.current": "120 A"}``, or ``{"weld.A.current": 120.0}`` in SI, or
            ``["weld.A.current=120 A"]``; see `weldsim.case.overrides.apply_overrides`.

        Returns
        -------
        Case
            What `load_case` gives for the file with these changes made in it. Records that were
            replaced in this case by hand are not carried over.

        Raises
        ------
        CaseError
            One line for each mistake.
        """
        if not isinstance(changes, dict):
            changes = tuple(changes)
        tables = copy.deepcopy(self.tables)
        return _checked(tables, self.source_text, self.source_file, self.overrides, changes)


def load_case(path: str | Path, overrides: Overrides = ()) -> Case:
    """Read and check a case file.

    Parameters
    ----------
    path : str or Path
        A TOML file.
    overrides : mapping of str to object, or iterable of str
        Changes made before anything is checked: ``{"weld.A.current": "120 A"}``, with numbers in SI
        where there is no unit, or ``["weld.A.current=120 A"]``.

    Returns
    -------
    Case
        Frozen, in SI.

    Raises
    ------
    CaseError
        One line for each mistake, each naming file, key, value and what is allowed.
    """
    path = Path(path)
    try:
        text = read_file(path, MOST_BYTES).decode("utf-8-sig")  # some editors begin with a mark
    except StoreError as error:
        raise CaseError(str(error)) from None
    except UnicodeDecodeError as error:
        place = f"byte {error.start + 1} is no UTF-8 text"
        raise CaseError(f"{path}: cannot be read: {place}, allowed: a TOML file") from None
    return parse_case(text, str(path), overrides)


def parse_case(text: str, source_file: str, overrides: Overrides = ()) -> Case:
    """Check the text of a case file.

    Parameters
    ----------
    text : str
        TOML.
    source_file : str
        What complaints call it; files named in the case are looked for beside it.
    overrides : mapping of str to object, or iterable of str
        See `load_case`.

    Returns
    -------
    Case
        Frozen, in SI.

    Raises
    ------
    CaseError
        One line for each mistake.
    """
    try:
        tables = tomllib.loads(text)
        check_depth(tables)
    except (ValueError, RecursionError) as error:  # not of TOML, or numbers and lists without end
        raise CaseError(f"{source_file}: not a TOML file: {error}") from None
    if not isinstance(overrides, dict):
        overrides = tuple(overrides)
    return _checked(tables, text, source_file, (), overrides)


def _checked(
    tables: dict[str, Any],
    text: str,
    source_file: str,
    before: tuple[str, ...],
    changes: Overrides,
) -> Case:
    """A case from tables that are its own; `changes` are put into them."""
    folder = Path(source_file).parent
    changes, mistakes = with_shop_values(tables, changes, folder)
    written = tuple(c.written for c in changes_of(changes, kind_of(tables)))
    mistakes += apply_overrides(tables, changes)
    records, found = read_tables(tables, folder)
    mistakes += found
    if mistakes:
        lines = [f"{source_file} {line}" for line in mistakes[:MOST_MISTAKES]]
        if len(mistakes) > MOST_MISTAKES:
            lines.append(f"{source_file}: and {len(mistakes) - MOST_MISTAKES} more mistakes")
        raise CaseError("\n".join(lines), found)
    case = Case(
        **records, source_file=source_file, source_text=text, overrides=(*before, *written),
        tables=tables,
    )  # fmt: skip
    return replace(case, resolved=_resolved(case))


def _resolved(case: Case) -> dict[str, Any]:
    """All values of a case in SI as plain data."""
    out = {k: v for k, v in asdict(replace(case, tables={})).items() if k in RESOLVED}
    part = case.part
    out["part"] = part.model_dump() if isinstance(part, Section) else asdict(part)
    kind = kind_of_case(case)
    for weld, record in zip(case.welds, out["welds"], strict=True):
        arc = weld.arc
        record.update(record.pop("arc"))  # run folders have one row a weld
        record.update(power=arc.power, arc_energy=arc.arc_energy, heat_input=arc.heat_input)
        record.update(kind.weld_record(part, weld))
    return out
