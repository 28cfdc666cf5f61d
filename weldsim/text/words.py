"""The result of a run in plain words, for the terminal and the head of the report.

Numbers are rounded to what their estimated error allows: a digit that may be wrong by more than
itself is not shown.
"""

from __future__ import annotations

import math

from weldsim.runs.error_estimate import NOT_ASKED
from weldsim.runs.reading import Column, RunRecord
from weldsim.runs.recorded_case import recorded_case
from weldsim.text.quantities import (
    Number,
    Quantity,
    Words,
    as_written,
    in_m,
    joined,
    unit_word,
    words,
)
from weldsim.text.tilts import DEGREE, sized

KINDS = ("pointer", "dial", "thermocouple", "bow", "gap", "reaction")
SIDES = {"up": ("up", "down"), "right": ("right", "left")}
LEAST_GAP_CHANGE = 0.5e-3  # mm; a gap that moves less does not open or close
LEAST_REACTION = {"N": 0.5, "Nm": 0.05}  # a clamp that pushes less carries nothing


def final_words(record: RunRecord) -> list[str]:
    """Lines that say where each gauge ends, how sure that is, and what to be careful about."""
    return [*result_words(record), *(words("Warning: {}.", w) for w in warnings(record))]


def result_words(record: RunRecord) -> list[str]:
    """Lines that say where each gauge ends and how sure that is."""
    lines: list[str] = [] if record.complete else [unfinished(record)]
    for name in dict.fromkeys(c.gauge for c in record.columns if c.weld is None):
        lines += gauge_words(record, name)
    return lines + _certainty(record)


def warnings(record: RunRecord) -> list[Words]:
    """Warnings of the run, without full stops."""
    return [as_written(str(w).rstrip(".")) for w in record.manifest.get("warnings", [])]


def unfinished(record: RunRecord) -> str:
    """One line for a run that is not complete."""
    status = record.manifest.get("status", "running")
    why = record.manifest.get("error")
    now = float(record.gauges["time_s"][-1])
    tail = f": {why}" if why else f"; resume with: weldsim run --resume {record.path}"
    state = "still running, or was killed" if status == "running" else status
    return f"This run is {state}; it has come to {now:.0f} s, and what follows is not the end{tail}"


def gauge_words(record: RunRecord, name: str) -> list[str]:
    """Where one gauge ends, how far it went on the way, and when it settled."""
    columns = [c for c in record.columns if c.gauge == name and c.weld is None]
    kind = recorded_case(record).gauge(name).kind
    if kind == "reaction":
        return _reaction(record, name, columns)
    where = _gap_end(record, name, columns) if kind == "gap" else None
    where = where or _pointer_end(record, name, columns) or _plain_end(record, name, columns)
    return [where, *shift_words(record, name), *_swing(record, name, columns)]


def _gap_end(record: RunRecord, name: str, columns: list[Column]) -> str:
    """`The gap on the front side opens by 0.12 mm.`"""
    (column,) = columns
    value = _end(record, column)
    place = f"the gap on the {recorded_case(record).gauge(name).at} side"
    called = place[0].upper() + place[1:] if name in KINDS else f"{name}, {place},"
    now = "" if record.complete else " so far"
    if abs(value) < LEAST_GAP_CHANGE:
        return f"{called} neither opens nor closes{now}."
    change = "opens" if value > 0 else "closes"
    return words(f"{called} {change} by {{}}{now}.", reading(record, column, signed=False))


def resultant(record: RunRecord, name: str, unit: str):
    """Length of a reaction's force [N] or moment [Nm] over time, (N,), and its columns."""
    import numpy as np

    found = [c for c in record.columns if c.gauge == name and c.unit == unit]
    parts = np.array([record.gauges[c.name] for c in found])
    return np.sqrt((parts**2).sum(axis=0)), found


def main_column(record: RunRecord, name: str, unit: str, at: int = -1) -> Column:
    """The largest component of a reaction's force or moment at a reading."""
    _, found = resultant(record, name, unit)
    return max(found, key=lambda c: abs(float(record.gauges[c.name][at])))


