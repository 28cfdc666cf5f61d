"""Heated bars that yield: restrained, three side by side, and heated along one edge.

The closed forms are elementary strength of materials, re-derived for the tables they come with;
E = 200e3, alpha = 12e-6, sy = 240 unless said otherwise (mm, N, MPa).
"""

from __future__ import annotations

import numpy as np
import pytest
import skfem
from scipy.optimize import brentq

from tests.verification.mech_tools import (
    body_of,
    box,
    curvature,
    elastic,
    follow,
    inherent,
    mises,
    solve,
)

E, ALPHA, SY = 200e3, 12e-6, 240.0


def restrained_bar():
    """One cell between rigid walls in x, free across: a uniaxial bar of length 1."""
    body = box(1, 1, 1, "brick8")
    fixed = np.zeros_like(body.points, bool)
    for axis in range(3):
        fixed[body.on(axis, 0.0), axis] = True
    fixed[body.on(0, 1.0), 0] = True
    return body, fixed


def cycle(peak, isotropic=0.0, kinematic=0.0, steps=10):
    """Stress and plastic strain along the bar at the peak and when cold again."""
    body, fixed = restrained_bar()
    path = np.r_[np.linspace(0, peak, steps + 1)[1:], np.linspace(peak, 0, steps + 1)[1:]]
    law = dict(yield_stress=SY, isotropic=isotropic, kinematic=kinematic)
    laws = [elastic(body, E, 0.3, ALPHA * t, **law) for t in path]
    records = list(follow(body, laws, fixed))
    for found, _ in records:
        assert np.abs(found.stress[..., 1:]).max() < 1e-3 * SY, (
            "stress across the bar, at most, MPa"
        )  # uniaxial all along
    at = [records[steps - 1], records[-1]]
    return ([f.stress[0, 0, 0] for f, _ in at], [m.plastic_strain[0, 0, 0] for _, m in at],
            at[1][1].equivalent_plastic_strain[0, 0])  # fmt: skip


@pytest.mark.parametrize(
    "peak, hot, cold, total",
    [
        (80, -192, 0, 0),
        (150, -240, 120, 0.6e-3),
        (200, -240, 240, 1.2e-3),
        (300, -240, 240, 3.6e-3),
        (500, -240, 240, 8.4e-3),
    ],
)
def test_restrained_bar_perfectly_plastic(peak, hot, cold, total):
    """Heated by `peak` and cooled: -sy hot; E alpha peak - sy, at most +sy, when cold."""
    stress, plastic, cumulative = cycle(peak)
    assert stress == pytest.approx([hot, cold], rel=1e-4, abs=1e-4 * SY), (
        f"stress of the held bar hot and cold again, peak {peak} K, the further off [MPa]"
    )
    assert cumulative == pytest.approx(total, rel=1e-4, abs=1e-8), (
        f"flow summed up over the cycle, peak {peak} K"
    )
    if peak >= 200:
        assert plastic[1] == pytest.approx(-SY / E, rel=1e-4), (
            f"plastic strain when cold, peak {peak} K"
        )


HARDENING = E * 2000 / (E - 2000)  # plastic modulus of a tangent modulus of 2000


@pytest.mark.parametrize(
    "peak, kind, hot, cold",
    [
        (300, "isotropic", -244.800, 247.104),
        (300, "kinematic", -244.800, 237.600),
        (500, "isotropic", -249.600, 256.608),
        (500, "kinematic", -249.600, 237.600),
    ],
)
def test_restrained_bar_hardening(peak, kind, hot, cold):
    """Straight-line hardening, Et = 2000: s1 = -[sy + Et (alpha dT - sy/E)] and its return."""
    stress, _, _ = cycle(peak, **{kind: HARDENING})
    assert stress == pytest.approx([hot, cold], rel=1e-4), (
        f"stress hot and cold again, {kind} hardening, peak {peak} K, the further off [MPa]"
    )


