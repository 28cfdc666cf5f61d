"""The measured block: what its files say, and how a run of it is read; no run here."""

from types import SimpleNamespace

import numpy as np
import pytest

from tests.joints.test_protocol import case_of
from weldsim.simulation.model import build_model
from weldsim.validation import measured_block as block
from weldsim.validation import measured_readings as readings


def through_both(factor):
    """Profiles that lie `factor` of the way from the contour method to the neutrons."""
    measured, out = readings.measured_stress(), {}
    for x in block.PLANES:
        z, by_contour = measured["contour", x]
        heights, by_neutrons = measured["neutron", x]
        by_neutrons = by_contour + np.interp(
            z, heights, by_neutrons - np.interp(heights, z, by_contour), left=0.0, right=0.0
        )
        stress = by_contour + factor * (by_neutrons - by_contour)
        out[x] = z, stress
    return out


def test_bow_of_the_source_itself_holds_and_one_too_flat_by_a_third_does_not():
    """Sags over 500 and 300 mm of the source: 7.25 and 2.90 mm; a turn changes neither."""
    x, was = readings.measured_heights()
    found = block.bow(was + 0.003 * x + 0.01)
    size, shape = found.comparisons
    assert size.expected == pytest.approx(7.25) and size.computed == pytest.approx(7.25)
    assert shape.computed == pytest.approx(0.40) and size.holds and shape.holds
    assert not block.bow(was * 2 / 3).comparisons[0].holds
    assert "<svg" in found.picture


def test_temperatures_of_the_source_itself_hold():
    """Couple 3 rises by 58.7 K to the end of layer 1 (85.0 from 26.3 degC in the log)."""
    log = readings.logged()
    later = log["time"] >= 0
    found = block.temperatures({name: values[later] for name, values in log.items()})
    assert len(found.comparisons) == 44 and all(c.holds for c in found.comparisons)
    row = next(
        c for c in found.comparisons if c.quantity == "rise of couple 3 at the end of layer 1"
    )
    assert row.expected == pytest.approx(58.7, abs=0.5)
    assert "40 of 40 hold" in found.note and "<svg" in found.picture


def test_a_level_between_the_two_methods_holds_and_one_beyond_both_does_not():
    between = block.stress_left(through_both(0.5))
    assert all(c.holds for c in between.comparisons) and "<svg" in between.picture
    beyond = block.stress_left(through_both(1.6))
    assert {c.quantity for c in beyond.comparisons if not c.holds} >= {
        "stress 2 mm under the welded face, mid-length"
    }
    flat = block.stress_left({k: (z, 0 * s + 1e6) for k, (z, s) in through_both(0.5).items()})
    assert sum(not c.holds for c in flat.comparisons) > 8


def test_stress_is_averaged_over_width_and_length_at_each_height():
    """A field 1 + z / mm: what comes out is that at each height, whatever lies beside the slab."""
    model = build_model(case_of("deposit").with_changes({"solve.grade": "sketch"}), threads=1)
    at = model.part.mesh.mapping().F(model.mechanics.quadrature.T)
    stress = np.zeros((*at.shape[1:], 6))
    middle = (at[0].max() + at[0].min()) / 2
    beside = (np.abs(at[1]) > 6e-3) | (np.abs(at[0] - middle) > readings.SLAB)
    stress[..., 0] = np.where(beside, 1e9, 1.0 + 1e3 * at[2])
    result = SimpleNamespace(model=model, state=SimpleNamespace(stress=stress))
    heights, found = readings.stress_through(result, middle, 6e-3)
    assert found == pytest.approx(1.0 + 1e3 * heights, abs=0.01)
    assert heights.min() < 0 < heights.max()
