"""A joint, its holds, tacks and timetable in words and as a table."""

from __future__ import annotations

import numpy as np

from weldsim.case.schedule import rule_in_words, timetable
from weldsim.joints.registry import kind_of_case, seam_lines_of, seams_of
from weldsim.schema.process import PROCESSES
from weldsim.text.quantities import as_written, given, in_degc, in_mm, joined, per_mm, words
from weldsim.text.tilts import tilt_words

# ISO 6947 working position by what faces up: PF and PG go by the travel, the rest by the face
FACING = ((0.92, "PA", "flat"), (0.38, "PB", "horizontal fillet"), (-0.38, "PC", "horizontal"),
          (-0.92, "PD", "overhead fillet"), (-1.1, "PE", "overhead"))  # fmt: skip
STEEP = 0.7  # share of the travel that has to point up or down for PF or PG


def up_of(part) -> np.ndarray:
    """Unit vector that points up in the workshop, shape (3,)."""
    out = np.zeros(3)
    up = getattr(part, "up", "+z")
    out["xyz".index(up[1])] = 1.0 if up[0] == "+" else -1.0
    return out


def position(travel, inward, up) -> tuple[str, str]:
    """Working position of ISO 6947 and its name, from the travel and the way into the part."""
    rise = float(np.dot(travel, up))
    if rise > STEEP:
        return "PF", "vertical upward"
    if rise < -STEEP:
        return "PG", "vertical downward"
    facing = -float(np.dot(inward, up))
    return next((code, name) for limit, code, name in FACING if facing >= limit)


def joint_lines(case) -> list[str]:
    """Part, hold, tacks, welds and timetable."""
    part = case.part
    own = as_written(kind_of_case(case).words(part), exact=True)
    out = [words("Part: {}; {}, {} is up.", own, part.material, part.up)]
    out += clamps_of_joint(case) + _tacks(case) + _preset(case) + _welds(case) + _table(case)
    if case.cooling_film_coefficient is not None:
        forced, usual = case.cooling_film_coefficient, case.surroundings.film_coefficient
        out.append(
            words(
                "Forced cooling between welds: heat loss to air {} in place of {}.",
                given(forced, "W/m2/K", ".4g"), given(usual, "W/m2/K", ".4g"),
            )
        )  # fmt: skip
    return out


def _rule(rule) -> str:
    if rule.kind == "never":
        return "never"
    if rule.kind == "cold":
        return "when the part is cold"
    return rule_in_words(rule)


def clamps_of_joint(case) -> list[str]:
    """One line a clamp: where, what it holds, when it closes and opens."""
    if not case.clamps:
        return ["Clamp: none; the part lies free, held only against moving as a whole."]
    out = []
    for c in case.clamps:
        how = "holds across its faces, which may slide" if c.slides else "holds all directions"
        if c.kind == "table":
            how = "a table, pushes where the part presses on it"
        if c.kind == "spring":
            way = given(c.stiffness / 1e6, "kN/mm", ".4g")
            turn = given(c.turning / 1e3, "kN m/rad", ".4g")
            how = words("gives way elastically, {}", way)
            how = words("{} and {}", how, turn) if c.turning else words("{}, free to turn", how)
        taken = given(c.conductance, "W/m2/K", ".4g")
        heat = words(", takes heat at {}", taken) if c.conductance else ""
        if c.conductance and c.temperatures:
            own = [in_degc(t) for _, t in c.temperatures]
            changes = words("{}, itself {} at first and {} at last", heat, own[0], own[-1])
            heat = words("{}, itself {}", heat, own[0]) if len(own) == 1 else changes
        at = " and ".join(c.at)
        named = f"{c.name} at {at}" if (c.name,) != c.at else c.name
        on = "" if c.on.kind == "time" and c.on.seconds == 0 else f"; closes {_rule(c.on)}"
        off = "stays closed" if c.off.kind == "never" else f"opens {_rule(c.off)}"
        out.append(
            words("Clamp {}: {}{}{}; {}.", named, how, heat, as_written(on), as_written(off))
        )
    return out


def _tacks(case) -> list[str]:
    if not case.tacks and kind_of_case(case).one_piece:
        return []
    if not case.tacks:
        return ["Tacks: none; nothing but the welds joins the pieces."]
    places = [
        words(
            "{} {} to {} (leg {}{})",
            t.seam, in_mm(t.begin, named=False), in_mm(t.finish), in_mm(t.size),
            ", laid with the arc" if t.arc else "",
        )
        for t in case.tacks
    ]  # fmt: skip
    return [words("Tacks, there before the first weld: {}.", joined("; ", places))]