def _reaction(record: RunRecord, name: str, columns: list[Column]) -> list[str]:
    """What a clamp pushes the part with at the end and at most: resultants, main components."""
    import numpy as np

    times = record.gauges["time_s"]
    clamp = recorded_case(record).gauge(name).at
    called = f"Clamp {clamp}" if name in (*KINDS, clamp) else f"{name}: clamp {clamp}"
    ends = {unit: float(resultant(record, name, unit)[0][-1]) for unit in LEAST_REACTION}
    now = "at the end" if record.complete else "so far"
    if all(ends[unit] < least for unit, least in LEAST_REACTION.items()):
        lines = [f"{called} carries nothing {now}."]
    else:
        force, moment = (_push(record, name, unit, -1) for unit in ("N", "Nm"))
        lines = [
            words(
                "{} pushes the part with {} {}, and turns it with {}.", called, force, now, moment
            )
        ]
    force = resultant(record, name, "N")[0]
    most = int(np.argmax(force))
    if force[most] > 1.05 * max(ends["N"], LEAST_REACTION["N"]):
        push = _push(record, name, "N", most)
        lines.append(words("  most on the way: {} at {} s", push, f"{times[most]:.0f}"))
    return lines


def _push(record: RunRecord, name: str, unit: str, at: int) -> Words:
    """`1230 N, largest along z (-1200 N)` at a reading."""
    size = float(resultant(record, name, unit)[0][at])
    column = main_column(record, name, unit, at)
    if size < LEAST_REACTION[unit]:
        return Words(f"no {'force' if unit == 'N' else 'moment'}")
    error, value = _error(record, column), float(record.gauges[column.name][at])
    where = f"{'along' if unit == 'N' else 'about'} {column.component[-1]}"
    whole = rounded_quantity(size, error, unit, signed=False)
    return words(f"{{}}, largest {where} ({{}})", whole, rounded_quantity(value, error, unit))


def _pointer_end(record: RunRecord, name: str, columns: list[Column]) -> str | None:
    """Where the spot is on the target, and the tilt in degrees, as a slope and in mrad."""
    found = {(c.component, c.unit): c for c in columns}
    pointer = next((g for g in record.pointers if g["name"] == name), None)
    if pointer is None or ("up", "mrad") not in found:
        return None
    places = [_sided(record, found[side, "mm"]) for side in ("up", "right")]
    angles = [(_end(record, c), _error(record, c)) for c in (found[s, "mrad"] for s in SIDES)]
    degrees = [rounded(DEGREE * v, e and DEGREE * e, "°").lstrip("+-") for v, e in angles]
    mrad = [rounded(v, e, "mrad").lstrip("+-") for v, e in angles]
    up, right = (Number(v, shown) for (v, _), shown in zip(angles, mrad, strict=True))
    return words(
        "{} {} {} and {} on the target {} away: tilted {}° and {}° ({}, {} mrad).",
        _called(name), _verb(record), *places, in_m(pointer["throw"]), *degrees,
        Quantity((up, " and ", right), "mm/m"), " and ".join(mrad),
    )  # fmt: skip


def shift_words(record: RunRecord, name: str) -> list[str]:
    """Why a spot is not where its tilt alone would put it; nothing where nobody could see it."""
    pointer = next((g for g in record.pointers if g["name"] == name), None)
    if pointer is None or f"{name}_up_mrad" not in record.gauges:
        return []
    own, seen = [], False
    for side, (plus, minus) in SIDES.items():
        spot, tilt = (float(record.gauges[f"{name}_{side}_{u}"][-1]) for u in ("mm", "mrad"))
        shift = spot - pointer["throw"] * tilt
        last = rounded(spot, record.errors.get(f"{name}_{side}_mm"), "mm").partition(".")[2]
        seen = seen or abs(shift) >= 0.5 * 10.0 ** -len(last)
        own.append(words("{} {}", sized(abs(shift), "mm", 2), minus if shift < 0 else plus))
    if not seen:
        return []
    distance = in_m(pointer["throw"])
    return [
        words("  of that, {} and {} are the end's own shift; the rest is its tilt over {}",
              *own, distance)
    ]  # fmt: skip


def _plain_end(record: RunRecord, name: str, columns: list[Column]) -> str:
    shown = joined(", ", (reading(record, c) for c in columns))
    return words("{} {} at {}.", _called(name), _verb(record), shown)


def _verb(record: RunRecord) -> str:
    return "ends" if record.complete else "stands"


def _called(name: str) -> str:
    """`The pointer` for a gauge named after its kind, else its own name."""
    return f"The {name}" if name in KINDS else name


def _sided(record: RunRecord, column: Column) -> Words:
    """A reading with its side in a word in the place of its sign."""
    side = SIDES[column.component][_end(record, column) < 0]
    return words("{} {}", reading(record, column, signed=False), side)


