"""Parts of the user's own: a Gmsh mesh and a STEP file, their volumes, seams, names and refusals.

Volumes are compared with closed forms (box, cylinder, the shoelace formula of a section) and with
the mass OpenCASCADE gives for the drawn solids; lengths of curved edges with the circle's.
"""

import math
import runpy
from types import SimpleNamespace

import numpy as np
import pytest

from tests.places import ROOT
from weldsim.case.load import load_case
from weldsim.errors import CaseError
from weldsim.geometry.grades import GRADES
from weldsim.geometry.mesh_checks import cell_volumes
from weldsim.geometry.part import part_from_mesh
from weldsim.joints.build import build_part
from weldsim.joints.own_mesh import kind as own_mesh
from weldsim.joints.own_mesh.chains import chain
from weldsim.joints.own_parts.names import region_of
from weldsim.joints.own_parts.refusal import NotAllowed
from weldsim.joints.own_step import kind as own_step
from weldsim.system.libraries import import_gmsh

MM = 1e-3
STRAP = {
    "kind": "mesh", "material": "carbon-steel", "file": "strap.msh", "width": "5.7 mm",
    "depth": "3 mm",
}  # fmt: skip
BRACKET = {
    "kind": "step", "material": "carbon-steel", "file": "bracket.step", "width": "5.7 mm",
    "depth": "3 mm",
    "seams": {"heel": {"points": [["7 mm", "5 mm", "7 mm"], ["7 mm", "45 mm", "7 mm"]]}},
    "faces": {"foot end": {"plane": "+x"}, "top end": {"plane": "+z"}},
}  # fmt: skip


def strap(folder=ROOT / "meshes", **changes):
    return own_mesh.KIND.resolve(own_mesh.Part(**(STRAP | changes)), folder)


def bracket(folder=ROOT / "meshes", **changes):
    return own_step.KIND.resolve(own_step.Part(**(BRACKET | changes)), folder)


def meshed(module, part, grade="quick"):
    return module.mesh(SimpleNamespace(part=part), GRADES[grade])


def volume(mesh, region):
    return cell_volumes(mesh)[mesh.subdomains[region]].sum() / MM**3


def determinants(mesh):
    """Of the map of every cell at its inner points, positive when they share one sign."""
    corners = mesh.elem.refdom.p
    middle = corners.mean(axis=1, keepdims=True)
    at = middle + 0.58 * (corners - middle)
    found = np.linalg.det(np.moveaxis(np.asarray(mesh.mapping().DF(at)), (0, 1), (2, 3)))
    return found * np.sign(np.median(found))


def in_gmsh(path, draw):
    """Write what `draw` makes in Gmsh to a file."""
    gmsh = import_gmsh()
    gmsh.initialize()
    try:
        gmsh.option.setNumber("General.Terminal", 0)
        draw(gmsh)
        gmsh.write(str(path))
    finally:
        gmsh.finalize()
    return path


def blocks(order=1, names=("part", "fill long side"), bricks=True, curve="long side", scale=1.0,
           version=4.1, face="end face", recombine=None):  # fmt: skip
    """A 20 x 10 x 4 block with one of 20 x 2 x 4 beside it; the curve runs along the top between.

    All lengths in mm times `scale`; the second block is the filler.
    """

    def draw(gmsh):
        occ, mesh = gmsh.model.occ, gmsh.model.mesh
        occ.addBox(0, 0, 0, 20 * scale, 10 * scale, 4 * scale)
        occ.addBox(0, 10 * scale, 0, 20 * scale, 2 * scale, 4 * scale)
        occ.fragment([(3, 1)], [(3, 2)])
        occ.synchronize()
        gmsh.option.setNumber("Mesh.MshFileVersion", version)
        if bricks:
            for _, line in gmsh.model.getEntities(1):
                mesh.setTransfiniteCurve(line, 5)
            for _, side in gmsh.model.getEntities(2):
                mesh.setTransfiniteSurface(side)
                mesh.setRecombine(2, side)
            for solid in (1, 2):
                mesh.setTransfiniteVolume(solid)
        else:
            gmsh.option.setNumber("Mesh.MeshSizeMax", 3 * scale)
        for solid, name in enumerate(names, 1):
            if name:
                gmsh.model.addPhysicalGroup(3, [solid], name=name)
        box = gmsh.model.getEntitiesInBoundingBox
        e = 1e-3 * scale
        top = box(-e, 10 * scale - e, 4 * scale - e, 20 * scale + e, 10 * scale + e,
                  4 * scale + e, 1)  # fmt: skip
        if curve:
            gmsh.model.addPhysicalGroup(1, [t for _, t in top], name=curve)
        end = box(-e, -e, -e, e, 10 * scale + e, 4 * scale + e, 2)
        if face:
            gmsh.model.addPhysicalGroup(2, [t for _, t in end], name=face)
        mesh.generate(3)
        if order == 2:
            mesh.setOrder(2)

    return draw


