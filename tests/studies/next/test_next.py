"""What to weld next: estimates against closed forms and hidden truths, readings that contradict."""

import json

import numpy as np
import pytest
from scipy.stats import binomtest, chi2, norm

from tests.places import CASES
from tests.studies.small import TEXT, Here, small_plan
from weldsim.errors import CaseError, StoreError
from weldsim.schema.column import Column, Readings
from weldsim.studies.next import advice as next_study
from weldsim.studies.next import past as next_past
from weldsim.studies.next.advice import advise, expected_after, ways_on
from weldsim.studies.next.estimate import Unknown, chance_inside, deviations, estimate
from weldsim.studies.next.given import (
    OpenedStudy,
    Read,
    in_one_unit,
    open_study,
    read_moves,
    read_readings,
    study_drift,
)
from weldsim.studies.next.odds import chance_nearer
from weldsim.studies.next.past import Past
from weldsim.studies.next.unknowns import settled, unknowns_of
from weldsim.studies.plan.drift import Drift
from weldsim.studies.plan.outcomes import Outcome, evaluate
from weldsim.studies.plan.shop_spread import ShopSpread
from weldsim.studies.plan.space import Setting, load_plan, parse_plan
from weldsim.studies.spreads import SPREADS
from weldsim.text.next_words import advice_lines

UP, RIGHT, UP_MM, RIGHT_MM = (
    Column("pointer", d, unit) for unit in ("mrad", "mm") for d in ("up", "right")
)


def shown(columns, values, noise=None):
    """Readings as a person has them, in mrad and mm."""
    values = np.array(values, dtype=float)
    spread = [noise or {"mrad": 0.1, "mm": 0.5}[c.unit] for c in columns]
    return Read(tuple(columns), 1e-3 * values, 1e-3 * np.array(spread))


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


def test_a_gap_that_stays_shut_ran_into_no_bound():
    """Read the other way than a gap would move it: most likely 0, which is what the case says."""
    gap = Unknown("root gap", "part.root_gap", 0.3, 1.0, 1.75, 1e-3)
    found = estimate([9.0], [10.0], [[8.0]], [gap], [0.2])
    assert found.factors[0] == pytest.approx(1.0) and found.at_bound == ()
    wide = estimate([30.0], [10.0], [[8.0]], [gap], [0.2])
    assert gap.times(wide.factors[0], 0.0) == pytest.approx(0.75e-3)
    assert wide.at_bound == ("root gap",)


def test_readings_beyond_reason_are_said_to_be_so():
    """Two gauges that must move together (equal slopes) and are read 20 sigma apart."""
    good = estimate([10.4, 10.5], [10, 10], [[8.0], [8.0]], [EFFICIENCY], [0.2, 0.2])
    bad = estimate([8.0, 12.0], [10, 10], [[8.0], [8.0]], [EFFICIENCY], [0.2, 0.2])
    assert not good.contradictory and bad.contradictory


def test_readings_that_agree_hide_none_that_does_not():
    """One reading of three 5 sigma off is as unlikely as chi-square 25 of three readings says, and
    one alone is exactly as many standard deviations off as it is."""
    slopes = [[0.0], [0.0], [0.0]]
    found = estimate([10.0, 10.0, 11.0], [10, 10, 10], slopes, [EFFICIENCY], [0.2, 0.2, 0.2])
    assert 2 * norm.sf(found.misfit) == pytest.approx(chi2.sf(25.0, 3), rel=1e-6)
    assert found.contradictory  # by the mean of the squares it would be 2.9 of 3
    assert deviations(4.0, 1) == pytest.approx(2.0)
    assert deviations(0.0, 2) == 0.0
    assert deviations(1e4, 2) == pytest.approx(100.0)  # beyond what a tail can be written in


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
        read = read_readings(self.plan, ["pointer.up=-12mm", "pointer.right=0.375 in"])
        assert read.columns == (UP_MM, RIGHT_MM)
        assert read.values == pytest.approx([-12e-3, 9.525e-3])  # an inch is 25.4 mm (definition)
        assert read_readings(self.plan, ["pointer.up=2 mrad"]).columns == (UP,)

    def test_noise_is_in_the_unit_of_each_reading(self):
        texts = ["pointer.up=-12mm", "pointer.right=2 mrad"]
        assert read_readings(self.plan, texts, 0.3).noise == pytest.approx([0.3e-3, 0.3e-3])

    def test_a_side_is_read_once(self):
        with pytest.raises(CaseError, match="this side is read twice"):
            read_readings(self.plan, ["pointer.up=2 mrad", "pointer.up=4 mm"])

    def test_a_gauge_of_two_sides_wants_one_named(self):
        with pytest.raises(CaseError, match=r"write pointer.up or pointer.right"):
            read_readings(self.plan, ["pointer=2 mrad"])

    def test_every_word_for_a_travel_is_known(self):
        stub = load_plan(CASES / "mast_stub_plan.toml")
        done = read_moves(stub, "right")  # the case says "right:uphill"
        assert [s for s, _ in done] == ["right"]
        assert read_moves(stub, "right:uphill") == done
        only = small_plan('plan.travel={front=["+x"]}')
        assert only.text(read_moves(only, "front:-x")) == "front -x"

    @pytest.mark.parametrize("text", ["pointer.up", "pointr.up=1mm", "pointer.up=1 kg", "x=1mm"])
    def test_readings_that_are_wrong(self, text):
        with pytest.raises(CaseError, match="--reading"):
            read_readings(self.plan, [text])


