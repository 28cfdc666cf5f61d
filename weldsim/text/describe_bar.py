"""A flat bar, its clamp and its beads in words."""

from __future__ import annotations

from weldsim.case.schedule import timetable
from weldsim.joints.registry import kind_of_case
from weldsim.schema.process import PROCESSES
from weldsim.text.quantities import Words, as_written, given, in_mm, per_mm, words

# ISO 6947 working position of a bead on a bar that stands with its width upright
POSITIONS = {
    "up": ("PF", "vertical upward"), "down": ("PG", "vertical downward"),
    "front": ("PC", "horizontal"), "back": ("PC", "horizontal"),
    "top": ("PA", "flat"), "bottom": ("PE", "overhead"),
}  # fmt: skip


def bar_lines(case) -> list[str]:
    """Part, hold and welds."""
    return [*_part(case), *clamp_of_bar(case), *_welds(case)]


def _part(case) -> list[str]:
    p = case.part
    end = "its first end" if case.clamping.kind == "free" else "the clamped end"
    return [
        words(
            "Part: {}, {}; x from {}, z up the width, front face at +y.",
            as_written(kind_of_case(case).words(p), exact=True), p.material, end,
        )
    ]  # fmt: skip


def clamp_of_bar(case) -> list[str]:
    """Where it is clamped, and when the clamp opens."""
    h = case.clamping
    if h.kind == "free":
        return ["Clamp: none; the part lies free, held only against moving as a whole."]
    off = {"never": "stays closed", "cold": "opens when the part is cold"}
    off = off.get(h.release, None) if isinstance(h.release, str) else None
    off = off or f"opens at {h.release:.4g} s"
    return [
        words(
            "Clamp: on the first {}, holds all directions and takes heat at {}; it {}.",
            in_mm(h.length), given(h.conductance, "W/m2/K", ".4g"), off,
        )
    ]  # fmt: skip


def bead_in_words(bead, travel: str) -> Words:
    """Where a bead lies, which way it is welded, and in which working position of ISO 6947."""
    if bead.line == "across":
        directions = {"up": "up (+z)", "down": "down (-z)"}
        place = words(
            f"across the {bead.face} face at x = {{}}, z = {{}}", in_mm(bead.at), _stretch(bead)
        )
        position = POSITIONS[travel]
    else:
        directions = {"+x": "away from x = 0 (+x)", "-x": "toward x = 0 (-x)"}
        where = "face" if bead.face in ("front", "back") else "edge"
        offset = words(" at z = {}", in_mm(bead.at)) if where == "face" else ""
        place = words("along the {} {}{}, x = {}", bead.face, where, offset, _stretch(bead))
        position = POSITIONS[bead.face]
    return words("{}, welded {}; position {}, {}", place, directions[travel], *position)


def _stretch(bead) -> Words:
    return words("{} to {}", in_mm(bead.begin, named=False), in_mm(bead.finish))


def _welds(case) -> list[str]:
    out, beads = ["Welds in sequence:"], {b.name: b for b in case.part.beads}
    for weld, row in zip(case.welds, timetable(case.welds), strict=True):
        bead, arc = beads[weld.seam], weld.arc
        name, k = PROCESSES[arc.process]
        known = "" if row.start is None else f" (at {row.start:.4g} s)"
        net = arc.line_energy
        out += [
            words("  {}: {}", weld.name, bead_in_words(bead, weld.travel)),
            f"     starts {row.rule}{known}, arc on for {weld.duration:.3g} s",
            words(
                "     {} ({}), {} A, {} V, {}, bead {} x {}",
                name, arc.process, f"{arc.current:.4g}", f"{arc.voltage:.3g}",
                given(1e3 * arc.speed, "mm/s", ".3g"),
                in_mm(bead.width, named=False), in_mm(bead.height),
            ),
            words(
                "     arc energy {}, heat input {} (EN 1011-1, k = {}), into the part {} "
                "(efficiency {})",
                per_mm(row.arc_energy), per_mm(row.heat_input), k, per_mm(net),
                f"{arc.efficiency:.3g}",
            ),
        ]  # fmt: skip
        if not isinstance(case.solve.end, str) and (row.end or 0.0) > case.solve.end:
            out.append(f"     not finished when the run ends at {case.solve.end:.4g} s")
    return out