def complaints(part):
    module = own_mesh if part.kind == "mesh" else own_step
    found = module.check(part)
    assert all("\n" not in text for _, text in found)
    return found


def only(part):
    ((key, text),) = complaints(part)
    return key, text


# the strap: bricks
@pytest.fixture(scope="module")
def strap_mesh():
    return meshed(own_mesh, strap())


def test_cells_of_the_strap_are_sound(strap_mesh):
    mesh, volumes = strap_mesh
    assert mesh.t.shape[0] == 8
    assert determinants(mesh).min() > 0
    part = part_from_mesh(mesh, volumes)
    assert part.lattice.displacement_cells.shape[1] == 20
    cells = np.concatenate(list(part.regions.values()))
    assert np.array_equal(np.sort(cells), np.arange(mesh.t.shape[1]))


def test_strap_volumes_are_those_of_the_formulas(strap_mesh):
    """Two straps 80 x 30 x 4, 24 lapped; land 0.1 thick, its outer 1.5 fused; the fillet by the
    shoelace formula of its section."""
    mesh, volumes = strap_mesh
    ring = np.array([(0, 0), (4, 0), (2.3, 2.4), (0, 4.1)])
    after = np.roll(ring, -1, axis=0)
    fillet = (ring[:, 0] * after[:, 1] - after[:, 0] * ring[:, 1]).sum() / 2
    assert volume(mesh, "part") == pytest.approx(2 * 80 * 30 * 4, rel=1e-6)
    assert volume(mesh, "land") == pytest.approx(22.5 * 0.1 * 30, rel=1e-6)
    assert volume(mesh, "fill 1 lap") == pytest.approx(30 * (fillet + 0.15), rel=1e-6)
    assert sum(volumes.values()) == pytest.approx(cell_volumes(mesh).sum(), rel=1e-12)


def test_strap_faces_lie_at_its_ends(strap_mesh):
    mesh, _ = strap_mesh
    part = part_from_mesh(mesh, {})
    for name, x in (("panel end", -80), ("mast end", 56)):
        at = part.lattice.points[part.boundaries[name]]
        assert len(at) and np.allclose(at[:, 0], x * MM)
        assert np.ptp(at[:, 1]) == pytest.approx(30 * MM) and np.ptp(at[:, 2]) == pytest.approx(
            4 * MM
        )
        assert np.allclose(own_mesh.place(strap(), name), at.mean(axis=0), atol=1e-9)
    assert own_mesh.faces(strap()) == ("panel end", "mast end")


def test_strap_seam_runs_along_the_crown_of_its_fillet():
    (line,) = own_mesh.seam_lines(strap()).values()
    assert line.length == pytest.approx(30 * MM, rel=1e-12)
    assert len(line.points) == 2  # straight: one piece
    assert np.allclose(line.points[:, [0, 2]], np.array([2.3, 2.4]) * MM)
    # against the mean of the outward normals of the two faces that meet there, worked by hand
    normals = [np.array([dz, -dx]) / math.hypot(dx, dz) for dx, dz in ((-1.7, 2.4), (-2.3, 1.7))]
    inward = -sum(normals) / np.linalg.norm(sum(normals))
    assert np.allclose(line.inwards, [inward[0], 0, inward[1]], atol=1e-9)
    assert line.directions["+y"] == -line.directions["-y"] == line.directions["forward"]


# the bracket: tetrahedra
@pytest.fixture(scope="module", params=["quick", "normal"])
def bracket_mesh(request):
    return meshed(own_step, bracket(), request.param)


def test_cells_of_the_bracket_are_sound(bracket_mesh):
    mesh, _ = bracket_mesh
    assert mesh.t.shape[0] == 4
    assert determinants(mesh).min() > 0
    assert part_from_mesh(mesh, {}).lattice.displacement_cells.shape[1] == 10


