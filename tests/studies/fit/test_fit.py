"""A fit finds what was hidden: made data whose truth is known, and cases where theory has it."""

from pathlib import Path

import numpy as np
import pytest

from tests.places import CASES
from weldsim.case.load import load_case
from weldsim.errors import CaseError, WeldsimError
from weldsim.measurements.measured_curve import MeasuredCurve
from weldsim.runs.gauge_table import GaugeTable
from weldsim.schema.column import Column
from weldsim.studies.fit.error_scale import CurveErrors, error_scale
from weldsim.studies.fit.learnable import what_can_be_learnt
from weldsim.studies.fit.likelihood import Evidence
from weldsim.studies.fit.observed import thinned
from weldsim.studies.fit.parting import interval_of
from weldsim.studies.fit.posterior import Belief, Posterior
from weldsim.studies.fit.runs import RunStore, carry_out_points, read_curves, run_point
from weldsim.studies.fit.surrogate import Surrogate, on_grid
from weldsim.studies.fit.unknowns import Unknown, unknowns_of, with_values
from weldsim.studies.spreads import SPREADS, USUAL_BOUNDS

pytest.importorskip("sklearn", reason="a fit needs scikit-learn")
pytest.importorskip("emcee", reason="a fit needs emcee")

COLUMN = Column("dial", "travel", "mm")
TIMES = np.linspace(0.0, 60.0, 240)


def unknown(name, low=0.0, high=1.0, spread=None):
    return Unknown(name, (name,), low, high, 0.5 * (low + high), spread, "", "made")


def response(a, b, times=TIMES):
    """Away and back: a scales the swing, b its time. [m]"""
    return 1e-3 * (0.5 + a) * np.sin(times / (6.0 + 4.0 * b)) * np.exp(-times / 30.0)


def evidence(values, noise, *, column=COLUMN, clock=0.0, files=(0,), runs=25, model=response):
    rng = np.random.default_rng(4)
    places = rng.random((runs, 2))
    tables = [GaugeTable([column], TIMES, model(*p)[:, None]) for p in places]
    surrogate = Surrogate(places, on_grid(tables, [column], TIMES))
    times = np.linspace(1.0, 59.0, 100)
    read = np.interp(times - clock, TIMES, values) + rng.normal(0.0, noise, 100)
    curve = MeasuredCurve(column, times, read, np.full(100, noise), "given")
    return Evidence.of(surrogate, [thinned(curve, 0)], None, files)


def test_surrogate_meets_curves_it_has_not_seen():
    rng = np.random.default_rng(1)
    places = rng.random((30, 2))
    tables = [GaugeTable([COLUMN], TIMES, response(*p)[:, None]) for p in places]
    surrogate = Surrogate(places[:24], on_grid(tables[:24], [COLUMN], TIMES))
    found = surrogate.predict(places[24:])[:, 0]
    true = np.array([response(*p) for p in places[24:]])
    miss = np.sqrt(((found - true) ** 2).mean())
    assert miss < 0.02 * np.ptp(true)
    # what it says of itself is of the size of what it is: within a factor of 5 either way
    assert 0.2 < surrogate.misses()[0] / miss < 5.0


def test_processes_taken_together_expect_what_each_does():
    """Against scikit-learn's own method, one process after the other."""
    rng = np.random.default_rng(4)
    runs, places = rng.random((12, 2)), rng.random((7, 2))
    tables = [GaugeTable([COLUMN], TIMES, response(*p)[:, None]) for p in runs]
    surrogate = Surrogate(runs, on_grid(tables, [COLUMN], TIMES))
    weights = np.column_stack([p.predict(places) for p in surrogate.processes])
    alone = surrogate.mean + (weights @ surrogate.parts) * surrogate.scale
    assert surrogate.predict(places).reshape(7, -1) == pytest.approx(alone, rel=1e-9, abs=1e-12)


def test_a_hidden_pair_of_values_and_a_clock_are_found():
    hidden, clock = (0.7, 0.35), 3.0
    e = evidence(response(*hidden), 2e-5, clock=clock)
    us = [unknown("a"), unknown("b")]
    posterior = Posterior([e], Belief.of(us, 10.0))
    best = posterior.likeliest()
    draws = posterior.draws(best, 200)
    places, clocks, _ = posterior.split(draws)
    for found, true in (
        (places[:, 0], hidden[0]),
        (places[:, 1], hidden[1]),
        (clocks[:, 0], clock),
    ):
        low, high = np.percentile(found, [0.5, 99.5])
        assert low <= true <= high
    assert np.ptp(np.percentile(places, [5, 95], axis=0), axis=0).max() < 0.25


