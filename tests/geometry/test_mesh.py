"""Meshes: names, volumes, the lattice, gradation, and the maps between the two meshes.

Volumes are compared with the formulas of a cuboid and a trapezoid, written out here again; shape
functions with polynomials they must reproduce exactly (a property of the element, any FE textbook).
"""

import runpy

import numpy as np
import pytest

from tests.places import ROOT
from weldsim.case.load import load_case
from weldsim.errors import MeshError
from weldsim.geometry.mesh_checks import cell_volumes, check_names
from weldsim.joints.build import build_part

ONE_BEAD = ROOT / "cases/pivot_arm_one_bead.toml"
FROZEN = sorted((ROOT / "meshes").glob("*.json"))
MM = 1e-3


@pytest.fixture(scope="module")
def part():
    """The one-bead bar at grade quick."""
    return build_part(load_case(ONE_BEAD), "quick")


def frozen(path):
    from skfem.io.json import from_file

    return from_file(str(path))


# frozen meshes
@pytest.mark.parametrize("path", FROZEN, ids=lambda p: p.stem)
def test_a_frozen_mesh_is_what_its_recipe_gives(path):
    make = runpy.run_path(str(ROOT / "meshes/make.py"))
    kept, made = frozen(path), make["build"](path.name).mesh
    assert np.array_equal(kept.t, made.t)
    assert np.allclose(kept.p, made.p, rtol=0, atol=1e-12)  # JSON keeps all digits; Gmsh rounds
    for before, now in ((kept.subdomains, made.subdomains), (kept.boundaries, made.boundaries)):
        assert set(before) == set(now)
        assert all(np.array_equal(before[k], now[k]) for k in now)


def test_every_recipe_has_its_frozen_mesh():
    make = runpy.run_path(str(ROOT / "meshes/make.py"))
    assert {p.name for p in FROZEN} == set(make["RECIPES"])


def test_frozen_bar_has_its_names():
    mesh = frozen(ROOT / "meshes/bar_one_bead.json")
    assert set(mesh.subdomains) == {"part", "bead A"}
    assert set(mesh.boundaries) == {"start end", "free end", "vise"}


# volumes and names
def test_volumes_are_those_of_the_formulas(part):
    """Cuboid 220 x 45 x 8; bead: trapezoid 8 wide at the foot, 8/3 at the top, 2 high, 45 long.

    The trapezoid has the section of a parabola, 2/3 width x height.
    """
    size = cell_volumes(part.mesh)
    assert size[part.regions["part"]].sum() == pytest.approx(220 * 45 * 8 * MM**3, rel=1e-6)
    bead = 2 / 3 * 8 * 2 * 45 * MM**3
    assert size[part.regions["bead A"]].sum() == pytest.approx(bead, rel=1e-6)


def test_heat_cells_fill_the_same_volume(part):
    """Every brick is split into eight: volumes agree cell by cell (planes stay planes)."""
    children = cell_volumes(part.heat_mesh)
    summed = np.bincount(part.heat_parent, weights=children)
    assert np.allclose(summed, cell_volumes(part.mesh), rtol=1e-9)


def test_every_cell_belongs_to_exactly_one_region(part):
    cells = np.concatenate(list(part.regions.values()))
    assert np.array_equal(np.sort(cells), np.arange(part.mesh.t.shape[1]))


def test_no_name_is_empty(part):
    for names in (part.regions, part.boundaries):
        assert names
        assert all(len(v) > 0 for v in names.values())


def test_missing_region_is_refused():
    mesh = frozen(ROOT / "meshes/bar_one_bead.json")
    with pytest.raises(MeshError, match="region bead Z of the mesh is empty"):
        check_names(mesh, {"bead Z": 1e-6}, set())


def test_missing_boundary_is_refused():
    mesh = frozen(ROOT / "meshes/bar_one_bead.json")
    with pytest.raises(MeshError, match="boundary far side of the mesh is empty"):
        check_names(mesh, {}, {"far side"})


def test_wrong_volume_is_refused():
    """Off by two in a million is over the limit of one in a million."""
    mesh = frozen(ROOT / "meshes/bar_one_bead.json")
    right = 220 * 45 * 8 * MM**3
    check_names(mesh, {"part": right}, {"vise"})
    with pytest.raises(MeshError, match="region part: the mesh holds"):
        check_names(mesh, {"part": right * (1 + 2e-6)}, set())


# boundaries
def test_boundary_points_lie_on_their_faces(part):
    at = part.lattice.points / MM
    assert np.allclose(at[part.boundaries["start end"], 0], 0)
    assert np.allclose(at[part.boundaries["free end"], 0], 220)
    vise = at[part.boundaries["vise"]]
    assert np.allclose(np.abs(vise[:, 1]), 4)
    assert vise[:, 0].min() == pytest.approx(0) and vise[:, 0].max() == pytest.approx(30)
    both = {round(y) for y in vise[:, 1]}
    assert both == {-4, 4}


def test_no_point_of_an_end_face_is_left_out(part):
    at = part.lattice.points / MM
    assert set(np.flatnonzero(np.abs(at[:, 0] - 220) < 1e-6)) == set(part.boundaries["free end"])


# lattice
def test_lattice_counts(part):
    """Corners, edges, faces and cells of the mesh, one point each: 27 a brick, shared."""
    mesh, lattice = part.mesh, part.lattice
    corners, edges = mesh.p.shape[1], mesh.edges.shape[1]
    faces, cells = mesh.facets.shape[1], mesh.t.shape[1]
    assert lattice.corner_cells.shape == (cells, 27)
    assert all(len(set(c)) == 27 for c in lattice.corner_cells)
    assert lattice.points.shape == (corners + edges + faces + cells, 3)
    assert lattice.heat_cells.shape == (8 * cells, 8)
    assert len(np.unique(lattice.points.round(9), axis=0)) == len(lattice.points)  # none twice