def test_bracket_volumes_are_those_of_the_drawn_solids(bracket_mesh):
    """Foot 60 x 50 x 5 with a hole 9 across, upright 5 x 50 x 45, fillet of leg 4, 40 long."""
    mesh, volumes = bracket_mesh
    drawn = 60 * 50 * 5 - math.pi * 4.5**2 * 5 + 5 * 50 * 45
    bead = 4 * 4 / 2 * 40
    assert volumes["part"] / MM**3 == pytest.approx(drawn, rel=1e-9)  # mass of OpenCASCADE
    assert volumes["fill 1 heel"] / MM**3 == pytest.approx(bead, rel=1e-9)
    assert volume(mesh, "part") == pytest.approx(drawn, rel=0.01)
    assert volume(mesh, "fill 1 heel") == pytest.approx(bead, rel=0.01)


def test_bracket_faces_are_the_outermost_planes(bracket_mesh):
    mesh, _ = bracket_mesh
    at = mesh.p / MM
    end = np.unique(mesh.facets[:, mesh.boundaries["foot end"]])
    top = np.unique(mesh.facets[:, mesh.boundaries["top end"]])
    assert np.allclose(at[0, end], 60) and np.ptp(at[1, end]) == pytest.approx(50)
    assert np.allclose(at[2, top], 50) and np.ptp(at[1, top]) == pytest.approx(50)
    assert np.allclose(own_step.place(bracket(), "top end"), [2.5 * MM, 25 * MM, 50 * MM])


def test_cells_are_small_at_the_seam_and_grow_away():
    """Edges at the seam are as long as the travel cell of the grade, within a factor of two."""
    part = bracket()
    (line,) = own_step.seam_lines(part).values()
    for grade in ("quick", "normal"):
        mesh, _ = meshed(own_step, part, grade)
        ends = mesh.p[:, mesh.edges]
        length = np.linalg.norm(ends[:, 0] - ends[:, 1], axis=0)
        middle = ends.mean(axis=1)
        away = np.hypot(middle[0] - line.points[0, 0], middle[2] - line.points[0, 2])
        near = np.median(length[away < line.width / 2])
        assert 0.5 < near / (GRADES[grade].travel_cell * line.width) < 2
        assert np.median(length[away > 6 * line.width]) > 2 * near


def test_bracket_seam_looks_into_its_corner():
    (line,) = own_step.seam_lines(bracket()).values()
    assert line.length == pytest.approx(40 * MM)
    assert np.allclose(line.inwards, np.array([-1, 0, -1]) / math.sqrt(2), atol=1e-6)
    stated = {"heel": BRACKET["seams"]["heel"] | {"inward": "-z"}}
    (line,) = own_step.seam_lines(bracket(seams=stated)).values()
    assert np.allclose(line.inwards, [0, 0, -1])


# the cases
@pytest.mark.parametrize("name", ["strap_mesh", "bracket_step"])
def test_the_case_is_read_and_meshed(name):
    case = load_case(ROOT / f"cases/{name}.toml")
    part = build_part(case)
    (weld,) = case.welds
    assert f"fill 1 {weld.seam}" in part.regions
    assert all(len(part.boundaries[f]) for c in case.clamps for f in c.at)
    assert case.part.kind in ("mesh", "step")


@pytest.mark.slow
def test_the_files_are_what_their_script_makes(tmp_path):
    make = runpy.run_path(str(ROOT / "meshes/make_own.py"))
    make["main"](tmp_path)
    for module, part in ((own_mesh, strap), (own_step, bracket)):
        kept, made = (meshed(module, part(f))[0] for f in (ROOT / "meshes", tmp_path))
        assert np.array_equal(kept.t, made.t)
        assert np.allclose(kept.p, made.p, rtol=0, atol=1e-9)


