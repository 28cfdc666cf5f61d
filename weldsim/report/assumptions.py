"""What a report says the numbers rest on, and what the solvers were compared with."""

from __future__ import annotations

from weldsim.runs.reading import RunRecord
from weldsim.runs.recorded_case import RecordedCase, recorded_case
from weldsim.text.quantities import quantity, words

START_OF_BAR = "The part starts flat, without stress, at its preheat temperature; no tack welds."
START_OF_JOINT = "The pieces start as drawn, without stress, at their preheat temperature."
ASSUMED_BY_TACKS = {
    "cold": "Tacks are there from the start, cold and without stress.",
    "arc": "Tacks are laid with the arc before the first weld.",
    "none": "No tack welds: nothing but what holds the part joins the pieces until an arc does.",
}
OPEN_LAND = (
    "The contact faces at the root stay open until an arc fuses them to the stated penetration; "
    "where they touch they push on each other without friction and pass no heat."
)
OWN_LAND = (
    "The contact faces at the root (the file calls them land) stay open; where they touch they "
    "push on each other without friction and pass no heat. All other metal in the file is joined."
)
ASSUMED_BY_CLAMP = {
    "rigid": "A rigid clamp does not give: all of the clamped face stays where it was when the "
    "clamp closed.",
    "spring": "A spring clamp pulls back in proportion to the mean movement of the clamped face, "
    "the same in all directions; the face may still warp.",
    "table": "A table pushes where the part presses on it, without friction, and lets go of what "
    "lifts off; heat goes into it wherever the part lay on it. Weight is left out.",
}
SLIDES = "Faces under a clamp that slides stay at its height and move along it without friction."
LOOSE = "A clamp opens at once, and the part springs to where it then rests."
PRESET = (
    "The preset is a tilt of the free piece before the first arc, given without stress; gauges "
    "read from the straight part."
)
AT_ONCE = (
    "Beads are laid all along their length at once, each with its whole heat in the middle of the "
    "time it takes: how the arc travels, and what that does to the ends of a bead, is left out."
)
FORCED = (
    "Forced cooling between welds is an even heat loss to air of {} on all free faces while no "
    "arc burns, until the last weld has begun."
)
ASSUMED = (
    "The arc is a moving double ellipsoid of heat with the stated efficiency; arc pressure, flow "
    "in the pool and evaporation are left out, so the pool itself comes out hotter than it is.",
    "Filler joins as the arc passes, and joins without stress.",
    "Strains and rotations are small; see the warnings.",
    "Changes of phase in the solid alter heat content and expansion as in the material's curves, "
    "not strength or shape; no creep.",
)
OWN_FILLER = "Filler is of the part's own metal."
STRONG_FILLER = (
    "Filler yields at {:.4g} times the stress at which the part's own metal does and is like it in "
    "all else. Metal of the part that melts keeps its own strength: mixing in the pool is left out."
)
ASSUMED_BY_HOLD = {
    "one end": "The clamp does not give: all of the clamped length stays where it was and loses "
    "heat evenly.",
    "free": "Nothing holds the part; its own weight is left out.",
    "ends": "The part's own weight is left out.",
}
ASSUMED_BY_MODEL = {
    "plastic": "Metal above the softening temperature of its material file carries nothing and "
    "forgets strain and stress. That temperature is a choice, not calibrated on measured "
    "movements, and with a hot weld nothing else in the file moves the result as much.",
    "elastic": "Shrinkage is taken from each point's own highest temperature: the pull in the "
    "direction of travel is lost. For a first look, not for numbers.",
}
# Published checks that the solvers passed in tests/verification: name, source, file of the tests.
CHECKED = (
    ("Double-ellipsoid heat source", "Goldak and others, 1984", "test_source"),
    ("Heat flow benchmarks T2, T3, T4", "NAFEMS, 1990", "test_heat_nafems"),
    ("Moving line source in a plate", "Rosenthal, 1946", "test_heat_closed_forms"),
    ("Heated and melting solids", "Carslaw and Jaeger, 1959", "test_heat_books"),
    ("Cooling time t8/5 of a plate with the formula's constants", "EN 1011-2, Annex D",
     "test_cooling_time"),
    ("Free, held, bent and two-metal bodies", "closed forms", "test_mech_thermoelastic"),
    ("Restrained bar, three bars, bar heated on one edge", "strength of materials",
     "test_mech_bars"),
    ("Thick sphere and cylinder that yield", "Hill, 1950", "test_mech_plastic"),
    ("Plastic strain path", "NAFEMS non-linear benchmarks, definition; shorter and shorter steps",
     "test_mech_plastic"),
)  # fmt: skip
# What is still missing for each joint kind. None was compared with measurements.
NOT_MEASURED = (
    "The movement of this joint has not been compared with measurements on {}: read it as a "
    "direction and an order of magnitude until you have measured one like it."
)
VALIDATION = {
    kind: NOT_MEASURED.format(words)
    for kind, words in {
        "bar": "a welded bar",
        "square-tube-tee": "a welded tee of square tubes",
        "square-tube-frame": "a welded frame of square tubes",
        "round-tube-saddle": "a round tube welded onto another",
        "round-tube-butt": "round tubes welded end to end",
        "plate-butt": "butt-welded plates",
        "plate-tee": "a welded tee of plates",
        "tube-socket": "a tube welded onto a plate",
        "mesh": "a part like this one",
        "step": "a part like this one",
    }.items()
} | {
    "deposit": "The movement of a deposit was set beside one measured block of forty beads, not "
    "beside this one (weldsim validate --only measured-block; what came of it stands in "
    "benchmarks/README.md): read it as a direction and an order of magnitude."
}


