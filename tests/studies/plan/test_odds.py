"""Odds of a sequence against closed forms of two normal errors."""

import json
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.stats import norm

from tests.studies.small import small_plan
from weldsim.errors import StoreError
from weldsim.studies.plan.odds import NINE_OF_TEN, chance_nearer, interval, odds_text
from weldsim.studies.plan.shop_spread import ShopSpread, read_spread

REST = 1e-3


def study(spread=None, rest=REST):
    """Two rows on one line, far from zero, so that which is nearer is a matter of one side."""
    spots = {"a": np.array([20e-3]), "b": np.array([21e-3])}
    return SimpleNamespace(
        spread=spread, drift=SimpleNamespace(rest=rest), spot=lambda row: spots[row.name]
    )


A, B = (SimpleNamespace(name=n, best=SimpleNamespace(error="")) for n in "ab")


def test_two_normal_errors_give_the_chance_of_their_difference():
    # difference of two independent normal values is normal, its variance the sum of both
    sigma = np.sqrt(2.0) * REST / NINE_OF_TEN
    # four standard errors of a share among 20000 draws
    assert chance_nearer(study(), A, B) == pytest.approx(norm.cdf(1e-3 / sigma), abs=0.014)


def test_what_is_common_to_both_does_not_blur_the_rank_and_a_hand_does():
    alone = chance_nearer(study(), A, B)
    common = chance_nearer(study(ShopSpread((3e-3,), (0.0,), "band")), A, B)
    fresh = chance_nearer(study(ShopSpread((0.0,), (3e-3,), "band")), A, B)
    assert common == pytest.approx(alone, abs=0.014)
    sigma = np.sqrt(2.0 * ((REST / NINE_OF_TEN) ** 2 + 3e-3**2))
    assert fresh == pytest.approx(norm.cdf(1e-3 / sigma), abs=0.014)


def test_an_interval_of_a_row_holds_shop_and_mesh():
    low, high = interval(study(), A, ShopSpread((3e-3,), (4e-3,), "band"))
    sigma = np.hypot(5e-3, REST / NINE_OF_TEN)
    # ends of a folded normal whose folded part hardly counts: 4 standard deviations away
    assert high == pytest.approx(20e-3 + NINE_OF_TEN * sigma, abs=0.06 * sigma)
    assert low == pytest.approx(20e-3 - NINE_OF_TEN * sigma, abs=0.06 * sigma)


def test_odds_are_said_as_people_say_them():
    assert odds_text(0.9) == odds_text(0.1) == "odds of 9 to 1"
    assert odds_text(0.6) == "odds of 3 to 2"
    assert odds_text(0.52) == "even odds"
    assert odds_text(0.9999) == "odds of more than 99 to 1"


def test_a_failed_row_has_no_odds():
    failed = SimpleNamespace(name="b", best=SimpleNamespace(error="did not converge"))
    assert chance_nearer(study(), A, failed) is None
    assert chance_nearer(replace_drift(study()), A, B) is None


def replace_drift(study):
    study.drift = None
    return study


def test_a_band_is_read_for_the_measure_of_a_plan(tmp_path):
    plan = small_plan()
    readings = [
        {"column": c.name, "unit": c.unit, "moment": "cold", "standard_deviation": 5.0,
         "standard_deviation_afresh": 3.0}
        for c in plan.measure_columns
    ]  # fmt: skip
    (tmp_path / "band.json").write_text(json.dumps({"readings": readings}))
    found = read_spread(plan, tmp_path)
    factor = plan.measure_columns[0].factor
    assert found.common == pytest.approx([4.0 / factor] * len(readings))
    assert found.afresh == pytest.approx([3.0 / factor] * len(readings))
    assert found.title == tmp_path.name  # for want of a better name
    titled = {"readings": readings, "title": "Pivot arm, line 2"}
    (tmp_path / "band.json").write_text(json.dumps(titled))
    assert read_spread(plan, tmp_path).title == "Pivot arm, line 2"
    (tmp_path / "band.json").write_text(json.dumps({"readings": readings[:0]}))
    with pytest.raises(StoreError, match="which the plan measures"):
        read_spread(plan, tmp_path)