# a mesh of any kind
@pytest.mark.parametrize("bricks", [True, False])
@pytest.mark.parametrize("order", [1, 2])
@pytest.mark.parametrize("version", [4.1, 2.2])
def test_blocks_of_any_order_and_version(tmp_path, bricks, order, version):
    """Boxes 20 x 10 x 4 and 20 x 2 x 4; a name with a space; the curve on their common edge."""
    in_gmsh(tmp_path / "own.msh", blocks(order, bricks=bricks, version=version))
    part = strap(tmp_path, file="own.msh")
    mesh, _ = meshed(own_mesh, part)
    assert mesh.t.shape[0] == (8 if bricks else 4)
    assert volume(mesh, "part") == pytest.approx(800, rel=1e-6)
    assert volume(mesh, "fill 1 long_side") == pytest.approx(160, rel=1e-6)
    line = own_mesh.seam_lines(part)["long_side"]
    assert line.length == pytest.approx(20 * MM)
    assert np.allclose(line.inwards, [0, 0, -1])  # the filler's top face
    assert own_mesh.faces(part) == ("end face",)
    facets = mesh.facets[:, mesh.boundaries["end face"]]
    assert np.allclose(mesh.p[0, facets], 0)


def test_scale_in_metres(tmp_path):
    in_gmsh(tmp_path / "own.msh", blocks(scale=1e-3))
    part = strap(tmp_path, file="own.msh", scale="m")
    assert volume(meshed(own_mesh, part)[0], "part") == pytest.approx(800, rel=1e-6)
    assert own_mesh.seam_lines(part)["long_side"].length == pytest.approx(20 * MM)


def test_a_seam_of_places_on_a_mesh(tmp_path):
    """The bead's top, without a curve in the file; its sizes stated for it alone."""
    in_gmsh(tmp_path / "own.msh", blocks(curve=None))
    places = [["0 mm", "11 mm", "4 mm"], ["10 mm", "11 mm", "4 mm"], ["20 mm", "11 mm", "4 mm"]]
    seams = {"long side": {"points": places, "width": "2 mm", "depth": "1 mm"}}
    part = own_mesh.KIND.resolve(
        own_mesh.Part(kind="mesh", material="carbon-steel", file="own.msh", seams=seams), tmp_path
    )
    assert complaints(part) == []
    line = own_mesh.seam_lines(part)["long_side"]
    assert (line.width, line.depth) == (2 * MM, 1 * MM)
    assert np.allclose(line.inwards, [0, 0, -1]) and len(line.points) == 2


def test_one_direction_of_a_face_counts_once(tmp_path):
    """In a right-angled corner the arc looks along the bisector, however unlike the cells are."""
    in_gmsh(tmp_path / "own.msh", blocks(curve=None))
    seams = {"long side": {"points": [["0 mm", "12 mm", "4 mm"], ["20 mm", "12 mm", "4 mm"]]}}
    line = own_mesh.seam_lines(strap(tmp_path, file="own.msh", seams=seams))["long_side"]
    assert np.allclose(line.inwards, np.array([0, -1, -1]) / math.sqrt(2))


# curves
@pytest.mark.parametrize(
    "edges, order",
    [
        ([[0, 1], [1, 2], [2, 3]], [0, 1, 2, 3]),
        ([[2, 3], [1, 2], [0, 1]], [0, 1, 2, 3]),
        ([[1, 2], [1, 0], [2, 3]], [0, 1, 2, 3]),
        ([[1, 0], [1, 2], [2, 3]], [3, 2, 1, 0]),
        ([[0, 1], [1, 2], [2, 0]], [0, 1, 2, 0]),
        ([[0, 1], [0, 1], [1, 2]], [0, 1, 2]),
    ],
)
def test_chain_in_order(edges, order):
    """It begins as its first line element runs; a line that stands twice counts once."""
    assert chain("lap", np.array(edges)).tolist() == order


@pytest.mark.parametrize(
    "edges, words",
    [
        ([[0, 1], [1, 2], [1, 3]], "branches"),
        ([[0, 1], [2, 3]], "open between its ends"),
        ([[0, 1], [2, 3], [3, 4], [4, 2]], "open between its ends"),
    ],
)
def test_chain_refused(edges, words):
    with pytest.raises(NotAllowed, match=words):
        chain("lap", np.array(edges))


@pytest.mark.parametrize(
    "volume, region",
    [
        ("part", "part"), ("land", "land"), ("fill lap", "fill 1 lap"),
        ("fill 2 lap", "fill 2 lap"), ("fill long side", "fill 1 long_side"),
        ("fill 3 long side lap", "fill 3 long_side lap"),
    ],
)  # fmt: skip
def test_region_of_a_volume(volume, region):
    assert region_of(volume, ("lap", "long_side", "long")) == region