def half_and_half_return(peak):
    """Return of a bar with equal shares, by its own one-dimensional algebra."""
    plastic = -(ALPHA * peak - SY / E) * E / (E + HARDENING)
    trial = -E * plastic
    limit = SY + 0.5 * HARDENING * abs(plastic) + 0.5 * HARDENING * plastic
    return trial - E * max(trial - limit, 0) / (E + HARDENING)


def test_restrained_bar_mixed_hardening():
    """Half isotropic, half kinematic: the two changes cancel, so it yields again at sy."""
    stress, _, _ = cycle(300, isotropic=HARDENING / 2, kinematic=HARDENING / 2)
    assert stress == pytest.approx([-244.8, half_and_half_return(300)], rel=1e-4), (
        "stress hot and cold again, mixed hardening, the further off [MPa]"
    )


def test_step_size_does_not_matter_to_a_restrained_bar():
    """Backward Euler is exact for a straight path: 2 steps as good as 40."""
    few, many = cycle(300, steps=1), cycle(300, steps=20)
    assert few[0] == pytest.approx(many[0], rel=1e-6), (
        "stress hot and cold again in 2 steps, against 40, the further off [MPa]"
    )


# EN 1993-1-2:2005 Table 3.1, k_y and k_E; elongation 3.4.1.1 (3.1a-c). k_y is used as the yield
# stress here only to match the worked loop; it is a strength at 2 % strain.
EN_T = [20, 100, 200, 300, 400, 500, 600, 700, 800, 900, 1000, 1100, 1200]
EN_KY = [1, 1, 1, 1, 1, 0.78, 0.47, 0.23, 0.11, 0.06, 0.04, 0.02, 0]
EN_KE = [1, 1, 0.9, 0.8, 0.7, 0.6, 0.31, 0.13, 0.09, 0.0675, 0.045, 0.0225, 0]


def en_elongation(t):
    low = 1.2e-5 * t + 0.4e-8 * t**2 - 2.416e-4
    return np.where(t < 750, low, np.where(t <= 860, 1.1e-2, 2e-5 * t - 6.2e-3))


# T: stress and plastic strain on heating, then on cooling from 1200 degC.
EN_LOOP = {
    100: (-209.66, 0, 355.00, -2.689e-3),
    150: (-328.86, 0, 355.00, -3.428e-3),
    200: (-355.00, -4.401e-4, 355.00, -4.197e-3),
    300: (-355.00, -1.6053e-3, 355.00, -5.832e-3),
    400: (-355.00, -2.7834e-3, 355.00, -7.613e-3),
    500: (-276.90, -4.5608e-3, 276.90, -8.956e-3),
    600: (-166.85, -5.8354e-3, 166.85, -1.0961e-2),
    700: (-81.65, -7.1276e-3, 72.33, -1.2768e-2),
    800: (-39.05, -8.9339e-3, 33.41, -1.2768e-2),
    1000: (-14.20, -1.2297e-2, 14.20, -1.5303e-2),
}
EN_FROM_600 = {100: 355.0, 200: 355.0, 300: 355.0, 400: 93.64, 500: -116.30, 600: -166.85}


def en_loop(peak, step=5.0):
    """Temperature, stress and plastic strain of the EN S355 bar up to a peak and back to 20."""
    body, fixed = restrained_bar()
    up = np.arange(20 + step, peak + 1e-6, step)
    path = np.r_[up, up[::-1][1:], 20.0]
    path = np.minimum(path, 1199.9)  # no stiffness is left at 1200
    laws = [
        elastic(body, 210e3 * np.interp(t, EN_T, EN_KE), 0.3, en_elongation(t),
                355 * np.interp(t, EN_T, EN_KY))
        for t in path
    ]  # fmt: skip
    rows = [(f.stress[0, 0, 0], m.plastic_strain[0, 0, 0]) for f, m in follow(body, laws, fixed)]
    return path, np.array(rows), up.size


