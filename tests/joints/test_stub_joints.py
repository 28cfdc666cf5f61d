"""Tube socket and round-tube saddle: meshes, volumes, seams, names and refusals.

Volumes and lengths are compared with closed forms (a plate, an annulus, Pappus' theorem) and with
integrals done by scipy; the line where two tubes meet with the equations of both cylinders.
"""

from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest
import skfem
from scipy.integrate import dblquad, quad
from scipy.spatial import cKDTree

from weldsim.errors import CaseError
from weldsim.geometry.blocks import mesh_blocks
from weldsim.geometry.grades import GRADES
from weldsim.geometry.mesh_checks import cell_volumes
from weldsim.geometry.part import part_from_mesh
from weldsim.joints import round_tube_saddle, saddle_map, square_stub, tube_socket
from weldsim.joints.kit import LEAST_GAP, Filler

MM = 1e-3
SOCKET = {
    "kind": "tube-socket", "material": "carbon-steel", "shape": "round", "tube_width": "48.3 mm",
    "tube_wall": "3 mm", "tube_length": "150 mm", "plate_width": "140 mm",
    "plate_depth": "110 mm", "plate_thickness": "6 mm", "leg": "4 mm",
}  # fmt: skip
SADDLE = {
    "kind": "round-tube-saddle", "material": "carbon-steel", "branch_diameter": "60.3 mm",
    "branch_wall": "3 mm", "branch_length": "150 mm", "chord_diameter": "88.9 mm",
    "chord_wall": "3 mm", "chord_length": "250 mm", "leg": "4 mm",
}  # fmt: skip
EQUAL = SADDLE | {"branch_diameter": "48.3 mm", "chord_diameter": "48.3 mm"}
SMALL = {  # the largest leg allowed on thin equal tubes
    "branch_diameter": "26.9 mm", "chord_diameter": "26.9 mm", "branch_wall": "2.6 mm",
    "chord_wall": "2.6 mm", "leg": "3.9 mm",
}  # fmt: skip
SQUARE = SOCKET | {"shape": "square", "tube_width": "50 mm"}
KINDS = {
    "square socket": (tube_socket, SQUARE), "round socket": (tube_socket, SOCKET),
    "saddle": (round_tube_saddle, SADDLE), "equal saddle": (round_tube_saddle, EQUAL),
}  # fmt: skip
ROUND = [name for name in KINDS if name != "square socket"]
QUARTERS = {"front", "right", "back", "left"}


def part_of(name, **changes):
    module, keys = KINDS[name]
    return module, module.Part(**(keys | changes))


def mesh_of(module, part, grade):
    assert module.check(part) == []
    case = SimpleNamespace(part=part, tacks=module.default_tacks(part))
    model = module.blocks(case, GRADES[grade])
    return part_from_mesh(mesh_blocks(model), model.volumes)  # refuses flat cells, wrong volumes


@cache
def meshed(name, grade):
    return mesh_of(*part_of(name), grade)


@cache
def fitted(name, key, value):
    return mesh_of(*part_of(name, **{key: list(value) if isinstance(value, tuple) else value}),
                   "coarse")  # fmt: skip


def determinants(mesh, at):
    """Of the map of every cell at places of the reference cell (3, Q), positive when sound."""
    found = np.linalg.det(np.moveaxis(np.asarray(mesh.mapping().DF(at)), (0, 1), (2, 3)))
    return found * np.sign(np.median(found))


def volume(part, region, where=None):
    cells = part.regions[region]
    if where is not None:
        middle = part.mesh.p[:, part.mesh.t[:, cells]].mean(axis=1)
        cells = cells[where(*middle)]
    return cell_volumes(part.mesh)[cells].sum()


@pytest.mark.slow
# cells
@pytest.mark.parametrize("grade", ["coarse", "quick", "normal"])
@pytest.mark.parametrize("name", KINDS)
def test_cells_and_their_children_are_sound(name, grade):
    """Positive at the corners of every cell, and of the heat cells it is split into."""
    part = meshed(name, grade)
    corners = skfem.MeshHex1().elem.refdom.p
    for mesh in (part.mesh, part.heat_mesh):
        assert determinants(mesh, corners).min() > 0


