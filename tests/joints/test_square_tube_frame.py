"""Square-tube frame: with one post it is the tee; with more, each is one; what does not fit."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from tests.places import ROOT
from weldsim.case.load import load_case
from weldsim.geometry.blocks import mesh_blocks
from weldsim.geometry.grades import GRADES
from weldsim.geometry.part import part_from_mesh
from weldsim.joints import square_tube_frame, square_tube_tee
from weldsim.simulation.model import build_model
from weldsim.simulation.steps import simulate

STARTER = ROOT / "weldsim" / "data" / "starters" / "square-tube-frame.toml"
FRAME = {
    "kind": "square-tube-frame", "material": "carbon-steel", "post_width": "30 mm",
    "post_wall": "3 mm", "post_length": "70 mm", "posts": 3, "spacing": "90 mm",
    "chord_width": "40 mm", "chord_wall": "3 mm", "chord_length": "280 mm", "leg": "3 mm",
}  # fmt: skip


def part_of(**changes):
    return square_tube_frame.Part(**(FRAME | changes))


def meshed(module, part, grade="coarse"):
    case = SimpleNamespace(part=part, tacks=module.default_tacks(part))
    blocks = module.blocks(case, GRADES[grade])
    return part_from_mesh(mesh_blocks(blocks), blocks.volumes)  # refuses wrong volumes


def test_a_frame_with_one_post_is_the_tee():
    """The same cells at the same places, whatever the names."""
    one = part_of(posts=1, chord_length="120 mm")
    tee = square_tube_tee.Part(
        **{k.replace("post_", "branch_"): v for k, v in FRAME.items()
           if k not in ("posts", "spacing", "kind", "chord_length")},
        kind="square-tube-tee", chord_length="120 mm",
    )  # fmt: skip
    a, b = meshed(square_tube_frame, one), meshed(square_tube_tee, tee)
    middles = [p.mesh.p[:, p.mesh.t].mean(axis=1) for p in (a, b)]
    for one_way in middles:
        one_way[:] = one_way[:, np.lexsort(np.round(one_way, 7))]
    np.testing.assert_allclose(*middles, atol=1e-9)
    assert {r.replace("post1-", "") for r in a.regions} == set(b.regions)


def test_each_post_has_its_own_seams_and_ends():
    part = part_of()
    mesh = meshed(square_tube_frame, part)
    for i, x in enumerate((-0.09, 0.0, 0.09)):  # 90 mm apart about the middle, by the keys above
        for side in ("front", "back", "left", "right"):
            seam = square_tube_frame.seam_lines(part)[f"post{i + 1}-{side}"]
            assert abs(seam.points[:, 0].mean() - x) <= 0.015 + 0.0015 + 1e-9
            cells = [m for r, m in mesh.regions.items() if f"post{i + 1}-{side}" in r.split()]
            found = mesh.mesh.p[0, mesh.mesh.t[:, np.concatenate(cells)]]
            assert np.abs(found - x).max() < 0.015 + 0.003 + 1e-6  # half a post and a leg
        end = mesh.lattice.points[mesh.boundaries[f"post{i + 1} end"]]
        np.testing.assert_allclose(end[:, 2], 0.07, atol=1e-9)
        assert np.abs(end[:, 0] - x).max() <= 0.015 + 1e-9
    assert len(square_tube_frame.seam_lines(part)) == 12


def test_a_seam_fuses_the_land_of_its_own_post_alone():
    part = part_of()
    under = np.array([[x, 0.0145, 5e-5] for x in (-0.09, 0.0, 0.09)])  # half a mm inside the front
    assert square_tube_frame.fused(part, "post2-front", under).tolist() == [False, True, False]
    assert not square_tube_frame.fused(part, "post2-back", under).any()


@pytest.mark.parametrize(
    "changes, key",
    [
        ({"posts": 0}, "posts"),
        ({"posts": 9}, "posts"),
        ({"spacing": "38 mm"}, "spacing"),
        ({"chord_length": "220 mm"}, "chord_length"),
        ({"post_width": "45 mm"}, "post_width"),
        ({"post_width": "36 mm"}, "leg"),
        ({"post_wall": "9 mm"}, "post_wall"),
    ],
)
def test_what_does_not_fit(changes, key):
    assert key in [k for k, _ in square_tube_frame.check(part_of(**changes))]
    assert square_tube_frame.check(part_of()) == []


@pytest.mark.slow
def test_the_mirrored_frame_reads_mirrored():
    """A bead on the first post and its mirror image on the second, a few steps at grade sketch."""
    found = []
    for order in ("post1-front:+x", "post2-front:-x"):
        sizes = ["part.post_length=60 mm", "part.spacing=100 mm", "part.chord_length=220 mm"]
        case = load_case(STARTER, [*sizes, f'schedule.order=["{order}"]'])
        model = build_model(case, "sketch", threads=1)
        model = model.with_stepping(replace(model.stepping, tolerance=1e-7))
        steps = simulate(model)
        readings = [next(steps).gauges for _ in range(4)][-1]
        post, other = ("post1", "post2") if "post1" in order else ("post2", "post1")
        found.append([readings[p, k] for p in (post, other) for k in ("up", "right")])
    one, two = np.array(found)
    scale = np.abs(one).max()
    assert scale > 1e-6  # rad: something has moved
    # right is along the chord and changes sign; up, which is up in the workshop, does not
    np.testing.assert_allclose(two, one * (1, -1, 1, -1), atol=2e-4 * scale)