@pytest.mark.parametrize("volume", ["Part", "bead", "fill", "fill 1", "fill toe", "fill 1 lap toe"])
def test_volume_refused(volume):
    with pytest.raises(NotAllowed, match="volume"):
        region_of(volume, ("lap",))


# refusals of meshes
@pytest.mark.parametrize(
    "keys, words",
    [
        ({"names": ("metal", "fill long side")}, "no volume is named part, found: metal"),
        ({"names": ("part", "bead")}, "volume 'bead' is unknown, allowed: part, land"),
        ({"names": ("part", "fill long sid")}, "names no seam, did you mean long_side"),
        ({"names": ("part", "fill 2 long side")}, "is of passes 2, allowed: 1, 2 and so on"),
        ({"curve": "part"}, "'part' names a curve and a volume, allowed: each name once"),
        ({"curve": "lap/2", "names": ("part", "land")}, "letters, digits, spaces, - and _ only"),
        ({"curve": None, "names": ("part", "land")}, "there is none, allowed: named curves"),
    ],
)
def test_mesh_refused(tmp_path, keys, words):
    in_gmsh(tmp_path / "own.msh", blocks(**keys))
    assert words in only(strap(tmp_path, file="own.msh"))[1]


def test_a_missing_file_is_one_line(tmp_path):
    key, text = only(strap(tmp_path, file="stripe.msh"))
    assert key == "file" and "stripe.msh' is not found" in text
    assert only(bracket(tmp_path))[0] == "file"


@pytest.mark.parametrize("text", [b"", b"not a mesh", b"$MeshFormat\n9.9 0 8\n$EndMeshFormat\n"])
def test_a_broken_file_is_one_line(tmp_path, text):
    (tmp_path / "own.msh").write_bytes(text)
    assert "own.msh cannot be read" in only(strap(tmp_path, file="own.msh"))[1]
    (tmp_path / "own.step").write_bytes(text)
    assert "own.step" in only(bracket(tmp_path, file="own.step"))[1]


def test_a_cut_off_mesh_is_one_line(tmp_path):
    whole = (ROOT / "meshes/strap.msh").read_bytes()
    for share in (0.01, 0.3, 0.7):
        (tmp_path / "own.msh").write_bytes(whole[: int(share * len(whole))])
        assert only(strap(tmp_path, file="own.msh"))[0] == "file"


def test_mixed_cells_are_refused(tmp_path):
    """A wedge beside a tetrahedron, written by meshio."""
    import meshio

    points = np.array(
        [[0, 0, 0], [9, 0, 0], [0, 9, 0], [0, 0, 9], [9, 0, 9], [0, 9, 9], [9, 9, 9.0]]
    )
    cells = [("wedge", [[0, 1, 2, 3, 4, 5]]), ("tetra", [[3, 4, 5, 6]])]
    tags = {"gmsh:physical": [[1], [1]], "gmsh:geometrical": [[1], [1]]}
    mesh = meshio.Mesh(points, cells, cell_data=tags, field_data={"part": np.array([1, 3])})
    meshio.gmsh.write(tmp_path / "own.msh", mesh, "2.2", binary=False)
    assert (
        "cells are mixed or of a wrong kind (tetra, wedge)"
        in only(strap(tmp_path, file="own.msh"))[1]
    )


def test_loose_pieces_are_refused(tmp_path):
    """Two boxes that touch but were not joined before meshing share no points."""

    def draw(gmsh):
        for tag, (y, name) in enumerate(((0, "part"), (10, "fill lap")), 1):
            gmsh.model.occ.addBox(0, y, 0, 20, 10, 4)
            gmsh.model.occ.synchronize()
            gmsh.model.addPhysicalGroup(3, [tag], name=name)
        gmsh.option.setNumber("Mesh.MeshSizeMax", 5)
        gmsh.model.mesh.generate(3)

    in_gmsh(tmp_path / "own.msh", draw)
    seams = {"lap": {"points": [["0 mm", "15 mm", "4 mm"], ["20 mm", "15 mm", "4 mm"]]}}
    assert (
        "in 2 pieces that share no points" in only(strap(tmp_path, file="own.msh", seams=seams))[1]
    )


