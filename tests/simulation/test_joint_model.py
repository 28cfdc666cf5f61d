"""What a model makes of a joint's case: tacks, passes, presets, clamps, gauges."""

from dataclasses import replace
from importlib.resources import files

import numpy as np
import pytest
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components

from tests.places import ROOT
from weldsim.case.load import load_case, parse_case
from weldsim.joints.assembly import fillet_area
from weldsim.joints.registry import kind_of_case
from weldsim.simulation.model import build_model
from weldsim.simulation.steps import next_event, start_state

MAST = ROOT / "cases" / "mast_stub.toml"


def volume_joined(model, state) -> float:
    """Volume of the filler and land that carries load. [m3]"""
    carries = model.active_points(state)
    base = np.zeros(len(carries), dtype=bool)
    base[model.part.regions["part"]] = True
    return float((model.mechanics.weight * carries)[~base].sum())


@pytest.fixture(scope="module")
def mast():
    model = build_model(load_case(MAST), "coarse", threads=1)
    return model, start_state(model)


@pytest.mark.parametrize(("size", "allowed"), [(2.0, 0.2), (3.0, 0.2), (6.0, 1e-3)])
def test_only_the_tacks_join_the_pieces_before_the_first_arc(size, allowed):
    """Four tacks of 3 mm: the land fused half the wall deep, and filler within their size.

    The filler is a quarter of a disc about the root as long as that lies inside the fillet, whose
    throat is 2.8 mm or more, and the whole section of the fillet where the size is beyond its toes.
    Whole heat cells join: one of some fifteen in the section too many or too few is within 20 %.
    """
    sizes = [f"tack.{i}.size={size} mm" for i in (1, 2, 3, 4)]
    model = build_model(load_case(MAST, sizes), "coarse", threads=1)
    assert len(model.case.tacks) == 4
    gap, leg, length, penetration = 0.1, 4.0, 3.0, 1.5  # mm
    section = min(np.pi / 4 * size**2, fillet_area(gap, leg))
    expected = 4 * length * (section + penetration * gap)  # mm3
    assert volume_joined(model, start_state(model)) * 1e9 == pytest.approx(expected, rel=allowed)


def test_every_seam_lays_its_own_and_all_lay_everything_but_the_open_land(mast):
    model, state = mast
    done = replace(state, reached=np.full(4, np.inf))
    part = model.case.part
    fillet = sum(
        model.mechanics.weight[cells].sum()
        for name, cells in model.part.regions.items()
        if name.startswith("fill")
    )
    ring = part.branch_width**2 - (part.branch_width - part.branch_wall) ** 2  # half the wall deep
    assert volume_joined(model, done) == pytest.approx(fillet + 0.1e-3 * ring, rel=0.02)
    one = replace(state, reached=np.array([np.inf, -np.inf, -np.inf, -np.inf]))
    assert volume_joined(model, one) < 0.5 * volume_joined(model, done)


def test_contact_pairs_face_each_other_across_the_land(mast):
    model, _ = mast
    points = model.points
    apart = points[model.contact.above] - points[model.contact.below]
    np.testing.assert_allclose(apart, np.tile([0, 0, 0.1e-3], (len(apart), 1)), atol=1e-9)
    np.testing.assert_allclose(model.contact.gap, 0.0)
    reach = np.abs(points[model.contact.below][:, :2]).max(axis=1)
    assert reach.min() > 0.0169 and reach.max() < 0.0201  # under the wall and nowhere else


def test_chord_ends_hold_and_the_branch_is_free(mast):
    model, state = mast
    held = model.supports(state.closed_clamps)
    x = model.points[:, 0]
    assert held[np.abs(np.abs(x) - 0.15) < 1e-9].all()
    assert not held[np.abs(x) < 0.149].any()


def test_preset_is_what_the_pointer_reads_before_welding():
    """A preset of 2 mrad toward +x is 2 mrad up, 10 mm at 5 m and the arm of 0.2 m."""
    case = load_case(MAST, ["preset.tilt_x=2 mrad", "preset.tilt_y=-1 mrad"])
    model = build_model(case, "coarse", threads=1)
    read = model.read(start_state(model)).display()
    assert read["pointer_up_mrad"] == pytest.approx(2.0, rel=1e-3)
    assert read["pointer_right_mrad"] == pytest.approx(-1.0, rel=1e-3)
    assert read["pointer_up_mm"] == pytest.approx(2e-3 * 5200, rel=1e-3)


@pytest.mark.slow
def test_passes_lie_on_each_other():
    """Three passes of a fillet: root, foot, wall; together the same metal as one pass."""
    whole = build_model(load_case(MAST), "coarse", threads=1)
    three = build_model(
        load_case(MAST, ["part.passes=3", 'schedule.order=["front:+x"]']), "coarse", threads=1
    )
    assert [w.name for w in three.case.welds] == ["front.1", "front.2", "front.3"]
    volumes = []
    for number in (1, 2, 3):
        cells = three.part.regions[f"fill {number} front"]
        volumes.append(three.mechanics.weight[cells].sum())
    one = whole.mechanics.weight[whole.part.regions["fill 1 front"]].sum()
    assert sum(volumes) == pytest.approx(one, rel=1e-6)
    middle = [s.middle for s in three.seams]
    assert middle[1][1] > middle[0][1] and middle[1][2] < middle[2][2]  # foot out, wall up
    assert middle[2][1] < middle[1][1]