class TestUnknowns:
    """A factor multiplies every place that states the key, and nothing puts it back."""

    def test_what_varies_does_not_undo_it(self):
        plan = small_plan('plan.vary={ "arc.efficiency" = [0.7, 0.8] }')
        other = settled(plan, EFFICIENCY, 1.05)
        assert other.settings == (Setting(()),)
        assert [w.arc.efficiency for w in other.case.welds] == pytest.approx([0.735, 0.735])

    def test_a_weld_with_its_own_speed_keeps_its_own(self):
        own = '[[weld]]\nname = "front"\nseam = "front"\ntravel = "+x"\nspeed = "27 cm/min"\n'
        plan = parse_plan(TEXT.replace("[[gauge]]", own + "[[gauge]]", 1), "s.toml")
        speeds = {w.seam: w.arc.speed for w in settled(plan, SPEED, 1.1).case.welds}
        assert speeds["front"] == pytest.approx(1.1 * 4.5e-3)
        if "back" in speeds:
            assert speeds["back"] == pytest.approx(1.1 * 3e-3)

    def test_a_bar_has_them_in_its_beads(self):
        plan = load_bar()
        assert [u.name for u in unknowns_of(plan)] == ["efficiency", "speed"]
        faster = settled(plan, SPEED, 1.1).case
        assert [w.arc.speed for w in faster.welds] == pytest.approx(
            [1.1 * w.arc.speed for w in plan.case.welds]
        )

    def test_root_gap_and_springs(self):
        clamp = 'clamp.bed.kind="spring"', 'clamp.bed.stiffness="5 kN/mm"', (
            'clamp.bed.turning="10 kN m/rad"')  # fmt: skip
        plan = small_plan("part.root_gap=0.5 mm", *clamp)
        found = {u.name: u for u in unknowns_of(plan)}
        assert set(found) == {"efficiency", "speed", "root gap", "stiffness of bed"}
        assert settled(plan, found["root gap"], 2.0).case.part.root_gap == pytest.approx(1e-3)
        soft = settled(plan, found["stiffness of bed"], 0.5).case.clamps
        assert soft[0].stiffness == pytest.approx(2.5e6)

    @pytest.mark.parametrize("stated", [(), ("part.root_gap=0 mm",)])
    def test_a_gap_of_nothing_is_opened(self, stated):
        """0 times any factor is 0: the unknown is the gap itself, 0.3 mm (`SPREADS`) wide."""
        plan = small_plan(*stated)
        gap = next(u for u in unknowns_of(plan) if u.name == "root gap")
        size = SPREADS["part.root_gap"].at_zero
        assert gap.low == 1.0 and gap.times(1 + gap.spread, 0.0) == pytest.approx(size)
        assert settled(plan, gap, 1.0).case.part.root_gap == 0.0
        assert settled(plan, gap, 1 + gap.spread).case.part.root_gap == pytest.approx(size)
        assert settled(plan, gap, gap.high).case.part.root_gap > 2 * size  # the case allows it


def load_bar():
    text = (CASES / "pivot_arm.toml").read_text(encoding="utf-8")
    text += '\n[plan]\nmeasure = "pointer"\ntolerance = "1 mrad"\n'
    return parse_plan(text, str(CASES / "pivot_arm.toml"))


