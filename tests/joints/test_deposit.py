"""Deposit: beads from a list or a CSV file, blocks by their formula, and beads laid at once."""

import numpy as np
import pytest
from scipy.integrate import quad

from tests.joints.test_protocol import case_of
from weldsim.case.load import parse_case
from weldsim.case.schedule import timetable
from weldsim.errors import CaseError
from weldsim.geometry.grades import GRADES
from weldsim.geometry.mesh_checks import cell_volumes
from weldsim.joints.build import build_part
from weldsim.joints.registry import seam_lines_of, seams_of
from weldsim.physics.heat_source import DoubleEllipsoid, cross_section

CSV = """layer,from_x_mm,from_y_mm,to_x_mm,to_y_mm,pause_s
1,30,-6,90,-6,
1,90,0,30,0,
1,30,6,90,6,
2,90,6,30,6,60
2,30,0,90,0,
2,90,-6,30,-6,
"""
TOES = {
    "part.side_toes": ["20 mm", "100 mm"], "part.finish_toes": ["0 mm"], "part.toe_width": "12 mm",
    "part.toe_reach": "8 mm",
}  # fmt: skip


def refused(*changes) -> str:
    with pytest.raises(CaseError) as error:
        case_of("deposit").with_changes(dict(changes))
    return str(error.value)


@pytest.mark.parametrize("at_once", [0, 1, 3])
def test_blocks_fill_what_the_path_says(at_once):
    """Volumes by hand: the plate, and for each bead its length x width x height."""
    case = case_of("deposit").with_changes({"part.at_once": at_once, **TOES})
    part = build_part(case, "coarse")
    volume = cell_volumes(part.mesh)
    assert volume[part.regions["part"]].sum() == pytest.approx(0.12 * 0.05 * 0.008, rel=1e-9)
    for name in seam_lines_of(case):
        beads = max(at_once, 1)
        found = volume[part.regions[f"fill 1 {name}"]].sum()
        assert found == pytest.approx(beads * 0.06 * 0.006 * 0.0025, rel=1e-9)
    assert sum(map(len, part.regions.values())) == part.mesh.t.shape[1]


def test_beads_lie_where_the_path_lays_them():
    """Bead 2 of layer 1 runs back along y = 0; layer 2 lies a bead height higher."""
    case = case_of("deposit")
    seams = dict(zip([w.name for w in case.welds], seams_of(case), strict=True))
    np.testing.assert_allclose(seams["L1B2"].start, [0.09, 0, 0], atol=1e-12)
    np.testing.assert_allclose(seams["L1B2"].end, [0.03, 0, 0], atol=1e-12)
    np.testing.assert_allclose(seams["L2B1"].start, [0.09, 0.006, 0.0025], atol=1e-12)
    assert [w.name for w in case.welds] == ["L1B1", "L1B2", "L1B3", "L2B1", "L2B2", "L2B3"]
    part = build_part(case, "sketch")
    middles = part.mesh.p[:, part.mesh.t].mean(axis=1)
    cells = middles[:, part.regions["fill 1 L2B3"]]
    assert np.all(np.abs(cells[1] + 0.006) < 0.003) and np.all(np.abs(cells[2] - 0.00375) < 0.00125)


def test_a_csv_file_and_a_list_are_the_same_path(tmp_path):
    case = case_of("deposit")
    (tmp_path / "beads.csv").write_text(CSV, encoding="utf-8")
    (begin, rest), (_, after) = (case.source_text.split(s, 1) for s in ("lines = [", "\n]"))
    text = f'{begin}path = "beads.csv"{after}'
    assert rest
    other = parse_case(text, str(tmp_path / "case.toml"))
    assert other.welds == case.welds
    for one, two in zip(seams_of(case), seams_of(other), strict=True):
        np.testing.assert_allclose([one.start, one.end], [two.start, two.end], atol=1e-15)


@pytest.mark.parametrize(
    "rows, said",
    [
        ("layer,from_x_mm\n1,2\n", "no column from_y"),
        (CSV.replace("30,-6", "30 mm,-6"), "row 2"),
        (CSV.replace("1,90,0", "one,90,0"), "row 3: layer 'one'"),
        (CSV.replace("2,90,6,30,6,60", "2,90,6,30,6,-60"), "row 5: pause"),
        (CSV.replace("1,30,6,90,6,", "1,30,6,90"), "row 4 has 4 values"),
        (CSV.splitlines()[0], "no lines"),
        (CSV.replace("pause_s", "power_W"), "column 'power_W' in the header"),
        (CSV + "3,30,0,90,0,\n" * 2001, "2007 lines are not allowed"),
    ],
)
def test_a_csv_file_that_cannot_be_read_is_refused(tmp_path, rows, said):
    (tmp_path / "beads.csv").write_text(rows, encoding="utf-8")
    text = case_of("deposit").source_text
    text = text[: text.index("lines = [")] + 'path = "beads.csv"' + text.split("\n]", 1)[1]
    with pytest.raises(CaseError, match="path") as error:
        parse_case(text, str(tmp_path / "case.toml"))
    assert said in str(error.value) and len(str(error.value).splitlines()) == 1


