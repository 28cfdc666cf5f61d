"""A band holds what it should: closed forms of shares and intervals, and cheap made models."""

import math

import numpy as np
import pytest
from typer.testing import CliRunner

import weldsim
from tests.places import CASES
from weldsim.case.load import load_case
from weldsim.cli.main import app
from weldsim.errors import CaseError
from weldsim.runs.gauge_table import GaugeTable
from weldsim.schema.column import Column
from weldsim.studies.band.band import design
from weldsim.studies.band.drawn import NINE_OF_TEN, Run, band_of_runs
from weldsim.studies.band.records import BETWEEN, GRADE, Settings
from weldsim.studies.band.shares import shares_of
from weldsim.studies.band.uncertain import FITTED, Posterior, Uncertain, uncertain_of
from weldsim.studies.fit.unknowns import Unknown
from weldsim.studies.spreads import SPREADS

pytest.importorskip("SALib", reason="a band needs SALib")
pytest.importorskip("sklearn", reason="a band needs scikit-learn")

DIAL = Column("dial", "travel", "mm")
TIMES = np.linspace(0.0, 10.0, 21)


def value(name, spread=0.1):
    return Unknown(name, (name,), 1.0 - 2.5 * spread, 1.0 + 2.5 * spread, 1.0, spread, "", "made")


def made_band(model, values, *, runs=24, step=0.0, draws=4000, posterior=None):
    """Band of a made model: a ramp over time whose end is `model` of the values. [m]"""
    names = tuple(u.key for u in values)
    uncertain = Uncertain(tuple(values), names, (True,) + (False,) * (len(names) - 1), posterior)

    def run(end):
        return Run(GaugeTable([DIAL], TIMES, (end * TIMES / TIMES[-1])[:, None]), 5.0)

    places = design(values, runs, 1)
    ends = [model(*(u.value(s) for u, s in zip(values, p, strict=True))) for p in places]
    finer = run(ends[0] + step) if step else None
    case = load_case(CASES / "pivot_arm.toml")
    settings = Settings(runs=runs, draws=draws)
    return band_of_runs(case, uncertain, settings, places, [run(e) for e in ends], finer)


def test_shares_of_the_ishigami_function():
    # T. Ishigami and T. Homma 1990; variances in closed form as in A. Saltelli et al., Global
    # Sensitivity Analysis: The Primer, Wiley 2008 (from memory, and worked out here): f = sin x +
    # a sin2 y + b z4 sin x, all three even on -pi to pi
    a, b = 7.0, 0.1

    def model(shares):
        x, y, z = (math.pi * (2.0 * shares - 1.0)).T
        return (np.sin(x) + a * np.sin(y) ** 2 + b * z**4 * np.sin(x))[:, None]

    whole = a**2 / 8 + b * math.pi**4 / 5 + b**2 * math.pi**8 / 18 + 0.5
    first = np.array([0.5 * (1 + b * math.pi**4 / 5) ** 2, a**2 / 8, 0.0]) / whole
    together = 8 * b**2 * math.pi**8 / 225 / whole  # of x and z
    found = shares_of(model, ("x", "y", "z"), samples=2048)
    # four times the half-width of 95 % that the method states of itself
    assert np.all(np.abs(found.first[:, 0] - first) <= 2.0 * found.error[:, 0] + 0.01)
    assert found.error.max() < 0.1
    assert found.total[:, 0] == pytest.approx(
        first + [together, 0.0, together], abs=0.04
    )  # fmt: skip


def test_a_straight_model_has_the_interval_and_the_shares_of_its_closed_form():
    # a sum of independent normal values: variances add, a share is the variance over the whole
    values = [value("a"), value("b"), value("c")]
    slopes = np.array([3e-3, 4e-3, 12e-3])
    found = made_band(lambda *v: float(slopes @ v), values)
    cold = next(r for r in found.readings if r.moment == "cold")
    sizes = 0.1 * slopes
    # cut off at 2.5 standard deviations, a normal value has 0.911 of its variance:
    # 1 - 2 c phi(c) / (2 Phi(c) - 1)
    sigma = math.sqrt(0.911) * math.sqrt(float((sizes**2).sum()))
    assert cold.value == pytest.approx(19e-3, rel=1e-6)
    # standard error of a 5 % point of 4000 draws is 0.033 sigma; four of them
    assert cold.low == pytest.approx(19e-3 - NINE_OF_TEN * sigma, abs=0.14 * sigma)
    assert cold.high == pytest.approx(19e-3 + NINE_OF_TEN * sigma, abs=0.14 * sigma)
    for name, share in zip("abc", sizes**2 / (sizes**2).sum(), strict=True):
        assert cold.first[name] == pytest.approx(share, abs=0.04)
    assert cold.settled
    assert cold.fresh == pytest.approx(cold.spread * math.sqrt(cold.first["a"]), rel=0.05)
    hot = next(r for r in found.readings if r.moment == "hot")  # halfway up the ramp
    assert hot.high - hot.low == pytest.approx(0.5 * (cold.high - cold.low), rel=0.1)


