"""A preset in words: what to do before the first arc, where the gauge ends, how sure that is."""

from __future__ import annotations

from weldsim.schema.column import Column
from weldsim.studies.preset import Preset, lean_text, lean_words
from weldsim.text.cautions import beside


def preset_lines(found: Preset) -> list[str]:
    """What to paste into the case; nothing for a turned bar."""
    if found.turn:
        return []
    leans = zip("xyz", found.lean, strict=True)
    lines = [f'lean_{a} = "{lean_text(v)}"' for a, v in leans if v]
    return ["[preset]", *lines] if lines else []


def preset_words(found: Preset) -> list[str]:
    """In plain words what to do, where it ends, and how sure that is."""
    target, lines = found.target, [_act(found)]
    error = "" if found.error is None else f"+-{target.said(found.error, 2)}, "
    lines.append(
        f"{target.gauge.name} then ends {target.said(found.final, 2)} off "
        f"({error}{error_words(found)}): {beside(found.verdict)}, tolerance {target.tolerance}."
    )
    if found.error is None or found.verdict != "inside":
        lines.append("Try it on a scrap piece first.")
    return lines


def error_words(found: Preset) -> str:
    """How the error was estimated, and what was not run."""
    if not found.turn:
        return found.estimate.how
    done, what = ("bent", "bow") if found.target.gauge.kind == "bow" else ("turned", "angle")
    return (
        f"{found.estimate.how}; the {done} bar was not run again: its {what} adds, but for small "
        "products"
    )


def _act(found: Preset) -> str:
    target = found.target
    if found.turn and target.gauge.kind == "bow":
        (bow,) = found.turn.values()
        return (
            f"Bend the bar before welding so that its middle stands {target.said(abs(bow))} off "
            f"the straight line between its ends toward {_toward(target.gauge.direction, bow)}, "
            "and stays there when let go; the stress that bending leaves is not counted."
        )
    if found.turn:
        turn = " and ".join(
            f"{target.said(abs(v))} {_direction(c, v)}" for c, v in found.turn.items()
        )
        return f"Turn the bar in what holds it by {turn} before welding, seen along the beam."
    if not any(found.lean):
        return "Set nothing off before the first arc."
    return f"Set the free piece off by {lean_words(found.lean)} before the first arc."


def _toward(direction: str, value: float) -> str:
    """An axis as a case writes it, the other way for a negative value."""
    flipped = {"+": "-", "-": "+"}[direction[0]] + direction[1:]
    return direction if value >= 0 else flipped


def _direction(column: Column, value: float) -> str:
    if column.component == "up":
        return "up" if value > 0 else "down"
    return "right" if value > 0 else "left"
