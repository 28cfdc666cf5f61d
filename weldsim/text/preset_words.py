"""A preset in words: what to do before the first arc, where the gauge ends, how sure that is."""

from __future__ import annotations

from weldsim.schema.column import Column
from weldsim.studies.preset import Preset, lean_text
from weldsim.text.measure_words import error_said, size_words, tolerance_said, verdict_said
from weldsim.text.quantities import Words, joined, words
from weldsim.text.tilts import tilt_words


def preset_lines(found: Preset) -> list[str]:
    """What to paste into the case; nothing for a turned bar."""
    if found.turn:
        return []
    leans = zip("xyz", found.lean, strict=True)
    lines = [f'tilt_{a} = "{lean_text(v)}"' for a, v in leans if v]
    return ["[preset]", *lines] if lines else []


def preset_words(found: Preset) -> list[str]:
    """In plain words what to do, where it ends, and how sure that is."""
    target, lines = found.target, [_act(found)]
    lines.append(
        words(
            "{} then ends {} from zero, tolerance {}: {}; {}.",
            target.gauge.name, size_words(target, found.final, 2), tolerance_said(target),
            verdict_said(found.error, found.verdict),
            error_said(target, found.error, error_words(found)),
        )
    )  # fmt: skip
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


def _act(found: Preset) -> Words | str:
    target = found.target
    if found.turn and target.gauge.kind == "bow":
        (bow,) = found.turn.values()
        return words(
            "Bend the bar before welding so that its middle stands {} from the straight line "
            "between its ends toward {}, and stays there when let go; the stress that bending "
            "leaves is not counted.",
            size_words(target, abs(bow)), _toward(target.gauge.direction, bow),
        )  # fmt: skip
    if found.turn:
        turn = joined(
            " and ",
            (words("{} {}", size_words(target, abs(v)), _direction(c, v))
             for c, v in found.turn.items()),
        )  # fmt: skip
        return words("Turn the bar in its clamp by {} before welding, seen along the beam.", turn)
    if not any(found.lean):
        return "Weld as drawn, without a preset."
    return words("Tilt the free piece by {} before the first arc.", _leans(found.lean))


def _leans(lean: tuple[float, float, float]) -> Words:
    """The preset's tilt toward each axis."""
    return joined(
        " and ",
        (words("{} toward {}{}", tilt_words(abs(v)), "-" if v < 0 else "+", axis)
         for axis, v in zip("xyz", lean, strict=True) if v),
    )  # fmt: skip


def _toward(direction: str, value: float) -> str:
    """An axis as a case writes it, the other way for a negative value."""
    flipped = {"+": "-", "-": "+"}[direction[0]] + direction[1:]
    return direction if value >= 0 else flipped


def _direction(column: Column, value: float) -> str:
    if column.component == "up":
        return "up" if value > 0 else "down"
    return "right" if value > 0 else "left"
