"""How far parts of one shop scatter, as `weldsim band` found it, for the measure of a plan."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from weldsim.errors import StoreError
from weldsim.schema.column import DISPLAY_UNITS
from weldsim.studies.plan.space import Plan
from weldsim.studies.spreads import SPREADS
from weldsim.studies.stored_studies import StoredBand, read_study

ERRORS = ("grade_error", "surrogate_error")
HEAT = SPREADS["arc.efficiency"].words  # which `weldsim next` estimates by itself


@dataclass(frozen=True)
class ShopSpread:
    """How far parts of one shop scatter, in the columns of a plan's measure.

    Attributes
    ----------
    common, afresh : tuple of float
        Standard deviations of what is the same for all parts, and of what comes out otherwise in
        each, one a column. [SI]
    title : str
        Of the band it is from; of one without, the name of its folder.
    unread : tuple of float
        Of what is the same for all, that which readings after a weld do not tell: all but the heat
        input. [SI]
    """

    common: tuple[float, ...]
    afresh: tuple[float, ...]
    title: str
    unread: tuple[float, ...] = ()


def read_spread(plan: Plan, folder: Path) -> ShopSpread:
    """The spread that `weldsim band` found, for the measure of a plan.

    Parameters
    ----------
    plan : Plan
        Of the same job.
    folder : Path
        Of the band.

    Returns
    -------
    ShopSpread
        When cold.

    Raises
    ------
    StoreError
        If there is no band, or it lacks a gauge of the measure.
    """
    path = Path(folder) / "band.json"
    if not path.is_file():
        raise StoreError(f"{folder}: no band of weldsim band in it")
    try:
        record = read_study(path, StoredBand)
        cold = {r["column"]: r for r in record["readings"] if r["moment"] == "cold"}
        common, afresh, unread = [], [], []
        for column in plan.measure_columns:
            found = cold[column.name]
            factor = DISPLAY_UNITS[found["unit"]][0]
            whole = float(found["standard_deviation"]) / factor
            own = float(found["standard_deviation_afresh"]) / factor
            afresh.append(own)
            common.append(float(np.sqrt(max(whole**2 - own**2, 0.0))))
            errors = (float(found.get(k, 0.0)) / factor for k in ERRORS)
            all_of_it = whole**2 + sum(e**2 for e in errors)
            heat = max(float(found.get("shares", {}).get(HEAT, 0.0)), 0.0) * all_of_it
            unread.append(float(np.sqrt(max(whole**2 - own**2 - heat, 0.0))))
    except KeyError as error:
        raise StoreError(f"{path}: holds no {error}, which the plan measures") from None
    except (OSError, ValueError, TypeError) as error:
        raise StoreError(
            f"{path}: no band of weldsim band: {getattr(error, 'strerror', None) or error}"
        ) from None
    title = str(record.get("title") or "").strip() or path.resolve().parent.name
    return ShopSpread(tuple(common), tuple(afresh), title, tuple(unread))
