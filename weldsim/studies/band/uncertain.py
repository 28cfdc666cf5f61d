"""What scatters about a case: uncertain shop values, and what a fit has left open of them."""

from __future__ import annotations

import csv
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from weldsim.case.load import Case
from weldsim.case.places import places_of
from weldsim.errors import CaseError
from weldsim.materials.material import load_material
from weldsim.studies.fit.unknowns import Unknown, stated_spread, stated_value
from weldsim.studies.spreads import SPREADS, spread_of

Floats = NDArray[np.float64]

REACH = 2.5  # standard deviations over which runs are laid out
MOST_OWN = 4  # welds up to which each has a speed of its own; more of them share one
FITTED = "what the fit left open"
LEAST_DRAWS = 50


@dataclass(frozen=True)
class Posterior:
    """Draws of what a fit left open.

    Attributes
    ----------
    file : str
        Name of the folder they are from.
    keys : tuple of str
        U of them, as in `--set`.
    draws : ndarray, shape (S, U)
        [SI]
    """

    file: str
    keys: tuple[str, ...]
    draws: Floats


@dataclass(frozen=True)
class Uncertain:
    """All that scatters about a case.

    Attributes
    ----------
    values : tuple of Unknown
        U of them, with bounds between which runs are laid out.
    words : tuple of str
        What each is.
    afresh : tuple of bool
        Whether each comes out otherwise in each part that is welded.
    posterior : Posterior or None
        Of a fit; its keys that are among the values are drawn together.
    """

    values: tuple[Unknown, ...]
    words: tuple[str, ...]
    afresh: tuple[bool, ...]
    posterior: Posterior | None = None

    @property
    def fitted(self) -> tuple[int, ...]:
        """Numbers of the values that are drawn together, as a fit left them."""
        keys = self.posterior.keys if self.posterior else ()
        return tuple(k for k, u in enumerate(self.values) if u.key in keys and u.spread is None)

    @property
    def factors(self) -> tuple[str, ...]:
        """Names of what is drawn independently; what a fit left open is one of them."""
        alone = [w for k, w in enumerate(self.words) if k not in self.fitted]
        return (*alone, FITTED) if self.fitted else tuple(alone)

    @property
    def fresh_factors(self) -> tuple[bool, ...]:
        """Of each factor, whether it comes out otherwise in each part."""
        alone = [a for k, a in enumerate(self.afresh) if k not in self.fitted]
        return (*alone, False) if self.fitted else tuple(alone)

    def places(self, shares: Floats) -> Floats:
        """Places between the bounds, of numbers that are spread evenly from 0 to 1.

        Parameters
        ----------
        shares : ndarray, shape (N, F)
            One column a factor.

        Returns
        -------
        ndarray, shape (N, U)
            Normal about what the case says within the bounds of the table; draws of the fit.
        """
        from scipy.special import ndtr, ndtri

        out = np.empty((len(shares), len(self.values)))
        alone = [k for k in range(len(self.values)) if k not in self.fitted]
        for share, k in zip(shares.T, alone, strict=False):
            u = self.values[k]
            spread = u.share_spread or 1.0
            middle = u.share(u.usual)
            low, high = ndtr((0.0 - middle) / spread), ndtr((1.0 - middle) / spread)
            out[:, k] = middle + spread * ndtri(low + share * (high - low))
        if self.fitted and self.posterior is not None:
            columns = [self.posterior.keys.index(self.values[k].key) for k in self.fitted]
            rows = _in_turn(self.posterior.draws[:, columns])
            taken = np.minimum((shares[:, -1] * len(rows)).astype(int), len(rows) - 1)
            for k, column in zip(self.fitted, rows[taken].T, strict=True):
                out[:, k] = [self.values[k].share(float(v)) for v in column]
        return out


def _in_turn(draws: Floats) -> Floats:
    """Draws along the direction in which they scatter most, so that neighbours are alike."""
    scaled = (draws - draws.mean(axis=0)) / draws.std(axis=0).clip(1e-300)
    direction = np.linalg.svd(scaled, full_matrices=False)[2][0]
    return np.asarray(draws[np.argsort(scaled @ direction)])