def test_restrained_bar_en_s355_loop():
    """Worked loop to 1200 degC and back: every row within 0.5 MPa and 1e-6 of plastic strain."""
    path, rows, top = en_loop(1200)
    for t, (hot, hot_plastic, cold, cold_plastic) in EN_LOOP.items():
        up = int(np.argmin(np.abs(path[:top] - t)))
        down = top + int(np.argmin(np.abs(path[top:] - t)))
        assert rows[up, 0] == pytest.approx(hot, abs=0.5), f"stress on heating at {t} degC [MPa]"
        assert rows[down, 0] == pytest.approx(cold, abs=0.5), f"stress on cooling at {t} degC [MPa]"
        assert rows[up, 1] == pytest.approx(hot_plastic, abs=1e-6), (
            f"plastic strain on heating at {t} degC"
        )
        # the table keeps three digits for some; the 750 degC step of the standard is in between
        assert rows[down, 1] == pytest.approx(cold_plastic, abs=2e-6), (
            f"plastic strain on cooling at {t} degC"
        )
    assert rows[-1, 0] == pytest.approx(355.0, abs=0.5), "stress when cold [MPa]"


def test_restrained_bar_en_s355_from_600():
    """Cooled from 600: changes sign at 441.44, yields again at 300.22 degC."""
    path, rows, top = en_loop(600)
    for t, expected in EN_FROM_600.items():
        down = top - 1 + int(np.argmin(np.abs(path[top - 1 :] - t)))
        assert rows[down, 0] == pytest.approx(expected, abs=0.5), (
            f"stress on cooling from 600 at {t} degC [MPa]"
        )
    down = slice(top, None)
    zero = np.interp(0.0, rows[down, 0][:40], path[down][:40])
    assert zero == pytest.approx(441.44, abs=0.3), (
        "temperature at which the stress changes sign [degC]"
    )


def test_restrained_bar_en_s355_from_300():
    """Cooled from 300: ends at +337.11 MPa with no yield in tension."""
    _, rows, _ = en_loop(300)
    assert rows[-1] == pytest.approx([337.11, -1.6053e-3], abs=0.5), (
        "stress when cold, cooled from 300 degC [MPa]"
    )
    assert rows[-1, 1] == pytest.approx(-1.6053e-3, abs=1e-6), (
        "plastic strain when cold, cooled from 300 degC"
    )


def test_stiffness_change_works_on_the_total_strain():
    """No expansion, strain 1e-3 held: 210 MPa at 20, 126.0 at 500, 210.0 again (EN k_E = 0.6)."""
    body, fixed = restrained_bar()
    pull = np.zeros_like(body.points)
    pull[body.on(0, 1.0), 0] = 1e-3
    u = solve(body, elastic(body, 210e3), fixed, prescribed=pull).displacement
    laws = [elastic(body, 210e3 * k) for k in (1.0, 0.8, 0.6, 0.8, 1.0)]
    stress = [f.stress[0, 0, 0] for f, _ in follow(body, laws, fixed, u)]
    assert stress == pytest.approx([210, 168, 126, 168, 210], rel=1e-6), (
        "stress as the stiffness falls and comes back, the furthest off [MPa]"
    )


def three_bars():
    """Two separate bars of unit length, areas 100 (hot) and 300 (the two cold ones together)."""
    sizes = [(0.0, 10.0, 10.0), (20.0, 30.0, 10.0)]
    meshes = [
        skfem.MeshHex.init_tensor(np.array([0, 1.0]), np.array([y, y + w]), np.array([0, h]))
        for y, w, h in sizes
    ]
    p = np.hstack([m.p for m in meshes])
    t = np.hstack([meshes[0].t, meshes[1].t + meshes[0].p.shape[1]])
    body = body_of(skfem.MeshHex(p, t), "brick8")
    fixed = np.zeros_like(body.points, bool)
    fixed[:, 0] = True
    for start in (0.0, 20.0):
        fixed[body.on(1, start), 1] = True
    fixed[body.on(2, 0.0), 2] = True
    return body, fixed


