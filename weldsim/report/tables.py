"""Tables of a report: rows of text from the record of one run."""

from __future__ import annotations

import numpy as np

from weldsim.runs.reading import Column, RunRecord
from weldsim.runs.recorded_case import (
    RecordedClamp,
    RecordedRule,
    RecordedWeld,
    recorded_case,
    recorded_paths,
)
from weldsim.schema.process import PROCESSES
from weldsim.text.describe_bar import POSITIONS
from weldsim.text.describe_joint import position, up_of
from weldsim.text.quantities import Quantity, Words, joined, quantity, span, unit_word, words
from weldsim.text.words import error_quantity, reading, rounded_quantity, settled

KELVIN = 273.15
STAGES = {"error_estimate": "the second run, for the estimated error", "mesh": "meshing",
          "solve": "solving"}  # fmt: skip


def gauge_table(record: RunRecord) -> list[dict]:
    """One row a gauge column: end, error, extreme and its time, time to settle."""
    read = record.summary.get("gauges", {})
    columns = sorted(record.columns, key=lambda c: c.unit == "mrad")  # the target first
    return [_gauge_row(record, c, read.get(c.name)) for c in columns if c.weld is None]


def _gauge_row(record: RunRecord, column: Column, entry: dict | None) -> dict:
    error = record.errors.get(column.name)
    row = {
        "name": f"{column.gauge} {column.component}",
        "unit": unit_word(column.unit),
        "final": Words(reading(record, column, named=False)),
        "error": "" if error is None else Words(error_quantity(record, column, "± ", named=False)),
        "extreme": "", "extreme_time": "", "settled": "",
    }  # fmt: skip
    if entry:
        after = settled(record, entry)
        row["extreme"] = Words(rounded_quantity(entry["extreme"], error, column.unit, named=False))
        row["extreme_time"] = f"{entry['extreme_time_s']:.0f}"
        row["settled"] = "not yet" if after is None else f"{after:.0f}"
    return row


def weld_table(record: RunRecord) -> list[dict]:
    """One row a weld: process, settings, arc times, energies, cooling time, interpass."""
    read = {w["name"]: w for w in record.summary.get("welds", [])}
    welds = recorded_case(record).welds
    passes = [(w.group, w.number) for w in welds if not w.is_tack]
    split = {p for p in passes if passes.count(p) > 1}
    return [
        _weld_row(w, read.get(w.name, {}), (w.group, w.number) in split)
        | {"number": f"{number}", "position": working_position(record, w)}
        for number, w in enumerate(welds, 1)
    ]


def _weld_row(weld: RecordedWeld, read: dict, split: bool) -> dict:
    process, _ = PROCESSES.get(weld.process, ("", None))
    return {
        "name": weld.name,
        "process": f"{process} ({weld.process})",
        "where": weld_place(weld, split),
        "current": _number(weld.current, ".0f"),
        "voltage": _number(weld.voltage, ".1f"),
        "speed": _cell(weld.speed, "mm/s", ".2f", 1e3),
        "start": _number(read.get("start_s"), ".0f"),
        "end": _number(read.get("end_s"), ".0f"),
        "arc_energy": _cell(read.get("arc_energy_kJ_mm"), "kJ/mm", ".2f"),
        "heat_input": _cell(read.get("heat_input_kJ_mm"), "kJ/mm", ".2f"),
        "t85": _number(read.get("t8_5_s"), ".1f"),
        "interpass": _cell(read.get("highest_interpass_degC"), "°C", ".0f"),
    }


def working_position(record: RunRecord, weld: RecordedWeld) -> str:
    """Working position of ISO 6947; of a curved seam the positions in turn."""
    case = recorded_case(record)
    if case.seams_of_welds:
        key = weld.travel if weld.line == "across" else weld.face
        return POSITIONS[key][0] if key in POSITIONS else "–"
    path = next((p for p in recorded_paths(record) if p.name == weld.name), None)
    if path is None or len(path.points) < 2:
        return "–"
    up, points = up_of(case.part), path.points
    inwards = _inward_along(points, path.inward)
    curved = len(points) > 2 and np.ptp(inwards, axis=0).max() > 1e-6
    found = []
    for step, inward in zip(np.diff(points, axis=0), inwards, strict=False):
        code = position(step / max(np.linalg.norm(step), 1e-12), inward, up)[0]
        if curved:  # PB and PD are of fillets along a straight line
            code = {"PB": "PA", "PD": "PE"}.get(code, code)
        if not found or found[-1] != code:
            found.append(code)
    return ", ".join(found)