def uncertain_of(
    case: Case,
    spreads: Mapping[str, str] | None = None,
    left_out: Iterable[str] = (),
    posterior: Posterior | None = None,
) -> Uncertain:
    """What scatters about a case.

    Parameters
    ----------
    case : Case
        As it is to be welded.
    spreads : mapping of str to str, optional
        Key -> standard deviation, "8 %" of what the case says or "30 K"; goes before the table.
    left_out : iterable of str
        Keys that are known exactly.
    posterior : Posterior, optional
        Of a fit.

    Returns
    -------
    Uncertain
        In the order of the table.

    Raises
    ------
    CaseError
        One line for each key that cannot vary.
    """
    given, without = dict(spreads or {}), set(left_out)
    fitted = {} if posterior is None else dict(zip(posterior.keys, posterior.draws.T, strict=True))
    usual = _usual_keys(case)
    for key in without - {*usual, *fitted}:
        allowed = ", ".join((*usual, *fitted))
        raise CaseError(f"{case.source_file}: {key} does not scatter here, allowed: {allowed}")
    keys = list(dict.fromkeys([*(k for k in usual if k not in without), *given]))
    covered = {p: k for k in fitted for p in places_of(case.tables, k)}
    values, mistakes = [], []
    for key in keys:
        known = spread_of(key)
        same = [covered[p] for p in places_of(case.tables, key) if p in covered]
        if same and not (known and known.afresh):
            continue  # the fit says it better
        try:
            own = float(fitted[same[0]].std()) if same else 0.0
            values.append(_value(case, key, given.get(key), own))
        except (ValueError, CaseError) as error:
            text = str(error).splitlines()[0]
            mistakes.append(text if key in text else f"{case.source_file} {key}: {text}")
    if mistakes:
        raise CaseError("\n".join(mistakes))
    taken = {u.key for u in values} | {covered[p] for u in values for p in u.places if p in covered}
    values += [
        _fitted_value(case, key, draws)
        for key, draws in fitted.items()
        if key not in taken and key not in without and draws.std() > 0
    ]
    return _described(case, values, posterior)


def _described(case: Case, values: list[Unknown], posterior: Posterior | None) -> Uncertain:
    if not values:
        raise CaseError(f"{case.source_file}: nothing scatters; leave fewer keys out")
    words = tuple(u.key if u.spread is None else _words(u.key) for u in values)
    known = [spread_of(u.key) if u.spread is not None else None for u in values]
    return Uncertain(tuple(values), words, tuple(bool(k and k.afresh) for k in known), posterior)


def _usual_keys(case: Case) -> list[str]:
    """Keys of the table that mean something in a case."""
    tables = case.tables
    named = [str(w["name"]) for w in tables.get("weld", ()) if "speed" in w and "name" in w]
    if 0 < len(named) <= MOST_OWN and "speed" not in tables.get("arc", {}):
        out = [f"weld.{name}.speed" for name in named]
    else:
        out = ["arc.speed"]
    out.append("arc.efficiency")
    if hasattr(case.part, "root_gap") and may_gape(case):
        out.append("part.root_gap")
    out += [f"clamp.{c.name}.stiffness" for c in case.clamps if c.kind == "spring"]
    if getattr(case.clamping, "conductance", 0.0) > 0 and "conductance" in tables.get(
        "clamping", {}
    ):
        out.append("clamping.conductance")
    out.append("surroundings.film_coefficient")
    plastic = case.solve.model == "plastic"
    own = [k for k in SPREADS if k.startswith("metal.") and (plastic or "expansion" in k)]
    if "filler_yield_factor" not in tables.get("metal", {}):
        own = [k for k in own if "filler" not in k]  # filler then yields as the parts do
    return [k for k in (*out, *own) if places_of(tables, k)]


def may_gape(case: Case) -> bool:
    """Whether a gap that is stated as 0 may be wider in the shop: some joints are fused for it.

    Parameters
    ----------
    case : Case
        Of a part with a root gap.

    Returns
    -------
    bool
        True too where a gap is stated.
    """
    if case.part.root_gap > 0:
        return True
    try:
        case.with_changes({"part.root_gap": REACH * SPREADS["part.root_gap"].at_zero})
    except CaseError:
        return False
    return True


def _words(key: str) -> str:
    known, parts = spread_of(key), key.split(".")
    if known is None:
        return key
    return f"{known.words} of {parts[1]}" if len(parts) == 3 else known.words


