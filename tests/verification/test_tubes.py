"""Tubes with a strip of inherent strain, springs and contact against closed forms."""

from dataclasses import replace

import numpy as np
import pytest

from tests.verification.mech_tools import body_of, box, elastic, inherent, solve
from weldsim.geometry.blocks import mesh_blocks
from weldsim.joints.assembly import Assembly, spans
from weldsim.physics.contact import Contact
from weldsim.physics.equilibrium import solve_equilibrium
from weldsim.physics.plasticity import InternalVariables
from weldsim.physics.rigid_motion import mean_motion, rigid_rotation
from weldsim.physics.springs import Spring

E, NU = 210e3, 0.3  # N/mm2; all lengths here are mm


def square_tube(width=50.0, wall=3.0, length=300.0, band=6.0):
    """A square tube along x whose middle `band` has cells of its own."""
    half, inner = width / 2, width / 2 - wall
    kit = Assembly(lambda places: np.full(len(places), 25.0))
    xs = [0.0, length / 2 - band / 2, length / 2 + band / 2, length]
    ring = [-half, -inner, inner, half]
    for x in spans(xs):
        for y in spans(ring):
            for z in spans(ring):
                if y == (-inner, inner) and z == (-inner, inner):
                    continue
                cells = [max(1, round((b - a) / 12)) for a, b in (x, y, z)]
                kit.box(x, y, z, "part", cells)
    volume = (width**2 - (width - 2 * wall) ** 2) * length
    return body_of(mesh_blocks(kit.finish({"part": volume})))


def test_kink_of_a_tube_from_a_weld_across_one_wall():
    """theta = S A1 e / I and shortening S A1 / A: beam statics, exact by reciprocity.

    Worked value of 50 x 50 x 3 with S = 0.3 mm: I = 208492 mm4, 5.072 mrad, 0.0798 mm.
    """
    width, wall, length, band, shrink = 50.0, 3.0, 300.0, 6.0, 0.3
    body = square_tube(width, wall, length, band)
    x, z = body.at[..., 0], body.at[..., 2]
    strip = (np.abs(x - length / 2) < band / 2) & (z > width / 2 - wall)
    internal_variables = inherent(body, np.where(strip, -shrink / band, 0.0), 0)
    fixed = np.zeros_like(body.points, dtype=bool)
    fixed[body.on(0, 0.0)] = True
    found = solve(body, elastic(body, E, NU), fixed, internal_variables=internal_variables)
    end = body.on(0, length)
    turn = rigid_rotation(body.points[end]) @ found.displacement[end].ravel()
    area = width**2 - (width - 2 * wall) ** 2
    inertia = (width**4 - (width - 2 * wall) ** 4) / 12
    arm = width / 2 - wall / 2
    assert inertia == pytest.approx(208492, rel=1e-5), (
        "second moment of the tube, against the worked value [mm4]"
    )
    assert -turn[1] == pytest.approx(shrink * width * wall * arm / inertia, rel=0.01), (
        "kink of the tube, closed form [rad]"
    )
    assert -turn[1] == pytest.approx(5.072e-3, rel=0.01), "kink of the tube, worked value [rad]"
    short = -found.displacement[end, 0].mean()
    assert short == pytest.approx(shrink * width * wall / area, rel=0.01), (
        "shortening of the tube [mm]"
    )
    assert np.abs(turn[[0, 2]]).max() < 1e-3 * abs(turn[1]), (
        "twist and side swing of the tube, the larger, rad"
    )  # neither twist nor side swing