@pytest.mark.slow
def test_linear_model_has_the_interval_of_least_squares():
    # one unknown, one reading when cold: posterior of a normal prior and a normal reading,
    # A. Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, eq. 2.10
    def level(a, b, times=TIMES):
        return 1e-3 * a * np.ones_like(times)

    rng = np.random.default_rng(4)
    places = rng.random((12, 1))
    tables = [GaugeTable([COLUMN], TIMES, level(p[0], 0)[:, None]) for p in places]
    surrogate = Surrogate(places, on_grid(tables, [COLUMN], TIMES))
    noise = 2e-4
    curve = MeasuredCurve(
        COLUMN, np.array([np.nan]), np.array([0.6e-3]), np.array([noise]), "given"
    )
    e = Evidence.of(surrogate, [thinned(curve, 0)], None, ())
    u = unknown("a", spread=0.1)
    posterior = Posterior([e], Belief.of([u]))
    draws = posterior.draws(posterior.likeliest(starts=2), 700)
    places, _, size = posterior.split(draws)
    variance = (noise / 1e-3) ** 2 + np.median(size * 0.6) ** 2
    weight = variance / (variance + 0.1**2)
    mean = weight * 0.5 + (1.0 - weight) * 0.6
    deviation = 0.1 * np.sqrt(weight)
    assert places.mean() == pytest.approx(mean, abs=0.1 * deviation)
    assert places.std() == pytest.approx(deviation, rel=0.1)


def test_what_is_not_learnt_leaves_the_others_as_uncertain_as_it_is():
    """One reading of a + 0.3 b, normal prior of both: variance of a as of any linear normal model
    (C. E. Rasmussen and C. K. I. Williams, Gaussian Processes, MIT Press 2006, eq. A.6), whether b
    is held in the search or not; held in the draws too, a would come out three times as sure."""
    rng = np.random.default_rng(4)
    places, noise = rng.random((10, 2)), 2e-5
    tables = [
        GaugeTable([COLUMN], TIMES, np.full((240, 1), 1e-3 * (p @ (1.0, 0.3)))) for p in places
    ]
    surrogate = Surrogate(places, on_grid(tables, [COLUMN], TIMES))
    curve = MeasuredCurve(
        COLUMN, np.array([np.nan]), np.array([0.65e-3]), np.array([noise]), "given"
    )
    e = Evidence.of(surrogate, [thinned(curve, 0)], None, ())
    belief = Belief.of([unknown("a", spread=0.1), unknown("b", spread=0.2)])
    posterior = Posterior([e], belief, {1: 0.5})
    best = posterior.likeliest(starts=2)
    assert best[1] == 0.5
    places, _, size = posterior.split(posterior.draws(best, 600))
    own = (noise / 1e-3) ** 2 + np.mean((0.65 * size) ** 2)
    deviation = np.sqrt(0.1**2 - 0.1**4 / (0.1**2 + (0.3 * 0.2) ** 2 + own))
    assert places[:, 0].std() == pytest.approx(deviation, rel=0.15)
    assert places[:, 1].std() > 0.8 * 0.2


def test_an_interval_holds_nine_tenths_and_the_likeliest():
    """Quantiles of the exponential law are -ln(1 - p); its likeliest value is its bound, 0, which
    two tails of a twentieth leave out. Of the normal law they are +-1.645."""
    rng = np.random.default_rng(1)
    draws = np.column_stack([rng.exponential(size=40_000), rng.normal(size=40_000)])
    low, high = interval_of(draws, np.zeros(2))
    assert low == pytest.approx([0.0, -1.645], abs=0.03)
    assert high == pytest.approx([-np.log(0.1), 1.645], abs=0.05)
    low, high = interval_of(-draws, np.array([0.0, -1.9]))  # and one in the lower tail
    assert low == pytest.approx([np.log(0.1), -1.9], abs=0.05) and high[0] == 0.0
    held = ((-draws >= low) & (-draws <= high)).mean(axis=0)
    assert held == pytest.approx([0.9, 0.9], abs=1e-3)
    low, high = interval_of(draws, np.array([-0.2, 9.0]))  # where not one draw came
    assert low[0] == -0.2 and high[1] == 9.0