@pytest.mark.parametrize("name", ROUND)
def test_no_cell_is_nearly_flat_inside(name):
    """A tenth of its largest value at least, where the bricks are integrated (2 x 2 x 2)."""
    gauss = 0.5 + (skfem.MeshHex1().elem.refdom.p - 0.5) / np.sqrt(3)
    found = determinants(meshed(name, "quick").mesh, gauss)
    assert (found.min(axis=1) / found.max(axis=1)).min() > 0.1


@pytest.mark.slow
@pytest.mark.parametrize("change", [
    {"passes": 3}, {"root_gap": "1.5 mm"}, {"penetration": "2.5 mm"}, {"leg": "2 mm"},
    {"branch_diameter": "47.5 mm"}, {"branch_diameter": "21.3 mm"}, {"branch_wall": "5 mm"},
    {"chord_length": "64.4 mm"}, {"chord_wall": "10 mm"}, {"branch_length": "15 mm"},
    {"clock": ["1:00", "4:00", "9:30"]}, {"branch_diameter": "48.2 mm"}, SMALL,
    SMALL | {"passes": 3},
], ids=str)  # fmt: skip
def test_other_sizes_of_a_saddle_mesh(change):
    part = mesh_of(*part_of("equal saddle", **change), "coarse")
    for mesh in (part.mesh, part.heat_mesh):
        assert determinants(mesh, skfem.MeshHex1().elem.refdom.p).min() > 0


@pytest.mark.slow
@pytest.mark.parametrize("change", [
    {"passes": 2}, {"plate_width": "64.3 mm", "plate_depth": "64.3 mm"}, {"tube_wall": "10 mm"},
    {"plate_width": "400 mm"}, {"clock": ["12:00", "6:00"]}, {"plate_thickness": "20 mm"},
], ids=str)  # fmt: skip
def test_other_sizes_of_a_round_socket_mesh(change):
    part = mesh_of(*part_of("round socket", **change), "coarse")
    assert determinants(part.mesh, skfem.MeshHex1().elem.refdom.p).min() > 0


def ring(part, face, across):
    """Cells around the annulus at an end face, and through its wall."""
    corners = np.unique(part.mesh.facets[:, part.mesh.boundaries[face]])
    radius = np.hypot(*across(*part.mesh.p[:, corners]))
    return np.isclose(radius, radius.max()).sum(), len(np.unique(radius.round(9))) - 1


@pytest.mark.parametrize(("grade", "around"), [("coarse", 20), ("quick", 24), ("normal", 24)])
@pytest.mark.parametrize("name", ROUND)
def test_cells_around_and_through_tubes(name, grade, around):
    """A ring of 24 chords holds 98.9 % of its metal, of 20 chords 98.4 % (regular polygon)."""
    part, module = meshed(name, grade), KINDS[name][0]
    through = GRADES[grade].through_cells
    found = [ring(part, module.FACES[0], lambda x, y, z: (x, y))]
    if module is round_tube_saddle:
        radius = part_of(name)[1].chord_diameter / 2
        found.append(ring(part, "chord start", lambda x, y, z: (y, z + radius)))
    for cells, layers in found:
        assert cells >= around and layers == through


def test_the_chord_is_closed_underneath():
    """Where both ends of the layout meet no face is left open."""
    mesh = meshed("saddle", "quick").mesh
    y, z = mesh.p[1:, mesh.facets]
    cut = (np.abs(y) < 1e-9).all(axis=0) & (z < -50 * MM).all(axis=0)
    assert cut.any() and (mesh.f2t[1, cut] >= 0).all()


# volumes
@pytest.mark.parametrize("name", ["square socket", "round socket"])
def test_volumes_of_a_socket(name):
    """Plate: a cuboid; round tube: an annulus (closed forms)."""
    part = meshed(name, "quick")
    plate = volume(part, "part", lambda x, y, z: z < 0)
    assert plate == pytest.approx(140 * 110 * 6 * MM**3, rel=1e-6)
    tube = volume(part, "part", lambda x, y, z: z > 0)
    length = 150 * MM - LEAST_GAP
    if name == "square socket":
        assert tube == pytest.approx((50**2 - 44**2) * MM**2 * length, rel=1e-6)
    else:
        assert tube == pytest.approx(np.pi * (24.15**2 - 21.15**2) * MM**2 * length, rel=0.02)