def test_welds_that_undo_each_other_still_tell_how_they_scale():
    """+3 and -3.1 by an arc: both in proportion to it, so what comes is too (factor 1)."""
    walk = np.array([0.0, 3.0, -0.1])
    past = Past({UP: walk}, {UP: walk[:, None] * [1.0, -0.5]})
    assert past.relative([UP]) == pytest.approx([1.0, -0.5])
    still = Past({UP: 0 * walk}, {UP: walk[:, None] * [1.0, 1.0]})
    assert still.relative([UP]) == pytest.approx([0.0, 0.0])


def test_a_spot_on_a_target_is_a_tilt_by_its_throw():
    """2 m: 4 mm a 2 mrad; what the part shifts besides is the model's."""
    expected = {UP: 1e-3, UP_MM: 2.5e-3, RIGHT: 0.0, RIGHT_MM: 0.0}
    read = in_one_unit(small_plan(), shown((UP_MM, RIGHT), [4.5, 0.3]), expected)
    assert read.columns == (UP, RIGHT)
    assert read.values == pytest.approx([2e-3, 0.3e-3])
    assert read.noise == pytest.approx([0.25e-3, 0.1e-3])
    spot = small_plan("plan.kind=linear", "plan.tolerance=2 mm")
    read = in_one_unit(spot, shown((UP_MM, UP), [4.5, 2.0], 0.1), expected)
    assert read.columns == (UP_MM, UP_MM)
    assert read.values == pytest.approx([4.5e-3, 4.5e-3])
    assert read.noise == pytest.approx([0.1e-3, 0.2e-3])


MOVES = {  # tilt up and right in mrad of a made-up weld, in proportion to efficiency over speed
    ("front", 1): (3.0, 1.0), ("front", -1): (3.0, -1.0),
    ("back", 1): (-2.9, 0.9), ("back", -1): (-2.9, -0.9),
}  # fmt: skip


def made_up(plan, setting, schedules, grade, folder, executor, progress=None, ahead=None):
    """Outcomes of welds that add: each in proportion to its arc's heat."""
    whole = next(plan.schedules())
    arcs = {w.seam: w.arc for w in plan.bound(plan.settings[setting], whole).welds}
    out = {}
    for row in schedules:
        tilt = sum(
            np.array(MOVES[m]) * arcs[m[0]].efficiency / 0.77 * 3e-3 / arcs[m[0]].speed for m in row
        )
        values = 1e-3 * np.array((*tilt, *(2 * tilt)))
        columns = (UP, RIGHT, UP_MM, RIGHT_MM)
        out[row] = Outcome(readings=Readings(dict(zip(columns, values, strict=True))))
    return out


@pytest.fixture
def quick(monkeypatch):
    for module in (next_past, next_study):
        monkeypatch.setattr(module, "evaluate", made_up)
    monkeypatch.setattr(next_study, "welds_missing", lambda *_: 1)


def test_odds_of_two_ends_are_those_of_the_normal_law():
    """Far from zero the nearer end is the lower of two: P(a < b) = Phi((b - a) / (s sqrt 2)) for
    independent errors of size s; an error common to both is no difference at all."""
    means, size = np.array([[10.0], [11.0]]), 0.8
    chance = chance_nearer(means, size**2 * np.eye(2))
    # three standard errors of a share among 20,000
    assert chance == pytest.approx(norm.cdf(1.0 / (size * np.sqrt(2))), abs=0.01)
    assert chance_nearer(means, size**2 * np.ones((2, 2))) == 1.0
    assert chance_nearer(means[:1].repeat(2, 0), size**2 * np.ones((2, 2))) == 0.5