@pytest.mark.parametrize(
    "peak, weld, beside, strain",
    [(100, 0, 0, 0), (200, 120, -40, -2e-4), (250, 210, -70, -3.5e-4), (300, 240, -80, -4e-4)],
)
def test_three_bars(peak, weld, beside, strain):
    """Hot bar between cold ones with rigid ends, N = 0: residual stress and shrinkage, 1e-4.

    First yield at dT1 = (sy / E alpha)(1 + A_w/A_b) = 133.33; sy A_w/A_b balances beside.
    """
    body, fixed = three_bars()
    hot = np.array([[True], [False]])
    area = np.array([100.0, 300.0])
    u, internal_variables = body.still(), None
    for t in np.r_[np.linspace(0, peak, 6)[1:], np.linspace(peak, 0, 6)[1:]]:
        law = elastic(body, E, 0.3, np.where(hot, ALPHA * t, 0), yield_stress=SY)

        def pull(strain, law=law, u=u, internal_variables=internal_variables):
            ends = np.zeros_like(u)
            ends[body.on(0, 1.0), 0] = strain
            found = solve(body, law, fixed, u, internal_variables, ends)
            return found, float(area @ found.stress[:, 0, 0])

        end = brentq(lambda e, pull=pull: pull(e)[1], -5e-3, 5e-3, xtol=1e-12)
        found = pull(end)[0]
        u = found.displacement
        internal_variables = type(body.virgin())(
            found.plastic_strain, found.equivalent_plastic_strain, body.virgin().reference_strain
        )
        if t == peak and peak >= 134:
            assert end == pytest.approx(4.0e-4, rel=1e-4), (
                f"strain of the three bars while hot, peak {peak} K"
            )  # + sy A_w / (E A_b) while hot
    assert found.stress[:, 0, 0] == pytest.approx([weld, beside], abs=1e-4 * SY), (
        f"stress of hot and cold bars when cold, peak {peak} K, the further off [MPa]"
    )
    assert end == pytest.approx(strain, abs=1e-8), (
        f"strain of the three bars when cold, peak {peak} K"
    )


# Flat bar 40 x 6, strip 4 wide at the +y edge. Half of it, 140 long, x = 0 being mid-length.
HALF = 140.0


def edge_bar(element="brick20"):
    y = np.r_[-20.0, 16 - np.geomspace(36, 1, 8)[1:], np.linspace(16, 20, 4)]
    body = box(np.linspace(0, HALF, 15), y, np.array([-3.0, 0.0, 3.0]), element)
    return body, body.at[..., 1] > 16


def edge_supports(body, kind):
    fixed = np.zeros_like(body.points, bool)
    fixed[body.on(0, 0.0), 0] = True
    fixed[body.nearest((0, -20, -3))] = True
    fixed[body.nearest((0, -20, 3)), 1] = True
    if kind != "free":
        fixed[body.on(1, -20.0), 1] = True  # clamped straight
    if kind == "straight and long":
        fixed[body.on(0, HALF), 0] = True  # and in length
    return fixed


def edge_curvature(body, u):
    line = body.on(2, 0.0) & body.on(1, -20.0) & (body.points[:, 0] < HALF / 2)
    return curvature(body.points, u, 0, 1, line)


def edge_history(body, strip, kind, rises, along_only=True, yield_stress=SY):
    """Heat the strip through `rises`, last one cold; then take the clamps away."""
    u, internal_variables = body.still(), body.virgin()
    for rise in rises:
        swell = np.where(strip, ALPHA * rise, 0.0)
        law = elastic(body, E, 0.3, 0.0 if along_only else swell, yield_stress)
        imposed = inherent(body, swell if along_only else 0.0, 0).reference_strain
        internal_variables = type(internal_variables)(
            internal_variables.plastic_strain, internal_variables.equivalent_plastic_strain, imposed
        )
        ((found, internal_variables),) = follow(
            body, [law], edge_supports(body, kind), u, internal_variables
        )
        u = found.displacement
    before = internal_variables.equivalent_plastic_strain
    ((found, internal_variables),) = follow(
        body, [law], edge_supports(body, "free"), u, internal_variables
    )
    return found, internal_variables, before


