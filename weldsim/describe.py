"""What would be simulated, in words, before anything is computed."""

from __future__ import annotations

from dataclasses import dataclass

from weldsim.cautions import CAUTIONS, DEFER
from weldsim.process import PROCESSES
from weldsim.schedule import timetable

# Seconds per step and per unknown^1.4, measured on two cores with the fast solver (see
# benchmarks/README.md); a slower solver back end multiplies it.
STEP_COST = 3.2e-7
SLOWER = {"pardiso": 1.0, "rslab": 2.0, "superlu": 8.0}
REST_STEPS = {"coarse": 25, "quick": 35, "normal": 55, "fine": 110}


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
    from weldsim.mesh import GRADES, build_part
    from weldsim.solve import available_back_end

    part = build_part(case)
    grade = GRADES[case.solve.grade]
    unknowns = 3 * part.lattice.displacement_points
    torch = sum(w.length / (grade.torch_step * w.bead_width) + 1 for w in case.welds)
    steps = int(torch + REST_STEPS[grade.name] + 10 * (len(case.welds) - 1))
    seconds = steps * STEP_COST * unknowns**1.4 * SLOWER[available_back_end()]
    memory = 250e6 + unknowns * 9e3
    return Estimate(
        part.mesh.t.shape[1], unknowns, part.lattice.points.shape[0], steps, seconds, memory
    )


def describe(case) -> list[str]:
    """Lines of `weldsim check`."""
    return [
        case.title, "", *_part(case), *_hold(case), *_welds(case), *_air(case), *_gauges(case),
        *_size(case), *_heat_notes(case), "", "Cautions:", *(f"  {c}" for c in CAUTIONS),
        f"  {DEFER}",
    ]  # fmt: skip


def _mm(value: float) -> str:
    return f"{1e3 * value:.4g}"


def _degc(value: float) -> str:
    return f"{value - 273.15:.4g} degC"


def _part(case) -> list[str]:
    p = case.part
    return [
        f"Part: flat bar {_mm(p.length)} x {_mm(p.width)} x {_mm(p.thickness)} mm, {p.material}; x "
        "from the held end, z up the width, front face at +y."
    ]


def _hold(case) -> list[str]:
    h = case.hold
    if h.kind == "free":
        return ["Hold: none; the part lies free, held just enough not to float away."]
    off = {"never": "stays on", "cold": "comes off when the part is cold"}
    off = off.get(h.release, None) if isinstance(h.release, str) else None
    off = off or f"comes off at {h.release:.4g} s"
    return [
        f"Hold: a vise grips the first {_mm(h.length)} mm, all directions, and takes heat at "
        f"{h.conductance:.4g} W/m2/K; it {off}."
    ]


def weld_in_words(weld) -> str:
    """Where a bead lies and which way it is welded."""
    if weld.line == "across":
        ways = {"up": "upward (+z)", "down": "downward (-z)"}
        place = f"across the {weld.face} face at x = {_mm(weld.at)} mm"
    else:
        ways = {"+x": "away from the held end (+x)", "-x": "toward the held end (-x)"}
        where = "face" if weld.face in ("front", "back") else "edge"
        place = f"along the {weld.face} {where}, x = {_mm(weld.begin)} to {_mm(weld.finish)} mm"
    return f"{place}, welded {ways[weld.travel]}"


def _welds(case) -> list[str]:
    out = ["Welds, in order:"]
    for weld, row in zip(case.welds, timetable(case.welds), strict=True):
        name, k = PROCESSES[weld.process]
        known = "" if row.start is None else f" (at {row.start:.4g} s)"
        out += [
            f"  {weld.name}: {weld_in_words(weld)}",
            f"     starts {row.rule}{known}, arc on for {weld.duration:.3g} s",
            f"     {name} ({weld.process}), {weld.current:.4g} A, {weld.voltage:.3g} V, "
            f"{1e3 * weld.speed:.3g} mm/s, bead {_mm(weld.bead_width)} x {_mm(weld.bead_height)} mm",
            f"     arc energy {1e-6 * weld.arc_energy:.3f} kJ/mm, heat input {1e-6 * weld.heat_input:.3f} "
            f"kJ/mm (EN 1011-1, k = {k}), into the part "
            f"{1e-6 * weld.power / weld.speed:.3f} kJ/mm (efficiency {weld.efficiency:.3g})",
        ]
    return out


def _air(case) -> list[str]:
    s = case.surroundings
    return [
        f"Surroundings: {_degc(s.ambient)}, film {s.film:.3g} W/m2/K, emissivity {s.emissivity:.2g}; "
        f"the part starts at {_degc(s.preheat)}."
    ]


def _gauges(case) -> list[str]:
    out = []
    for g in case.gauges:
        at = g.at if isinstance(g.at, str) else g.at and " ".join(f"{_mm(v)}" for v in g.at) + " mm"
        text = {
            "pointer": f"light beam on the {at}, aimed {g.aim}, target at {g.throw or 0:.3g} m, "
            f"up is {g.up}",
            "dial": f"dial indicator at {at}, reading toward {g.direction}",
            "thermocouple": f"thermocouple at {at}",
            "bow": f"bow of the centre line at mid length, positive toward {g.direction}",
        }[g.kind]
        out.append(f"Gauge {g.name}: {text}.")
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


def _heat_notes(case) -> list[str]:
    """Bulk heating: net heat over the heat content of the whole part."""
    from weldsim.material import load_material

    p = case.part
    material = load_material(case.material_path)
    mass = material.density * p.length * p.width * p.thickness
    heat = sum(w.power * w.duration for w in case.welds)
    temperatures, enthalpy = material.table("enthalpy")
    import numpy as np

    mean = float(np.interp(heat / mass, enthalpy, temperatures))
    out = [f"All arc heat spread over the part would bring it to {_degc(mean)}."]
    if mean - case.surroundings.preheat > 100.0:
        out.append(
            "  The bar is heated through: rules for wide plates (shrinkage force, camber per heat) "
            "do not apply to it."
        )
    return out
