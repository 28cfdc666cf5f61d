"""A reading taken apart, in words: which weld moved the gauge, and while the metal did what."""

from __future__ import annotations

from weldsim.studies.attribution import Reading, Why, main_readings
from weldsim.text.quantities import unit_word

UNEXPLAINED = 0.01  # of the reading: a larger residual is worth a word


def why_words(why: Why) -> list[str]:
    """In plain words where each gauge's movement comes from."""
    return [line for reading in main_readings(why) for line in _words_on(reading.shown)]


def _words_on(r: Reading) -> list[str]:
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
    by_thirds = ", ".join(f"{v:+.3g}" for v in thirds(r, best))
    said = _shares(r, best, unit, by_thirds) if plain else _sides(r, best, others, unit, by_thirds)
    lines = [said]
    if any(row.heating is not None for row in r.rows):
        warm, cool = (sum(getattr(x, k) or 0.0 for x in r.rows) for k in ("heating", "cooling"))
        verb = "adds" if warm * cool > 0 else "takes back"
        lines.append(
            f"What yields while the metal warms makes {warm:+.3g} {unit}; what yields while it "
            f"cools {verb} {abs(cool):.3g} {unit}."
        )
    against = [
        f"{w} ({v:+.3g})" for w, v in welds.items() if v * welds[best] < 0 and abs(v) > small
    ]
    if against:
        lines.append(f"Against weld {best} pull: {', '.join(against[:6])} {unit}.")
    if others and plain:
        lines.append(f"Not from a weld: {_listed(others)} {unit}.")
    if abs(r.residual) > UNEXPLAINED * max(abs(r.value), abs(welds[best])):
        lines.append(
            f"The parts leave {r.residual:+.2g} {unit} unexplained: soft metal or a land that "
            "is about to touch at the moment the run ends."
        )
    return lines


def _what(r: Reading) -> str:
    return {"mrad": "tilt"}.get(r.unit, "movement")


def _listed(parts: dict[str, float]) -> str:
    return ", ".join(f"{k} ({v:+.3g})" for k, v in parts.items())


def _shares(r: Reading, best: str, unit: str, thirds: str) -> str:
    """Where all parts pull one way: how much of it is the largest weld's."""
    share = r.of_weld(best) / r.value
    amount = "All" if share > 0.98 else "Most" if share > 0.5 else "The largest part"
    return (
        f"{amount} of the {_what(r)} {r.called} ({r.of_weld(best):+.3g} of {r.value:+.3g} {unit}) "
        f"comes from weld {best}; by thirds of its travel {thirds} {unit}."
    )


def _sides(r: Reading, best: str, others: dict[str, float], unit: str, thirds: str) -> str:
    """Where parts oppose each other, or a preset was put in: what each side makes."""
    welding = round(sum(row.value for row in r.rows), 9) + 0.0  # no "-1e-16" where all cancels
    rest = "".join(f", {k} {v:+.3g}" for k, v in others.items())
    return (
        f"The {_what(r)} {r.called} of {r.value:+.3g} {unit} is what is left of parts: welding "
        f"makes {welding:+.3g}{rest} {unit}; the largest weld is {best} with {r.of_weld(best):+.3g}"
        f", by thirds of its travel {thirds} {unit}."
    )


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
