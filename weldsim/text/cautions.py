"""The usual cautions, in one place for README, terminal, report, page and bench sheet."""

from __future__ import annotations

from weldsim.text.quantities import Words, quantity, words

HEADING = "Cautions"
CAUTIONS = (
    "Hot work: get a hot-work permit where one is required, clear or shield what can burn, keep a "
    "fire watch during the work and after it.",
    "Fumes and gases: extract at the arc, stay out of the plume; welding fume can cause cancer, "
    "stainless above all. Zinc and paint make toxic fume: take them off well beyond the seam. "
    "Shielding gas displaces the air in pits, tubes and vessels.",
    "Closed tubes: vent them before they are heated, or pressure builds up inside; first clean out "
    "residues of oil, fuel or solvent, which can catch fire or explode.",
    "Gas cylinders: fixed upright, valve caps on when not in use, away from heat, arc and welding "
    "leads; hoses and regulators without leaks.",
    "Eyes and skin: filter shade for the current, screens for bystanders, leather, no bare skin.",
    "Shock: dry gloves, sound leads, insulated footing; people with a pacemaker keep away.",
    words(
        "Hot metal looks cold: at {} it shows no colour. Mark it.", quantity(300.0, "degC", ".0f")
    ),
    "A clamped part stores energy: release it cold, slowly, one clamp at a time, from a safe side.",
    "Bending cold: the part springs back when let go, and what bends it may slip. Stand out of its "
    "way, bend in small steps, measure with the load off.",
    "Light beam: laser class 2 at most, never toward eyes or bright metal.",
)
DEFER = (
    "Local codes, qualified welding procedures and a licensed engineer decide; weldsim does not "
    "call a joint safe."
)
PREDICTION = "prediction, approves nothing"
APPROVES_NOTHING = "The verdict is a prediction and approves nothing."

# verb -> what whoever follows its answer does, and what to mind then
_FIRST = {
    "check": "Before anyone welds this part: fire, fume, arc light, shock and hot metal hurt",
    "run": "Before anyone welds this part: fire, fume, arc light, shock and hot metal hurt",
    "why": "Before anyone welds this part again: fire, fume, arc light, shock and hot metal hurt",
    "plan": "Before you weld this sequence: fire watch, fume extraction, eye and skin protection, "
    "dry gloves, closed tubes vented; clamps come off cold and slowly",
    "next": "Before you weld on: the part is hot without glowing, and a clamped one stores energy; "
    "fire watch, fume extraction, eye and skin protection, dry gloves",
    "preset": "Before you bend or clamp the part: it stores energy and springs back when let go, "
    "so stand out of its way. When you weld it, fire, fume, arc light, shock and hot metal hurt",
    "correct": "Before you heat or weld the part again: fire watch, fume extraction, eye and skin "
    "protection, dry gloves, closed tubes vented; hot metal looks cold. Ask whether this metal may "
    "be heated at all, and how far",
}


def closing(verb: str, listed: str = "weldsim check CASE --cautions") -> Words:
    """The line of caution and deferral with which a verb's answer ends.

    Parameters
    ----------
    verb : str
        Of the command line: check, run, why, plan, next, preset or correct.
    listed : str, optional
        Where all cautions stand.

    Returns
    -------
    Words
        One line.
    """
    return words(
        "Caution: {}. A computed answer is a prediction and approves nothing: local codes, "
        "qualified welding procedures and a licensed engineer decide (all cautions: {}).",
        _FIRST[verb],
        listed,
    )


def beside(verdict: str) -> str:
    """A verdict; beside an "inside" stands that it approves nothing.

    Parameters
    ----------
    verdict : str
        As `schema.tolerance.verdict` words it, with what may follow it.

    Returns
    -------
    str
        "inside" with a note, any other verdict as it is.
    """
    head, comma, rest = verdict.partition(",")
    return f"inside ({PREDICTION}){comma}{rest}" if head == "inside" else verdict
