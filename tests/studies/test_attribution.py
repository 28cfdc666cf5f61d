"""Where a movement comes from, against reciprocity, closed forms and symmetry.

Betti's theorem (1872; any textbook on elasticity) makes the parts add up exactly in the elastic
limit. Closed forms: reference/mechanical_checks.md section 4.
"""

import json
from dataclasses import replace

import numpy as np
import pytest

from tests.places import CASES
from weldsim.case.load import load_case, parse_case
from weldsim.errors import CaseError
from weldsim.geometry.grades import GRADES
from weldsim.physics.equilibrium import solve_equilibrium
from weldsim.plots.attribution_pictures import small_print
from weldsim.report.study_records import why_record
from weldsim.schema.column import Column
from weldsim.simulation.model import build_model
from weldsim.simulation.steps import simulate, start_state
from weldsim.studies.attribution import (
    Reading,
    Row,
    Why,
    explain_case,
    explain_state,
    main_readings,
    taken_apart,
)
from weldsim.studies.heat_sweep import Point, crossing, crossover, tilts
from weldsim.studies.influence import Tally, elastic_properties, quadrature_places
from weldsim.text.attribution_words import thirds, why_words
from weldsim.text.heat_sweep_words import crossover_words

ONE = CASES / "pivot_arm_one_bead.toml"
SHORT = (
    "part.length=90 mm", "part.width=16 mm", "weld.A.at=50 mm", "weld.A.speed=3 mm/s",
)  # fmt: skip
DIAL = '\n[[gauge]]\nname = "length"\nkind = "dial"\nat = "free end"\ndirection = "+x"\n'


def halved(case):
    """A coarse model with two cells through the thickness: the middle plane is a mesh plane."""
    grade = replace(GRADES["coarse"], name="coarse", through_cells=2)
    return build_model(case, grade, 1)


def locked(model, strain):
    """State in equilibrium with a plastic strain (C, Q, 6) put in from outside."""
    state = start_state(model)
    internal_variables = replace(state.internal_variables, plastic_strain=strain)
    state = replace(state, internal_variables=internal_variables)
    properties, internal_variables = elastic_properties(model, state)
    fixed = model.supports(state.closed_clamps)
    found = solve_equilibrium(
        model.mechanics, state.displacement, properties, internal_variables, fixed
    )
    return replace(state, displacement=found.displacement)


def with_dial(path, *changes):
    return parse_case(path.read_text(encoding="utf-8") + DIAL, str(path), changes)


def test_parts_add_up_on_an_elastic_bar():
    """Betti: within 1 % asked, far closer expected; so does every split of it."""
    model = build_model(load_case(ONE, ("solve.model=elastic", "solve.end=40 s", *SHORT)), "coarse")
    why = explain_case(model)
    assert len(why.readings) == 4
    for reading in why.readings:
        assert abs(reading.residual) < 1e-4 * abs(reading.value)
        assert all(r.value == pytest.approx(r.heating + r.cooling) for r in reading.rows)
    tilt = main_readings(why)[0]
    assert tilt.unit == "mrad" and tilt.of_weld("A") == pytest.approx(tilt.value, rel=0.2)
    assert "weld A" in why_words(why)[0]
    record = why_record(why)
    rows = [r for r in record["rows"] if r["gauge"] == tilt.column.name]
    rest = sum(record["readings"][tilt.column.name]["others"].values())
    assert sum(r["value"] for r in rows) + rest == pytest.approx(tilt.shown.value, rel=0.01)
    assert {r["slice"] for r in rows} == set(range(1, 13))


