"""What would be simulated, in words, before anything is computed."""

from __future__ import annotations

from dataclasses import dataclass

from weldsim.geometry.grades import GRADES
from weldsim.joints.build import build_part
from weldsim.joints.registry import kind_of_case
from weldsim.materials.material import load_material
from weldsim.physics.back_ends import available_back_end
from weldsim.text.cautions import CAUTIONS, DEFER
from weldsim.text.describe_bar import bar_lines
from weldsim.text.describe_joint import joint_lines
from weldsim.text.quantities import in_degc, in_mm, joined, quantity, words

# Seconds per step and per unknown^1.65, measured on two cores with the fast solver (see
# benchmarks/README.md); a slower solver back end multiplies it.
STEP_COST = 9.6e-8
# The same for tubes and plates, whose Newton steps are more: 5.6 s a torch step at 31 000 unknowns
# and 66 s at 91 000, about two thirds of that on average with the pauses.
THIN_COST, THIN_GROWTH = 2.1e-10, 2.28
SLOWER = {"pardiso": 1.0, "rslab": 2.0, "superlu": 8.0}
REST_STEPS = {"coarse": 25, "quick": 35, "normal": 55, "fine": 110}
COMPANION_SHARE = 0.2  # of the time, for the coarser run behind the error estimate
HEATED_THROUGH = 100.0  # K; above it shrinkage rules for wide plates fail (common practice)


@dataclass(frozen=True)
class Estimate:
    """Size and cost of a run: counts, seconds, bytes. Good to about a factor of two."""

    cells: int
    displacement_unknowns: int
    temperature_unknowns: int
    steps: int
    seconds: float
    memory: float


def estimate(case) -> Estimate:
    """Mesh the part and estimate the run from its size."""

    part = build_part(case)
    grade = GRADES[case.solve.grade]
    unknowns = 3 * part.lattice.displacement_points
    kind = kind_of_case(case)
    step = kind.torch_step * grade.torch_step
    torch = sum(w.duration * w.arc.speed / (step * w.bead_width) + 1 for w in case.welds)
    steps = int(torch + REST_STEPS[grade.name] + 10 * (len(case.welds) - 1))
    each = STEP_COST * unknowns**1.65
    if not kind.heated_through:
        each = THIN_COST * unknowns**THIN_GROWTH
    seconds = steps * each * SLOWER[available_back_end()]
    if case.solve.companion:
        seconds *= 1 + COMPANION_SHARE
    memory = 220e6 + unknowns * 13e3
    return Estimate(
        part.mesh.t.shape[1],
        unknowns,
        part.lattice.points.shape[0],
        steps,
        seconds,
        memory,
    )


def describe(case) -> list[str]:
    """A case in words, as `weldsim check` says it.

    Parameters
    ----------
    case : Case
        What would be simulated.

    Returns
    -------
    list of str
        One for each line, cautions last.
    """
    middle = bar_lines(case) if kind_of_case(case).seams_of_welds else joint_lines(case)
    return [
        case.title, "", *middle, *_air(case), *_gauges(case),
        *_size(case), *_heat_notes(case), "", "Cautions:", *(f"  {c}" for c in CAUTIONS),
        f"  {DEFER}",
    ]  # fmt: skip


def _air(case) -> list[str]:
    s = case.surroundings
    return [
        words(
            "Surroundings: {}, heat loss to air {}, emissivity {}; the part starts at {}.",
            in_degc(s.ambient), quantity(s.film_coefficient, "W/m2/K", ".3g"),
            f"{s.emissivity:.2g}", in_degc(s.preheat),
        )
    ]  # fmt: skip


def _gauges(case) -> list[str]:
    out = []
    for g in case.gauges:
        at = g.at
        if isinstance(at, tuple):
            x, y, z = at
            at = words("x = {}, y = {}, z = {}", in_mm(x, named=False), in_mm(y, named=False),
                       in_mm(z))  # fmt: skip
        text = {
            "pointer": words(
                f"light beam on the {at}, aimed {g.aim}, target {{}} away, up is {g.up}",
                quantity(g.throw or 0, "m", ".3g"),
            ),
            "dial": words("dial indicator at {}, reading toward {}", at, g.direction),
            "thermocouple": words("thermocouple at {}", at),
            "bow": f"bow of the centre line at mid length, positive toward {g.direction}",
            "gap": f"opening of the gap on the {at} side",
            "reaction": f"force and moment of clamp {at} on the part, the moment about its middle",
        }[g.kind]
        out.append(words("Gauge {}: {}.", g.name, text))
    return out


def _size(case) -> list[str]:
    e = estimate(case)
    s = case.solve
    end = "it is cold (2 K above ambient)" if s.end == "cold" else f"{s.end:.4g} s"
    return [
        f"Model {s.model}, grade {s.grade}, until {end}.",
        f"Mesh: {e.cells} cells, {e.displacement_unknowns} displacement and "
        f"{e.temperature_unknowns} temperature unknowns; about {e.steps} steps.",
        f"Expect about {_time(e.seconds)} and {e.memory / 1e6:.0f} MB (good to a factor of two).",
    ]


def _time(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 120 else f"{seconds / 60:.0f} min"


def bulk_temperature(material, heat_per_mass: float, start: float) -> float:
    """Temperature of metal that takes up heat evenly and loses none. [K]

    Parameters
    ----------
    material : Material
    heat_per_mass : float
        [J/kg]
    start : float
        Temperature before. [K]
    """
    import numpy as np

    temperatures, enthalpy = material.table("enthalpy")
    before = np.interp(start, temperatures, enthalpy)
    return float(np.interp(before + heat_per_mass, enthalpy, temperatures))


def _heat_notes(case) -> list[str]:
    """How far the arcs heat the whole part, were nothing lost."""

    start = case.surroundings.preheat
    if not kind_of_case(case).heated_through:
        return []
    material = load_material(case.material_path)
    mass = material.density * case.part.volume
    heats = [w.arc.power * w.duration / mass for w in case.welds]
    reached = [bulk_temperature(material, h, start) for h in heats]
    alone = joined(
        ", ",
        (words("{} {}", w.name, in_degc(t)) for w, t in zip(case.welds, reached, strict=True)),
    )
    out = [words("Heat of one bead spread over the whole part brings it to: {}.", alone)]
    if len(heats) > 1:
        together = bulk_temperature(material, sum(heats), start)
        out.append(words("  All beads without a pause: {}.", in_degc(together)))
        reached.append(together)
    if max(reached) - start > HEATED_THROUGH:
        out.append(
            "  The bar is heated through: rules for wide plates (shrinkage force, camber per heat, "
            "cooling time t8/5) do not apply to it."
        )
    return out
