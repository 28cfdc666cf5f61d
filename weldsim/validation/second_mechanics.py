"""The mechanics of a run computed again with FElupe, and its rows.

Taken over from the run: mesh, moments, supports, curves of the metal, which points join and are
set free. FElupe's own: shape functions of the 20-node brick, its 2 x 2 x 2 points, strains and
assembly. The law of the point is written anew (radial return on 3 x 3 tensors), and every
iteration is a full one of Newton's method with SciPy's solver.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from weldsim.case.load import Case, load_case, parse_case
from weldsim.errors import ConvergenceError
from weldsim.plots.style import inline_svg, new_figure, styled
from weldsim.simulation.model import Model
from weldsim.simulation.steps import build_model
from weldsim.system.examples import examples_folder
from weldsim.system.palette import LINES
from weldsim.validation.rows import Check, Comparison, Found
from weldsim.validation.second_heat import Recorded, handedness, heat_again, order_of, recorded

INACTIVE, SOFT, SOFT_RANGE = 1e-5, 1e-4, 50.0  # as the model says: shares of stiffness, K
CLOSE = 1e-7  # force left over, of the largest cell force
MOST = 40  # iterations of a step
ALLOWED = 0.01


@dataclass
class Memory:
    """What the points remember; arrays of FElupe's shape (3, 3, Q, C) and (Q, C)."""

    plastic: np.ndarray
    equivalent: np.ndarray
    reference: np.ndarray


class MechanicsAgain:
    """Equilibrium on FElupe's region of 20-node bricks.

    Parameters
    ----------
    model : Model
        Of the run.
    """

    def __init__(self, model: Model) -> None:
        import felupe

        self.felupe, self.model = felupe, model
        element = felupe.QuadraticHexahedron()
        lattice = model.part.lattice
        ours = 2.0 * lattice.local[lattice.displacement_local] / lattice.local.max() - 1
        way = handedness(model.points, model.mechanics.cells, ours)
        order = order_of(ours, element.points * way)
        mesh = felupe.Mesh(model.points, model.mechanics.cells[:, order], "hexahedron20")
        scheme = felupe.GaussLegendre(order=1, dim=3)
        self.region = felupe.RegionQuadraticHexahedron(mesh, quadrature=scheme)
        self.field = felupe.FieldContainer([felupe.Field(self.region, dim=3)])
        self.points_order = order_of(2 * model.mechanics.quadrature - 1, scheme.points * way)
        shape = self.region.dV.shape
        self.memory = Memory(np.zeros((3, 3, *shape)), np.zeros(shape), np.zeros((3, 3, *shape)))
        self.u = np.zeros_like(model.points)

    def ours(self, values: np.ndarray) -> np.ndarray:
        """Values (C, Q) of weldsim's points in FElupe's shape (Q, C)."""
        return values[:, self.points_order].T

    def strain(self, u: np.ndarray) -> np.ndarray:
        """Strain of a displacement, (3, 3, Q, C)."""
        self.field[0].values[:] = u
        return self.field.extract(grad=True, sym=True, add_identity=False)[0]

    def equilibrium(self, temperature: np.ndarray, carries: np.ndarray, fixed: np.ndarray) -> None:
        """Newton's method from where the part is."""
        from scipy.sparse.linalg import spsolve

        law = _Law(self.model, self.ours(temperature), self.ours(carries))
        free = np.flatnonzero(~fixed.ravel())
        u = self.u.copy()
        for k in range(MOST):
            stress, tangent, new = law.answer(self.strain(u), self.memory)
            force = self._assembled([stress]).ravel()
            size = np.abs(stress).max() * self.region.dV.sum() ** (2 / 3) / 100
            left = np.abs(force[free]).max() / max(size, 1e-3)
            if k and left < CLOSE:
                break
            matrix = self.felupe.IntegralForm(
                [tangent], v=self.field, dV=self.region.dV, u=self.field
            ).assemble()
            change = np.zeros(u.size)
            change[free] = spsolve(matrix.tocsc()[free][:, free], -force[free])
            u = u + self._search(u, change.reshape(u.shape), law, free)
        else:
            raise ConvergenceError(f"the second equilibrium did not converge: {left:.1e} left")
        self.u, self.memory, self.law, self.stress = u, new, law, stress

    def _assembled(self, functions) -> np.ndarray:
        form = self.felupe.IntegralForm(functions, v=self.field, dV=self.region.dV)
        return np.asarray(form.assemble().todense())

    def _search(self, u, change, law, free) -> np.ndarray:
        """The whole step, or the share of it at which the residual's work is small enough."""

        def work(share: float) -> float:
            stress = law.answer(self.strain(u + share * change), self.memory, False)[0]
            return float(self._assembled([stress]).ravel()[free] @ change.ravel()[free])

        first, share = work(0.0), 1.0
        for _ in range(6):
            now = work(share)
            if abs(now) <= 0.8 * abs(first):
                break
            share *= np.clip(first / (first - now), 0.1, 0.7) if now != first else 0.5
        return share * change

    def forget(self, reset: np.ndarray, anneal: np.ndarray | None) -> None:
        """Points that become free of stress where they are, and that lose their hardening."""
        m = self.memory
        if anneal is not None:
            soft = self.ours(anneal)
            m.reference = m.reference + np.where(soft, m.plastic, 0.0)
            m.plastic = np.where(soft, 0.0, m.plastic)
            m.equivalent = np.where(soft, 0.0, m.equivalent)
        freed = self.ours(reset)
        thermal = np.eye(3)[:, :, None, None] * self.law.thermal
        m.reference = np.where(freed, self.strain(self.u) - thermal, m.reference)
        m.plastic = np.where(freed, 0.0, m.plastic)
        m.equivalent = np.where(freed, 0.0, m.equivalent)


