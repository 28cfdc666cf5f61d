"""Odds that one sequence ends nearer to zero than another.

The ends of two rows differ for certain only by what is not common to both. What a mesh leaves to
each row, and a hand that travels otherwise each time, strike each row by itself; metal, heat
input and clamps of one shop strike both alike. A study of the shop's spread (`weldsim band`) tells
the sizes of the latter two; without it the estimated error of the rows alone counts.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from weldsim.studies.plan.rows import Row, Study
from weldsim.studies.plan.shop_spread import ShopSpread

DRAWS = 20_000
NINE_OF_TEN = 1.645  # standard deviations of a normal error within which nine of ten lie
LONGEST = 99.0  # odds beyond which no number is said: the tails of the errors are not known
EVEN = "even odds"


def chance_nearer(study: Study, a: Row, b: Row) -> float | None:
    """Chance that one row ends nearer to zero than another.

    Parameters
    ----------
    study : Study
        With both rows, and the shop's spread where it is known.
    a, b : Row
        Any two.

    Returns
    -------
    float or None
        None where nothing says how far the rows are off, or one failed.
    """
    if study.drift is None or a.best.error or b.best.error:
        return None
    spread, rng = study.spread, np.random.default_rng(1)
    ends = np.array([study.spot(row) for row in (a, b)])
    count = ends.shape[1]
    # what drift leaves is the error of an end, which is a length: each side has its part of it
    own = np.hypot(
        study.drift.rest / NINE_OF_TEN / np.sqrt(count),
        0.0 if spread is None else np.array(spread.afresh[:count]),
    )
    drawn = ends[:, None] + own * rng.normal(size=(2, DRAWS, count))
    if spread is not None:
        drawn += np.array(spread.common[:count]) * rng.normal(size=(1, DRAWS, count))
    far = np.linalg.norm(drawn, axis=2)
    return float((far[0] < far[1]).mean())


def with_spread(study: Study, spread: ShopSpread) -> Study:
    """A study that knows the shop's spread: the intervals of its rows hold it.

    Parameters
    ----------
    study : Study
        Any.
    spread : ShopSpread
        Of the shop.

    Returns
    -------
    Study
        With the rows in the same order.
    """
    rows = tuple(replace(row, interval=interval(study, row, spread)) for row in study.rows)
    return replace(study, rows=rows, spread=spread)


def interval(study: Study, row: Row, spread: ShopSpread) -> tuple[float, float] | None:
    """Between what ends nine of ten parts welded in one sequence are expected.

    Parameters
    ----------
    study : Study
        With the row.
    row : Row
        Any.
    spread : ShopSpread
        Of the shop.

    Returns
    -------
    (float, float) or None
        Of the measure; None where the row failed. [SI]
    """
    if row.best.error:
        return None
    rng = np.random.default_rng(2)
    spot = np.asarray(study.spot(row))
    count = len(spot)
    sizes = np.hypot(spread.common[:count], spread.afresh[:count])
    rest = 0.0 if study.drift is None else study.drift.rest / NINE_OF_TEN / np.sqrt(count)
    far = np.linalg.norm(spot + np.hypot(sizes, rest) * rng.normal(size=(DRAWS, count)), axis=1)
    low, high = np.percentile(far, (5.0, 95.0))
    return float(low), float(high)


def odds_text(chance: float) -> str:
    """A chance as odds, "9 to 1".

    Parameters
    ----------
    chance : float
        0 to 1.

    Returns
    -------
    str
        Even odds are said as such; none beyond `LONGEST` to 1.
    """
    better = max(chance, 1.0 - chance)
    if better <= 0.55:
        return EVEN
    odds = better / max(1.0 - better, 1e-9)
    if odds > LONGEST:
        return "odds of more than 99 to 1"
    if odds >= 2.0:
        return f"odds of {odds:.0f} to 1"
    return f"odds of {2 * odds:.0f} to 2"