def _value(case: Case, key: str, given: str | None, own: float) -> Unknown:
    """A value with its standard deviation and bounds; `own` is what a fit left of it. [SI]"""
    known = spread_of(key)
    usual, unit = _usual(case, key)
    if given is not None:
        size, source = _given(case, key, usual, given), "stated"
    elif known is not None:
        size = known.size if known.difference else known.size * abs(usual) or known.at_zero
        source = known.source
    else:
        raise ValueError(f"{key}: no spread is known, state one")
    size = float(np.hypot(size, own))
    low, high = usual - REACH * size, usual + REACH * size
    if usual == 0:
        low = 0.0  # faces cannot stand closer than touching
    elif known is not None and given is None:
        least, most = (1.0, 1.0) if known.difference else (usual, usual)
        low, high = max(low, least * known.least), min(high, most * known.most)
    if usual > 0:
        low = max(low, 0.02 * usual)  # nothing here is negative
    if key.endswith("efficiency"):
        high = min(high, 1.0)
    places = tuple(places_of(case.tables, key))
    return Unknown(key, places, low, high, usual, size, unit, source)


def _usual(case: Case, key: str) -> tuple[float, str]:
    """What a case says, or its material, and the unit of SI."""
    value, unit = stated_value(case, key)
    if np.isnan(value) and key == "metal.softening_temperature":
        value = load_material(case.material_path).softening_temperature
    known = spread_of(key)
    nothing = value == 0 and (known is None or not known.at_zero)
    if not np.isfinite(value) or nothing:
        raise ValueError(f"{case.source_file} {key}: the case states none that could scatter")
    return value, unit


def _given(case: Case, key: str, usual: float, text: str) -> float:
    """A standard deviation as a person writes it: "8 %" of what the case says, or "0.3 mm"."""
    such = 'a standard deviation, such as "8 %", "30 K" or "0.3 mm"'
    try:
        if text.rstrip().endswith("%"):
            size = 0.01 * float(text.rstrip().removesuffix("%")) * abs(usual)
        else:
            size = stated_spread(case, key, text)
    except ValueError as error:
        why = str(error).removeprefix(f"{text!r} ").partition("; allowed")[0]
        raise CaseError(f"{key} = {text!r}: {why}, allowed: {such}") from None
    if not 0 < size < float("inf"):
        raise CaseError(f"{key} = {text!r}: allowed: {such}, greater than zero")
    return size


def _fitted_value(case: Case, key: str, draws: Floats) -> Unknown:
    low, high = np.percentile(draws, [0.5, 99.5])
    wide = 0.1 * (high - low)
    low, high = float(low - wide), float(high + wide)
    return Unknown(
        key, tuple(places_of(case.tables, key)), low, high, float(np.median(draws)), None, "",
        "fitted to measurements",
    )  # fmt: skip


def posterior_of(case: Case, folder: Path | None = None) -> Posterior | None:
    """Draws of the fit that a case names in [shop], or of a folder of `weldsim fit`.

    Parameters
    ----------
    case : Case
        Its own file tells.
    folder : Path, optional
        In the place of what the case names.

    Returns
    -------
    Posterior or None
        None where no fit is named.

    Raises
    ------
    CaseError
        If there is none in the folder, or it is damaged.
    """
    if folder is None:
        shop = tomllib.loads(case.source_text).get("shop", {})
        name = shop.get("file", "")
        if not name or not (Path(case.source_file).parent / name).is_file():
            return None
        folder = (Path(case.source_file).parent / name).parent
        if not (folder / "draws.csv").is_file():
            return None
    path = Path(folder) / "draws.csv"
    try:
        with path.open(encoding="utf-8", newline="") as handle:
            head, *rows = list(csv.reader(handle))
        draws = np.array([[float(v) for v in row] for row in rows])
        keys = tuple(h.rpartition(" [")[0] for h in head)
        if draws.ndim != 2 or draws.shape[1] != len(keys) or len(draws) < LEAST_DRAWS:
            raise ValueError(f"fewer than {LEAST_DRAWS} draws")
        if not np.isfinite(draws).all():
            raise ValueError("not all are numbers")
    except (OSError, ValueError) as error:
        raise CaseError(f"{path}: no draws of a fit ({error})") from None
    known = [k for k, key in enumerate(keys) if places_of(case.tables, key)]
    return Posterior(path.parent.name, tuple(keys[k] for k in known), draws[:, known])
