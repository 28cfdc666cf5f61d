"""Gauges bound to a joint: where they may stand, and what they read of a rigid motion."""

from importlib.resources import files

import numpy as np
import pytest

from weldsim.case.load import parse_case
from weldsim.errors import CaseError
from weldsim.geometry.grades import GRADES
from weldsim.joints.build import build_part
from weldsim.materials.material import load_material
from weldsim.simulation.discretisation import Discretisation
from weldsim.simulation.interpolation import distance_to_triangles
from weldsim.simulation.model import build_model

GAUGE = '\n[[gauge]]\nname = "tip"\nkind = "{kind}"\nat = {at}\n{rest}'
DIAL = 'direction = "+x"\n'


def starter(kind, at, gauge="dial"):
    text = (files("weldsim") / "data" / "starters" / f"{kind}.toml").read_text(encoding="utf-8")
    rest = DIAL if gauge == "dial" else ""
    return parse_case(text + GAUGE.format(kind=gauge, at=at, rest=rest), f"{kind}.toml")


@pytest.fixture(scope="module")
def parts():
    """One mesh for each kind of joint, at the roughest grade."""
    kept = {}

    def part(case):
        if case.part.kind not in kept:
            kept[case.part.kind] = build_part(case, GRADES["sketch"])
        return kept[case.part.kind]

    return part


@pytest.mark.parametrize("gauge", ["dial", "thermocouple"])
@pytest.mark.parametrize("kind", ["plate-tee", "round-tube-butt"])
@pytest.mark.parametrize("at", ['["10 m", "0 mm", "0 mm"]', '["1 km", "0 mm", "0 mm"]'])
def test_a_gauge_far_off_the_part_is_refused(kind, at, gauge, parts):
    """In one line that says which, where and how far; it used to read the nearest point."""
    case = starter(kind, at, gauge)
    with pytest.raises(CaseError, match=r"\[gauge.tip\] at: .* mm off the part, allowed: ") as no:
        build_model(case, "sketch", 1, part=parts(case))
    assert str(no.value).startswith(f"{kind}.toml") and "\n" not in str(no.value)


def test_a_gauge_on_a_round_face_is_on_the_part(parts):
    """Where the tube is, not where the flat facets of its mesh are: a place on the circle of the
    outer diameter between two mesh points. 5 mm further out is air."""
    case = starter("round-tube-butt", '["30 mm", "0 mm", "0 mm"]')
    part = parts(case)
    radius = case.part.diameter / 2
    points = part.lattice.points
    angle = np.arctan2(points[:, 1], points[:, 2])
    around = np.unique(np.round(angle[np.hypot(points[:, 1], points[:, 2]) > 0.999 * radius], 6))
    between = (around[0] + around[1]) / 2
    bound = Discretisation.of(case, part, load_material(case.material_path), GRADES["sketch"], 1)
    for out, on in ((0.0, True), (5e-3, False)):
        r = radius + out
        place = np.array([0.03, r * np.sin(between), r * np.cos(between)])
        found = bound.off_the_part(place)
        assert (found == 0.0) == on
        if not on:
            assert found == pytest.approx(out, abs=1.5e-3)  # the facet lies inside the circle


def test_distance_to_a_triangle():
    """Above its middle, beside an edge, beyond a corner: Pythagoras."""
    corners = np.array([[[0.0, 0, 0], [1, 0, 0], [0, 1, 0]]])
    for place, distance in (
        ((0.2, 0.2, 0.5), 0.5),
        ((0.5, -3.0, 4.0), 5.0),
        ((-3.0, -4.0, 12.0), 13.0),
        ((1.0, 1.0, 0.0), np.sqrt(0.5)),
    ):
        assert distance_to_triangles(np.array(place), corners)[0] == pytest.approx(distance)