def test_a_shrunk_band_kinks_the_bar_as_the_formula_says():
    """Angular change of mechanical_checks.md 4: beta = 12/h^3 e* w d (h - d)/2, here d = h/2.

    A band across the whole width shrinks along the bar down to the middle plane. The formula is
    exact for a beam; 1 % as that file allows away from the ends.
    """
    model = halved(load_case(ONE, ("part.length=120 mm", "weld.A.at=70 mm")))
    places = quadrature_places(model)
    middle = places.mean(axis=1)
    band = (np.abs(middle[:, 0] - 0.07) < 0.006) & (middle[:, 1] > 0)
    band &= np.isin(np.arange(len(band)), model.part.regions["part"])
    h, b, e = 0.008, 0.045, -0.002
    d = h / 2
    w = model.mechanics.weight[band].sum() / (d * b)
    assert 0.005 < w < 0.015 and places[band, :, 1].min() > 0
    strain = np.zeros((*places.shape[:2], 6))
    strain[band, :, 0] = e
    beta = 12 / h**3 * abs(e) * w * d * (h - d) / 2
    state = locked(model, strain)
    why = explain_state(model, state)
    # the front (+y) draws in and the end turns toward it; right of +x with up = +z is -y
    reading = why.reading("pointer_right_mrad")
    assert reading.value == pytest.approx(-beta, rel=0.01)
    assert reading.sum == pytest.approx(-beta, rel=0.01)
    assert abs(why.reading("pointer_up_mrad").sum) < 1e-3 * beta
    # all of it lies in the band, at the same density: stress of bending does not change along x
    assert np.all(reading.density[~band] == 0)
    assert np.ptp(reading.density[band]) < 0.02 * np.abs(reading.density[band]).max()


def test_mirrored_welds_have_equal_shares():
    """Two bands, mirror images in the middle plane (must-hold 8): each shortens the bar by half,
    and what one tilts the other takes back."""
    changes = ("part.length=120 mm", "weld.A.at=70 mm", "weld.B.at=70 mm", "weld.B.travel=up")
    model = halved(with_dial(CASES / "both_faces.toml", *changes))
    places = quadrature_places(model)
    strain = np.zeros((*places.shape[:2], 6))
    strain[np.abs(places[..., 0] - 0.07) < 0.004, 0] = -0.001
    why = explain_state(model, locked(model, strain))
    length = why.reading("length_travel_mm")
    assert length.of_weld("A") == pytest.approx(length.value / 2, rel=1e-4)
    assert length.of_weld("B") == pytest.approx(length.of_weld("A"), rel=1e-6)
    tilt = why.reading("pointer_right_mrad")
    assert tilt.of_weld("A") == pytest.approx(-tilt.of_weld("B"), rel=1e-6)
    assert abs(tilt.of_weld("A")) > 0.1e-3
    # the slices of one weld mirror along its travel as well
    values = [r.value for r in length.rows if r.weld == "A"]
    assert values == pytest.approx(values[::-1], rel=1e-6)


def made_up(value, parts, others):
    """A reading of `value` mrad with welds of so many slices and so much in all."""
    rows = [
        Row(
            weld,
            "s",
            1,
            k + 1,
            0.1 * k / count,
            0.1 * (k + 1) / count,
            None,
            None,
            1e-3 * whole / count,
        )  # fmt: skip
        for weld, (count, whole) in parts.items()
        for k in range(count)
    ]
    others = {name: 1e-3 * v for name, v in others.items()}
    return Reading(Column("pointer", "up", "mrad"), 1e-3 * value, tuple(rows), others, np.zeros(1))


def words(reading):
    return " ".join(why_words(Why("t", "by place", (reading,), {}, {})))


def test_a_pointer_is_said_at_its_target_and_rounding_noise_is_not_said():
    """3 of 4 mrad at a target 5 m away: 15 of 20 mm, by hand."""
    reading = made_up(4.0, {"A": (3, 3.0), "B": (3, 1.0)}, {"clamps": 1e-9})
    why = Why("t", "by place", (reading,), {}, {}, {"pointer": 5.0})
    said = " ".join(why_words(why))
    assert "Most of the movement of pointer up at the target (+15 of +20 mm, +4 mrad)" in said
    assert "weld A" in said and "shift is not taken apart" in said and "e-" not in said
    assert small_print(why, why.shown(reading), reading.shown).startswith("the reading has no")


@pytest.mark.parametrize("count", [1, 2, 4, 5, 8, 12])
def test_an_even_weld_adds_alike_in_each_third(count):
    """+3 spread evenly is 1 for each third, however many slices there are."""
    assert thirds(made_up(3.0, {"A": (count, 3.0)}, {}).shown, "A") == pytest.approx([1.0] * 3)


def test_shares_are_named_where_all_parts_pull_one_way():
    assert words(made_up(5.0, {"A": (12, 5.0)}, {})).startswith("All of the tilt")
    assert words(made_up(5.0, {"A": (12, 4.0), "B": (12, 1.0)}, {})).startswith("Most of the tilt")
    some = words(made_up(-5.0, {"A": (12, -2.4), "B": (12, -2.3)}, {"clamps": -0.3}))
    assert some.startswith("The largest part") and "Not from a weld: clamps -0.3 mrad" in some


