"""A flat bar, its vise and its beads in words."""

from __future__ import annotations

from weldsim.case.schedule import timetable
from weldsim.joints.registry import kind_of_case
from weldsim.schema.process import PROCESSES

# ISO 6947 working position of a bead on a bar that stands with its width upright
POSITIONS = {
    "up": ("PF", "vertical upward"), "down": ("PG", "vertical downward"),
    "front": ("PC", "horizontal"), "back": ("PC", "horizontal"),
    "top": ("PA", "flat"), "bottom": ("PE", "overhead"),
}  # fmt: skip


def bar_lines(case) -> list[str]:
    """Part, hold and welds."""
    return [*_part(case), *_hold(case), *_welds(case)]


def _mm(value: float) -> str:
    return f"{1e3 * value:.4g}"


def _part(case) -> list[str]:
    p = case.part
    end = "its first end" if case.hold.kind == "free" else "the held end"
    return [
        f"Part: {kind_of_case(case).words(p)}, {p.material}; "
        f"x from {end}, z up the width, front face at +y."
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


def bead_in_words(bead, travel: str) -> str:
    """Where a bead lies, which way it is welded, and in which working position of ISO 6947."""
    if bead.line == "across":
        directions = {"up": "upward (+z)", "down": "downward (-z)"}
        place = f"across the {bead.face} face at x = {_mm(bead.at)} mm"
        place += f", z = {_mm(bead.begin)} to {_mm(bead.finish)} mm"
        position = POSITIONS[travel]
    else:
        directions = {"+x": "away from x = 0 (+x)", "-x": "toward x = 0 (-x)"}
        where = "face" if bead.face in ("front", "back") else "edge"
        offset = f" at z = {_mm(bead.at)} mm" if where == "face" else ""
        place = f"along the {bead.face} {where}{offset}, x = {_mm(bead.begin)} to " + (
            f"{_mm(bead.finish)} mm"
        )
        position = POSITIONS[bead.face]
    return f"{place}, welded {directions[travel]}; position {position[0]}, {position[1]}"


def _welds(case) -> list[str]:
    out, beads = ["Welds, in order:"], {b.name: b for b in case.part.beads}
    for weld, row in zip(case.welds, timetable(case.welds), strict=True):
        bead, arc = beads[weld.seam], weld.arc
        name, k = PROCESSES[arc.process]
        known = "" if row.start is None else f" (at {row.start:.4g} s)"
        net = arc.power / arc.speed
        out += [
            f"  {weld.name}: {bead_in_words(bead, weld.travel)}",
            f"     starts {row.rule}{known}, arc on for {weld.duration:.3g} s",
            f"     {name} ({arc.process}), {arc.current:.4g} A, {arc.voltage:.3g} V, "
            f"{1e3 * arc.speed:.3g} mm/s, bead {_mm(bead.width)} x {_mm(bead.height)} "
            "mm",
            f"     arc energy {1e-6 * row.arc_energy:.3f} kJ/mm, heat input "
            f"{1e-6 * row.heat_input:.3f} kJ/mm (EN 1011-1, k = {k}), into the part "
            f"{1e-6 * net:.3f} kJ/mm (efficiency {arc.efficiency:.3g})",
        ]
        if not isinstance(case.solve.end, str) and (row.end or 0.0) > case.solve.end:
            out.append(f"     not finished when the run ends at {case.solve.end:.4g} s")
    return out