def test_displacement_points_come_first(part):
    """20-node bricks: corners and edge middles, numbered before all other lattice points."""
    mesh, lattice = part.mesh, part.lattice
    count = mesh.p.shape[1] + mesh.edges.shape[1]
    assert lattice.displacement_points == count
    assert np.array_equal(np.unique(lattice.displacement_cells), np.arange(count))
    assert lattice.displacement_cells.shape[1] == 20


def test_lattice_points_are_where_the_cell_maps_them(part):
    """A lattice point's place is the trilinear map of its reference coordinates."""
    lattice, mesh = part.lattice, part.mesh
    reference = mesh.elem.refdom.p.T  # (8, 3) zeros and ones
    shape = np.prod(
        np.where(reference[None] > 0.5, lattice.local[:, None], 1 - lattice.local[:, None]), axis=2
    )
    mapped = np.einsum("la,dac->cld", shape, mesh.p[:, mesh.t])
    assert np.allclose(mapped, lattice.points[lattice.corner_cells], atol=1e-12)


# maps between the meshes
@pytest.fixture(scope="module")
def model():
    from weldsim.simulation.steps import build_model

    return build_model(load_case(ONE_BEAD), "coarse")


def test_temperature_map_reproduces_a_linear_field(model):
    """Linear in reference coordinates, so exact in the cells too where they are parallelepipeds."""
    lattice = model.part.lattice
    slope = np.array([3.0, -2.0, 5.0])
    got = (7.0 + lattice.local @ slope) @ model.discretisation.to_quadrature.T
    assert np.allclose(got, 7.0 + model.mechanics.quadrature @ slope, atol=1e-12)
    assert np.allclose(model.discretisation.to_quadrature.sum(axis=1), 1.0, atol=1e-12)
    assert (
        model.discretisation.to_quadrature.min() >= -1e-12
    )  # no temperature beyond those at the points


def test_displacement_map_reproduces_a_quadratic_field(model):
    """20-node bricks hold every quadratic exactly where cells are parallelepipeds (the bar's)."""
    lattice = model.part.lattice
    body = np.unique(lattice.corner_cells[model.part.regions["part"]])
    x, y, z = lattice.points.T / MM
    field = (
        1 + 2 * x - y + z + 0.3 * x * x - 0.5 * y * y + 0.2 * z * z + x * y - y * z + 0.4 * x * z
    )
    got = model.discretisation.spread @ field[: lattice.displacement_points]
    assert np.allclose(got[body], field[body], rtol=1e-10, atol=1e-9)


# gradation
def test_small_cells_at_the_bead_large_ones_far_away(part):
    x = part.mesh.p[0, part.mesh.t] / MM
    length, middle = np.ptp(x, axis=0), x.mean(axis=0)
    away = np.maximum(np.abs(middle - 80) - 4, 0)
    at_bead = length[away == 0]
    assert np.allclose(at_bead, 4.0)  # two across an 8 mm bead
    assert length.min() > 0.8 * 4.0  # the next ones fill what is left
    largest = length > 0.99 * length.max()
    assert away[largest].min() > 20
    assert length.max() > 3 * length.min()


def test_neighbours_differ_by_less_than_two(part):
    """Common practice of meshing: sizes of neighbours within a factor of two."""
    corners = np.unique(part.mesh.t[:, part.regions["part"]])
    ends = np.unique(part.mesh.p[0, corners].round(9))
    ratio = np.diff(ends)[1:] / np.diff(ends)[:-1]
    assert ratio.max() < 2 and ratio.min() > 0.5


def test_a_bead_on_the_other_face_gives_the_mirrored_mesh(part):
    other = build_part(load_case(ONE_BEAD, ["weld.A.face=back"]), "quick")

    def places(mesh, turn):
        middle = mesh.p[:, mesh.t].mean(axis=1).T * [1, turn, 1]
        order = np.lexsort(middle.round(9).T)
        return middle[order], cell_volumes(mesh)[order]

    for a, b in zip(places(part.mesh, 1), places(other.mesh, -1), strict=True):
        assert np.allclose(a, b, rtol=1e-9, atol=1e-12)


def test_finer_grades_have_more_cells():
    case = load_case(ONE_BEAD)
    counts = [build_part(case, g).mesh.t.shape[1] for g in ("coarse", "quick", "normal", "fine")]
    assert all(b > 1.5 * a for a, b in zip(counts[:-1], counts[1:], strict=True))


def test_cell_turned_inside_out_is_refused():
    """Two corners of one brick exchanged: its map turns over somewhere."""
    import skfem

    mesh = skfem.MeshHex1.init_tensor(*(np.linspace(0.0, 1.0, 3),) * 3)
    cells = mesh.t.copy()
    cells[[0, 1], 0] = cells[[1, 0], 0]
    broken = skfem.MeshHex1(mesh.p, cells)
    with pytest.raises(MeshError, match="1 cells of the mesh are turned inside out"):
        check_names(broken, {}, set())


def test_mesh_pressed_flat_is_refused():
    import skfem

    mesh = skfem.MeshHex1.init_tensor(*(np.linspace(0.0, 1.0, 3),) * 3)
    points = mesh.p.copy()
    points[2] = 0.0
    with pytest.raises(MeshError, match="8 cells"):
        check_names(skfem.MeshHex1(points, mesh.t), {}, set())
