"""Every joint kind answers what `weldsim.joints.protocol` says; nobody else asks which it is."""

import ast
import tomllib
from dataclasses import replace

import numpy as np
import pytest

from tests.places import CASES, ROOT
from weldsim.case.load import load_case, parse_case
from weldsim.case.starters import starter_kinds
from weldsim.errors import CaseError
from weldsim.joints.protocol import SECTIONS, JointKind
from weldsim.joints.registry import KINDS, joint_kind, seam_lines_of, seams_of
from weldsim.schema.quantities import Section

STARTERS = ROOT / "weldsim" / "data" / "starters"
MODULES = sorted((ROOT / "weldsim").rglob("*.py"))
FROM_FILES = {"mesh": CASES / "strap_mesh.toml", "step": CASES / "bracket_step.toml"}


def case_of(kind):
    """The starter of a kind, or the demo case of one that needs a file."""
    if kind in FROM_FILES:
        return load_case(FROM_FILES[kind])
    return parse_case((STARTERS / f"{kind}.toml").read_text(encoding="utf-8"), f"{kind}.toml")


@pytest.mark.parametrize("kind", KINDS)
def test_a_kind_is_what_the_protocol_says(kind):
    joint = joint_kind(kind)
    assert isinstance(joint, JointKind) and kind in starter_kinds()
    assert (joint.blocks is None) != (joint.mesh_of_file is None)
    assert set(joint.sections) <= set(SECTIONS)
    assert joint.needs_file == ("file" in joint.part_section.model_fields)
    for model in (joint.part_section, joint.hold_section, joint.weld_section):
        assert issubclass(model, Section)
    assert ("preset" in joint.sections) == (joint.free_height is not None)  # something to tilt


def test_a_preset_is_refused_with_the_case_where_nothing_can_be_tilted():
    text = (STARTERS / "bar.toml").read_text(encoding="utf-8") + '\n[preset]\ntilt_x = "5 deg"\n'
    with pytest.raises(CaseError, match=r"\[preset\]: a bar has no such section"):
        parse_case(text, "bar.toml")


@pytest.mark.parametrize("kind", KINDS)
def test_what_a_kind_names_can_be_found(kind):
    """Held faces are faces, faces that are places lie somewhere, gaps are between two places."""
    case = case_of(kind)
    joint, part = joint_kind(kind), case.part
    faces = tuple(joint.faces(part))
    assert set(joint.clamped_faces) <= set(faces)
    if joint.pointer:
        assert joint.pointer["at"] in faces
    for face in faces:
        if joint.has_place(part, face):
            assert np.all(np.isfinite(joint.place(part, face)))
    assert not joint.has_place(part, "nowhere")
    for one, two in joint.gap_places(part).values():
        assert not np.allclose(one, two)
    assert not joint.check(part)


@pytest.mark.parametrize("kind", KINDS)
def test_every_weld_lies_on_a_seam_and_as_long_as_the_case_says(kind):
    case = case_of(kind)
    lines = seam_lines_of(case)
    for weld, seam in zip(case.welds, seams_of(case), strict=True):
        assert weld.direction in (1, -1) and 1 <= weld.number <= lines[weld.seam].passes
        # a pass beside the corner of a curved seam is longer or shorter than the corner itself
        assert seam.length == pytest.approx(weld.length, rel=0.15)


def test_a_bead_welded_the_other_way_runs_along_the_same_seam_backwards():
    case = load_case(CASES / "pivot_arm_one_bead.toml", {"weld.A.travel": "up"})
    up, down = (seams_of(c)[0] for c in (case, case.with_changes({"weld.A.travel": "down"})))
    assert np.array_equal(up.start, down.end) and np.array_equal(up.end, down.start)
    assert np.array_equal(up.travel, [0, 0, 1]) and np.array_equal(down.travel, [0, 0, -1])
    # across is inward x travel; the front face is at +y, so inward is -y
    assert np.array_equal(up.inward, [0, -1, 0]) and np.allclose(up.across, [-1, 0, 0])


def test_a_kind_needs_one_way_to_a_mesh():
    joint = replace(joint_kind("bar"), blocks=None)
    with pytest.raises(TypeError, match="either blocks or mesh_of_file"):
        joint.mesh(None, None)


def test_an_unknown_kind_is_told_with_the_known_ones():
    with pytest.raises(CaseError, match="allowed: bar, square-tube-tee"):
        joint_kind("no such kind")


@pytest.mark.parametrize("path", MODULES, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_nobody_outside_the_joints_asks_which_kind_a_part_is(path):
    """No comparison of a `kind` with the name of a joint kind."""
    if path.is_relative_to(ROOT / "weldsim" / "joints"):
        return
    asked = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Compare):
            values = [n.value for n in ast.walk(node) if isinstance(n, ast.Constant)]
            if set(KINDS) & {v for v in values if isinstance(v, str)}:
                asked.append(f"line {node.lineno}: {ast.unparse(node)}")
    assert not asked, "; ".join(asked)


def test_every_starter_writes_only_sections_its_kind_has():
    for kind in KINDS:
        written = set(tomllib.loads((STARTERS / f"{kind}.toml").read_text(encoding="utf-8")))
        assert written - {"title"} <= set(joint_kind(kind).sections) | {"plan"}
