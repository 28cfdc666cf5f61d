"""What may vary in a fit: keys of a case with bounds and what is believed of them beforehand."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from weldsim.case.keys import section_model
from weldsim.case.load import Case
from weldsim.case.places import places_of
from weldsim.errors import CaseError
from weldsim.joints.registry import kind_of
from weldsim.schema.section_checks import quantity_kind
from weldsim.schema.sections import TOP
from weldsim.studies.spreads import USUAL_BOUNDS, spread_of
from weldsim.units import KINDS, SI, parse

Floats = NDArray[np.float64]

THERMAL = {
    "efficiency", "speed", "film_coefficient", "emissivity", "conductance", "conductivity_factor",
    "front_length", "rear_length", "half_width", "depth", "current", "voltage", "preheat",
    "ambient", "cooling_film_coefficient",
}  # fmt: skip
RATIO_FOR_LOG = 8.0  # bounds farther apart than this are searched on a scale of ratios


@dataclass(frozen=True)
class Unknown:
    """One key that may vary.

    Attributes
    ----------
    key : str
        As in `--set`; "arc.efficiency" is that of every arc. Or the name of a group.
    places : tuple of str
        Keys of the case that are set together.
    low, high : float
        Bounds. [SI]
    usual : float
        What the case says, within the bounds. [SI]
    spread : float or None
        Standard deviation believed beforehand about `usual`; None: all between the bounds alike.
    unit : str
        Of SI; empty for a number.
    source : str
        Where bounds and spread are from.
    group : tuple of str
        Keys that vary together, where it is a group of them.
    """

    key: str
    places: tuple[str, ...]
    low: float
    high: float
    usual: float
    spread: float | None
    unit: str
    source: str
    group: tuple[str, ...] = ()

    @property
    def keys(self) -> tuple[str, ...]:
        """Its keys, as in `--set`: one, or those of its group."""
        return self.group or (self.key,)

    @property
    def ratio(self) -> bool:
        """Whether it is searched on a scale of ratios."""
        return self.low > 0 and self.high / self.low > RATIO_FOR_LOG

    @property
    def thermal(self) -> bool:
        """Whether it acts on temperatures, so that thermocouples can tell it."""
        return all(k.rpartition(".")[2] in THERMAL for k in self.keys)

    def share(self, value: float) -> float:
        """Place of a value between the bounds, 0 to 1."""
        if self.ratio:
            return float(np.log(value / self.low) / np.log(self.high / self.low))
        return (value - self.low) / (self.high - self.low)

    def value(self, share: float) -> float:
        """Value at a place between the bounds. [SI]"""
        if self.ratio:
            return float(self.low * (self.high / self.low) ** share)
        return self.low + share * (self.high - self.low)

    @property
    def share_spread(self) -> float | None:
        """Standard deviation of the place, believed beforehand."""
        if self.spread is None:
            return None
        if self.ratio:
            return self.spread / self.usual / float(np.log(self.high / self.low))
        return self.spread / (self.high - self.low)

    def text(self, value: float) -> object:
        """A value as a case file has it."""
        return f"{value:.6g} {self.unit}" if self.unit else float(f"{value:.6g}")

    def change(self, value: float, case: Case | None = None) -> dict[str, object]:
        """Changes of a case that set it; another case may have other welds."""
        if case is None:
            return {place: value for place in self.places}
        return {p: value for key in self.keys for p in places_of(case.tables, key)}

    @property
    def prior(self) -> str:
        """What is believed beforehand, in words."""
        bounds = f"{self.text(self.low)} to {self.text(self.high)}"
        if self.spread is None:
            return f"anywhere from {bounds}"
        return f"{self.text(self.usual)} with standard deviation {self.text(self.spread)}, {bounds}"


def unknowns_of(
    case: Case,
    vary: Mapping[str, Iterable[Any]] | None = None,
    spread: Mapping[str, Any] | None = None,
) -> tuple[Unknown, ...]:
    """What may vary in a case.

    Parameters
    ----------
    case : Case
        Its [fit] section counts where `vary` is left out.
    vary : mapping of str to pair, optional
        Key, or name of a group -> lowest and highest, or "usual" for the bounds of the table.
    spread : mapping of str to object, optional
        Key -> standard deviation believed beforehand.

    Returns
    -------
    tuple of Unknown
        In the order of the section.

    Raises
    ------
    CaseError
        One line for each that cannot vary.
    """
    section = case.tables.get("fit", {})
    given = dict(section.get("vary", {})) if vary is None else dict(vary)
    spreads = dict(section.get("spread", {})) if spread is None else dict(spread)
    where = f"{case.source_file} [fit]"
    if not given:
        usual = ", ".join(USUAL_BOUNDS)
        raise CaseError(
            f"{where} vary: missing; it says what may vary, such as "
            'vary = { "arc.efficiency" = [0.5, 0.95] }, '
            f"keys as in --set; usual ones are {usual}"
        )
    out: list[Unknown] = []
    mistakes: list[str] = []
    groups, sources = section.get("groups", {}), section.get("source", {})
    for key, bounds in given.items():
        try:
            keys = tuple(groups.get(key, (key,)))
            out.append(_unknown(case, str(key), keys, bounds, spreads.get(key), sources.get(key)))
        except (ValueError, TypeError) as error:
            mistakes.append(f"{where} vary {key}: {error}")
    for name, keys_of in (("spread", spreads), ("source", sources)):
        mistakes += [f"{where} {name} {k}: does not vary" for k in keys_of if k not in given]
    if not mistakes:
        mistakes = _checked_ends(case, out, where)
    if mistakes:
        raise CaseError("\n".join(mistakes))
    return tuple(out)


def _unknown(
    case: Case, key: str, keys: tuple[str, ...], bounds: Any, spread: Any, said: str | None
) -> Unknown:
    if not keys:
        raise ValueError("its group is empty, allowed: keys as in --set")
    found = [_places_and_quantity(case, k) for k in keys]
    places, quantity = [p for own, _ in found for p in own], found[0][1]
    if any(q != quantity for _, q in found):
        raise ValueError("keys of one group must have one unit")
    source = "bounds stated in the case"
    if bounds == "usual":
        known = {USUAL_BOUNDS[k] for k in keys if k in USUAL_BOUNDS}
        if len(known) != 1:
            raise ValueError(
                f"no usual bounds are known, write them; usual: {', '.join(USUAL_BOUNDS)}"
            )
        *bounds, source = next(iter(known))
    bounds = list(bounds)
    if len(bounds) != 2:
        raise ValueError("allowed: the lowest and the highest, [0.5, 0.95]")
    low, high = (_number(b, quantity) for b in bounds)
    if not low < high:
        raise ValueError("the first must be below the second")
    sigma, more = _believed(case, keys[0], places[0], quantity, spread)
    usual = _stated(case, places[0], quantity, 0.5 * (low + high))
    unit = KINDS[quantity][0] if quantity else ""
    return Unknown(
        key, tuple(places), low, high, min(max(usual, low), high), sigma, unit,
        said or source + more, keys if keys != (key,) else (),
    )  # fmt: skip


def _believed(
    case: Case, key: str, place: str, quantity: str | None, spread: Any
) -> tuple[float | None, str]:
    """Standard deviation beforehand, and where it is from; "usual": that of the table."""
    if spread is None:
        return None, ""
    if spread != "usual":
        sigma = _difference(spread, quantity)
        if not sigma > 0:
            raise ValueError("spread: must be greater than zero")
        return sigma, "; spread stated"
    known = spread_of(key)
    if known is None:
        raise ValueError("spread: none is usual, write one")
    stated = abs(_stated(case, place, quantity, 0.0))
    sigma = known.size if known.difference else known.size * stated or known.at_zero
    if not sigma > 0:
        raise ValueError("spread: usual is a share of what the case says, and it says nothing")
    return sigma, f"; spread: {known.source}"


def _places_and_quantity(case: Case, key: str) -> tuple[list[str], str | None]:
    section, name = key.split(".")[0], key.split(".")[-1]
    if section not in TOP or section in ("title", "plan", "fit", "shop"):
        raise ValueError("no key of the case, allowed: as in --set, such as arc.efficiency")
    kind = kind_of(case.tables)
    places = places_of(case.tables, key)
    if not places:
        raise ValueError("no arc of the case states it, allowed: such as arc.efficiency")
    quantity = quantity_kind(section_model("weld" if section == "arc" else section, kind), name)
    if quantity is None and section == "arc":
        quantity = quantity_kind(section_model("arc", kind), name)
    return places, quantity


def stated_value(case: Case, key: str) -> tuple[float, str]:
    """What a case says of a key.

    Parameters
    ----------
    case : Case
        Any.
    key : str
        As in `--set`; "arc.efficiency" is that of every arc.

    Returns
    -------
    value : float
        nan where it says nothing. [SI]
    unit : str
        Of SI; empty for a number.

    Raises
    ------
    ValueError
        If it is no key of the case.
    """
    places, quantity = _places_and_quantity(case, key)
    return _stated(case, places[0], quantity, float("nan")), KINDS[quantity][0] if quantity else ""


def stated_spread(case: Case, key: str, text: str) -> float:
    """A standard deviation as a person writes it.

    Parameters
    ----------
    case : Case
        Any.
    key : str
        As in `--set`.
    text : str
        With the unit of the key, "0.3 mm"; of a temperature a difference, "30 K".

    Returns
    -------
    float
        [SI]

    Raises
    ------
    ValueError
        If it is none, or not of that key.
    """
    return _difference(text, _places_and_quantity(case, key)[1])


def _number(value: Any, quantity: str | None) -> float:
    if quantity:
        return parse(value, quantity)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError(f"{value!r} is no number")
    return float(value)


def _difference(value: Any, quantity: str | None) -> float:
    """A standard deviation; that of a temperature is a difference, not a point on the scale."""
    if quantity == "temperature" and isinstance(value, str):
        number, _, unit = value.strip().partition(" ")
        factor = {"K": 1.0, "degC": 1.0, "degF": 5.0 / 9.0}.get(unit.strip())
        if factor is None or not _is_number(number):
            raise ValueError(f'spread {value!r}: allowed: such as "50 K"')
        return float(number) * factor
    return _number(value, quantity)


def _is_number(text: str) -> bool:
    try:
        return bool(np.isfinite(float(text)))
    except ValueError:
        return False


def _stated(case: Case, place: str, quantity: str | None, otherwise: float) -> float:
    """What the case says; the middle of the bounds where it leaves the key to its default."""
    section, *name, key = place.split(".")
    table: Any = case.tables.get(section, {})
    if name and isinstance(table, list):
        found = [t for n, t in enumerate(table, 1) if name[0] in (t.get("name"), str(n))]
        table = found[0] if found else {}
    value = table.get(key) if isinstance(table, dict) else None
    if value is None:
        record = getattr(case, section, None)
        value = getattr(record, key, None)
        return float(value) if isinstance(value, int | float) else otherwise
    try:
        return _number(SI(value) if quantity and isinstance(value, float) else value, quantity)
    except ValueError:
        return otherwise


def _checked_ends(case: Case, unknowns: list[Unknown], where: str) -> list[str]:
    """Whether the case allows each unknown at both of its bounds."""
    out = []
    for u in unknowns:
        for end in (u.low, u.high):
            try:
                case.with_changes(u.change(end))
            except CaseError as error:
                out.append(f"{where} vary {u.key} = {u.text(end)}: {str(error).splitlines()[0]}")
    return out


def with_values(case: Case, unknowns: Iterable[Unknown], values: Iterable[float]) -> Case:
    """The case with its unknowns set.

    Parameters
    ----------
    case : Case
        Any of the fit.
    unknowns : iterable of Unknown
        U of them.
    values : iterable of float
        U values. [SI]

    Returns
    -------
    Case
        Checked anew.

    Raises
    ------
    CaseError
        If it does not allow them.
    """
    changes: dict[str, object] = {}
    for u, value in zip(unknowns, values, strict=True):
        changes.update(u.change(float(value), case))
    return case.with_changes(changes)
