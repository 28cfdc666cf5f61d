"""Fields of a state under their own names, in the frame and in its file."""

import meshio
import numpy as np
import pytest

from tests.places import CASES
from weldsim.case.load import load_case
from weldsim.runs.folder import RunFolder
from weldsim.simulation.frame import field_frame
from weldsim.simulation.model import build_model
from weldsim.simulation.steps import simulate


def short(law: str):
    """Model and last state of a bead that has begun to cool."""
    changes = {
        "solve.model": law, "solve.end": "14 s", "weld.A.speed": "10 mm/s", "part.length": "100 mm",
        "weld.A.at": "60 mm",
    }  # fmt: skip
    model = build_model(load_case(CASES / "pivot_arm_one_bead.toml", changes), "sketch", 1)
    *_, last = simulate(model)
    return model, last.state


@pytest.mark.parametrize("law", ["elastic", "plastic"])
def test_inherent_and_plastic_strain_have_fields_of_their_own(law, tmp_path):
    """The elastic model shrinks: a signed inherent strain, upset metal being shorter, and no flow.
    The plastic one flows: an equivalent plastic strain, which never is below zero. The signed one
    used to be shown as the equivalent plastic strain."""
    model, state = short(law)
    frame = field_frame(model, state)
    path = RunFolder.create(tmp_path / "run", "t").write_frame(0, frame, model.part)
    kept = {name: data[0] for name, data in meshio.read(path).cell_data.items()}
    flowed = kept["equivalent_plastic_strain"]
    if law == "elastic":
        assert np.all(flowed == 0) and kept["inherent_strain"].min() < -1e-3
        assert np.all(state.internal_variables.equivalent_plastic_strain == 0)
    else:
        assert flowed.min() >= 0 and flowed.max() > 1e-3
        assert "inherent_strain" not in kept and np.all(state.inherent_strain == 0)


def test_the_six_components_belong_to_the_equivalent_stress(tmp_path):
    """Von Mises' formula on the components gives the equivalent stress (R. von Mises, 1913), less
    at most what cells lose that average several points; plastic flow keeps the volume (the same);
    kelvin and degC are 273.15 apart (SI brochure)."""
    model, state = short("plastic")
    path = RunFolder.create(tmp_path / "run", "t").write_frame(
        0, field_frame(model, state), model.part
    )
    read = meshio.read(path)
    kept = {name: data[0] for name, data in read.cell_data.items()}
    xx, yy, zz, xy, yz, xz = kept["stress_Pa"].T.astype(float)
    squares = (xx - yy) ** 2 + (yy - zz) ** 2 + (zz - xx) ** 2 + 6 * (xy**2 + yz**2 + xz**2)
    own = np.sqrt(0.5 * squares)
    assert np.all(own <= kept["von_mises_Pa"] * (1 + 1e-5) + 10.0)
    assert own.max() > 0.7 * kept["von_mises_Pa"].max() > 1e7
    flow = kept["plastic_strain"]
    assert np.abs(flow).max() > 1e-3
    assert np.abs(flow[:, :3].sum(axis=1)).max() < 1e-5 * np.abs(flow).max()
    kelvin, celsius = read.point_data["temperature_K"], read.point_data["temperature_degC"]
    np.testing.assert_allclose(kelvin - celsius, 273.15, atol=1e-3)