class _Law:
    """J2 flow with mixed linear hardening at the temperatures of a step."""

    def __init__(self, model: Model, temperature: np.ndarray, carries: np.ndarray) -> None:
        metal = model.material
        curve = {n: np.interp(temperature, *metal.table(n)) for n in (
            "youngs_modulus", "yield_stress", "hardening_modulus", "thermal_strain")}  # fmt: skip
        soft = metal.softening_temperature
        left = np.interp(temperature, [soft, soft + SOFT_RANGE], [1.0, SOFT])
        modulus = curve["youngs_modulus"] * left * np.where(carries, 1.0, INACTIVE)
        flows = carries & (temperature < soft + SOFT_RANGE)
        self.limit = np.where(flows, curve["yield_stress"] * left, np.inf)
        nu, share = metal.poisson_ratio, metal.isotropic_share
        self.bulk, self.shear = modulus / (3 * (1 - 2 * nu)), modulus / (2 * (1 + nu))
        self.isotropic = share * curve["hardening_modulus"]
        self.kinematic = (1 - share) * curve["hardening_modulus"]
        self.thermal = curve["thermal_strain"]

    def answer(self, strain: np.ndarray, memory: Memory, tangent: bool = True):
        """Stress (3, 3, Q, C), tangent (3, 3, 3, 3, Q, C) and the memory after the step."""
        one = np.eye(3)[:, :, None, None]
        elastic = strain - memory.plastic - memory.reference - one * self.thermal
        trace = np.einsum("iiqc->qc", elastic)
        deviator = 2 * self.shear * (elastic - one * trace / 3)
        shifted = deviator - 2 / 3 * self.kinematic * memory.plastic
        size = np.sqrt((shifted**2).sum(axis=(0, 1)))
        over = np.sqrt(1.5) * size - (self.limit + self.isotropic * memory.equivalent)
        hard = self.isotropic + self.kinematic
        flow = np.where(over > 0, over / (3 * self.shear + hard), 0.0)
        normal = shifted / np.where(size > 0, size, 1.0)
        step = np.sqrt(1.5) * flow
        new = Memory(memory.plastic + step * normal, memory.equivalent + flow, memory.reference)
        stress = deviator - 2 * self.shear * step * normal + self.bulk * trace * one
        if not tangent:
            return stress, None, new
        theta = 1 - 2 * self.shear * step / np.where(size > 0, size, 1.0)
        bar = np.where(flow > 0, 1 / (1 + hard / (3 * self.shear)) - (1 - theta), 0.0)
        i = np.eye(3)
        pairs = np.einsum("ij,kl->ijkl", i, i)[..., None, None]
        both = 0.5 * (np.einsum("ik,jl->ijkl", i, i) + np.einsum("il,jk->ijkl", i, i))
        spread = both[..., None, None] - pairs / 3
        law = self.bulk * pairs + 2 * self.shear * theta * spread
        law = law - 2 * self.shear * bar * np.einsum("ijqc,klqc->ijklqc", normal, normal)
        return stress, law, new


