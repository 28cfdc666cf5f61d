"""Parts that would take too many cells are refused before Gmsh is asked, with the key to change."""

import pytest

from tests.places import CASES
from weldsim.case.load import load_case
from weldsim.errors import CaseError
from weldsim.geometry.grades import GRADES
from weldsim.joints.build import build_part
from weldsim.joints.registry import kind_of_case

THIN = ["part.branch_wall=0.1 mm", "part.chord_wall=0.1 mm", "part.leg=0.15 mm",
        "part.penetration=0.05 mm", *(f"tack.{i}.size=0.05 mm" for i in (1, 2, 3, 4))]  # fmt: skip


@pytest.mark.parametrize("file", ["mast_stub", "both_faces"])
def test_cells_are_counted_before_there_is_a_mesh(file):
    case = load_case(CASES / f"{file}.toml")
    blocks = kind_of_case(case).blocks(case, GRADES["sketch"])
    assert blocks.cell_count == build_part(case, "sketch").mesh.t.shape[1]


@pytest.mark.parametrize(
    "file, changes, place",
    [
        ("mast_stub", THIN, "[part] leg: 0.15 mm makes "),
        ("pivot_arm_one_bead", ["weld.A.bead_width=0.05 mm", "weld.A.bead_height=0.02 mm"],
         "[weld.A] bead_width: 0.05 mm makes "),
    ],
)  # fmt: skip
def test_too_many_cells_are_refused_in_one_line(file, changes, place):
    case = load_case(CASES / f"{file}.toml", changes)
    with pytest.raises(CaseError) as error:
        build_part(case, "quick")
    text = str(error.value)
    assert "\n" not in text and text.startswith(f"{case.source_file} {place}")
    assert "allowed: up to 150000" in text and "a coarser grade" in text
    assert error.value.mistakes[0].key in place
