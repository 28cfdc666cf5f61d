"""Plate butt, plate tee and girth weld: meshes, volumes, seams, names and refusals.

Volumes are compared with closed forms written out here again (cuboids, trapezoids, annuli,
Pappus' theorem); a bead's cap with the section 2/3 width x height of a parabola.
"""

import tomllib
from functools import cache
from importlib import import_module
from importlib.resources import files
from types import SimpleNamespace

import numpy as np
import pytest
import skfem
from scipy.spatial import cKDTree

from weldsim.errors import CaseError
from weldsim.geometry.blocks import mesh_blocks
from weldsim.geometry.grades import GRADES
from weldsim.geometry.mesh_checks import cell_volumes
from weldsim.geometry.part import part_from_mesh
from weldsim.joints.kit import LEAST_GAP, Filler
from weldsim.joints.registry import KINDS, lean_of

MM = 1e-3
GAP = LEAST_GAP / MM
TAN = np.tan(np.radians(30))
V = {
    "kind": "plate-butt", "material": "carbon-steel", "length": "150 mm", "width": "75 mm",
    "thickness": "6 mm", "root_gap": "2 mm", "bevel": "60 deg", "root_face": "1 mm",
    "cap_height": "0.6 mm", "passes": 2,
}  # fmt: skip
CLOSED = {
    "kind": "plate-butt", "material": "carbon-steel", "length": "100 mm", "width": "60 mm",
    "thickness": "4 mm", "penetration": "2.5 mm",
}  # fmt: skip
TEE = {
    "kind": "plate-tee", "material": "carbon-steel", "length": "120 mm", "base_width": "100 mm",
    "base_thickness": "8 mm", "stem_height": "60 mm", "stem_thickness": "6 mm", "leg": "4 mm",
    "penetration": "2 mm",
}  # fmt: skip
GIRTH = {
    "kind": "round-tube-butt", "material": "carbon-steel", "diameter": "48.3 mm", "wall": "3 mm",
    "length": "120 mm", "root_gap": "1 mm",
}  # fmt: skip
THICK = GIRTH | {
    "diameter": "88.9 mm", "wall": "6 mm", "bevel": "60 deg", "root_face": "1 mm", "passes": 3,
}  # fmt: skip
NAMED = {
    "V": V, "closed": CLOSED, "tee": TEE, "front tee": TEE | {"sides": "front"},
    "back tee": TEE | {"sides": "back"}, "girth": GIRTH, "thick girth": THICK,
}  # fmt: skip


def part_of(name, **changes):
    keys = NAMED[name] | changes
    module = import_module(f"weldsim.joints.{KINDS[keys['kind']]}")
    return module, module.Part(**keys)


def mesh_of(module, part, grade, tacks=None):
    assert module.check(part) == []
    tacks = module.default_tacks(part) if tacks is None else tacks
    model = module.blocks(SimpleNamespace(part=part, tacks=tacks), GRADES[grade])
    return part_from_mesh(mesh_blocks(model), model.volumes)  # refuses flat cells, wrong volumes


@cache
def meshed(name, grade):
    return mesh_of(*part_of(name), grade)


def volume(part, region, where=None):
    """Of a region, in mm3, or of its cells whose middles pass a test."""
    cells = part.regions[region]
    if where is not None:
        middle = part.mesh.p[:, part.mesh.t[:, cells]].mean(axis=1)
        cells = cells[where(*middle)]
    return cell_volumes(part.mesh)[cells].sum() / MM**3


@pytest.mark.slow
# cells
@pytest.mark.parametrize("grade", ["coarse", "quick", "normal"])
@pytest.mark.parametrize("name", NAMED)
def test_cells_and_their_children_are_sound(name, grade):
    """The map of every cell keeps its sign at all eight corners (any FE textbook)."""
    part = meshed(name, grade)
    corners = skfem.MeshHex1().elem.refdom.p
    for mesh in (part.mesh, part.heat_mesh):
        gradient = np.moveaxis(np.asarray(mesh.mapping().DF(corners)), (0, 1), (2, 3))
        found = np.linalg.det(gradient)
        assert (found * np.sign(np.median(found))).min() > 0
    if grade == "quick":
        assert 3 * part.lattice.displacement_points < 45000  # of 4 levels through a 6 mm tube