def test_clamps_come_and_go_by_rule():
    text = (
        MAST.read_text(encoding="utf-8")
        + """
[[clamp]]
name = "rail"
at = "branch end"
on = "5 s"
off = "3 s after right"
"""
    )
    model = build_model(parse_case(text, str(MAST)), "coarse", threads=1)
    state = start_state(model)
    assert state.closed_clamps == ("chord start", "chord end")
    assert model.history.rules.next_change(state) == pytest.approx(5.0)
    at5 = replace(state, time=5.0)
    assert next_event(model, at5).kind == "grip" and model.history.rules.changes(at5) == (
        [],
        ["rail"],
    )
    stops = np.array([20.0, np.nan, np.nan, np.nan])
    held = replace(state, time=22.0, closed_clamps=(*state.closed_clamps, "rail"), stops=stops,
                   starts=np.array([0.0, np.nan, np.nan, np.nan]))  # fmt: skip
    assert model.history.rules.next_change(held) == pytest.approx(23.0)
    assert model.history.rules.changes(replace(held, time=23.0)) == (["rail"], [])
    let_go = replace(held, time=24.0, closed_clamps=state.closed_clamps, released=("rail",))
    assert model.history.rules.changes(let_go) == ([], [])  # what came off stays off


def test_cold_means_after_the_last_weld():
    """A pause until cold between two welds does not open a clamp that is to come off cold."""
    text = MAST.read_text(encoding="utf-8").replace('release = "never"', 'release = "cold"')
    model = build_model(parse_case(text, str(MAST)), "coarse", threads=1)
    state = start_state(model)
    between = replace(state, time=900.0, steps=50, starts=np.array([0.0, np.nan, np.nan, np.nan]),
                      stops=np.array([20.0, np.nan, np.nan, np.nan]))  # fmt: skip
    assert model.history.rules.changes(between) == ([], [])
    over = replace(between, starts=np.arange(4.0), stops=20.0 + np.arange(4.0))
    assert model.history.rules.changes(over)[0] == ["chord start", "chord end"]


def test_hot_tacks_are_welds_of_their_own():
    case = load_case(MAST, [f"tack.{i}.arc=true" for i in (1, 2, 3, 4)])
    assert [w.name for w in case.welds[:5]] == ["tack1", "tack2", "tack3", "tack4", "right"]
    model = build_model(case, "coarse", threads=1)
    assert volume_joined(model, start_state(model)) == 0.0


OPENS = {  # kind -> the way its gap opens, and which piece is carried along
    "square-tube-tee": 2,
    "round-tube-saddle": 2,
    "tube-socket": 2,
    "plate-tee": 2,
    "plate-butt": 1,
    "round-tube-butt": 0,
}


def pieces(model) -> np.ndarray:
    """Which displacement points belong to the piece that lies further along each axis, (N, 3)."""
    cells = model.part.lattice.displacement_cells[model.part.regions["part"]]
    links = np.repeat(cells[:, :1], cells.shape[1] - 1, axis=1).ravel()
    count = len(model.points)
    graph = sp.coo_matrix((np.ones(links.size), (links, cells[:, 1:].ravel())), (count, count))
    label = connected_components(graph, directed=False)[1]
    names = np.unique(label[np.unique(cells)])
    assert len(names) == 2
    middles = np.array([model.points[label == n].mean(axis=0) for n in names])
    further = names[np.argmax(middles, axis=0)]
    return label[:, None] == further[None, :]


@pytest.mark.slow
@pytest.mark.parametrize("kind", OPENS)
def test_gaps_are_read_where_they_are_open(kind):
    """A gap gauge on every named place: one piece carried off by a shift opens it by the part of
    the shift across the gap (geometry), the other one carried the same way closes it by as much."""
    text = (files("weldsim") / "data" / "starters" / f"{kind}.toml").read_text(encoding="utf-8")
    case = parse_case(text, kind)
    names = kind_of_case(case).gap_places(case.part)
    for i, name in enumerate(names):
        text += f'\n[[gauge]]\nname = "g{i}"\nkind = "gap"\nat = "{name}"\n'
    model = build_model(parse_case(text, kind), "coarse", threads=1)
    state = start_state(model)
    axis = OPENS[kind]
    shift = np.full(3, 0.2e-3)
    shift[axis] = 0.3e-3
    further = pieces(model)[:, axis]
    assert names
    for moved, opens in ((further, 0.3e-3), (~further, -0.3e-3), (further | True, 0.0)):
        read = model.read(replace(state, displacement=np.where(moved[:, None], shift, 0.0)))
        for i in range(len(names)):
            assert read[f"g{i}", "opening"] == pytest.approx(opens, abs=1e-9), names