def test_volume_of_a_round_fillet():
    """Pappus' theorem: section times the way of its centroid; two triangles with the gap's edge."""
    part = meshed("round socket", "quick")
    found = sum(volume(part, f"fill 1 {s}", lambda x, y, z: z > LEAST_GAP) for s in QUARTERS)
    found += sum(
        volume(part, f"fill 1 {s}", lambda x, y, z: (z < LEAST_GAP) & (np.hypot(x, y) > 24.15 * MM))
        for s in QUARTERS
    )
    foot, wall, out = 4 * MM, 4 * MM + LEAST_GAP, 0.575 * 4 * MM
    low, high = foot * (LEAST_GAP + out) / 2, wall * out / 2
    moment = low * (foot + out) / 3 + high * out / 3
    assert found == pytest.approx(2 * np.pi * (24.15 * MM * (low + high) + moment), rel=0.02)


@pytest.mark.parametrize(("name", "r", "big"), [
    ("saddle", 30.15, 44.45), ("equal saddle", 24.15, 24.15),
])  # fmt: skip
def test_volumes_of_a_saddle(name, r, big):
    """Branch: scipy's integral of its height over the annulus; chord: an annulus (closed form)."""
    part, length = meshed(name, "quick"), 150 - LEAST_GAP / MM

    def height(angle, rho):
        return (length + big - np.sqrt(big**2 - min(rho * np.sin(angle), big) ** 2)) * rho

    branch, _ = dblquad(height, r - 3, r, 0, 2 * np.pi)
    module, keys = part_of(name)
    assert module.branch_volume(keys) == pytest.approx(branch * MM**3, rel=1e-4)

    def above(x, y, z):  # the chord lies within its radius, cells' middles a little deeper
        return np.hypot(y, z + big * MM) > big * MM

    def on_branch(x, y, z):
        return above(x, y, z) & (np.hypot(x, y) < (r + 0.1) * MM) & (z > -big * MM)

    assert volume(part, "part", on_branch) == pytest.approx(branch * MM**3, rel=0.02)
    chord = np.pi * (big**2 - (big - 3) ** 2) * 250 * MM**3
    rest = volume(part, "part", lambda *p: ~on_branch(*p))
    assert rest == pytest.approx(chord, rel=0.02)


# seams
@pytest.mark.parametrize(("keys", "r", "big"), [
    (SADDLE, 30.15, 44.45), (EQUAL, 24.15, 24.15),
])  # fmt: skip
def test_length_of_a_saddle_seam(keys, r, big):
    """A weld with hardly any leg runs on the line where both cylinders meet (integral by scipy)."""
    part = round_tube_saddle.Part(**(keys | {"leg": "0.02 mm"}))

    def step(angle):
        slope = r * np.sin(angle) * np.cos(angle)
        slope /= np.sqrt(max((big / r) ** 2 - np.sin(angle) ** 2, 1e-18))
        return np.hypot(r, slope)

    length = 4 * quad(step, 0, np.pi / 2)[0] * MM
    found = sum(s.length for s in round_tube_saddle.seam_lines(part).values())
    assert found == pytest.approx(length, rel=5e-3)


def test_both_tubes_meet_on_both_cylinders():
    """The line x2 + y2 = r2 and y2 + (z + R)2 = R2 is one of mesh points all around."""
    mesh = meshed("saddle", "quick").mesh
    x, y, z = mesh.p
    on = np.abs(np.hypot(x, y) - 30.15 * MM) < 1e-9
    on &= np.abs(np.hypot(y, z + 44.45 * MM) - 44.45 * MM) < 1e-9
    angles = np.sort(np.arctan2(y[on], x[on]))
    assert on.sum() >= 24 and np.diff(angles).max() < 2 * np.pi / 24