def _swing(record: RunRecord, name: str, columns: list[Column]) -> list[str]:
    """The farthest reading on the way and the time to settle, from the summary."""
    out, read = [], record.summary.get("gauges", {})
    shown = [c for c in columns if c.unit != "mrad" and c.name in read]
    for column in shown:
        entry = read[column.name]
        if abs(entry["extreme"] - entry["final"]) > 0.05 * max(entry["travel"], 1e-12):
            far = rounded_quantity(entry["extreme"], _error(record, column), column.unit)
            part = f" ({column.component})" if len(shown) > 1 else ""
            when = f"{entry['extreme_time_s']:.0f}"
            out.append(words("  farthest on the way{}: {} at {} s", part, far, when))
    after = [settled(record, read[c.name]) for c in shown]
    if after and None not in after:
        out.append(
            f"  settled within 2 % of its total movement {max(after):.0f} s after the last arc stop"
        )
    elif after and record.summary.get("last_arc_stop_s") is not None:
        out.append("  had not settled when the run ended: let it run longer for the final reading")
    return out


def settled(record: RunRecord, entry: dict) -> float | None:
    """Seconds from the last arc stop until a gauge settled; None if it had not when the run ended.

    Every history is within 2 % of its own last reading at last; it counts as settled only if it
    stayed so for the last fifth of the time after the arc.
    """
    after, stop = entry["settled_after_arc_s"], record.summary.get("last_arc_stop_s")
    if after is None or stop is None:
        return after
    return after if after <= 0.8 * (float(record.gauges["time_s"][-1]) - stop) else None


def _certainty(record: RunRecord) -> list[str]:
    """Estimated errors, and what they do not cover."""
    known = [c for c in record.columns if c.weld is None and _error(record, c) is not None]
    main = {
        main_column(record, c.gauge, "N").name for c in known if c.unit in LEAST_REACTION
    }  # of a reaction the largest force speaks for the six
    known = [c for c in known if c.unit not in LEAST_REACTION or c.name in main]
    shown = [c for c in known if c.unit != "mrad"] or known
    named = [words("{} {} {}", c.gauge, c.component, error_quantity(record, c)) for c in shown]
    if not named:
        how = record.manifest.get("error_estimate", {}).get("how")
        why = ": no second run, one grade coarser, was made" if how == NOT_ASKED else ""
        return [f"Estimated error: none for this run{why}."]
    sure = words("Estimated error: {}.", joined(", ", named))
    return [sure, *open_signs(record)]


def open_signs(record: RunRecord) -> list[str]:
    """One line for each movement smaller than its own estimated error."""
    out = []
    for c in record.columns:
        error = _error(record, c)
        if c.unit == "mm" and error is not None and abs(record.gauges[c.name][-1]) <= error:
            out.append(
                f"{c.gauge} {c.component} is smaller than its error: which way it ends is open; "
                "try a finer grade."
            )
    return out


def error_quantity(record: RunRecord, column: Column, mark: str = "±", named=True) -> Quantity:
    """Estimated error of a column, two figures, after a sign of plus or minus."""
    error = _error(record, column)
    number = Number(error, f"{error:.2g}", difference=True)
    return Quantity((mark, number), unit_word(column.unit), named)


def _error(record: RunRecord, column: Column) -> float | None:
    value = record.errors.get(column.name)
    return None if value is None else float(value)


def _end(record: RunRecord, column: Column) -> float:
    """The last reading of a column, in its unit."""
    return float(record.gauges[column.name][-1])


def reading(record: RunRecord, column: Column, signed: bool = True, named: bool = True) -> Quantity:
    """Final reading of a column, rounded to its estimated error; see `rounded_quantity`."""
    value, error = _end(record, column), _error(record, column)
    return rounded_quantity(value, error, column.unit, signed, named)


def rounded_quantity(
    value: float, error: float | None, unit: str, signed: bool = True, named: bool = True
) -> Quantity:
    """A value with the digits its error leaves meaning to.

    Parameters
    ----------
    value : float
        In the unit.
    error : float or None
        Estimated, in the unit; None where none is known.
    unit : str
        Of a column.
    signed : bool
        Whether its sign is written.
    named : bool
        Whether the unit is written.
    """
    shown = rounded(value, error, unit)
    shown = shown if signed else shown.lstrip("+-")
    return Quantity((Number(value, shown),), unit_word(unit), named)


def rounded(value: float, error: float | None, unit: str) -> str:
    """A number with the digits its error leaves meaning to, at most three figures, with sign.

    An error of 1.4 leaves whole numbers, one of 0.14 tenths; none leaves three figures.
    """
    if unit == "degC":
        return f"{value:.0f}"
    if abs(value) < 0.1 * LEAST_REACTION.get(unit, 0.0):
        return "0"
    size = abs(value)
    digits = 3 if size == 0 else 2 - math.floor(math.log10(size))
    if error:
        digits = min(digits, -math.floor(math.log10(error)))
    digits = min(max(digits, 0), 4)
    text = f"{value:+.{digits}f}"
    return text[1:] if float(text) == 0 else text
