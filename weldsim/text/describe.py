"""What would be simulated, in words, before anything is computed."""

from __future__ import annotations

from weldsim.case.doubts import case_doubts
from weldsim.joints.registry import kind_of_case
from weldsim.materials.material import load_material
from weldsim.runs.cost import cost_of
from weldsim.simulation.start_rules import COLD
from weldsim.text.cautions import CAUTIONS, DEFER, HEADING
from weldsim.text.describe_bar import bar_lines, clamp_of_bar
from weldsim.text.describe_joint import clamps_of_joint, joint_lines
from weldsim.text.grade_words import grade_words
from weldsim.text.quantities import (
    Words,
    as_written,
    difference,
    given,
    in_degc,
    in_m,
    in_mm,
    joined,
    quantity,
    words,
)

HEATED_THROUGH = 100.0  # K; above it shrinkage rules for wide plates fail (common practice)


def describe(case, cautions: bool = True) -> list[str]:
    """A case in words, as `weldsim check` says it.

    Parameters
    ----------
    case : Case
        What would be simulated.
    cautions : bool, optional
        Whether all cautions follow.

    Returns
    -------
    list of str
        One for each line.
    """
    middle = bar_lines(case) if kind_of_case(case).seams_of_welds else joint_lines(case)
    return [
        case.title, "", *middle, *_air(case), *_gauges(case),
        *_size(case), *_heat_notes(case), *_doubts(case), *(_cautions() if cautions else ()),
    ]  # fmt: skip


def clamped_lines(case) -> list[str]:
    """How a part is clamped, one line a clamp."""
    bar = kind_of_case(case).seams_of_welds
    return clamp_of_bar(case) if bar else clamps_of_joint(case)


def _doubts(case) -> list[str]:
    return [words("Warning: {}.", as_written(said)) for _, _, said in case_doubts(case)]


def _cautions() -> list[str]:
    return ["", f"{HEADING}:", *(f"  {c}" for c in CAUTIONS), f"  {DEFER}"]


def _air(case) -> list[str]:
    s = case.surroundings
    return [
        words(
            "Surroundings: {}, heat loss to air {}, emissivity {}; the part starts at {}.",
            in_degc(s.ambient), given(s.film_coefficient, "W/m2/K", ".3g"),
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
                f"light beam on the {at}, pointing along {g.aim}, target {{}} away, up is {g.up}",
                in_m(g.throw or 0),
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
    e = cost_of(case)
    s = case.solve
    cold = words("it is cold ({} above ambient)", difference(COLD))
    end = cold if s.end == "cold" else f"{s.end:.4g} s"
    return [
        words("Model {}, {}, until {}.", s.model, grade_words(s.grade), end),
        f"Mesh: {e.cells} cells, {e.displacement_unknowns} displacement and "
        f"{e.temperature_unknowns} temperature equations; about {e.steps} steps.",
        f"Expect about {time_words(e.seconds)} and {e.memory / 1e6:.0f} MB (good to a factor of "
        "two).",
    ]


def time_words(seconds: float) -> str:
    """How long something takes, for a person who decides whether to wait.

    Parameters
    ----------
    seconds : float
        Estimated. [s]

    Returns
    -------
    str
        Seconds up to two minutes, then minutes.
    """
    if seconds < 1:
        return "1 s at most"
    return f"{seconds:.0f} s" if seconds < 120 else f"{seconds / 60:.0f} min"


def _degrees(kelvin: float, material) -> Words:
    """A temperature; "over" the highest that the tables reach."""
    top = float(material.table("enthalpy")[0][-1])
    over = "over " if kelvin >= top else ""
    return words("{}{}", over, quantity(min(kelvin, top) - 273.15, "°C", ".0f"))


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
        (
            words("{} {}", w.name, _degrees(t, material))
            for w, t in zip(case.welds, reached, strict=True)
        ),
    )
    out = [words("Heat of one bead spread over the whole part brings it to: {}.", alone)]
    if len(heats) > 1:
        together = bulk_temperature(material, sum(heats), start)
        out.append(words("  All beads without a pause: {}.", _degrees(together, material)))
        reached.append(together)
    if max(reached) - start > HEATED_THROUGH:
        out.append(
            "  The bar is heated through: rules for wide plates (shrinkage force, camber per heat, "
            "cooling time t8/5) do not apply to it."
        )
    return out