def test_a_cell_inside_out_is_refused(tmp_path):
    import meshio

    in_gmsh(tmp_path / "own.msh", blocks(version=2.2))
    mesh = meshio.gmsh.read(tmp_path / "own.msh")
    block = next(b for b in mesh.cells if b.dim == 3)
    block.data[0] = block.data[0][[4, 5, 6, 7, 0, 1, 2, 3]]
    meshio.gmsh.write(tmp_path / "bad.msh", mesh, "2.2", binary=False)
    assert "1 cells of the mesh are turned inside out" in only(strap(tmp_path, file="bad.msh"))[1]


# refusals of seams and faces
@pytest.mark.parametrize(
    "seams, words",
    [
        ({"lop": {}}, "lop: the file has no such curve and no points are given, did you mean lap"),
        ({"lap": {"points": [["0 mm", "0 mm", "0 mm"], ["0 mm", "9 mm", "0 mm"]]}},
         "lap points: the file has a curve of this name already"),
        ({"lap": {"inward": "+y"}}, "lap inward: not allowed along the seam"),
        ({"lap": {"inward": [0, 0, 0]}}, "lap inward: no direction"),
        ({"toe": {"points": [["0 mm", "0 mm", "0 mm"]]}}, "toe points: one place is no seam"),
        ({"toe": {"points": [["0 mm", "0 mm", "90 mm"], ["0 mm", "9 mm", "90 mm"]]}},
         "toe: (0, 0, 90) mm lies 85.9 mm off the metal to be welded"),
    ],
)  # fmt: skip
def test_seam_refused(seams, words):
    assert words in only(strap(seams=seams))[1]


@pytest.mark.parametrize("key", ["width", "depth"])
@pytest.mark.parametrize("part", [strap, bracket])
def test_sizes_of_a_seam_are_needed(part, key):
    found, text = only(part(**{key: None}))
    assert found == key and "missing for seam" in text


@pytest.mark.parametrize(
    "keys, words",
    [
        ({"seams": {"lap": {"widht": "5 mm"}}}, "lap widht: unknown key, did you mean width"),
        ({"seams": {"lap": {"width": "5 kg"}}}, "lap width: "),
        ({"seams": {"lap": {"inward": "down"}}}, "lap inward: 'down' is not allowed"),
        ({"seams": {"lap": {"points": [["0 mm", "0 mm"]]}}}, "lap points: write places of three"),
        ({"seams": {"lap": "here"}}, "lap: 'here' is not a table"),
        ({"seams": ["lap"]}, "is not a table of names"),
    ],
)
def test_keys_of_seams_are_named_in_the_case(keys, words):
    from weldsim.case.keys import section_model
    from weldsim.schema.section_checks import check_section

    mistakes = []
    check_section("part", section_model("part", "mesh"), STRAP | keys, mistakes)
    (line,) = map(str, mistakes)
    assert line.startswith("[part] seams: ") and words in line


@pytest.mark.parametrize(
    "changes, words",
    [
        ({"seams": {"heel": {"edges": "edge 999"}}}, "heel: no edge is named 'edge 999'"),
        ({"seams": {"heel": {"edges": ["edge 1", "edge 12"]}}}, "they do not meet end to end"),
        ({"seams": {"heel": {}}}, "heel: write either points or edges"),
        ({"seams": {"toe": BRACKET["seams"]["heel"]}}, "'fill 1 heel' names no seam"),
        ({"faces": {"end": {}}}, "end: write either plane"),
        ({"faces": {"end": {"faces": "face 999"}}}, "end: no face is named 'face 999'"),
    ],
)
def test_bracket_refused(changes, words):
    assert words in only(bracket(**changes))[1]


def test_unknown_face_names_those_there_are():
    with pytest.raises(CaseError, match="allowed: panel end, mast end"):
        own_mesh.place(strap(), "post")
    with pytest.raises(CaseError, match="allowed: foot end, top end"):
        own_step.place(bracket(), "post")


# STEP files of other shapes
def write_tube(path):
    """A round post 30 across, 40 high, on a plate 60 x 60 x 5; no filler."""

    def draw(gmsh):
        gmsh.model.occ.addBox(-30, -30, -5, 60, 60, 5)
        gmsh.model.occ.addCylinder(0, 0, 0, 0, 0, 40, 15)
        gmsh.model.occ.synchronize()

    return in_gmsh(path, draw)


