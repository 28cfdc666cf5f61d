"""One weld ahead: estimates against closed forms and hidden truths, readings that contradict."""

import numpy as np
import pytest
from scipy.stats import binomtest, chi2

from tests.plan.small import Here, small_plan
from weldsim.errors import CaseError
from weldsim.next_study import advice_lines, advise, read_moves, read_readings
from weldsim.next_weld import SPREADS, Unknown, chance_inside, estimate
from weldsim.plan import evaluate

EFFICIENCY = Unknown("efficiency", "arc.efficiency", 0.06, 0.8, 1.2)
SPEED = Unknown("speed", "arc.speed", 0.05, 0.8, 1.2)


def test_one_reading_one_unknown_is_the_textbook_posterior():
    """Normal prior times normal likelihood (any textbook on Bayesian statistics)."""
    found = estimate([10.5], [10.0], [[8.0]], [EFFICIENCY], [0.2])
    precision = 1 / 0.06**2 + 8.0**2 / 0.2**2
    mean = (8.0 * 0.5 / 0.2**2) / precision
    assert found.factors[0] == pytest.approx(1 + mean, rel=1e-9)
    assert found.spread[0] == pytest.approx(precision**-0.5, rel=1e-9)


def test_the_stated_interval_covers_a_hidden_truth_as_often_as_it_says():
    """Truths from the prior, readings with noise: 90 % intervals hold 90 % (binomial test)."""
    rng = np.random.default_rng(3)
    slopes, noise = np.array([[6.0, -2.0], [1.5, 3.0]]), np.array([0.2, 0.2])
    expected = np.array([8.0, 2.0])
    inside, draws = 0, 400
    for _ in range(draws):
        truth = 1 + rng.normal(0, [EFFICIENCY.spread, SPEED.spread])
        reading = expected + slopes @ (truth - 1) + rng.normal(0, noise)
        found = estimate(reading, expected, slopes, [EFFICIENCY, SPEED], noise)
        off = truth - found.factors
        inside += off @ np.linalg.solve(found.covariance, off) <= chi2.ppf(0.9, 2)
    assert binomtest(int(inside), draws, 0.9).pvalue > 0.01


def test_a_bound_holds_and_is_named():
    found = estimate([18.0], [10.0], [[8.0]], [EFFICIENCY], [0.01])
    assert found.factors[0] == pytest.approx(1.2) and found.at_bound == ("efficiency",)


def test_readings_beyond_reason_are_said_to_be_so():
    """Two gauges that must move together (equal slopes) and are read 20 sigma apart."""
    good = estimate([10.4, 10.5], [10, 10], [[8.0], [8.0]], [EFFICIENCY], [0.2, 0.2])
    bad = estimate([8.0, 12.0], [10, 10], [[8.0], [8.0]], [EFFICIENCY], [0.2, 0.2])
    assert not good.contradictory and bad.contradictory


def test_without_a_reading_that_says_anything_the_prior_stays():
    found = estimate([10.0], [10.0], [[0.0]], [EFFICIENCY], [0.2])
    assert found.factors[0] == pytest.approx(1.0) and found.spread[0] == pytest.approx(0.06)


@pytest.mark.parametrize("radius", [0.5, 1.0, 2.0])
def test_chance_inside_a_circle_is_rayleigh(radius):
    """For equal spreads about zero: 1 - exp(-r^2 / 2 s^2), the Rayleigh distribution."""
    found = chance_inside([0.0, 0.0], np.eye(2), radius)
    assert found == pytest.approx(1 - np.exp(-(radius**2) / 2), abs=2e-3)


def test_chance_of_one_reading_is_normal():
    """Two-sided 1.96 standard deviations hold 95 % (any table of the normal distribution)."""
    assert chance_inside([0.0], [[4.0]], 1.96 * 2) == pytest.approx(0.95, abs=1e-4)


