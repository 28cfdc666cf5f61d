"""A reading taken apart, in words: which weld moved the gauge, and while the metal did what."""

from __future__ import annotations

from weldsim.studies.attribution import Reading, Why, main_readings
from weldsim.text.quantities import (
    Quantity,
    Words,
    bare_unit,
    joined,
    quantity,
    unit_word,
    words,
)

UNEXPLAINED = 0.01  # of the reading: a larger residual is worth a word


def why_words(why: Why) -> list[str]:
    """In plain words where each gauge's movement comes from."""
    shown = [(why.shown(reading), reading.shown) for reading in main_readings(why)]
    lines = [line for r, plain in shown for line in _words_on(r, plain)]
    if any(r.unit != plain.unit for r, plain in shown):
        lines.append("At the target: tilt times distance; the end's own shift is not taken apart.")
    return lines


def _words_on(r: Reading, plain_reading: Reading) -> list[str]:
    unit = unit_word(r.unit)
    welds = {w: r.of_weld(w) for w in dict.fromkeys(row.weld for row in r.rows)}
    if not welds or not any(abs(v) > 1e-9 for v in (r.value, *welds.values())):
        return [f"{r.called}: nothing moved."]
    best = max(welds, key=lambda w: abs(welds[w]))
    small = 0.02 * max(abs(r.value), abs(welds[best]))
    others = {k: v for k, v in r.others.items() if abs(v) > small}
    parts = [v for v in (*welds.values(), *others.values()) if abs(v) > small]
    # shares say something only where all parts pull one way and none is put in on purpose
    alike = all(v * r.value > 0 for v in parts) and abs(welds[best]) <= 1.02 * abs(r.value)
    plain = alike and "preset" not in others
    by_thirds = _row(unit, thirds(r, best))
    whole = _whole(r, plain_reading)
    said = (
        _shares(r, best, whole, by_thirds) if plain else _sides(r, best, others, whole, by_thirds)
    )
    lines: list[str] = [said]
    if any(row.heating is not None for row in r.rows):
        warm, cool = (sum(getattr(x, k) or 0.0 for x in r.rows) for k in ("heating", "cooling"))
        verb = "adds" if warm * cool > 0 else "takes back"
        lines.append(
            words(
                "What yields while the metal warms makes {}; what yields while it cools {} {}.",
                _amount(warm, unit), verb, quantity(abs(cool), unit, ".3g"),
            )
        )  # fmt: skip
    against = {w: v for w, v in welds.items() if v * welds[best] < 0 and abs(v) > small}
    if against:
        some = dict(list(against.items())[:6])
        lines.append(words("Against weld {} pull: {} {}.", best, _listed(some, unit),
                           bare_unit(unit)))  # fmt: skip
    if others and plain:
        lines.append(words("Not from a weld: {} {}.", _listed(others, unit), bare_unit(unit)))
    if abs(r.residual) > UNEXPLAINED * max(abs(r.value), abs(welds[best])):
        lines.append(
            words(
                "{} stay unexplained by these parts: soft metal, or faces at the root that are "
                "about to touch when the run ends.",
                quantity(r.residual, unit, "+.2g"),
            )
        )
    return lines


def _what(r: Reading) -> str:
    if r.unit == r.column.unit:
        return f"the {'tilt' if r.unit == 'mrad' else 'movement'} of {r.called}"
    return f"the movement of {r.called} at the target"


def _begun(text: str) -> str:
    return text[0].upper() + text[1:]


def _whole(r: Reading, plain: Reading) -> Words:
    """All of a reading: at the target in mm, then in mrad."""
    own = words("{}", _amount(r.value, unit_word(r.unit)))
    return own if r.unit == plain.unit else words("{}, {}", own, _amount(plain.value, plain.unit))


def _amount(value: float, unit: str, named: bool = True) -> Quantity:
    return quantity(value, unit, "+.3g", named)


def _row(unit: str, values: list[float]) -> Words:
    """Values one after the other, their unit after the last."""
    return words("{} {}", joined(", ", (_amount(v, unit, named=False) for v in values)),
                 bare_unit(unit))  # fmt: skip


def _listed(parts: dict[str, float], unit: str) -> Words:
    return joined(", ", (words("{} {}", k, _amount(v, unit, named=False))
                         for k, v in parts.items()))  # fmt: skip


def _shares(r: Reading, best: str, whole: Words, by_thirds: Words) -> Words:
    """Where all parts pull one way: how much of it is the largest weld's."""
    share = r.of_weld(best) / r.value
    amount = "All" if share > 0.98 else "Most" if share > 0.5 else "The largest part"
    own = _amount(r.of_weld(best), unit_word(r.unit), named=False)
    return words(
        "{} of {} ({} of {}) comes from weld {}; by thirds of its travel {}.",
        amount, _what(r), own, whole, best, by_thirds,
    )  # fmt: skip


def _sides(
    r: Reading, best: str, others: dict[str, float], whole: Words, by_thirds: Words
) -> Words:
    """Where parts oppose each other, or a preset was put in: what each side makes."""
    unit = unit_word(r.unit)
    welding = round(sum(row.value for row in r.rows), 9) + 0.0  # no "-1e-16" where all cancels
    made = {"welding makes": welding, **others}
    sides = joined(", ", (words("{} {}", k, _amount(v, unit, named=False))
                          for k, v in made.items()))  # fmt: skip
    return words(
        "{} ({}) is the sum of parts that pull against each other: {} {}; the largest weld is {} "
        "with {}, by thirds of its travel {}.",
        _begun(_what(r)), whole, sides, bare_unit(unit), best,
        _amount(r.of_weld(best), unit), by_thirds,
    )  # fmt: skip


def thirds(r: Reading, weld: str) -> list[float]:
    """What each third of a weld adds; a slice counts for each by how much of it lies there."""
    rows = [row for row in r.rows if row.weld == weld]
    length = rows[-1].finish
    edges = [k * length / 3 for k in range(4)]
    return [
        sum(
            row.value * max(0.0, min(high, row.finish) - max(low, row.begin))
            / (row.finish - row.begin)
            for row in rows
        )
        for low, high in zip(edges, edges[1:], strict=False)
    ]  # fmt: skip