def test_the_step_to_the_finer_grade_shifts_the_band_and_widens_it():
    values = [value("a")]
    plain = made_band(lambda a: 0.01 * a, values)
    stepped = made_band(lambda a: 0.01 * a, values, step=2e-3)
    was, now = (next(r for r in f.readings if r.moment == "cold") for f in (plain, stepped))
    assert now.value == pytest.approx(was.value + 2e-3)
    # variances of independent errors add; a step holds nine of ten
    added = (2e-3 / NINE_OF_TEN) ** 2
    assert now.first[GRADE] == pytest.approx(added / (added + now.spread**2), rel=0.02)
    assert now.high - now.low > 1.3 * (was.high - was.low)
    assert was.first[GRADE] == 0.0


def test_nine_of_ten_parts_end_within_the_band_of_a_bent_model():
    def model(a, b, c):
        return 0.01 * (a**2 * math.exp(0.8 * (b - 1.0)) + 0.5 * math.sin(3.0 * c))

    values = [value("a"), value("b"), value("c", 0.2)]
    found = made_band(model, values)
    cold = next(r for r in found.readings if r.moment == "cold")
    rng = np.random.default_rng(7)
    place = found.uncertain.places(rng.random((4000, 3)))
    true = np.array([model(*(u.value(s) for u, s in zip(values, p, strict=True))) for p in place])
    inside = float(((true >= cold.low) & (true <= cold.high)).mean())
    # four standard errors of a share of 0.9 among 4000 on each side, and what the error of the
    # surrogate adds to the width
    assert 0.88 <= inside <= 0.96
    assert cold.first[BETWEEN] < 0.1


def test_too_few_runs_of_a_crooked_model_are_said_not_to_be_settled():
    values = [value(n, 0.2) for n in "abc"]
    found = made_band(lambda a, b, c: 0.01 * math.sin(14.0 * a) * math.cos(14.0 * b) * c,
                      values, runs=9)  # fmt: skip
    cold = next(r for r in found.readings if r.moment == "cold")
    assert not cold.settled or cold.first[BETWEEN] > 0.2


def test_values_that_a_fit_left_open_are_drawn_together():
    # two values of which only the sum is known: a model of the sum does not scatter by them
    rng = np.random.default_rng(3)
    a = rng.uniform(0.8, 1.2, 400)
    posterior = Posterior("fit", ("a", "b"), np.column_stack([a, 2.0 - a]))
    values = [Unknown(n, (n,), 0.75, 1.25, 1.0, None, "", "fitted") for n in "ab"]
    values.insert(0, value("own", 0.02))
    found = made_band(lambda own, x, y: 0.01 * own * (x + y) / 2, values, posterior=posterior)
    assert found.uncertain.factors == ("own", FITTED)
    cold = next(r for r in found.readings if r.moment == "cold")
    assert cold.first[FITTED] < 0.05
    assert cold.spread == pytest.approx(0.01 * 0.02 * math.sqrt(0.911), rel=0.1)


def test_what_scatters_about_the_bar_is_what_it_states():
    case = load_case(CASES / "pivot_arm.toml")
    found = uncertain_of(case)
    keys = [u.key for u in found.values]
    assert keys[:3] == ["weld.A.speed", "weld.B.speed", "arc.efficiency"]
    assert "clamping.conductance" in keys and "metal.yield_factor" in keys
    assert "metal.filler_yield_factor" not in keys  # filler scatters with the parts unless stated
    stated = case.with_changes({"metal.filler_yield_factor": 1.2})
    assert "metal.filler_yield_factor" in [u.key for u in uncertain_of(stated).values]
    speed = found.values[0]
    assert speed.spread == pytest.approx(SPREADS["arc.speed"].size * case.welds[0].arc.speed)
    assert found.afresh[:3] == (True, True, False)
    # every bound is a case that is allowed
    for u in found.values:
        for end in (u.low, u.high):
            case.with_changes(u.change(end))