@pytest.mark.parametrize("name", ROUND)
def test_quarters_are_where_the_clock_says(name):
    """One who stands before the front (+y) has +x on the left (looking along -y, z up, right is -y
    cross z = -x); clockwise as seen from the tube's free end, the front at 6 o'clock."""
    module, part = part_of(name)
    seams = module.seam_lines(part)
    assert set(seams) == QUARTERS
    middle = {"front": (0, 1), "left": (1, 0), "back": (0, -1), "right": (-1, 0)}
    along = {"front": "+x", "left": "-y", "back": "-x", "right": "+y"}
    for key, seam in seams.items():
        x, y, _ = seam.points[len(seam.points) // 2]
        assert np.allclose(np.array([x, y]) / np.hypot(x, y), middle[key])
        assert seam.directions["clockwise"] == 1 and seam.directions["counterclockwise"] == -1
        assert seam.directions[along[key]] == 1
        assert seam.directions[along[key].translate(str.maketrans("+-", "-+"))] == -1
        turn = np.diff(np.unwrap(np.arctan2(seam.points[:, 1], seam.points[:, 0])))
        # the arc runs half a leg off the joint, square to it and so not quite away from the axis
        assert (turn < 0).all() and turn.sum() == pytest.approx(-np.pi / 2, rel=0.03)
        assert 12 <= len(seam.points) - 1 <= 16
        assert np.allclose(np.linalg.norm(seam.inwards, axis=1), 1)
    order = ["front", "left", "back", "right"]
    for a, b in zip(order, order[1:] + order[:1], strict=True):
        assert np.allclose(seams[a].points[-1], seams[b].points[0])


def test_seams_from_clock_positions():
    module, part = part_of("round socket", clock=["6:00", "9:00", "1:30"])
    seams = module.seam_lines(part)
    assert list(seams) == ["s1", "s2", "s3"]
    radius = 26.15 * MM
    assert np.allclose(seams["s1"].points[[0, -1], :2], [(0, radius), (radius, 0)])
    half = radius / np.sqrt(2)
    assert np.allclose(seams["s2"].points[-1, :2], (-half, -half))
    assert "+x" not in seams["s1"].directions  # as much along -y as along +x
    assert seams["s2"].directions["-x"] == 1 and seams["s2"].directions["clockwise"] == 1
    spans = [s.length for s in seams.values()]
    assert np.array(spans) / sum(spans) == pytest.approx(np.array([3, 4.5, 4.5]) / 12, rel=1e-3)


def test_inward_bisects_the_corner_of_a_socket():
    for seam in part_of("round socket")[0].seam_lines(part_of("round socket")[1]).values():
        away = seam.points[:, :2] / np.linalg.norm(seam.points[:, :2], axis=1)[:, None]
        assert np.allclose(seam.inwards[:, 2], -np.sqrt(0.5))
        assert np.allclose(seam.inwards[:, :2], -np.sqrt(0.5) * away)


@pytest.mark.parametrize("name", ROUND)
def test_second_pass_lies_on_the_foot_and_third_on_the_tube(name):
    module, part = part_of(name, passes=3)
    seam = module.seam_lines(part)["left"]  # on +x
    first, second, third = (seam.cut(0.0, seam.length, 1, n).middle for n in (1, 2, 3))
    assert second[2] < third[2] and second[0] > third[0]
    assert first[0] < second[0] - MM and first[2] < third[2] - MM  # in the root


# names
@pytest.mark.parametrize("grade", ["quick", "normal"])
@pytest.mark.parametrize("name", KINDS)
def test_names_of_regions_and_faces(name, grade):
    """Open land of its own where there is a grid line at the penetration, else none."""
    module, keys = part_of(name)
    part = meshed(name, grade)
    assert set(part.boundaries) == set(module.FACES)
    assert "part" in part.regions and ("land" in part.regions) == (grade == "normal")
    fillers = [Filler.of(r) for r in part.regions if r not in ("part", "land")]
    assert all(f.number == 1 for f in fillers)
    for partly in {f.partly for f in fillers}:
        assert {s for f in fillers if f.partly is partly for s in f.seams} == QUARTERS
    assert {f.partly for f in fillers} == ({False} if grade == "normal" else {True, False})
    assert set(module.CLAMPED) < set(module.FACES) and module.POINTER["at"] in module.FACES
    for face in module.FACES:  # the named place lies on its face, or amid the tube's end
        found = part.lattice.points[part.boundaries[face]]
        place = module.place(keys, face)
        assert (place >= found.min(axis=0) - 1e-9).all()
        assert (place <= found.max(axis=0) + 1e-9).all()


@pytest.mark.parametrize("name", ROUND)
def test_seams_fuse_the_strip_of_the_land_within_the_penetration(name):
    """Half of the wall, measured from outside: an annulus (closed form); nothing more is fused."""
    module, keys = part_of(name)
    part = meshed(name, "quick")
    outer = (keys.tube_width if module is tube_socket else keys.branch_diameter) / 2
    middles = part.heat_mesh.p[:, part.heat_mesh.t].mean(axis=1)
    plan = np.zeros(2)  # of the land: fused, open [m2]
    for seam in QUARTERS:
        inside = np.isin(part.heat_parent, part.regions[f"root {seam}"])
        fused = module.fused(keys, seam, middles[:, inside].T)
        sizes = cell_volumes(part.heat_mesh)[inside] / LEAST_GAP  # the gap is measured upright
        plan += sizes[fused].sum(), sizes[~fused].sum()
    edge, inner = outer - 1.5 * MM, outer - 3 * MM
    expected = np.pi * np.array([outer**2 - edge**2, edge**2 - inner**2])
    if name == "equal saddle":
        # the root is drawn in by DENT legs amid both flanks, nothing where sin2 of the angle is
        # FLAT, a parabola between; the line between the halves of the cells by half as much
        wide = 2 * np.arccos(np.sqrt(saddle_map.FLAT)) * outer
        expected -= 2 * (2 / 3 * wide * saddle_map.DENT * keys.leg) / 2
    assert plan == pytest.approx(expected, rel=0.02)  # few cells across the parabola


@pytest.mark.parametrize("name", ROUND)
def test_grid_line_at_the_penetration_parts_fused_and_open_land(name):
    """At normal grade the regions say the same as `fused` does of their cells."""
    module, keys = part_of(name)
    part = meshed(name, "normal")
    middles = part.mesh.p[:, part.mesh.t].mean(axis=1).T
    outer = (keys.tube_width if module is tube_socket else keys.branch_diameter) / 2
    assert not module.fused(keys, "front", middles[part.regions["land"]]).any()
    under = middles[part.regions["fill 1 front"]]
    under = under[np.hypot(*under[:, :2].T) < outer - 0.1 * MM]
    assert len(under) and module.fused(keys, "front", under).all()


@pytest.mark.slow
def test_passes_and_clock_seams_are_regions():
    part = fitted("equal saddle", "clock", ("11:00", "2:00", "5:00", "8:00"))
    seams = {f"{kind} s{n}" for kind in ("fill 1", "root") for n in (1, 2, 3, 4)}
    assert seams | {"part"} == set(part.regions)
    part = fitted("round socket", "passes", 3)
    assert {f"fill {n} {s}" for n in (1, 2, 3) for s in QUARTERS} < set(part.regions)


def test_unknown_place_is_refused():
    for name in ("round socket", "saddle"):
        with pytest.raises(CaseError, match="place free end is unknown on a"):
            part_of(name)[0].place(part_of(name)[1], "free end")


@pytest.mark.parametrize("name", ROUND)
def test_gap_places_are_a_root_gap_apart(name):
    module, part = part_of(name, root_gap="1 mm")
    gaps = module.gap_places(part)
    assert set(gaps) == QUARTERS
    for low, high in gaps.values():
        assert np.subtract(high, low) == pytest.approx([0, 0, 1 * MM], abs=1e-9)


@pytest.mark.parametrize("name", ROUND)
def test_grid_lines_at_the_ends_of_tacks(name):
    """Tacks amid the quarters: there is a line of mesh points at their ends, on the arc's angle."""
    module, keys = part_of(name)
    mesh, seams = meshed(name, "coarse").mesh, module.seam_lines(keys)
    x, y, _ = mesh.p
    radius = (keys.tube_width if module is tube_socket else keys.branch_diameter) / 2
    middle = {"front": np.pi / 2, "left": 0.0, "back": -np.pi / 2, "right": np.pi}
    angles = np.arctan2(y, x)[np.abs(np.hypot(x, y) - radius) < 1e-9]
    for tack in module.default_tacks(keys):
        seam = seams[tack.seam]
        assert tack.finish - tack.begin == pytest.approx(3 * MM)
        assert tack.begin + tack.finish == pytest.approx(seam.length)
        # the arc's points are at even angles of the clock, which gives each way along it an angle
        way = np.r_[0, np.cumsum(np.linalg.norm(np.diff(seam.points, axis=0), axis=1))]
        share = np.interp([tack.begin, tack.finish], way, np.linspace(0, 1, len(way)))
        for end in middle[tack.seam] - np.pi / 2 * (share - 0.5):
            away = np.angle(np.exp(1j * (angles - end)))
            assert np.abs(away).min() < 1e-6


@pytest.mark.parametrize("name", KINDS)
def test_mesh_is_its_own_mirror_image(name):
    """The joint is symmetric both ways, so are its points."""
    points = meshed(name, "quick").mesh.p.T
    tree = cKDTree(points)
    for mirror in ([-1, 1, 1], [1, -1, 1]):
        away, image = tree.query(points * mirror)
        assert away.max() < 1e-8 and len(np.unique(image)) == len(points)


def test_square_socket_is_a_square_stub():
    module, part = part_of("square socket")
    assert module.seam_lines(part).keys() == square_stub.SIDES.keys()
    assert module.gap_places(part).keys() == QUARTERS


# refusals
@pytest.mark.parametrize(("name", "change", "key", "text"), [
    ("square socket", {"tube_wall": "13 mm"}, "tube_wall",
     "13 mm is not allowed: at most a quarter of the width, 12.5 mm"),
    ("round socket", {"tube_wall": "13 mm"}, "tube_wall",
     "13 mm is not allowed: at most half of the radius, 12.07 mm"),
    ("round socket", {"plate_width": "60 mm"}, "plate_width",
     "60 mm is too small for the tube and its welds, allowed: from 64.3 mm"),
    ("square socket", {"plate_depth": "60 mm"}, "plate_depth",
     "60 mm is too small for the tube and its welds, allowed: from 66 mm"),
    ("round socket", {"leg": "5 mm"}, "leg",
     "5 mm is larger than the walls allow: up to one and a half of the thinner wall, 4.5 mm"),
    ("round socket", {"penetration": "3 mm"}, "penetration",
     "3 mm is not allowed: at most nine tenths of the tube wall, 2.7 mm"),
    ("round socket", {"root_gap": "4 mm"}, "root_gap",
     "4 mm is not allowed: at most the tube wall, 3 mm"),
    ("round socket", {"tube_length": "10 mm"}, "tube_length",
     "10 mm is not allowed: from three legs, 12 mm"),
    ("round socket", {"passes": 4}, "passes", "4 is not allowed: 1, 2 or 3"),
    ("square socket", {"clock": ["12:00", "6:00"]}, "clock",
     "a square tube has no clock positions, allowed: with a round tube"),
    ("saddle", {"chord_wall": "23 mm"}, "chord_wall",
     "23 mm is not allowed: at most half of the radius, 22.23 mm"),
    ("saddle", {"branch_wall": "16 mm"}, "branch_wall",
     "16 mm is not allowed: at most half of the radius, 15.07 mm"),
    ("saddle", {"branch_diameter": "90 mm"}, "branch_diameter",
     "90 mm is wider than the chord, allowed: up to 88.9 mm"),
    ("saddle", {"chord_length": "70 mm"}, "chord_length",
     "70 mm is too short for the branch and its welds, allowed: from 76.3 mm"),
    ("saddle", {"penetration": "2.8 mm"}, "penetration",
     "2.8 mm is not allowed: at most nine tenths of the branch wall, 2.7 mm"),
    ("saddle", {"clock": ["12:00", "25:00"]}, "clock",
     "'25:00' is not a clock position, allowed: 1:00 to 12:59"),
    ("saddle", {"clock": ["12:00"]}, "clock", "1 positions are not enough, allowed: from 2"),
    ("saddle", {"clock": ["3:00", "3:00"]}, "clock",
     "a position is given twice, allowed: different positions"),
    ("saddle", {"clock": ["12:00", "6:00", "3:00"]}, "clock",
     "the positions are not in order, allowed: once around, clockwise"),
    ("saddle", {"clock": ["12:00", "12:10", "6:00"]}, "clock",
     "two positions are too near each other, allowed: from half an hour apart"),
])  # fmt: skip
def test_bad_geometry_is_one_line(name, change, key, text):
    module, part = part_of(name, **change)
    assert module.check(part) == [(key, text)]


@pytest.mark.parametrize("name", KINDS)
def test_words_say_the_sizes(name):
    module, part = part_of(name)
    words = module.words(part)
    assert "\n" not in words and "leg 4 mm" in words and "3 mm" in words
