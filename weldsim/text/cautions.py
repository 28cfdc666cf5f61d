"""The usual cautions, in one place for terminal, report and page."""

from __future__ import annotations

from weldsim.text.quantities import quantity, words

CAUTIONS = (
    "Hot work: clear or shield what can burn, keep a fire watch during the work and after it.",
    "Fumes and gases: extract at the arc, stay out of the plume; welding fume can cause cancer, "
    "stainless above all; shielding gas displaces the air in pits, tubes and vessels.",
    "Eyes and skin: filter shade for the current, screens for bystanders, leather, no bare skin.",
    "Shock: dry gloves, sound leads, insulated footing; keep away with a pacemaker.",
    words(
        "Hot metal looks cold: at {} it shows no colour. Mark it.", quantity(300.0, "degC", ".0f")
    ),
    "A clamped part stores energy: release it cold, slowly, one clamp at a time, from a safe side.",
    "Light beam: laser class 2 at most, never toward eyes or bright metal.",
)
DEFER = (
    "Local codes, qualified welding procedures and a licensed engineer decide; weldsim does not "
    "call a joint safe."
)