def test_welding_and_preset_are_told_apart():
    """Two welds pull 4.5 down, the preset stands 5 up: no weld is a share of the half left."""
    said = words(made_up(0.5, {"A": (12, -3.0), "B": (12, -1.5)}, {"preset": 5.0}))
    assert "welding makes -4.5, preset +5 mrad" in said
    assert "the largest weld is A with -3 mrad," in said
    assert "All" not in said and "Most" not in said and "Against" not in said


def test_welds_that_oppose_each_other_are_no_shares():
    """+5 and -4.5 leave 0.5; the larger one is not ten times all of it."""
    said = words(made_up(0.5, {"A": (12, 5.0), "B": (12, -4.5)}, {}))
    assert "the largest weld is A with +5" in said and "Against weld A pull: B -4.5 mrad" in said
    assert "All" not in said and "Most" not in said
    other = words(made_up(0.5, {"A": (12, 4.5), "B": (12, -5.0), "C": (12, 1.0)}, {}))
    assert "the largest weld is B" in other and "Against weld B pull: A +4.5, C +1 mrad" in other
    still = words(made_up(0.0, {"A": (12, 2.0), "B": (12, -2.0)}, {}))
    assert "nothing moved" not in still and "welding makes +0 mrad" in still


def test_a_case_that_reads_no_movement_is_refused():
    text = ONE.read_text(encoding="utf-8")
    head, tail = text.split("[[gauge]]")
    cold = '[[gauge]]\nname = "t"\nkind = "thermocouple"\nat = "free end"\n'
    case = parse_case(head + cold + "[solve]" + tail.split("[solve]")[1], "t.toml", SHORT)
    model = build_model(case, "coarse")
    with pytest.raises(CaseError, match="none reads a movement"):
        explain_state(model, start_state(model))


@pytest.mark.slow
def test_parts_add_up_on_a_plastic_bar():
    """Quick grade, short bead, until cold: 1 % of each reading; both ways of splitting agree."""
    case = load_case(ONE, ("solve.grade=quick", *SHORT))
    model = build_model(case)
    state = start_state(model)
    tally = Tally(model, state)
    for last in simulate(model, state):
        tally.add(last)
    why, plain = (taken_apart(model, last.state, t) for t in (tally, None))
    for reading in why.readings:
        assert reading.value == last.gauges[reading.column]
        assert abs(reading.residual) < 0.01 * abs(reading.value)
        other = plain.reading(reading.column)
        assert other.of_weld("A") == pytest.approx(reading.of_weld("A"), rel=1e-6)
        assert all(r.heating is None for r in other.rows)
    # metal is squashed while it warms (mechanical_checks.md 1): that shortens the welded face
    # and turns the end toward the bead, right of the beam being away from it
    right = why.reading("pointer_right_mrad")
    assert sum(r.heating for r in right.rows) < 0


@pytest.mark.slow
def test_a_land_that_presses_is_counted():
    """Tee with an open land and a clamp that grips what has moved: still 1 % of the reading."""
    from importlib.resources import files

    text = (files("weldsim") / "data" / "starters" / "plate-tee.toml").read_text(encoding="utf-8")
    text += '\n[[clamp]]\nname = "vise"\nat = "base front edge"\nkind = "spring"\n'
    text += 'stiffness = "5 kN/mm"\nturning = "10 kN m/rad"\n'
    changes = (
        "part.length=24 mm", "part.base_width=40 mm", "part.stem_height=20 mm",
        'schedule.order=["front:+x"]', "arc.speed=5 mm/s", "solve.end=30 s",
    )  # fmt: skip
    model = build_model(parse_case(text, "tee", changes), "coarse")
    why = explain_case(model)
    reading = why.reading("pointer_up_mrad")
    assert abs(reading.residual) < 0.01 * abs(reading.value)
    assert model.contact is not None
    assert reading.others["warmth left in the part"] != 0  # 30 s are not enough to be cold