@pytest.mark.slow
@pytest.mark.parametrize(("name", "change"), [
    ("V", {"bevel": "90 deg", "root_face": "0 mm", "root_gap": "0 mm", "passes": 4}),
    ("V", {"root_face": "5.4 mm"}), ("V", {"thickness": "12 mm", "passes": 3}),
    ("V", {"bevel": "5 deg", "root_gap": "6 mm"}), ("closed", {"passes": 2}),
    ("closed", {"penetration": "3.6 mm"}), ("tee", {"passes": 3, "root_gap": "1.5 mm"}),
    ("tee", {"leg": "9 mm"}), ("front tee", {"penetration": "5.4 mm"}),
    ("girth", {"wall": "12 mm"}), ("girth", {"diameter": "500 mm"}),
    ("thick girth", {"bevel": "90 deg", "root_gap": "0 mm", "root_face": "0 mm"}),
], ids=str)  # fmt: skip
def test_other_sizes_mesh(name, change):
    mesh_of(*part_of(name, **change), "coarse")


@pytest.mark.parametrize("name", NAMED)
def test_two_cells_through_each_wall_at_normal_grade(name):
    module, keys = part_of(name)
    part = meshed(name, "normal")

    def levels(face, axis):
        points = part.mesh.p[:, np.unique(part.mesh.facets[:, part.mesh.boundaries[face]])]
        way = np.hypot(*points[1:]) if axis == "r" else points[axis]
        return len(np.unique(way.round(8)))

    walls = {
        "plate-butt": [("right edge", 2), ("left edge", 2)],
        "plate-tee": [("stem top", 1), ("base front edge", 2), ("base back edge", 2)],
        "round-tube-butt": [("start end", "r"), ("finish end", "r")],
    }
    for face, axis in walls[keys.kind]:
        assert levels(face, axis) >= 3


def test_at_least_24_cells_around_at_quick_grade():
    mesh = mesh_of(*part_of("girth", diameter="20 mm", wall="5 mm"), "quick").mesh
    end = mesh.p[:, np.isclose(mesh.p[0], mesh.p[0].max())]
    outside = end[1:, np.isclose(np.hypot(*end[1:]), 10 * MM)]
    turn = np.diff(np.sort(np.arctan2(*outside)))
    assert turn.max() < 2 * np.pi / 24 + 1e-6


@pytest.mark.parametrize("name", ["girth", "thick girth"])
def test_the_tube_is_closed_where_the_layout_ends(name):
    """At 12 o'clock, where both ends of the layout meet, no face is left open."""
    mesh = meshed(name, "quick").mesh
    _, y, z = mesh.p[:, mesh.facets]
    cut = (np.abs(y) < 1e-9).all(axis=0) & (z > 0).all(axis=0)
    assert cut.any() and (mesh.f2t[1, cut] >= 0).all()


# volumes
def test_volumes_of_a_v_groove():
    """Plates less the triangles of the bevel; layers are trapezoids; the cap is a parabola's."""
    part = meshed("V", "quick")
    assert volume(part, "part") == pytest.approx(150 * (2 * 75 * 6 - 25 * TAN), rel=1e-6)
    layer, face = 2 + 2 * 2 * TAN, 2 + 2 * 5 * TAN  # widths at half the thickness and at the top
    first = 2 * 1 + 2 * (2 + layer) / 2
    assert volume(part, "fill 1 butt") == pytest.approx(150 * first, rel=1e-6)
    cap = 2 / 3 * (face + 2 * 0.25 * 6) * 0.6
    assert volume(part, "fill 2 butt") == pytest.approx(
        150 * (3 * (layer + face) / 2 + cap), rel=1e-6
    )