def round_tube(radius=23.5, wall=3.0, length=120.0, around=48, band=4.0):
    """A quarter of a round tube about x, laid out flat and wrapped; `band` half width amid it."""
    kit = Assembly(lambda places: np.full(len(places), 2.0))
    arc = np.pi / 2
    xs = [0.0, length / 2 - band, length / 2 + band, length]
    for x, cells in zip(spans(xs), (14, 4, 14), strict=True):
        kit.box(x, (0.0, arc), (radius - wall / 2, radius + wall / 2), "part",
                (cells, around // 4, 2))  # fmt: skip

    def wrap(p):
        return np.column_stack([p[:, 0], p[:, 2] * np.cos(p[:, 1]), p[:, 2] * np.sin(p[:, 1])])

    volume = np.pi / 4 * ((radius + wall / 2) ** 2 - (radius - wall / 2) ** 2) * length
    return body_of(mesh_blocks(kit.finish({"part": volume}, wrap, tolerance=0.01)))


def test_girth_band_draws_the_tube_in():
    """w = |e*| R (1 - exp(-lambda c) cos(lambda c)) at the middle of a band of half width c.

    Shell theory of an edge-loaded cylinder (Timoshenko, Theory of Plates and Shells, 114-115, from
    memory); 0.02615 mm for R = 23.5, t = 3, c = 4, e* = -2e-3, against 0.047 mm of a free ring. The
    wall is thick for a shell (t/R = 1/8), hence 6 %.
    """
    radius, wall, length, half, shrink = 23.5, 3.0, 120.0, 4.0, 2e-3
    body = round_tube(radius, wall, length)
    x, y, z = np.moveaxis(body.at, -1, 0)
    band = np.abs(x - length / 2) < half
    angle = np.arctan2(z, y)
    c, s = np.cos(angle), np.sin(angle)
    cells, points = body.model.shape_counts
    strain = np.zeros((cells, points, 6))
    hoop = np.where(band, -shrink, 0.0)
    strain[..., 1], strain[..., 2], strain[..., 4] = hoop * s * s, hoop * c * c, -hoop * s * c
    virgin = InternalVariables.virgin(cells, points)
    internal_variables = InternalVariables(
        virgin.plastic_strain, virgin.equivalent_plastic_strain, strain
    )
    fixed = np.zeros_like(body.points, dtype=bool)
    fixed[body.on(2, 0.0), 2] = True  # planes of symmetry
    fixed[body.on(1, 0.0), 1] = True
    fixed[body.on(0, 0.0), 0] = True
    found = solve(body, elastic(body, E, NU), fixed, internal_variables=internal_variables)
    middle = body.on(0, length / 2)
    away = np.hypot(body.points[:, 1], body.points[:, 2])
    inward = -(found.displacement[:, 1:] * body.points[:, 1:]).sum(axis=1) / away
    decay = (3 * (1 - NU**2)) ** 0.25 / np.sqrt(radius * wall)
    shell = shrink * radius * (1 - np.exp(-decay * half) * np.cos(decay * half))
    assert shell == pytest.approx(0.02615, rel=1e-3), (
        "formula for the movement inward, against the worked value [mm]"
    )
    drawn = inward[middle].mean()
    assert 0 < drawn < shrink * radius, (
        "movement inward, less than that of a free ring, mm"
    )  # inward, and less than a ring that is free
    assert drawn == pytest.approx(shell, rel=0.06), "movement inward at the middle of the band [mm]"
    quarter_wave = np.pi / 2 / decay  # beyond the band the sign of the deflection turns
    far = np.abs(body.points[:, 0] - length / 2 - half - 2.2 * quarter_wave) < 2.0
    assert inward[far].mean() < 0.1 * drawn, (
        "movement inward beyond the band, against that at its middle, mm"
    )


def test_spring_clamp_carries_its_share():
    """Bar in tension and bending against a spring at its end: stiffnesses in parallel.

    The load is conjugate to the mean shift (or turn) the spring sees, so the bar's own stiffness
    is that load over that motion, near E A / L and E I / L.
    """
    length, side = 100.0, 10.0
    body = box(np.linspace(0, length, 11), [0.0, 5.0, side], [0.0, 5.0, side])
    fixed = np.zeros_like(body.points, dtype=bool)
    fixed[body.on(0, 0.0)] = True
    end = np.flatnonzero(body.on(0, length))
    mean = mean_motion(body.points[end])
    law = elastic(body, E, 0.0)
    virgin = InternalVariables.virgin(*body.model.shape_counts)

    def motion(which, amount, stiffness):
        load = np.zeros_like(body.points)
        load[end] = (amount * mean[which]).reshape(-1, 3)
        springs = () if stiffness is None else (Spring(end, mean, stiffness, np.zeros(6)),)
        found = solve_equilibrium(
            body.model, np.zeros_like(body.points), law, virgin, fixed, load=load, springs=springs
        )
        return (mean @ found.displacement[end].ravel())[which], found.reaction[end]

    axial, turning = E * side**2 / length, E * side**4 / 12 / length
    own = 1000.0 / motion(0, 1000.0, None)[0]
    assert own == pytest.approx(axial, rel=0.05), "stiffness of the bar in tension [N/mm]"
    stiff = 5000.0 / motion(4, 5000.0, None)[0]
    assert stiff == pytest.approx(turning, rel=0.05), "stiffness of the bar in bending [N mm/rad]"
    for share in (0.1, 1.0, 30.0):
        both = np.r_[[share * axial] * 3, [share * turning] * 3]
        shift, reaction = motion(0, 1000.0, both)
        assert shift == pytest.approx(1000.0 / (own + share * axial), rel=1e-5), (
            f"shift of the end, spring of {share:g} of the bar's stiffness [mm]"
        )
        assert reaction.sum(axis=0)[0] == pytest.approx(-share * axial * shift, rel=1e-6), (
            f"force of the spring, {share:g} of the bar's stiffness [N]"
        )
        loose = np.r_[[1e-9 * axial] * 3, [share * turning] * 3]
        turn, _ = motion(4, 5000.0, loose)
        assert turn == pytest.approx(5000.0 / (stiff + share * turning), rel=1e-4), (
            f"turn of the end, spring of {share:g} of the bar's stiffness [rad]"
        )


def test_a_body_held_by_springs_alone():
    """Nothing but a spring: the shift is force over stiffness, the part itself is free."""
    body = box(np.linspace(0, 60.0, 7), [0.0, 5.0, 10.0], [0.0, 5.0, 10.0])
    start, end = (np.flatnonzero(body.on(0, x)) for x in (0.0, 60.0))
    mean = mean_motion(body.points[start])
    spring = Spring(start, mean, np.r_[[5e3] * 3, [1e7] * 3], np.zeros(6))
    load = np.zeros_like(body.points)
    load[end] = (mean_motion(body.points[end]).T @ np.r_[0, 0, 300.0, 0, 0, 0]).reshape(-1, 3)
    cells, points = body.model.shape_counts
    found = solve_equilibrium(
        body.model, np.zeros_like(body.points), elastic(body, E, NU),
        InternalVariables.virgin(cells, points), np.zeros_like(body.points, dtype=bool), load=load,
        springs=(spring,),
    )  # fmt: skip
    motion = mean @ found.displacement[start].ravel()
    assert motion[2] == pytest.approx(300.0 / 5e3, rel=1e-6), (
        "shift of a body held by a spring alone [mm]"
    )
    assert motion[4] == pytest.approx(-300.0 * 60.0 / 1e7, rel=1e-6), (
        "turn of a body held by a spring alone [rad]"
    )
    total = found.reaction.sum(axis=0)
    np.testing.assert_allclose(
        total,
        [0, 0, -300.0],
        atol=1e-3,
        err_msg="reactions of a body held by a spring alone, the furthest off [N]",
    )


def test_touching_faces_push_and_do_not_pull():
    """Two columns with a soft layer between them: pressed, the closing stops at the gap."""
    body = box([0.0, 5.0, 10.0], [0.0, 5.0, 10.0], [0.0, 10.0, 20.0, 21.0, 31.0, 41.0])
    layer = (body.at[..., 2] > 20) & (body.at[..., 2] < 21)
    law = elastic(body, np.where(layer, 1e-5 * E, E), 0.0)
    below, above = (np.flatnonzero(body.on(2, z)) for z in (20.0, 21.0))
    order = [np.lexsort(body.points[p][:, :2].T) for p in (below, above)]
    below, above = below[order[0]], above[order[1]]
    gap = 0.4 - 5e-6  # half the way over which touching sets in counts as closed
    stiff = np.full(len(below), 1e7)
    up = np.tile([0.0, 0.0, 1.0], (len(below), 1))
    contact = Contact(below, above, up, np.full(len(below), gap), stiff)
    body = replace(body, model=body.model.touching(contact))
    fixed = np.zeros_like(body.points, dtype=bool)
    fixed[body.on(2, 0.0)] = True
    top = body.on(2, 41.0)
    fixed[top] = True
    cells, points = body.model.shape_counts
    virgin = InternalVariables.virgin(cells, points)
    for move, touches in ((-0.3, False), (-0.5, True), (0.5, False)):
        target = np.zeros_like(body.points)
        target[top, 2] = move
        found = solve_equilibrium(
            body.model, np.zeros_like(body.points), law, virgin, fixed, prescribed=target
        )
        force = found.reaction[top, 2].sum()
        springs = 1 / (20 / (E * 100) + 20 / (E * 100))  # the two columns in series
        expected = springs * (move + gap) if touches else 0.0
        scale = springs * 0.1
        assert force == pytest.approx(expected, abs=0.02 * scale), (
            f"force on the column moved by {move:g} mm, gap 0.4 mm [N]"
        )