@pytest.mark.usefixtures("quick")
class TestAdvice:
    """Against welds that add, so that every answer is known."""

    done = (("front", 1),)

    def given(self, plan, columns, reading, **rest):
        read, spread = shown(columns, reading, rest.pop("noise", 0.02)), rest.pop("spread", None)
        study = OpenedStudy(plan, "nowhere", **{"drift": Drift((1.0,), 1e-4, 2), **rest})
        return advise(study, self.done, read, Here(), spread=spread)

    def test_the_measure_is_predicted_whatever_was_read(self):
        """One side read right on the model: the other is the model's, with its spread."""
        both = self.given(small_plan(), (UP, RIGHT), [3.0, 1.0])
        one = self.given(small_plan(), (UP,), [3.0])
        for advice in (both, one):
            best = advice.directions[0]
            assert best.moves == (("back", -1),)
            assert best.mean == pytest.approx([1e-4, 1e-4], abs=1e-9)
            assert best.covariance.shape == (2, 2)
        assert one.directions[0].covariance[1, 1] > both.directions[0].covariance[1, 1]
        # back the other way ends 1.9 mrad to the right: no chance, though up is perfect
        other = next(w for w in one.directions if w.moves == (("back", 1),))
        assert other.chance < 0.01
        assert "not read, so taken from the model: pointer right" in advice_lines(small_plan(), one)

    def test_what_was_not_read_moves_with_the_factors(self):
        """The arc 10 % hotter is seen in up: right stands at 1.1 too, and the rest scales."""
        found = self.given(small_plan(), (UP,), [3.3], noise=0.001, drift=Drift((1.0,), 1e-7, 2))
        way = next(w for w in found.directions if w.moves == (("back", -1),))
        assert way.mean == pytest.approx([1.1e-4, 1.1e-4], rel=0.05)

    def test_a_study_carries_the_model_over_to_its_finer_grade(self):
        """The finer grade moved up 1.2 and right 0.8 times as far (made up): a reading of just that
        is no hotter arc, and the last weld moves as much more or less. By hand: front stands at
        (3.6, 0.8) mrad; back as planned takes (-2.9, -0.9) of the ranking's, so it ends at
        3.6 - 1.2 x 2.9 = 0.12 up and 0.8 - 0.8 x 0.9 = 0.08 right."""
        drift = Drift((1.2, 0.8), 1e-5, 4, 5e-3)
        for columns, reading in (((UP, RIGHT), [3.6, 0.8]), ((UP_MM, RIGHT_MM), [7.2, 1.6])):
            found = self.given(small_plan(), columns, reading, drift=drift)
            assert found.estimate.factors == pytest.approx(1.0, abs=1e-6)
            way = next(w for w in found.directions if w.moves == (("back", -1),))
            assert way.mean == pytest.approx([1.2e-4, 0.8e-4], abs=1e-9)
        lines = advice_lines(small_plan(), found)
        assert any("carried over to grade coarse" in line for line in lines)

    def test_odds_of_the_next_weld_count_what_the_shop_scatters(self):
        plain = self.given(small_plan(), (UP, RIGHT), [3.0, 1.0])
        assert plain.odds > 0.95  # 0.14 against 1.9 mrad, each known to a tenth of one
        assert any("hand and fit-up from here on are not in it" in line
                   for line in advice_lines(small_plan(), plain))  # fmt: skip
        spread = ShopSpread((0.0, 0.0), (4e-3, 4e-3), "shop", (0.0, 0.0))
        with_band = self.given(small_plan(), (UP, RIGHT), [3.0, 1.0], spread=spread)
        assert 0.5 < with_band.odds < 0.8
        assert with_band.directions[0].chance < plain.directions[0].chance
        # one weld of two is left: half of the variance is still to come
        added = np.diag(with_band.directions[0].covariance - plain.directions[0].covariance)
        assert added == pytest.approx(0.5 * 16e-6)
        # what is the same in all ways moves both ends alike: the odds hardly know it
        alike = ShopSpread((9e-4, 9e-4), (0.0, 0.0), "shop", (9e-4, 9e-4))
        assert self.given(small_plan(), (UP, RIGHT), [3.0, 1.0], spread=alike).odds > 0.9
        said = advice_lines(small_plan(), with_band)
        assert any("scatter as in the band of shop" in line for line in said)
        assert sum("our choice" in line for line in said) == len(with_band.unknowns)

    def test_a_reading_of_another_unit_serves_the_same(self):
        tilt = self.given(small_plan(), (UP, RIGHT), [3.1, 1.0], noise=0.1)
        spot = self.given(small_plan(), (UP_MM, RIGHT_MM), [6.2, 2.0], noise=0.2)
        for a, b in zip(tilt.directions, spot.directions, strict=True):
            assert b.mean == pytest.approx(a.mean) and b.chance == pytest.approx(a.chance)
        assert "pointer up: read 6.20 mm, expected 6.00 mm" in advice_lines(small_plan(), spot)

    def test_a_pointers_slope_is_its_tilt(self):
        plan = small_plan("plan.kind=slope", "plan.tolerance=ISO 13920 A", "plan.size=200 mm")
        found = self.given(plan, (UP_MM, RIGHT_MM), [6.0, 2.0])
        assert found.directions[0].mean == pytest.approx([1e-4, 1e-4], abs=1e-9)
        assert any("mm/m, " in line and "from zero" in line for line in advice_lines(plan, found))

    def test_without_a_study_error_no_side_is_surer_than_the_other(self):
        """A quarter of the way to come, the same for both sides: 0.25 |(-2.9, 0.9)| for back."""
        found = self.given(small_plan(), (UP, RIGHT), [3.0, 1.0], drift=None, noise=1e-6)
        way = next(w for w in found.directions if w.moves == (("back", 1),))
        own = (0.25e-3) ** 2 * (2.9**2 + 0.9**2)
        assert np.diag(way.covariance) - own == pytest.approx(0.0, abs=0.2 * own)
        assert way.covariance[1, 1] > own * (1 - 1e-6)

    def test_a_travel_that_the_plan_excludes_may_have_been_welded(self):
        plan = small_plan('plan.travel={front=["+x"]}')
        done = read_moves(plan, "front:-x")
        found = advise(OpenedStudy(plan, "x"), done, shown((UP, RIGHT), [3.0, -1.0]), Here())
        assert found.directions[0].moves == (("back", 1),)

    @pytest.mark.parametrize("measure", ['"time"', '"stress"'])
    def test_what_no_gauge_reads_is_refused(self, measure):
        unit = {'"time"': "10 min", '"stress"': "100 MPa"}[measure]
        plan = small_plan(f"plan.measure={measure}", f"plan.tolerance={unit}")
        with pytest.raises(CaseError, match="not read on a gauge") as refusal:
            self.given(plan, (UP,), [3.0])
        assert "\n" not in str(refusal.value)

    def test_too_many_ways_are_those_of_the_study(self, monkeypatch):
        monkeypatch.setattr(next_study, "LARGEST_FULL_STUDY", 1)
        plan = small_plan()
        row = {"moves": [["front", 1], ["back", -1]], "setting": []}
        other = {"moves": [["back", 1], ["front", 1]], "setting": []}
        found = self.given(plan, (UP, RIGHT), [3.0, 1.0], record={"rows": [row, other]})
        assert [w.moves for w in found.directions] == [(("back", -1),)]
        said = advice_lines(plan, found)
        assert any("only the 1 that the study looked at" in line for line in said)
        for record in ({"rows": [other]}, None):
            with pytest.raises(CaseError, match="no study looked at any of them"):
                ways_on(plan, self.done, record)

    def test_a_way_that_the_rules_forbid(self):
        with pytest.raises(CaseError, match="no sequence that begins so is allowed"):
            self.given(small_plan('plan.first=["back"]'), (UP,), [3.0])