@pytest.mark.parametrize(
    "key, value, said",
    [
        ("lines", [[1, "30 mm", "0 mm", "90 mm", "1 mm"]], "askew"),
        ("lines", [[1, "30 mm", "0 mm", "33 mm", "0 mm"]], "from its width on"),
        ("lines", [[1, "30 mm", "0 mm", "130 mm", "0 mm"]], "on the plate"),
        ("lines", [[1, "30 mm", "24 mm", "90 mm", "24 mm"]], "on the plate"),
        ("lines", [[2, "30 mm", "0 mm", "90 mm", "0 mm"]], "layers are out of order"),
        ("lines", [[1, "30 mm", f"{y} mm", "90 mm", f"{y} mm"] for y in (0, 4)], "overlap"),
        (
            "lines",
            [[n, "30 mm", f"{y} mm", "90 mm", f"{y} mm"] for n, y in ((1, 0), (2, 6))],
            "beyond the layer below",
        ),
        ("lines", [[1, "30 mm", "0 mm", "90 mm"]], "line 1"),
        ("lines", [["1", "30 mm", "0 mm", "90 mm", "0 mm"]], "layer '1'"),
        ("lines", [], "write a list of lines"),
        ("path", "beads.csv", "write either lines"),
        ("side_toes", ["20 mm"], "toe_width"),
    ],
)
def test_a_path_that_does_not_fit_is_refused(key, value, said):
    assert said in refused((f"part.{key}", value))


def test_beads_scattered_over_the_plate_are_refused_before_they_fill_the_memory():
    lines = [
        [n, f"{1 + 0.04 * n:.2f} mm", f"{-20 + 0.015 * n:.3f} mm",
         f"{20 + 0.05 * n:.2f} mm", f"{-20 + 0.015 * n:.3f} mm"]
        for n in range(1, 301)
    ]  # fmt: skip
    assert "at so many different places" in refused(("part.lines", lines))


def test_the_elastic_model_is_refused():
    """It gives 0.02 mm up where the plastic model gives 1.26 mm down: see `JointKind.elastic`."""
    assert '"elastic" is not allowed for a deposit' in refused(("solve.model", "elastic"))


def test_beads_laid_as_one_lie_side_by_side():
    uneven = [[1, "30 mm", "0 mm", "90 mm", "0 mm"], [1, "30 mm", "6 mm", "80 mm", "6 mm"]]
    said = refused(("part.lines", uneven), ("part.at_once", 2))
    assert "2 cannot lay beads 1 to 2 of layer 1 as one" in said


def test_toes_stand_on_the_plate_beside_the_beads():
    assert "toe lies beyond" in refused(*{**TOES, "part.side_toes": ["3 mm"]}.items())
    wide = {**TOES, "part.side_toes": ["50 mm"], "part.toe_reach": "17 mm"}
    assert "onto the beads" in refused(*wide.items())
    case = case_of("deposit").with_changes(TOES)
    part = build_part(case, "coarse")
    area = {k: part.lattice.points[v] for k, v in part.boundaries.items() if "toes" in k}
    assert set(area) == {"side toes", "finish toes"}
    side = area["side toes"]
    assert np.all(side[:, 2] == 0) and np.all(np.abs(side[:, 1]) > 0.016)
    assert np.all(np.minimum(np.abs(side[:, 0] - 0.02), np.abs(side[:, 0] - 0.1)) < 0.0075)


# beads laid at once
def test_beads_at_once_bring_the_same_heat_amid_the_same_time():
    """Heat over all, its mean time and the end of the last bead, from the path by hand."""
    heats, means, ends = [], [], []
    for at_once in (0, 1, 3):
        case = case_of("deposit").with_changes({"part.at_once": at_once})
        rows = timetable(case.welds)
        heat = [w.arc.power * w.duration for w in case.welds]
        amid = [row.start + row.duration / 2 for row in rows]
        heats.append(sum(heat))
        means.append(np.average(amid, weights=heat))
        last = case.welds[-1]
        ends.append(amid[-1] + max(at_once, 1) * last.length / last.arc.speed / 2)
    # 0.8 x 18 V x 140 A over 10 s a bead; each layer 3 x 10 s and 2 x 2 s, 60 s between them
    assert heats == pytest.approx([6 * 20160.0] * 3)
    assert means == pytest.approx([(34 + 60 + 34) / 2] * 3)
    assert ends[:2] == pytest.approx([128.0] * 2)


def test_heat_of_beads_side_by_side_is_all_there():
    """Closed form: the density over the half plane integrates to one, however wide it is spread."""
    case = case_of("deposit").with_changes({"part.at_once": 3})
    source = DoubleEllipsoid.of(case.welds[0].arc, seams_of(case)[0])
    assert source.spread == pytest.approx(0.006)
    across = quad(lambda y: cross_section(y, 0.0, source), -0.05, 0.05, points=[-0.006, 0.006])[0]
    # over z >= 0 a Gauss curve with exp(-3 z^2 / b^2) has the area sqrt(pi / 3) b / 2
    assert across * np.sqrt(np.pi / 3) * source.depth / 2 == pytest.approx(1.0, rel=1e-6)
    # three beads: in the middle as dense as their mean
    alone = DoubleEllipsoid.of(case_of("deposit").welds[0].arc, seams_of(case)[0])
    mean = np.mean([cross_section(o, 0.0, alone) for o in np.linspace(-0.006, 0.006, 201)])
    assert cross_section(0.0, 0.0, source) == pytest.approx(mean, rel=0.02)


def test_cells_at_normal_are_refused_where_they_are_too_many():
    case = case_of("deposit").with_changes(
        {"part.length": "3 m", "part.lines": [[1, "30 mm", "0 mm", "2.9 m", "0 mm"]]}
    )
    with pytest.raises(CaseError, match="cells at grade fine"):
        build_part(case, GRADES["fine"])