def test_what_moves_alike_is_said_and_frozen():
    def alike(a, b, times=TIMES):
        return response(0.5 * (a + b), 0.3, times)  # only the sum is seen

    e = evidence(alike(0.4, 0.6), 2e-5, model=alike)
    us = [unknown("a"), unknown("b")]
    told = what_can_be_learnt([e], us, Belief.of(us), range(2))
    assert told.directions == 1 and len(told.frozen) == 1
    # one of the two is known as well as their sum is, the other not at all: by hand, with p the
    # share of its variance that the sum leaves, the two correlate by (p - 1) / (p + 1)
    left = (1.0 - told.narrowed.max()) ** 2  # of one, the other being known
    both = left / (2.0 - left)  # of their sum
    assert told.correlation[0, 1] == pytest.approx((both - 1.0) / (both + 1.0), abs=0.02)
    assert [pair[:2] for pair in told.alike(us)] == [("b", "a")]
    (along,) = told.along
    assert along.change[0] == pytest.approx(along.change[1], abs=0.02 * np.ptp(along.change))


def test_curves_that_say_nothing_are_refused():
    def still(a, b, times=TIMES):
        return 1e-9 * a * np.sin(times)

    e = evidence(still(0.5, 0.5), 1e-4, model=still)
    us = [unknown("a"), unknown("b")]
    with pytest.raises(WeldsimError, match="say nothing about"):
        what_can_be_learnt([e], us, Belief.of(us), range(2))


@pytest.mark.slow
def test_a_model_that_cannot_bend_is_not_bent():
    # the measured part swings twice as slowly late on: no values mend that, and it is said
    late = response(0.5, 0.5) + 4e-4 * np.sin(TIMES / 3.0)
    e = evidence(late, 2e-5)
    us = [unknown("a"), unknown("b")]
    posterior = Posterior([e], Belief.of(us, 1.0))
    best = posterior.likeliest()
    places, clocks, size = posterior.split(best[None, :])
    off = e.curves[0].observed.values - e.computed(places, clocks)[0][0]
    left = e.curves[0].unmended(off, float(size[0]))
    assert np.abs(left).max() > 2e-4  # half of what was put on
    exact = evidence(response(0.5, 0.5), 2e-5)
    good = Posterior([exact], Belief.of(us, 1.0))
    assert posterior.split(best[None, :])[2][0] > 3 * good.split(good.likeliest()[None, :])[2][0]


def test_gross_errors_are_left_out():
    rng = np.random.default_rng(6)
    times = np.linspace(0.0, 60.0, 600)
    values = response(0.5, 0.5, times) + rng.normal(0.0, 2e-5, 600)
    gross = rng.random(600) < 0.05
    values[gross] += np.sign(rng.normal(size=gross.sum())) * 2e-3
    curve = MeasuredCurve(COLUMN, times, values, np.full(600, 2e-5), "given")
    kept = thinned(curve, 0)
    assert kept.gross == pytest.approx(gross.sum(), abs=4)
    assert np.abs(kept.values - response(0.5, 0.5, kept.times)).max() < 1e-4


def test_readings_taken_together_lie_on_a_steep_curve():
    """A clip: readings each half second of a swing of seconds, a kink where it begins, one of
    twenty grossly off. A normal reading lies within 5 of its standard deviations but for one in a
    million; the middle of a few on a slope, put at their mean time, did not."""
    times, noise = np.arange(1.0, 300.0, 0.5), 0.3e-3

    def swing(t):
        late = np.clip(t - 3.0, 0.0, None)
        return 60e-3 * (np.sin(np.minimum(late, 36.0) / 12.0) - 0.3 * late / (late + 20.0))

    apart, lost = [], []
    for seed in range(12):
        rng = np.random.default_rng(seed)
        gross = rng.random(len(times)) < 0.05
        values = swing(times) + rng.normal(0.0, noise, len(times))
        values[gross] += np.sign(rng.normal(size=gross.sum())) * 20e-3
        kept = thinned(MeasuredCurve(COLUMN, times, values, np.full(len(times), noise), "given"), 0)
        apart.append(np.abs(kept.values - swing(kept.times)) / kept.noise)
        lost.append(kept.gross - gross.sum())
    far = np.concatenate(apart)
    assert len(far) > 12 * 90 and np.quantile(far, 0.997) < 5.0 and far.max() < 10.0
    assert np.abs(lost).max() <= 6