def test_volumes_of_a_closed_butt():
    """Cuboids: fused 2.5 mm from the top, below it 1.5 mm of open land."""
    part = meshed("closed", "quick")
    assert volume(part, "part") == pytest.approx(100 * 2 * 60 * 4, rel=1e-6)
    assert volume(part, "land") == pytest.approx(100 * GAP * 1.5, rel=1e-6)
    cap = 2 / 3 * max(GAP + 2 * 0.25 * 2.5, 1.2 * 2.5) * 0.4
    assert volume(part, "fill 1 butt") == pytest.approx(100 * (GAP * 2.5 + cap), rel=1e-6)
    top = part.mesh.p[2, part.mesh.t[:, part.regions["land"]]].max()
    assert top == pytest.approx(2 * MM - 2.5 * MM)


@pytest.mark.parametrize(("name", "welded"), [
    ("tee", ["front", "back"]), ("front tee", ["front"]), ("back tee", ["back"]),
])  # fmt: skip
def test_volumes_of_a_tee(name, welded):
    """Cuboids; a fillet is two triangles from its root, the throat 15 % over the flat one's."""
    part = meshed(name, "quick")
    plates = 100 * 8 + 6 * (60 - GAP)
    assert volume(part, "part") == pytest.approx(120 * plates, rel=1e-6)
    assert volume(part, "land") == pytest.approx(120 * GAP * (6 - 2 * len(welded)), rel=1e-6)
    out = 0.575 * 4
    fillet = 4 * (GAP + out) / 2 + (4 + GAP) * out / 2
    for seam in welded:
        assert volume(part, f"fill 1 {seam}") == pytest.approx(120 * (fillet + 2 * GAP), rel=1e-6)
    assert {Filler.of(r).seams[0] for r in part.regions if r.startswith("fill")} == set(welded)


def test_passes_of_a_tee_fill_the_same_fillet():
    one, three = meshed("tee", "coarse"), mesh_of(*part_of("tee", passes=3), "coarse")
    for seam in ("front", "back"):
        assert {f"fill {n} {seam}" for n in (1, 2, 3)} < set(three.regions)
        summed = sum(volume(three, f"fill {n} {seam}") for n in (1, 2, 3))
        assert summed == pytest.approx(volume(one, f"fill 1 {seam}"), rel=1e-6)


def chords(part, radius):
    """Area of the mesh's polygon around over the circle's, from the angles of its points."""
    x, y, z = part.mesh.p
    outside = np.isclose(x, x.max()) & np.isclose(np.hypot(y, z), radius * MM)
    angle = np.sort(np.arctan2(y[outside], z[outside]))
    turn = np.diff(np.append(angle, angle[0] + 2 * np.pi))
    return np.sin(turn).sum() / (2 * np.pi)


def test_volumes_of_a_girth_weld():
    """Annuli (closed form), exact once the circle is the polygon of the mesh."""
    part = meshed("girth", "quick")
    tubes = 2 * 120 * np.pi * (24.15**2 - 21.15**2)
    assert volume(part, "part") == pytest.approx(tubes, rel=0.01)
    assert volume(part, "part") == pytest.approx(tubes * chords(part, 24.15), rel=1e-6)
    ring = 1 * np.pi * (24.15**2 - 21.15**2)
    found = volume(part, "fill 1 girth", lambda x, y, z: np.hypot(y, z) < 24.15 * MM * 0.999)
    assert found == pytest.approx(ring * chords(part, 24.15), rel=1e-6)