def _preset(case) -> list[str]:
    lean = [
        words("{} toward {}{}", tilt_words(abs(v)), "-" if v < 0 else "+", axis)
        for axis, v in zip("xyz", case.preset, strict=True)
        if v
    ]
    said = words("Preset: the free piece is tilted by {} before welding.", joined(" and ", lean))
    return [said] if lean else []


def _welds(case) -> list[str]:
    up, lines = up_of(case.part), seam_lines_of(case)
    out = ["Welds in sequence:"]
    for number, (weld, seam) in enumerate(zip(case.welds, seams_of(case), strict=True), 1):
        line, arc = lines[weld.seam], weld.arc
        span = "whole"
        if weld.finish - weld.begin < line.length - 1e-6:
            span = words("{} to {} of", in_mm(weld.begin, named=False), in_mm(weld.finish))
        code, name = position(seam.travel, seam.inward, up)
        toward = f", toward {_direction(seam.travel)}; position {code}, {name}"
        if seam.closed:
            toward = f"; positions on the way {', '.join(around(seam, up))}"
        way = "" if weld.travel in ("",) else f" {weld.travel}"
        turned = (
            " (against it in each stretch)"
            if line.directions.get(weld.travel) == -weld.direction
            else ""
        )
        if not (seam.closed or turned) and weld.travel == _direction(seam.travel):
            way, toward = "", toward.removeprefix(",")  # the axis says it
        passes = f", pass {weld.number} of {line.passes}" if line.passes > 1 else ""
        what = "tack" if weld.tack >= 0 else "weld" if weld.filler else "heat only"
        process, k = PROCESSES[arc.process]
        out += [
            words(
                "  {}. {}: {}, {} seam {}{}, travel{}{}{}",
                number, weld.name, what, span, weld.seam, passes, way, turned, toward,
            ),
            words(
                "     {} ({}), {} A, {} V, {}; arc energy {}, heat input {} (EN 1011-1, k = {}), "
                "into the part {} (efficiency {})",
                process, arc.process, f"{arc.current:.4g}", f"{arc.voltage:.3g}",
                given(1e3 * arc.speed, "mm/s", ".3g"), per_mm(arc.arc_energy),
                per_mm(arc.heat_input), k, per_mm(arc.line_energy), f"{arc.efficiency:.3g}",
            ),
        ]  # fmt: skip
        extra = []
        if arc.weave:
            wide = in_mm(arc.weave)
            extra.append(words("weave {} each side at {} Hz", wide, f"{arc.weave_rate:.3g}"))
        if arc.dwell:
            extra.append(f"stands {arc.dwell:.3g} s at the start")
        if arc.crater:
            extra.append(f"stands {arc.crater:.3g} s at the end to fill the crater")
        if extra:
            out.append(words("     {}", joined(", ", extra)))
    return out


def around(seam, up, places: int = 8) -> list[str]:
    """Positions of ISO 6947 along a closed seam, in turn."""
    points, inwards = seam.points, seam.inwards
    out = []
    for share in (np.arange(places) + 0.5) / places:
        i = int(share * (len(points) - 1))
        step = points[i + 1] - points[i]
        code = position(step / np.linalg.norm(step), inwards[i], up)[0]
        code = {"PB": "PA", "PD": "PE"}.get(code, code)  # those two are of fillets
        if not out or out[-1] != code:
            out.append(code)
    return out


def _direction(travel) -> str:
    """The axis a direction points along most."""
    axis = int(np.argmax(np.abs(travel)))
    return ("+" if travel[axis] > 0 else "-") + "xyz"[axis]


def _table(case) -> list[str]:
    """The timetable as far as it is known before the run."""
    out = ["Timetable:", f"  {'weld':<12} {'start':>9} {'arc on':>8} {'end':>9}   starts"]
    for row in timetable(case.welds):
        start = f"{row.start:.1f} s" if row.start is not None else "open"
        end = f"{row.end:.1f} s" if row.end is not None else "open"
        out.append(f"  {row.name:<12} {start:>9} {row.duration:>6.1f} s {end:>9}   {row.rule}")
    return out