@pytest.mark.parametrize(("shared", "size", "wanted"), [(False, 1.0, 1.0), (False, 2.0, 4.0),
                                                         (True, 1.0, 2.0)])  # fmt: skip
def test_errors_are_scaled_by_what_runs_left_out_were_thrown_off(shared, size, wanted):
    """Squares of normal errors: as believed, twice as large, and the same in two curves that are
    believed to go wrong each by itself, which doubles the variance of what both say."""
    rng = np.random.default_rng(2)
    count, readings = 4000, 8
    errors = size * rng.normal(size=(2, count, readings))
    if shared:
        errors[1] = errors[0]
    slopes = np.tile(rng.normal(size=(1, 1, readings)), (count, 1, 1))
    curves = [CurveErrors(np.eye(readings) / 1.3, np.eye(readings), e, slopes) for e in errors]
    scale = error_scale(curves, np.full(count, 1.0 / count), np.array([1e-9]))
    assert scale == pytest.approx(
        wanted, rel=0.07
    )  # three standard errors of a variance, 3 sqrt(2/n)


def test_unknowns_are_read_from_the_case_and_put_back():
    case = load_case(CASES / "pivot_arm_one_bead.toml")
    vary = {"arc.efficiency": [0.6, 0.9], "clamping.conductance": ["100 W/m2/K", "2000 W/m2/K"],
            "metal.softening_temperature": ["1000 degC", "1300 degC"]}  # fmt: skip
    us = unknowns_of(case, vary, {"metal.softening_temperature": "50 K"})
    changed = with_values(case, us, [0.7, 300.0, 1400.0])
    assert changed.welds[0].arc.efficiency == 0.7
    assert changed.metal.softening_temperature == pytest.approx(1400.0)
    assert us[2].spread == 50.0 and us[1].ratio and us[0].thermal and not us[2].thermal
    for u in us:
        assert u.value(u.share(u.low + 0.3 * (u.high - u.low))) == pytest.approx(
            u.low + 0.3 * (u.high - u.low)
        )


@pytest.mark.parametrize(
    ("vary", "says"),
    [
        ({}, "missing"),
        ({"arc.nothing": [0, 1]}, "states"),
        ({"arc.efficiency": [0.5, 1.5]}, "efficiency"),
        ({"arc.efficiency": [0.9, 0.5]}, "below"),
        ({"arc.efficiency": [0.5]}, "lowest"),
        ({"weld.Z.efficiency": [0.5, 0.9]}, "Z"),
        ({"title": [0, 1]}, "no key"),
        ({"surroundings.ambient": [0, 20]}, "unit"),
    ],
)
def test_what_cannot_vary_is_refused(vary, says):
    case = load_case(CASES / "pivot_arm_one_bead.toml")
    with pytest.raises(CaseError, match=says) as error:
        unknowns_of(case, vary, {})
    assert "[fit]" in str(error.value)


@pytest.mark.slow
def test_a_bench_curve_is_fitted_from_the_command_line(tmp_path):
    """Whole way at grade sketch: data of the same grade, nothing but noise in between."""
    from typer.testing import CliRunner

    from weldsim.cli.main import app
    from weldsim.simulation.steps import build_model, simulate

    case = load_case(CASES / "pivot_arm_one_bead.toml")
    hidden = case.with_changes({"weld.A.efficiency": 0.71})
    states = [(s.time, s.gauges.display()) for s in simulate(build_model(hidden, "sketch", 1))]
    rng = np.random.default_rng(1)
    rows = [
        f"{t + 2.0:.3f},{g['pointer_up_mm'] + rng.normal(0, 0.3):.3f}" for t, g in states if t < 200
    ]
    file = tmp_path / "bench.csv"
    file.write_text("time_s,pointer_up_mm\n" + "\n".join(rows) + "\n")
    out = tmp_path / "study"
    said = CliRunner().invoke(
        app,
        ["fit", str(CASES / "pivot_arm_one_bead.toml"), "--measured", str(file), "--vary",
         "weld.A.efficiency=0.6..0.9", "--grade", "sketch", "--finer", "none", "--runs", "6",
         "--clock", "5 s", "--out", str(out), "--workers", "1"],
    )  # fmt: skip
    assert said.exit_code == 0, said.output
    import json

    found = json.loads((out / "fit.json").read_text())["parameters"]["weld.A.efficiency"]
    assert found["low"] <= 0.71 <= found["high"]
    assert found["high"] - found["low"] < 0.1
    later = load_case(CASES / "pivot_arm_one_bead.toml", {"shop.file": str(out / "shop.toml")})
    assert later.welds[0].arc.efficiency == pytest.approx(found["value"], rel=1e-5)
    assert (Path(out) / "fit.html").read_text().count("<svg") == 3
    (along,) = json.loads((out / "fit.json").read_text())["slopes_along"]
    # more heat moves the spot farther up while the arc burns
    change = dict(zip(along["times_s"], along["change"]["weld.A.efficiency"], strict=True))
    assert max(v for t, v in change.items() if t < 30) > 0