def test_volumes_of_a_thick_girth_weld():
    """Pappus' theorem: a section's area times the way of its centroid around."""
    part, radius, wall, high = meshed("thick girth", "quick"), 44.45, 6.0, 5.0
    triangle = high**2 * TAN / 2
    off = 2 * np.pi * (radius - high / 3) * triangle
    annulus = np.pi * (radius**2 - (radius - wall) ** 2)
    share = chords(part, radius)
    assert volume(part, "part") == pytest.approx(2 * (120 * annulus - off) * share, rel=1e-6)
    groove = 1 * annulus + 2 * off
    face = 1 + 2 * high * TAN
    cap = 2 / 3 * (face + 2 * 0.25 * wall) * 0.6
    # centroid of a trapezoid whose top is a third of its foot: 5/12 of the height above the foot
    groove += 2 * np.pi * (radius + 0.6 * 5 / 12) * cap
    found = sum(volume(part, f"fill {n} girth") for n in (1, 2, 3))
    assert found == pytest.approx(groove * share, rel=1e-6)


# symmetry
def same_points(a, b):
    away, image = cKDTree(a).query(b)
    return away.max() < 1e-8 and len(np.unique(image)) == len(a) == len(b)


@pytest.mark.parametrize("name", ["V", "closed", "tee", "girth", "thick girth"])
def test_mesh_is_its_own_mirror_image(name):
    """Both sides of the seam are alike: points and volumes."""
    part = meshed(name, "quick")
    axis = 0 if "girth" in name else 1
    mirror = np.where(np.arange(3) == axis, -1, 1)
    assert same_points(part.mesh.p.T, part.mesh.p.T * mirror)
    sides = [volume(part, "part", lambda *p, s=s: s * p[axis] > 0) for s in (1, -1)]
    if name != "tee":
        assert sides[0] == pytest.approx(sides[1], rel=1e-9)


def test_a_fillet_on_the_other_side_gives_the_mirrored_mesh():
    front, back = meshed("front tee", "quick"), meshed("back tee", "quick")
    assert same_points(front.mesh.p.T, back.mesh.p.T * [1, -1, 1])
    for side in (1, -1):
        one = volume(front, "part", lambda x, y, z, s=side: s * y > 1e-9)
        other = volume(back, "part", lambda x, y, z, s=side: s * y < -1e-9)
        assert one == pytest.approx(other, rel=1e-9)
    assert volume(front, "fill 1 front") == pytest.approx(volume(back, "fill 1 back"), rel=1e-9)


# seams
def test_seam_of_a_plate_butt():
    module, part = part_of("V")
    (seam,) = module.seam_lines(part).values()
    assert seam.name == "butt" and seam.length == pytest.approx(150 * MM)
    assert np.allclose(seam.points, [[0, 0, 3 * MM], [150 * MM, 0, 3 * MM]])
    assert np.allclose(seam.inwards, [0, 0, -1]) and seam.directions == {"+x": 1, "-x": -1}
    assert seam.passes == 2 and seam.depth == pytest.approx(3 * MM)


@pytest.mark.parametrize("name", ["V", "thick girth"])
def test_arcs_of_the_passes_travel_on_their_layers(name):
    module, keys = part_of(name)
    (seam,) = module.seam_lines(keys).values()
    mesh = meshed(name, "quick")

    def height(points):
        return np.hypot(points[1], points[2]) if "girth" in name else points[2]

    for number in range(1, seam.passes):
        arc = seam.cut(0.0, seam.length, 1, number)
        region = mesh.mesh.p[:, mesh.mesh.t[:, mesh.regions[f"fill {number} {seam.name}"]]]
        assert height(arc.start) == pytest.approx(height(region).max(), rel=1e-6)
    last = seam.cut(0.0, seam.length, 1, seam.passes)
    assert np.allclose(last.start, seam.points[0])