class TestFolders:
    def run_folder(self, tmp_path, text, *overrides):
        kept = {"source": text, "source_file": "small.toml", "overrides": list(overrides)}
        (tmp_path / "case.json").write_text(json.dumps(kept))
        return tmp_path

    def test_a_run_has_its_gauges_own_tolerance(self, tmp_path):
        body = TEXT[: TEXT.index("[plan]")]
        with pytest.raises(CaseError, match="states no tolerance"):
            open_study(self.run_folder(tmp_path, body))
        own = self.run_folder(tmp_path, body, 'gauge.pointer.tolerance="3 mrad"')
        assert open_study(own).plan.tolerance.value == pytest.approx(3e-3)
        assert open_study(own, "2 mrad").plan.tolerance.value == pytest.approx(2e-3)
        sized = ('gauge.pointer.tolerance="ISO 13920 B"', 'gauge.pointer.size="200 mm"')
        assert open_study(self.run_folder(tmp_path, body, *sized)).plan.tolerance.value > 0

    def test_a_tolerance_that_is_asked_for_comes_before_that_of_the_plan(self, tmp_path):
        """Only what is said of the end depends on it, so that branches kept before are found."""
        folder = self.run_folder(tmp_path, TEXT)
        kept, asked = open_study(folder).plan, open_study(folder, "5 mrad").plan
        assert kept.tolerance.value != pytest.approx(5e-3)
        assert asked.tolerance.value == pytest.approx(5e-3)
        moves = next(iter(kept.schedules()))[:1]
        names = [p.identity(p.settings[0], "sketch", moves) for p in (kept, asked)]
        assert names[0] == names[1]
        with pytest.raises(CaseError, match="tolerance"):
            open_study(folder, "5 kg")

    @pytest.mark.parametrize("kept", ["{}", "[]", '{"case": 1, "overrides": 2}', "nothing"])
    def test_a_damaged_record_is_one_line(self, tmp_path, kept):
        (tmp_path / "plan.json").write_text(kept)
        with pytest.raises(StoreError, match="plan.json") as refusal:
            open_study(tmp_path)
        assert "\n" not in str(refusal.value)

    def test_a_study_of_a_time_is_refused_at_once(self, tmp_path):
        timed = ("plan.measure=time", "plan.tolerance=10 min")
        with pytest.raises(CaseError, match="not read on a gauge"):
            open_study(self.run_folder(tmp_path, TEXT, *timed))

    def test_a_studys_error_is_in_si(self):
        drift = {"share": 0.7, "rest": 0.3}
        found = study_drift({"drift": drift, "unit": "mm/m"})
        assert (found.share, found.rest) == (0.25, pytest.approx(3e-4))
        drift["share"] = 0.1
        found = study_drift({"drift": drift, "unit": "mm/m"})
        assert (found.share, found.rest) == (pytest.approx(0.1), pytest.approx(3e-4))
        fit = {"factors": [1.2, 0.9], "share": 0.2, "rest": 0.3, "compared": 4, "reach": 5.0}
        found = study_drift({"drift": fit, "unit": "mrad"})
        assert found.carried and found.factors == (1.2, 0.9)
        assert (found.rest, found.reach) == (pytest.approx(3e-4), pytest.approx(5e-3))
        assert study_drift({"drift": drift, "unit": "s"}) is None
        assert study_drift({"drift": None, "unit": "mrad"}) is None