def _inward_along(points, inward) -> np.ndarray:
    """Way into the part at each place of a path (M, 3), from that at its start.

    On a circle the part of `inward` in the circle's plane turns with the place; on a straight
    path it stays.
    """
    middle = points[len(points) // 2]
    a, b = middle - points[0], points[-1] - points[0]
    normal = np.cross(a, points[len(points) // 4] - points[0])
    if len(points) < 4 or np.linalg.norm(normal) < 1e-9 * max(np.dot(a, a), np.dot(b, b)):
        return np.tile(inward, (len(points), 1))
    centre = points[:-1].mean(axis=0) if np.linalg.norm(b) < 1e-6 else _centre(points)
    normal /= np.linalg.norm(normal)
    ray = centre - points
    ray -= np.outer(ray @ normal, normal)
    ray /= np.linalg.norm(ray, axis=1, keepdims=True)
    return np.outer(np.full(len(points), inward @ ray[0]), [1.0] * 3) * ray + np.outer(
        np.full(len(points), inward @ normal), normal
    )


def _centre(points) -> np.ndarray:
    """Centre of the circle through the first, the middle and the last place. [m]"""
    a, b, c = points[0], points[len(points) // 2], points[-1]
    u, v = b - a, c - a
    w = np.cross(u, v)
    return a + np.cross(np.dot(u, u) * v - np.dot(v, v) * u, -w) / (2 * np.dot(w, w))


def weld_place(weld: RecordedWeld, split: bool = False) -> str:
    """Where a weld lies: face, line and travel on a bar; seam, pass and travel on a joint.

    With `split` it is one of several stretches of its pass, which is then told.
    """
    if weld.face or not weld.seam:
        return f"{weld.face}, {weld.line}, {weld.travel}"
    if weld.is_tack:
        return words("tack on {}, {}", weld.seam, span_words(weld))
    if not weld.filler:
        return f"{weld.seam}, heat only, {weld.travel}"
    whole = f"{weld.seam}, pass {weld.number}, {weld.travel}"
    return words("{}, {}", whole, span_words(weld)) if split else whole


def span_words(weld: RecordedWeld) -> Words:
    """Stretch of a seam in mm along its natural direction."""
    return Words(span(1e3 * weld.begin, 1e3 * weld.finish, "mm", ".4g"))


def clamp_table(record: RunRecord) -> list[dict]:
    """One row a clamp; none for a bar's own clamp, which the assumptions describe."""
    case = recorded_case(record)
    return [
        {
            "name": c.name,
            "at": ", ".join(c.at),
            "kind": c.kind,
            "stiffness": _stiffness(c),
            "heat": _cell(c.conductance or None, "W/m²/K", ".4g"),
            "on": rule_words(c.on, "from the start"),
            "off": rule_words(c.off, "never"),
        }
        for c in case.clamps
        if not (case.seams_of_welds and c.name in ("clamp", "vise"))
    ]


def _stiffness(clamp: RecordedClamp) -> str:
    """Of a spring in kN/mm and kN m/rad."""
    if clamp.kind != "spring":
        return "only pushes" if clamp.kind == "table" else "slides" if clamp.slides else "–"
    stiffness = quantity(clamp.stiffness / 1e6, "kN/mm", ".4g")
    if not clamp.turning:
        return words("{}, free to turn", stiffness)
    return words("{}, {}", stiffness, quantity(clamp.turning / 1e3, "kN m/rad", ".4g"))


def rule_words(rule: RecordedRule | None, usual: str) -> str:
    """When something happens; `usual` where nothing is said."""
    if rule is None or rule.kind == "never":
        return usual if rule is None else "never"
    if rule.kind == "cold":
        return "when the part is cold"
    if rule.kind == "time":
        return f"at {rule.seconds:.4g} s" if rule.seconds else "from the start"
    if rule.kind == "after":
        after = f"{rule.seconds:.4g} s after " if rule.seconds else "at "
        return f"{after}the end of {rule.weld}"
    what = rule.weld or "the weld zone"
    return words("when {} is below {}", what, quantity(rule.temperature - KELVIN, "°C", ".4g"))


def locked_table(record: RunRecord) -> list[tuple[str, str]]:
    """Stress left in the part and what the clamps hold at the end; empty where not known."""
    locked = record.summary.get("locked_in") or {}
    rows = [
        (name, Words(quantity(locked[key], "MPa", ".0f")))
        for key, name in (
            ("mean_weld_zone_MPa", "mean equivalent stress of the weld zone"),
            ("largest_von_mises_MPa", "largest equivalent stress anywhere"),
        )
        if locked.get(key) is not None
    ]
    for name, held in (locked.get("reactions") or {}).items():
        force, moment = held.get("force_N") or 0.0, held.get("moment_Nm") or 0.0
        push = words("{} and {}", _figures(force, "N"), _figures(moment, "N m"))
        named = name if name.startswith("clamp") else f"clamp {name}"
        rows.append((f"{named} still pushes with", push))
    return rows


def _figures(value: float, unit: str) -> Quantity:
    """Three figures without an exponent; 0 for what is next to nothing."""
    digits = 0 if value >= 100 else 1 if value >= 10 else 2
    return quantity(0.0, unit, ".0f") if value < 0.005 else quantity(value, unit, f".{digits}f")


def released_table(record: RunRecord) -> list[tuple[str, str]]:
    """What each opening of clamps moved: clamps and time, and the change of the gauges."""
    gauges = {c.name: c for c in record.columns if c.weld is None and c.unit in ("mm", "mrad")}
    out, off = [], set()
    found = (record.summary.get("locked_in") or {}).get("released") or []
    for entry in [found] if isinstance(found, dict) else found:
        names = [n for n in entry.get("clamps", []) if n not in off]
        off |= set(names)
        moved = [
            words(
                f"{gauges[k].gauge} {gauges[k].component} {{}}",
                rounded_quantity(v, record.errors.get(k), "mm"),
            )
            for k, v in (entry.get("change") or {}).items()
            if k in gauges and gauges[k].unit == "mm"
        ]
        what = f"{', '.join(names)} opened at {entry.get('time_s', 0.0):.0f} s"
        out.append((what, joined(", ", moved) or "no gauge moved"))
    return out


def _number(value, form: str) -> str:
    return "–" if value is None else format(value, form)


def _cell(value, unit: str, form: str, factor: float = 1.0) -> str:
    """A number whose unit stands in the head of its column; a dash for none."""
    if value is None:
        return "–"
    return Words(quantity(factor * value, unit, form, named=False))


def balance_table(record: RunRecord) -> list[tuple[str, str]]:
    """Heat in, lost and stored, what is not accounted for, and the cost of the run."""
    b, m = record.manifest.get("balances", {}), record.manifest
    heat = [
        (f"heat {name}", Words(quantity(b[key] / 1e3, "kJ", ".2f")))
        for key, name in (
            ("heat_supplied_J", "in"), ("heat_lost_J", "lost"), ("heat_stored_J", "still stored"),
        )
        if key in b
    ]  # fmt: skip
    if "largest_heat_gap" in b:
        heat.append(("largest share of heat not accounted for", f"{b['largest_heat_gap']:.1e}"))
    if "source_rescale_least" in b:
        low, high = b["source_rescale_least"], b["source_rescale_most"]
        heat.append(("arc's heat rescaled to its power by", f"{low:.2f} to {high:.2f}"))
    mesh = m.get("mesh", {})
    cost = [
        (key.replace("_", " ").replace("unknowns", "equations"), f"{value}")
        for key, value in mesh.items()
    ]
    cost += [(key, f"{m[key]}") for key in ("grade", "solver", "steps", "retries") if key in m]
    cost += [
        (f"time for {STAGES.get(name, name)}", f"{value:.1f} s")
        for name, value in (
            (key.removesuffix("_s"), value) for key, value in m.get("stage_times", {}).items()
        )
    ]
    return heat + cost