@pytest.mark.slow
def test_a_run_folder_is_explained(tmp_path):
    from weldsim.errors import StoreError
    from weldsim.plots.attribution_pictures import seam_map
    from weldsim.report.attribution_report import write_why
    from weldsim.runs.runner import RunOptions, run_case
    from weldsim.studies.attribution import explain

    case = load_case(ONE, ("solve.model=elastic", "solve.grade=quick", "solve.end=30 s", *SHORT))
    folder = run_case(case, tmp_path / "run", RunOptions(error_estimate=False))
    record = json.loads(write_why(folder).read_text(encoding="utf-8"))
    for values in record["readings"].values():
        assert abs(values["residual"]) < 0.01 * abs(values["gauge_value"])
        assert values["replay_gap"] == pytest.approx(0.0, abs=1e-9)
    assert len(record["pictures"]) == 2
    assert all((folder / p).stat().st_size > 10_000 for p in record["pictures"])
    quick = explain(folder, replay=False)
    assert seam_map(quick, main_readings(quick)[0]) is not None
    manifest = json.loads((folder / "run.json").read_text(encoding="utf-8"))
    (folder / "run.json").write_text(json.dumps({**manifest, "status": "stopped"}))
    with pytest.raises(StoreError, match="not complete"):
        explain(folder)
    for file in (folder / "state").iterdir():
        file.unlink()
    with pytest.raises(StoreError, match="holds no state: resume"):
        explain(folder, replay=False)


def test_tilt_is_turned_into_the_frame_of_the_seam():
    """Up the bar's width is along the travel of a bead welded upward; right of the beam is -y."""
    case = load_case(ONE)
    from weldsim.joints.registry import seams_of

    up, right = (Column("pointer", direction, "mrad") for direction in ("up", "right"))
    ends = {up: 5e-3, right: -2e-3}
    along, toward = tilts(case.gauges[0], seams_of(case)[0], ends)
    assert (along, toward) == pytest.approx((5e-3, 2e-3))
    down = load_case(ONE, ("weld.A.travel=down", "weld.A.face=back"))
    along, toward = tilts(down.gauges[0], seams_of(down)[0], ends)
    assert (along, toward) == pytest.approx((-5e-3, -2e-3))


def test_crossing_is_found_between_runs():
    """Straight lines: |along| = x, |toward| = 4 - x cross at x = 2."""
    row = [Point(1.0, 1.0, float(x), float(x), 4.0 - x) for x in (1, 3)]
    assert crossing(row) == pytest.approx(2.0)
    assert crossing(row[:1]) is None
    failed = Point(1.0, 1.0, 2.5, trouble="no equilibrium")
    assert crossing([row[0], failed, row[1]]) == pytest.approx(2.0)


@pytest.mark.parametrize(
    ("path", "words"),
    [
        (CASES / "mast_stub.toml", '"bar" only'),
        (CASES / "edge_bead_bar.toml", "a pointer"),
        (CASES / "both_faces.toml", "one face"),
    ],
)
def test_crossover_refuses_what_is_no_such_bar(path, words):
    with pytest.raises(CaseError, match=words):
        crossover(load_case(path))


def test_the_row_is_of_cold_readings(monkeypatch):
    """So the words and the chart say, whatever end the case states."""
    seen = []

    def build(case, grade, threads):
        seen.append(case.solve.end)
        raise RuntimeError("enough")

    monkeypatch.setattr("weldsim.studies.heat_sweep.build_model", build)
    with pytest.raises(RuntimeError):
        crossover(load_case(ONE, ("solve.end=60 s",)), (650.0,))
    assert seen == ["cold"]


@pytest.mark.slow
def test_side_leads_cold_and_travel_leads_hot(tmp_path):
    """Common practice, as in tests/facts: 0.9 kJ/mm into an 8 mm bar, the side wins; at 2.1
    kJ/mm the direction of travel does. So the row crosses over in between."""
    from weldsim.report.attribution_report import write_crossover

    case = load_case(ONE, ("solve.end=60 s", "part.length=110 mm"))
    found = crossover(case, (990.0, 2310.0), "coarse")
    assert [round(1e-3 * p.heat) for p in found.points] == [900, 2100]
    assert 1e-9 * found.at == pytest.approx(24, abs=10)
    assert "toward the bead" in crossover_words(found)
    record = json.loads(write_crossover(found, tmp_path / "x").read_text(encoding="utf-8"))
    assert len(record["rows"]) == 2
    assert (tmp_path / "x" / "crossover.png").stat().st_size > 10_000
