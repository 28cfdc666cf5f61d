"""A preset in words: what to do before the first arc, where the gauge ends, how sure that is."""

from __future__ import annotations

from weldsim.studies.preset import Preset, lean_text, lean_words


def preset_lines(found: Preset) -> list[str]:
    """What to paste into the case; nothing for a turned bar."""
    if found.turn:
        return []
    leans = zip("xyz", found.lean, strict=True)
    lines = [f'lean_{a} = "{lean_text(v)}"' for a, v in leans if v]
    return ["[preset]", *lines] if lines else []


def preset_words(found: Preset) -> list[str]:
    """In plain words what to do, where it ends, and how sure that is."""
    if found.turn and found.direction:
        (bow,) = found.turn.values()
        lines = [
            f"Bend the bar before welding so that its middle stands {abs(bow):.3g} {found.unit} "
            f"off the straight line between its ends toward {_toward(found.direction, bow)}, and "
            "stays there when let go; the stress that bending leaves is not counted."
        ]
    elif found.turn:
        turn = " and ".join(
            f"{abs(v):.3g} {found.unit} {_way(c, v)}" for c, v in found.turn.items()
        )
        lines = [f"Turn the bar in what holds it by {turn} before welding, seen along the beam."]
    elif not any(found.lean):
        lines = ["Set nothing off before the first arc."]
    else:
        lines = [f"Set the free piece off by {lean_words(found.lean)} before the first arc."]
    error = "" if found.error is None else f"+-{found.error:.2g} {found.unit}, "
    lines.append(
        f"{found.gauge} then ends {found.final:.2g} {found.unit} off ({error}{found.error_words}): "
        f"{found.verdict}, tolerance {found.tolerance}."
    )
    if found.error is None or found.verdict != "inside":
        lines.append("Try it on a scrap piece first.")
    return lines


def _toward(direction: str, value: float) -> str:
    """An axis as a case writes it, the other way for a negative value."""
    flipped = {"+": "-", "-": "+"}[direction[0]] + direction[1:]
    return direction if value >= 0 else flipped


def _way(column: str, value: float) -> str:
    up = "_up_" in column
    return ("up" if value > 0 else "down") if up else ("right" if value > 0 else "left")