def mechanics_again(
    model: Model, steps: list[Recorded], temperatures: list[np.ndarray]
) -> list[np.ndarray]:
    """Displacement (N, 3) after each step. [m]"""
    again, out = MechanicsAgain(model), []
    for one, temperature in zip(steps, temperatures, strict=True):
        waits = one.after.steps_since_equilibrium > 0
        if not waits:
            at = model.at_quadrature(temperature)
            again.equilibrium(
                at, model.active_points(one.before), model.supports(one.after.closed_clamps)
            )
            if one.event.kind in ("weld", "rest"):
                there = model.active_points(one.after)
                soft = model.material.softening_temperature
                joins = there & ~model.active_points(one.before)
                again.forget(((at >= soft + SOFT_RANGE) & there) | joins, at >= soft)
        out.append(again.u.copy())
    return out


PLATE = """
title = "bead along a plate"
[part]
kind = "bar"
length = "90 mm"
width = "60 mm"
thickness = "6 mm"
material = "carbon-steel"
[clamping]
kind = "free"
[[weld]]
name = "A"
face = "front"
line = "along"
at = "0 mm"
from = "0 mm"
to = "90 mm"
travel = "+x"
process = "135"
current = "100 A"
voltage = "19 V"
efficiency = 0.8
speed = "5 mm/s"
bead_width = "7 mm"
bead_height = "1 mm"
[[gauge]]
name = "straightness"
kind = "bow"
direction = "+y"
[solve]
grade = "coarse"
end = "cold"
"""


def demo_bar(quick: bool) -> list[Found]:
    """The bar with one bead, as its example file has it."""
    folder = examples_folder("cases")
    if folder is None:
        return [Found(state="not run", note="needs the example cases")]
    case = load_case(folder / "pivot_arm_one_bead.toml", ["solve.grade=coarse"])
    return _both(case, "the demo bar")


def plate(quick: bool) -> list[Found]:
    """A bead along the middle of a free plate."""
    return _both(parse_case(PLATE, "plate", []), "a plate with a bead")


def _both(case: Case, title: str) -> list[Found]:
    """Heat history and displacement of a case by both programs."""
    model = build_model(case, threads=1)
    steps = recorded(model)
    temperatures = heat_again(model, steps)
    moved = mechanics_again(model, steps, temperatures)
    return [_heat_row(title, model, steps, temperatures), _movement_row(title, model, steps, moved)]


DIFFERS = {
    "heat": "What differs: how the equations of a step are solved. weldsim lets the conductivities "
    "of a step stand still after five iterations, the other program has them at the temperatures "
    "that come out: it shows most where one step heats cold metal to the melt.",
    "movement": "From FElupe's own temperatures on, so the difference of the heat is in it; on the "
    "same temperatures the two differ by a few millionths.",
}