class TestWords:
    plan = small_plan()

    def test_moves(self):
        assert read_moves(self.plan, "front:-x") == (("front", -1),)
        assert read_moves(self.plan, "front") == (("front", 1),)

    @pytest.mark.parametrize("after", ["lid:+x", "front:up", "front:+x,front:-x", "front,back"])
    def test_moves_that_are_wrong(self, after):
        with pytest.raises(CaseError, match="--after"):
            read_moves(self.plan, after)

    def test_nothing_left(self):
        with pytest.raises(CaseError, match="nothing is left"):
            read_moves(self.plan, "front:+x,back:+x")

    def test_readings_in_either_unit(self):
        columns, values = read_readings(self.plan, ["pointer.up=-12mm", "pointer.right=0.25 in"])
        assert columns == ("pointer_up_mm", "pointer_right_mm")
        assert values == pytest.approx([-12.0, 6.35])
        assert read_readings(self.plan, ["pointer.up=2 mrad"])[0] == ("pointer_up_mrad",)

    @pytest.mark.parametrize("text", ["pointer.up", "pointr.up=1mm", "pointer.up=1 kg", "x=1mm"])
    def test_readings_that_are_wrong(self, text):
        with pytest.raises(CaseError, match="--reading"):
            read_readings(self.plan, [text])


@pytest.mark.slow
def test_a_hidden_efficiency_is_found_and_the_rest_follows(tmp_path):
    """The truth is a run of its own with an arc 6 % hotter; the reading is taken from it."""
    hidden, done = 1.06, (("front", 1),)
    plan = small_plan()
    hot = small_plan(f"arc.efficiency={0.77 * hidden}")
    truth = evaluate(hot, 0, hot.schedules(), "sketch", tmp_path / "truth", Here())
    now = evaluate(hot, 0, [done], "sketch", tmp_path / "truth", Here())[done]
    columns = ("pointer_up_mrad", "pointer_right_mrad")
    reading = np.array([now.columns[c] for c in columns])
    advice = advise(
        plan, tmp_path / "study", done, columns, reading, Here(), noise=0.02, error=1e-5
    )
    found = advice.estimate
    at = [u.name for u in advice.unknowns].index("efficiency")
    assert abs(found.factors[at] - hidden) < 2 * found.spread[at]
    assert found.spread[at] < SPREADS["efficiency"][0]
    assert not found.contradictory
    for way in advice.ways:
        end = truth[(*done, *way.moves)]
        goal = 1e-3 * np.array([end.columns[c] for c in columns])
        # the way is linear in the factors; its own spread is what it says of that
        assert np.linalg.norm(way.mean - goal) < 0.15 * np.linalg.norm(goal)
    assert [w.moves for w in advice.ways][0] == min(
        (m[1:] for m in truth if m[:1] == done), key=lambda m: truth[(*done, *m)].final
    )
    assert any("efficiency" in line for line in advice_lines(plan, advice))


@pytest.mark.slow
def test_ways_of_all_settings_are_ranked(tmp_path):
    """Read as expected, a way ends where the study ends, but for what its own past differs by."""
    plan, done = small_plan('plan.vary={ "schedule.pause" = ["10 s", "40 s"] }'), (("front", 1),)
    columns = ("pointer_up_mrad", "pointer_right_mrad")
    ends, behind = [], []
    for number in range(2):
        found = evaluate(plan, number, plan.schedules(), "sketch", tmp_path, Here())
        ends.append(found)
        past = evaluate(plan, number, [done], "sketch", tmp_path, Here())[done].columns
        behind.append(np.array([past[c] for c in columns]))
    advice = advise(plan, tmp_path, done, columns, behind[0], Here(), noise=0.02, error=1e-5)
    assert {w.setting for w in advice.ways} == {0, 1}
    assert advice.estimate.factors == pytest.approx(1.0, abs=1e-9)
    for way in advice.ways:
        end = ends[way.setting][(*done, *way.moves)].columns
        goal = 1e-3 * (np.array([end[c] for c in columns]) + behind[0] - behind[way.setting])
        assert way.mean == pytest.approx(goal, abs=1e-12)
    lines = advice_lines(plan, advice)
    assert any("(schedule.pause 40 s)" in line for line in lines), lines
    assert lines[-1].endswith("what lies behind was welded with schedule.pause 10 s")