def assumptions(record: RunRecord) -> list[str]:
    """What the numbers rest on, by what the case has."""
    case = recorded_case(record)
    hold = case.clamping
    alone = case.seams_of_welds or case.joint.one_piece
    first = [START_OF_BAR] if alone else [START_OF_JOINT, *_pieces(case)]
    first += [AT_ONCE] if any(w.speed_up > 1 for w in case.welds) else []
    held = [] if case.seams_of_welds else _clamping(case)
    if hold == "free" and held:
        hold = "ends"
    factor = case.filler_yield_factor
    filler = OWN_FILLER if factor == 1.0 else STRONG_FILLER.format(factor)
    extra = [filler, ASSUMED_BY_HOLD.get(hold), *held]
    if case.tilted:
        extra.append(PRESET)
    if case.cooling_film is not None:
        extra.append(words(FORCED, quantity(case.cooling_film, "W/m²/K", ".4g")))
    extra.append(ASSUMED_BY_MODEL.get(case.model))
    return [*first, *ASSUMED, *(line for line in extra if line)]


def _pieces(case: RecordedCase) -> list[str]:
    """How the pieces of a joint are together before and between the arcs."""
    arcs = case.tacks_with_arc
    out = [ASSUMED_BY_TACKS["cold"]] if arcs and not all(arcs) else []
    out += [ASSUMED_BY_TACKS["arc"]] if any(arcs) else []
    out += [] if arcs else [ASSUMED_BY_TACKS["none"]]
    if case.joint.needs_file:
        return [*out, OWN_LAND]
    return out if case.part.penetration is None else [*out, OPEN_LAND]


def _clamping(case: RecordedCase) -> list[str]:
    """What clamps do, by kind, and what happens when one comes off."""
    kinds = dict.fromkeys(c.kind for c in case.clamps)
    out = [ASSUMED_BY_CLAMP[k] for k in kinds if k in ASSUMED_BY_CLAMP]
    out += [SLIDES] if any(c.slides for c in case.clamps) else []
    loose = any(c.off.kind != "never" for c in case.clamps)
    return [*out, LOOSE] if loose else out