HEAT_AND_COOL = np.r_[np.linspace(0, 600, 9)[1:], np.linspace(600, 0, 13)[1:]]


def test_edge_heated_bar_elastic_bow():
    """dT = 100: kappa = alpha dT A1 e / I = 1.620e-5, hot side convex; sag over 300 mm 0.18225."""
    body, strip = edge_bar()
    found = solve(
        body, elastic(body, E), edge_supports(body, "free"),
        internal_variables=inherent(body, np.where(strip, ALPHA * 100, 0), 0),
    )  # fmt: skip
    kappa = edge_curvature(body, found.displacement)
    assert -kappa == pytest.approx(1.620e-5, rel=0.01), (
        "curvature of the bar heated along its edge [1/mm]"
    )
    assert -kappa * 300**2 / 8 == pytest.approx(0.18225, rel=0.01), (
        "sag of the bar heated along its edge, over 300 mm [mm]"
    )


@pytest.mark.parametrize(
    "kind, along_only, expected, tolerance",
    [
        ("free", True, -2.4691e-5, 0.02),
        pytest.param("straight", True, -1.8000e-5, 0.02, marks=pytest.mark.slow),
        pytest.param("straight and long", True, -1.6200e-5, 0.02, marks=pytest.mark.slow),
        pytest.param("free", False, -2.4691e-5, 0.05, marks=pytest.mark.slow),
    ],
)
def test_edge_heated_bar_after_cooling(kind, along_only, expected, tolerance):
    """Heated by 600 K and cooled: kappa of a free bar, and after clamps come off when cold.

    -sy A1 e2 / (E I2) free; the clamped ones spring back by the moment locked in. Values do not
    depend on the temperature once the strip has yielded in tension. Expansion along the bar only
    is what beam algebra assumes (2 %); the same in all directions adds a three-axial state, which
    on ever finer meshes takes 3 % off the bow (5 %) and lets the mean stress along the strip pass
    sy by 2 % though no point leaves the yield surface (4 %).
    """
    body, strip = edge_bar()
    found, internal_variables, before = edge_history(body, strip, kind, HEAT_AND_COOL, along_only)
    kappa = edge_curvature(body, found.displacement)
    assert -kappa == pytest.approx(expected, rel=tolerance), (
        f"curvature once cold, {kind}, shrinking "
        f"{'along alone' if along_only else 'in all directions'} [1/mm]"
    )
    inside = strip & (body.at[..., 0] < HALF / 2)
    if along_only and kind == "free":
        assert found.stress[inside][:, 0].mean() == pytest.approx(SY, rel=0.04), (
            "mean stress along the strip [MPa]"
        )
    # Must-hold 28: coming off the clamps is elastic.
    gain = internal_variables.equivalent_plastic_strain - before
    assert gain.max() < 1e-6, "flow as the clamps come off, at most"
    assert mises(found.stress).max() < SY * (1 + 1e-6), (
        "equivalent stress, no more than the yield stress, MPa"
    )


@pytest.mark.slow
def test_half_the_load_step_changes_little():
    """Must-hold 16: the final bow of the edge-heated bar with half the step, within 2 %."""
    body, strip = edge_bar()
    bows = []
    for n in (6, 12):
        rises = np.r_[np.linspace(0, 300, n + 1)[1:], np.linspace(300, 0, n + 1)[1:]]
        found, _, _ = edge_history(body, strip, "free", rises)
        bows.append(edge_curvature(body, found.displacement))
    assert bows[0] == pytest.approx(bows[1], rel=0.02), (
        "curvature once cold with half the step [1/mm]"
    )
    # fibre integration with 4000 fibres: -2.3771e-5 for 300 K
    assert -bows[1] == pytest.approx(-2.3771e-5, rel=0.03), (
        "curvature once cold, against integration over fibres [1/mm]"
    )