@pytest.mark.slow
def test_a_hidden_efficiency_is_found_and_the_rest_follows(tmp_path):
    """The truth is a run of its own with an arc 6 % hotter; the reading is taken from it."""
    hidden, done = 1.06, (("front", 1),)
    plan = small_plan()
    hot = small_plan(f"arc.efficiency={0.77 * hidden}")
    truth = evaluate(hot, 0, hot.schedules(), "sketch", tmp_path / "truth", Here())
    now = evaluate(hot, 0, [done], "sketch", tmp_path / "truth", Here())[done]
    columns = (UP, RIGHT)
    read = shown(columns, [1e3 * now.readings[c] for c in columns], 0.02)
    study = OpenedStudy(plan, tmp_path / "study", drift=Drift((1.0,), 1e-5, 2))
    assert expected_after(study, done, Here())[UP] != now.readings[UP]
    advice = advise(study, done, read, Here())
    found = advice.estimate
    at = [u.name for u in advice.unknowns].index("efficiency")
    assert abs(found.factors[at] - hidden) < 2 * found.spread[at]
    assert found.spread[at] < SPREADS["arc.efficiency"].size
    assert not found.contradictory
    for way in advice.directions:
        end = truth[(*done, *way.moves)]
        wanted = np.array([end.readings[c] for c in columns])
        # the way is linear in the factors; its own spread is what it says of that
        assert np.linalg.norm(way.mean - wanted) < 0.15 * np.linalg.norm(wanted)
    assert [w.moves for w in advice.directions][0] == min(
        (m[1:] for m in truth if m[:1] == done), key=lambda m: truth[(*done, *m)].final
    )
    assert any("efficiency" in line for line in advice_lines(plan, advice))


@pytest.mark.slow
def test_ways_of_all_settings_are_ranked(tmp_path):
    """Read as expected, a way ends where the study ends, but for what its own past differs by."""
    plan, done = small_plan('plan.vary={ "schedule.pause" = ["10 s", "40 s"] }'), (("front", 1),)
    columns = (UP, RIGHT)
    ends, behind = [], []
    for number in range(2):
        found = evaluate(plan, number, plan.schedules(), "sketch", tmp_path, Here())
        ends.append(found)
        past = evaluate(plan, number, [done], "sketch", tmp_path, Here())[done].readings
        behind.append(np.array([past[c] for c in columns]))
    study = OpenedStudy(plan, tmp_path, drift=Drift((1.0,), 1e-5, 2))
    assert [expected_after(study, done, Here())[c] for c in columns] == list(behind[0])
    advice = advise(study, done, shown(columns, 1e3 * behind[0], 0.02), Here())
    assert {w.setting for w in advice.directions} == {0, 1}
    assert advice.estimate.factors == pytest.approx(1.0, abs=1e-9)
    for way in advice.directions:
        end = ends[way.setting][(*done, *way.moves)].readings
        wanted = np.array([end[c] for c in columns]) + behind[0] - behind[way.setting]
        assert way.mean == pytest.approx(wanted, abs=1e-12)
    lines = advice_lines(plan, advice)
    assert any("(pause: 40 s)" in line for line in lines), lines
    assert lines[-1].endswith("what is done was welded with pause: 10 s")