def test_spreads_can_be_stated_and_left_out():
    case = load_case(CASES / "pivot_arm.toml")
    found = uncertain_of(case, {"weld.A.speed": "10 %"}, ["arc.efficiency"])
    assert "arc.efficiency" not in [u.key for u in found.values]
    assert found.values[0].spread == pytest.approx(0.1 * case.welds[0].arc.speed)
    with pytest.raises(CaseError, match="does not scatter"):
        uncertain_of(case, left_out=["arc.voltage"])
    with pytest.raises(CaseError, match="standard deviation"):
        uncertain_of(case, {"arc.efficiency": "much"})
    with pytest.raises(CaseError, match=r"pivot_arm.toml arc.foo: no arc of the case states it"):
        uncertain_of(case, {"arc.foo": "8 %"})


def test_a_hand_scatters_although_a_fit_knows_its_speed():
    case = load_case(CASES / "pivot_arm.toml")
    speed, rng = case.welds[0].arc.speed, np.random.default_rng(2)
    draws = np.column_stack([speed * (1 + 0.01 * rng.normal(size=200)),
                             0.77 + 0.01 * rng.normal(size=200)])  # fmt: skip
    found = uncertain_of(case, posterior=Posterior("fit", ("arc.speed", "arc.efficiency"), draws))
    by_key = {u.key: u for u in found.values}
    assert by_key["weld.A.speed"].spread == pytest.approx(speed * math.hypot(0.05, 0.01), rel=0.01)
    assert by_key["arc.efficiency"].spread is None
    assert "arc.speed" not in by_key
    assert found.factors[-1] == FITTED


def test_every_spread_says_where_it_is_from():
    assert all(s.source and s.least < s.most and s.size > 0 for s in SPREADS.values())


def test_faces_that_should_touch_may_stand_open():
    case = load_case(CASES / "mast_stub.toml")
    assert case.part.root_gap == 0.0
    found = uncertain_of(case)
    gap = next(u for u in found.values if u.key == "part.root_gap")
    assert (gap.usual, gap.low) == (0.0, 0.0)
    at = [u.key for u in found.values].index("part.root_gap")
    drawn = found.places(np.random.default_rng(1).random((4000, len(found.factors))))[:, at]
    gaps = gap.low + drawn * (gap.high - gap.low)
    # half of a normal law: its mean is sqrt(2 / pi) of the standard deviation; cut off at 2.5 of
    # them it is less by 1.5 %
    size = SPREADS["part.root_gap"].at_zero
    assert gaps.mean() == pytest.approx(math.sqrt(2 / math.pi) * size, rel=0.05)
    for end in (gap.low, gap.high):
        case.with_changes(gap.change(end))
    stated = uncertain_of(case, {"part.root_gap": "0.1 mm"})
    assert next(u for u in stated.values if u.key == gap.key).spread == pytest.approx(1e-4)
    with pytest.raises(CaseError, match="greater than zero"):
        uncertain_of(case, {"part.root_gap": "10 %"})  # of nothing


@pytest.mark.parametrize(
    "how, told",
    [({"grade": "rough"}, "grade 'rough'"), ({"finer": "sketch"}, "finer 'sketch'"),
     ({"runs": 3}, "runs 3"), ({"spread": {"arc.efficiency": "much"}}, "much"),
     ({"exact": ["arc.voltage"]}, "does not scatter"),
     ({"fitted": "nowhere"}, "no draws of a fit")],
)  # fmt: skip
def test_a_band_that_cannot_be_is_refused_before_anything_is_written(tmp_path, how, told):
    with pytest.raises(CaseError, match=told):
        weldsim.band(load_case(CASES / "pivot_arm.toml"), tmp_path / "band", **how)
    assert not (tmp_path / "band").exists()


def test_runs_of_a_band_go_to_the_cluster_that_is_named(tmp_path, monkeypatch):
    """Its runs are those of a fit, carried out as those (tests/studies/fit/test_fit.py)."""
    asked = []

    def carried_out(jobs, workers, tell, cluster):
        asked.append((len(list(jobs)), workers, cluster))
        return {"all": "no scheduler"}

    monkeypatch.setattr("weldsim.studies.band.band.carry_out_points", carried_out)
    args = ["band", str(CASES / "pivot_arm.toml"), "--cluster", "tcp://h:1", "--runs", "12",
            "--out", str(tmp_path / "band")]  # fmt: skip
    CliRunner().invoke(app, args)
    assert asked == [(13, None, "tcp://h:1")]  # and one a grade finer