@pytest.mark.parametrize(("name", "diameter"), [("girth", 48.3), ("thick girth", 88.9)])
def test_seam_of_a_girth_weld(name, diameter):
    """Once around, pi D; with z up, counterclockwise seen from +x goes from 12 to 9 o'clock, -y."""
    module, part = part_of(name)
    (seam,) = module.seam_lines(part).values()
    assert seam.closed and np.array_equal(seam.points[0], seam.points[-1])
    assert len(seam.points) > 48
    assert seam.length == pytest.approx(np.pi * diameter * MM, rel=5e-4)
    assert np.allclose(seam.points[0], [0, 0, diameter / 2 * MM])
    assert np.allclose(seam.inwards, -seam.points / (diameter / 2 * MM))
    quarter = seam.points[(len(seam.points) - 1) // 4]
    assert np.allclose(quarter, [0, -diameter / 2 * MM, 0], atol=1e-9)
    assert seam.directions == {"counterclockwise": 1, "clockwise": -1}
    assert seam.cut(0.0, seam.length, -1).closed and not seam.cut(0.0, 0.03, 1).closed


def test_seams_of_a_tee():
    """Amid the flat faces, half a leg off both plates, looking into the corner at 45 degrees."""
    module, part = part_of("tee")
    for name, seam in module.seam_lines(part).items():
        side = {"front": 1, "back": -1}[name]
        assert seam.length == pytest.approx(120 * MM) and seam.directions["+x"] == 1
        assert np.allclose(seam.points[:, 1], side * 5 * MM)
        assert np.allclose(seam.points[:, 2], 2 * MM + LEAST_GAP)
        assert np.allclose(seam.inwards, np.array([0, -side, -1]) / np.sqrt(2))
    assert list(part_of("back tee")[0].seam_lines(part_of("back tee")[1])) == ["back"]


def test_second_pass_of_a_tee_lies_on_the_base_and_third_on_the_stem():
    module, part = part_of("tee", passes=3)
    for side, seam in zip((1, -1), module.seam_lines(part).values(), strict=True):
        first, second, third = (seam.cut(0.0, seam.length, 1, n).middle for n in (1, 2, 3))
        assert second[2] < third[2] and side * second[1] > side * third[1]
        assert first[2] < third[2] and side * first[1] < side * second[1]


# tacks, gaps, places
@pytest.mark.parametrize("name", ["V", "closed", "tee"])
def test_tacks_at_both_ends_of_straight_seams(name):
    module, part = part_of(name)
    for seam, line in module.seam_lines(part).items():
        ends = [(t.begin, t.finish) for t in module.default_tacks(part) if t.seam == seam]
        assert ends == [(0.0, 10 * MM), (line.length - 10 * MM, line.length)]
    x = np.unique(meshed(name, "coarse").mesh.p[0].round(9))
    for end in (10 * MM, line.length - 10 * MM):
        assert np.abs(x - end).min() < 1e-8


def test_tacks_of_short_seams_are_shorter():
    module, part = part_of("V", length="30 mm")
    assert all(t.finish - t.begin == pytest.approx(5 * MM) for t in module.default_tacks(part))


def test_four_tacks_around_with_grid_lines_at_their_ends():
    module, part = part_of("girth")
    (seam,) = module.seam_lines(part).values()
    tacks = module.default_tacks(part)
    share = np.array([(t.begin, t.finish) for t in tacks]) / seam.length
    assert np.allclose(share[:, 0], [0, 0.25, 0.5, 0.75])
    _, y, z = meshed("girth", "coarse").mesh.p
    angle = np.arctan2(-y, z)[np.isclose(np.hypot(y, z), 24.15 * MM)]
    for end in 2 * np.pi * share.ravel():
        assert np.abs(np.angle(np.exp(1j * (angle - end)))).min() < 1e-6


@pytest.mark.parametrize(("name", "names"), [
    ("V", {"start end", "mid length", "finish end"}), ("tee", {"front", "back"}),
    ("front tee", {"front"}), ("girth", {"12:00", "3:00", "6:00", "9:00"}),
])  # fmt: skip
def test_gap_places_are_a_root_gap_apart(name, names):
    module, part = part_of(name, root_gap="1.5 mm")
    gaps = module.gap_places(part)
    assert set(gaps) == names
    mesh = mesh_of(module, part, "coarse")
    tree = cKDTree(mesh.lattice.points)
    for pair in gaps.values():
        axis = {"V": 1, "girth": 0}.get(name, 2)
        assert np.subtract(pair[1], pair[0]) == pytest.approx(1.5 * MM * np.eye(3)[axis], abs=1e-9)
        if name != "girth":  # a place amid a seam need not be a point
            assert all(tree.query([0, p[1], p[2]])[0] < 1e-8 for p in pair)


def test_plates_fused_through_have_no_gap():
    module, part = part_of("closed", penetration=None)
    assert module.gap_places(part) == {}
    assert "land" not in mesh_of(module, part, "coarse").regions
    assert module.gap_places(part_of("closed")[1])


@pytest.mark.parametrize("name", NAMED)
def test_names_of_regions_and_faces(name):
    module, keys = part_of(name)
    part = meshed(name, "quick")
    assert set(part.boundaries) == set(module.FACES)
    lines = module.seam_lines(keys)
    fillers = [f for f in map(Filler.of, part.regions) if f]
    assert {s for f in fillers for s in f.seams} == set(lines)
    assert {f.number for f in fillers} == set(range(1, next(iter(lines.values())).passes + 1))
    assert set(part.regions) - {"part", "land"} == {
        f"fill {f.number} {f.seams[0]}" for f in fillers
    }
    assert set(module.CLAMPED) <= set(module.FACES) and module.POINTER["at"] in module.FACES
    for face in module.FACES:
        found = part.lattice.points[part.boundaries[face]]
        place = module.place(keys, face)
        assert (place >= found.min(axis=0) - 1e-9).all()
        assert (place <= found.max(axis=0) + 1e-9).all()
    ends = np.array([module.place(keys, n) for n in module.BOW])
    assert ends[1, 0] > ends[0, 0] and ends[2, 0] > ends[1, 0]
    with pytest.raises(CaseError, match="place free end is unknown on a"):
        module.place(keys, "free end")


@pytest.mark.parametrize(("name", "preset", "point", "moved"), [
    ("V", (0, 0, 0.01), (0, 51, 0), (0, 0, 0.5)), ("V", (0, 0, 0.01), (0, -51, 0), (0, 0, 0)),
    ("tee", (0, 0.01, 0), (0, 0, 50 + GAP), (0, 0.5, 0)),
    ("girth", (0, 0, 0.01), (50.5, 0, 24), (-0.24, 0, 0.5)),
    ("girth", (0, 0, 0.01), (-50.5, 0, 24), (0, 0, 0)),
])  # fmt: skip
def test_the_free_piece_leans(name, preset, point, moved):
    """A small angle moves a place by the angle times its distance."""
    case = SimpleNamespace(part=part_of(name)[1], preset=preset)
    found = lean_of(case, MM * np.array([point], dtype=float))[0]
    assert found == pytest.approx(MM * np.array(moved), abs=1e-7)


# what is written and refused
@pytest.mark.parametrize("kind", ["plate-butt", "plate-tee", "round-tube-butt"])
def test_the_starter_fits(kind):
    text = (files("weldsim") / "data" / "starters" / f"{kind}.toml").read_text(encoding="utf-8")
    raw, module = tomllib.loads(text), import_module(f"weldsim.joints.{KINDS[kind]}")
    part = module.Part(**raw["part"])
    assert module.check(part) == []
    assert raw["gauge"][0]["at"] == module.POINTER["at"]
    assert (raw["clamping"]["kind"] == "ends") == bool(module.CLAMPED)
    for item in raw["schedule"]["order"]:
        seam, way = item.split(":")
        assert way in module.seam_lines(part)[seam.split("/")[0]].directions


@pytest.mark.parametrize(("name", "change", "key", "text"), [
    ("V", {"bevel": "100 deg"}, "bevel",
     "100 deg is not allowed: the included angle of the V, 0 to 90 deg"),
    ("V", {"root_face": "6 mm"}, "root_face",
     "6 mm is not allowed: at most nine tenths of the thickness, 5.4 mm"),
    ("closed", {"root_face": "5 mm"}, "root_face",
     "5 mm is not allowed: at most the thickness, 4 mm"),
    ("V", {"root_gap": "7 mm"}, "root_gap", "7 mm is not allowed: at most the thickness, 6 mm"),
    ("V", {"passes": 5}, "passes", "5 is not allowed: 1 to 4"),
    ("V", {"passes": 0}, "passes", "0 is not allowed: 1 to 4"),
    ("V", {"cap_height": "4 mm"}, "cap_height",
     "4 mm is not allowed: at most half of the thickness, 3 mm"),
    ("V", {"penetration": "3 mm"}, "penetration",
     "a bevel or a root gap is filled through the whole thickness, allowed: penetration only with "
     "bevel 0 and root_gap 0"),
    ("closed", {"penetration": "3.8 mm"}, "penetration",
     "3.8 mm is not allowed: a fifth to nine tenths of the thickness, 0.8 mm to 3.6 mm; left out "
     "it is all of it"),
    ("closed", {"width": "2 mm"}, "width",
     "2 mm is too narrow for the weld, allowed: from as much as the cap is wide, 3 mm"),
    ("closed", {"length": "2 mm"}, "length",
     "2 mm is too short for the weld, allowed: from as much as the cap is wide, 3 mm"),
    ("girth", {"wall": "13 mm"}, "wall",
     "13 mm is not allowed: at most half of the radius, 12.07 mm"),
    ("girth", {"bevel": "91 deg"}, "bevel",
     "91 deg is not allowed: the included angle of the V, 0 to 90 deg"),
    ("girth", {"length": "2 mm"}, "length",
     "2 mm is too short for the weld, allowed: from as much as the cap is wide, 3.6 mm"),
    ("tee", {"leg": "10 mm"}, "leg",
     "10 mm is larger than the plates allow: up to one and a half of the thinner one, 9 mm"),
    ("tee", {"penetration": "3 mm"}, "penetration",
     "3 mm is not allowed: at most 0.45 of a stem welded from both sides, 2.7 mm"),
    ("back tee", {"penetration": "5.5 mm"}, "penetration",
     "5.5 mm is not allowed: at most 0.9 of a stem welded from one side, 5.4 mm"),
    ("tee", {"root_gap": "7 mm"}, "root_gap",
     "7 mm is not allowed: at most the stem's thickness, 6 mm"),
    ("tee", {"base_width": "20 mm"}, "base_width",
     "20 mm is too narrow for the stem and its welds, allowed: from 22 mm"),
    ("tee", {"stem_height": "10 mm"}, "stem_height",
     "10 mm is not allowed: from three legs and the gap, 12.1 mm"),
    ("tee", {"length": "10 mm"}, "length", "10 mm is not allowed: from three legs, 12 mm"),
    ("tee", {"passes": 4}, "passes", "4 is not allowed: 1, 2 or 3"),
])  # fmt: skip
def test_bad_geometry_is_one_line(name, change, key, text):
    module, part = part_of(name, **change)
    assert module.check(part) == [(key, text)]


@pytest.mark.parametrize(("name", "words"), [
    ("V", "a V of 60 deg with a root face of 1 mm, a root gap of 2 mm, fused through in 2 passes"),
    ("closed", "square edges, the edges touching, fused 2.5 mm deep in one pass; cap 0.4 mm high"),
    ("tee", "the contact faces touching, fused 2 mm deep; fillets with leg 4 mm on both sides"),
    ("front tee", "fillets with leg 4 mm on the front only"),
    ("girth", "two tubes 48.3 mm x 3 mm, 120 mm long; square edges, a root gap of 1 mm"),
])  # fmt: skip
def test_words_say_the_sizes(name, words):
    module, part = part_of(name)
    assert words in module.words(part) and "\n" not in module.words(part)