def _heat_row(title: str, model: Model, steps, temperatures) -> Found:
    """Largest difference of a point's history over that point's own highest rise."""
    start = steps[0].before.temperature
    ours = np.array([s.after.temperature for s in steps])
    other = np.array(temperatures)
    gap, highest = np.abs(other - ours), np.maximum((ours - start).max(axis=0), 10.0)
    molten = ours.max(axis=0) > model.material.solidus
    some = []
    for words, chosen in (("that stay solid", ~molten), ("that melt", molten)):
        off = np.where(chosen, gap.max(axis=0) / highest, 0.0)
        worst = int(off.argmax())
        when = int(gap[:, worst].argmax())
        room = ALLOWED * highest[worst]
        wanted, rise = (float(v[when, worst] - start[worst]) for v in (other, ours))
        label = (
            f"rise of the worst of {chosen.sum()} points {words}, at {steps[when].after.time:.0f} s"
        )
        some.append(Comparison(label, wanted, rise, wanted - room, wanted + room, "K"))
    note = f"Every point at every step within {ALLOWED:.0%} of its own highest rise. "
    return Found(tuple(some), note + DIFFERS["heat"], part="heat",
                 title=f"Heat history of {title} by two programs")  # fmt: skip


def _movement_row(title, model, steps, moved) -> Found:
    """Largest difference of the displacement over the largest displacement of the run."""
    ours = np.array([s.after.displacement for s in steps])
    other = np.array(moved)
    solid = np.isin(np.arange(len(model.points)), model.mechanics.cells[_solid_cells(model)])
    largest = np.linalg.norm(other[:, solid], axis=2).max()
    gap = np.linalg.norm(ours - other, axis=2)[:, solid].max(axis=1)
    when = int(gap.argmax())
    end = gap[-1] / np.linalg.norm(other[-1][solid], axis=1).max()
    some = (
        Comparison("largest difference at any step over the largest displacement of the run", 0.0,
                   100 * gap[when] / largest, -100 * ALLOWED, 100 * ALLOWED, "%"),
        Comparison("difference at the end over the largest displacement there", 0.0, 100 * end,
                   -100 * ALLOWED, 100 * ALLOWED, "%"),
    )  # fmt: skip
    times = [s.after.time for s in steps]
    far = int(np.argmax(model.points[:, 0]))
    return Found(
        some, f"Largest displacement {1e3 * largest:.3f} mm. {DIFFERS['movement']}",
        _picture(times, 1e3 * ours[:, far], 1e3 * other[:, far]), part="movement",
        title=f"Movement of {title} by two programs",
    )  # fmt: skip


def _solid_cells(model: Model) -> np.ndarray:
    """Cells of the part without filler, which has no shape while it waits."""
    return np.asarray(model.part.regions["part"])


@styled
def _picture(times, ours, other) -> str:
    figure = new_figure(4.8, 3.0)
    axes = figure.add_subplot()
    for k, name in enumerate("xyz"):
        axes.plot(times, ours[:, k], color=LINES[k], label=f"{name}, weldsim")
        axes.plot(times, other[:, k], ":", color=LINES[k + 3], label=f"{name}, FElupe")
    axes.set(xlabel="time, s", ylabel="movement of the far end, mm", xscale="log")
    axes.xaxis.set_major_formatter("{x:g}")
    axes.legend(ncols=3, loc="lower center", bbox_to_anchor=(0.5, 1.0), fontsize=8)
    figure.tight_layout()
    return inline_svg(figure, "movement of the far end by two programs")


SOURCE = (
    "FElupe, general finite elements in Python (11.3 when this was written): its shape functions, "
    "quadrature, faces and assembly; the law of the point, Newton's methods and SciPy's solver on "
    "top of it were written for this row"
)
KNOWN = "computed, not measured: both programs may be wrong alike about the physics"
TOLERANCE = "1 % of the largest movement, 1 % of the hottest rise: asked beforehand."
DEVIATIONS = "Grade coarse. Mesh, moments, supports, arc power and curves are those of the run."
CHECKS = (
    Check("second-bar", "second", "The demo bar by an independent finite-element library", SOURCE,
          KNOWN, DEVIATIONS, demo_bar, ("bar",), 25.0, against="program", tolerance=TOLERANCE),
    Check("second-plate", "second", "A plate by an independent finite-element library", SOURCE,
          KNOWN, DEVIATIONS, plate, ("bar", "plate-butt"), 60.0, against="program",
          tolerance=TOLERANCE),
)  # fmt: skip