def foot_edge(path):
    """Number of the edge around the post's foot, as Gmsh counts after reading the file."""
    gmsh = import_gmsh()
    gmsh.initialize()
    try:
        gmsh.option.setNumber("General.Terminal", 0)
        gmsh.model.occ.importShapes(str(path))
        gmsh.model.occ.synchronize()
        for _, tag in gmsh.model.getEntities(1):
            low, high = np.reshape(gmsh.model.getBoundingBox(1, tag), (2, 3))
            if (
                abs(low[2]) < 1e-3
                and abs(high[2]) < 1e-3
                and gmsh.model.getType(1, tag) == "Circle"
            ):
                return tag
    finally:
        gmsh.finalize()


def test_a_closed_edge_without_filler(tmp_path):
    """A circle of radius 15 in 48 chords; in the corner of plate and post the arc looks down and
    in, at 45 degrees."""
    path = write_tube(tmp_path / "post.step")
    seams = {"foot": {"edges": f"edge {foot_edge(path)}"}}
    part = bracket(tmp_path, file="post.step", seams=seams, faces={"top": {"plane": "+z"}})
    assert complaints(part) == []
    line = own_step.seam_lines(part)["foot"]
    assert line.closed
    assert line.length == pytest.approx(48 * 2 * 15 * MM * math.sin(math.pi / 48), rel=1e-9)
    out = line.points.copy()
    out[:, 2] = 0.0
    out /= np.linalg.norm(out, axis=1)[:, None]
    assert np.allclose((line.inwards * out).sum(axis=1), -math.sqrt(0.5), atol=0.1)
    assert np.allclose(line.inwards[:, 2], -math.sqrt(0.5), atol=0.1)
    # clockwise on a watch face seen from above, where the arc comes from
    turn = np.cross(line.points[:-1], np.diff(line.points, axis=0))[:, 2].sum()
    assert line.directions["clockwise"] == (-1 if turn > 0 else 1)
    mesh, _ = meshed(own_step, part)
    assert set(mesh.subdomains) == {"part"}
    drawn = 60 * 60 * 5 + math.pi * 15**2 * 40
    assert volume(mesh, "part") == pytest.approx(drawn, rel=0.02)
    assert np.allclose(mesh.p[2, mesh.facets[:, mesh.boundaries["top"]]], 40 * MM)


def test_a_direction_without_a_flat_end_is_refused(tmp_path):
    """A ball on a plate ends in no flat face upward."""

    def draw(gmsh):
        gmsh.model.occ.addBox(-30, -30, -5, 60, 60, 5)
        gmsh.model.occ.addSphere(0, 0, 5, 10)
        gmsh.model.occ.fuse([(3, 1)], [(3, 2)])
        gmsh.model.occ.synchronize()

    in_gmsh(tmp_path / "ball.step", draw)
    seams = {"foot": {"points": [["-20 mm", "20 mm", "0 mm"], ["20 mm", "20 mm", "0 mm"]]}}
    part = bracket(tmp_path, file="ball.step", seams=seams, faces={"top": {"plane": "+z"}})
    assert "top plane: the part ends in no flat face toward +z" in only(part)[1]
    part = bracket(tmp_path, file="ball.step", seams=seams, faces={"bottom": {"plane": "-z"}})
    assert complaints(part) == []
    assert np.allclose(own_step.place(part, "bottom"), [0, 0, -5 * MM])


# words and leftovers
def test_words_say_file_cells_seams_and_faces():
    assert own_mesh.words(strap()) == (
        "own mesh strap.msh, 820 bricks; seams: lap 30 mm; faces: panel end, mast end"
    )
    found = own_step.words(bracket())
    assert found.startswith("own STEP part bracket.step, ") and "heel 40 mm" in found


def test_a_mesh_saved_with_unnamed_volumes_is_refused(tmp_path):
    """Gmsh saves cells without a name when asked to save all."""

    def draw(gmsh):
        gmsh.option.setNumber("Mesh.SaveAll", 1)
        blocks(names=("part", None))(gmsh)

    in_gmsh(tmp_path / "own.msh", draw)
    assert "named groups only" in only(strap(tmp_path, file="own.msh"))[1]


def test_a_changed_file_is_read_anew(tmp_path):
    in_gmsh(tmp_path / "own.msh", blocks())
    part = strap(tmp_path, file="own.msh")
    assert own_mesh.seam_lines(part)["long_side"].length == pytest.approx(20 * MM)
    in_gmsh(tmp_path / "own.msh", blocks(scale=2))
    assert own_mesh.seam_lines(part)["long_side"].length == pytest.approx(40 * MM)