@pytest.mark.slow
def test_runs_are_carried_out_on_a_cluster(tmp_path, monkeypatch):
    """As `weldsim plan` has them: same runs, same folder, a failed one told, nothing run twice."""
    pytest.importorskip("distributed")
    case = load_case(CASES / "pivot_arm_one_bead.toml", {"solve.model": "elastic"})
    heat = unknowns_of(case, {"arc.efficiency": [0.6, 0.9]}, {})
    monkeypatch.chdir(tmp_path)
    here, there = (RunStore(Path(name), case, heat, 20.0) for name in ("here", "there"))
    assert "error" not in run_point(here.job([0.7], "sketch"))
    jobs = [there.job([v], "sketch") for v in (0.7, 0.8)]
    lost = jobs[0]._replace(name="lost", text="nonsense", path=str(tmp_path / "lost.npz"))
    told = []
    failed = carry_out_points(
        [*jobs, lost], 2, lambda share, text: told.append(share), cluster="local"
    )
    assert set(failed) == {"lost"} and told[-1] == 1.0 and len(told) == 3
    one, two = (read_curves(Path(s.job([0.7], "sketch").path)) for s in (here, there))
    assert one.array == pytest.approx(two.array, abs=1e-12)
    assert (
        carry_out_points(jobs, 2, cluster="tcp://127.0.0.1:9") == {}
    )  # all there: nobody is asked


def test_files_belong_to_the_case_they_stand_behind():
    from weldsim.cli.fit import in_turn

    words = ["a.toml", "--measured", "1.csv", "--measured=2.csv", "--with", "b.toml", "--measured",
             "3.csv"]  # fmt: skip
    assert in_turn(words, 3, 1) == [2, 1]


def test_usual_bounds_and_groups_say_where_they_are_from():
    case = load_case(CASES / "pivot_arm.toml", {
        "fit.vary": {"arc.efficiency": "usual", "width": ["3 mm", "6 mm"], "arc.speed": "usual"},
        "fit.groups": {"width": ["weld.A.half_width", "weld.B.half_width"]},
        "fit.source": {"width": "pool width on a macro"},
    })  # fmt: skip
    with pytest.raises(CaseError, match=r"arc\.speed: no usual bounds are known"):
        unknowns_of(case)
    case = case.with_changes({"fit.vary": {"arc.efficiency": "usual", "width": ["3 mm", "6 mm"]},
                              "fit.spread": {"arc.efficiency": "usual"}})  # fmt: skip
    heat, width = unknowns_of(case)
    assert (heat.low, heat.high) == USUAL_BOUNDS["arc.efficiency"][:2]
    assert heat.spread == pytest.approx(SPREADS["arc.efficiency"].size * 0.77)
    assert "our choice" in heat.source and width.source == "pool width on a macro"
    changed = with_values(case, [heat, width], [0.7, 0.004])
    assert [w.arc.half_width for w in changed.welds] == [0.004, 0.004]
    assert width.keys == ("weld.A.half_width", "weld.B.half_width") and width.thermal
    # a case with other welds has its own places: "arc.efficiency" is that of every arc
    other = load_case(CASES / "pivot_arm_one_bead.toml")
    assert with_values(other, [heat], [0.7]).welds[0].arc.efficiency == 0.7


@pytest.mark.parametrize(
    ("group", "says"),
    [
        ([], "empty"),
        (["weld.A.half_width", "weld.A.speed"], "one unit"),
        (["weld.Z.half_width"], "Z"),
    ],
)
def test_a_group_that_cannot_vary_together_is_refused(group, says):
    case = load_case(CASES / "pivot_arm.toml", {
        "fit.vary": {"both": ["3 mm", "6 mm"]}, "fit.groups": {"both": group},
    })  # fmt: skip
    with pytest.raises(CaseError, match=says):
        unknowns_of(case)
