"""report.html: one file that says what came out, how sure it is, and what it rests on.

Nothing in the page points outside it: plots are inline SVG, pictures are data URLs. Words first,
numbers after, inputs last.
"""

from __future__ import annotations

import base64
import math
from pathlib import Path

from weldsim import charts
from weldsim.cautions import CAUTIONS, DEFER
from weldsim.process import PROCESSES
from weldsim.readback import PICTURES, Column, RunRecord, read_run
from weldsim.spot import spot_path
from weldsim.store import whole_file
from weldsim.words import error_text, final_words, reading, rounded, settled, unit_word

KELVIN = 273.15
KINDS = {".png": "image/png", ".gif": "image/gif"}
CAPTIONS = {
    "animation": "Animation: the part grows hot and cools; every frame shows for the same time",
    "shape": "Where the part moved, hot and cold",
    "temperature": "Temperature half-way along weld {}",
}
LAYOUT = (
    "The part as meshed, with the order and the direction of travel of its welds, tacks and what "
    "grips it"
)
START_OF_BAR = "The part starts flat, without stress, at its preheat temperature; no tack welds."
START_OF_JOINT = "The pieces start as drawn, without stress, at their preheat temperature."
ASSUMED_BY_TACKS = {
    "cold": "Tacks are there from the start, cold and without stress.",
    "arc": "Tacks are laid with the arc before the first weld.",
    "none": "No tack welds: nothing but what holds the part joins the pieces until an arc does.",
}
OPEN_LAND = (
    "The root between the pieces is open until an arc fuses it to the stated penetration; surfaces "
    "that touch push on each other without friction and pass no heat."
)
OWN_LAND = (
    "What the file calls land stays open; surfaces that touch push on each other without friction "
    "and pass no heat. All other metal in the file is joined."
)
ASSUMED_BY_CLAMP = {
    "rigid": "A rigid clamp does not give: all of the face that it grips stays where it was when "
    "it gripped.",
    "spring": "A spring clamp pulls back in proportion to the mean movement of what it grips, the "
    "same in all directions; what it grips may still warp.",
}
LOOSE = "A clamp that comes off lets go at once, and the part springs to where it then rests."
PRESET = (
    "The preset is a lean of the free piece before the first arc, given without stress; gauges "
    "read from the straight part."
)
FORCED = (
    "Forced cooling between welds is an even film of {} on all free faces while no arc burns, "
    "until the last weld has begun."
)
ASSUMED = (
    "The arc is a moving double ellipsoid of heat with the stated efficiency; arc pressure, flow "
    "in the pool and evaporation are left out, so the pool itself comes out hotter than it is.",
    "Filler joins as the arc passes, is of the part's own metal, and joins without stress.",
    "Strains and rotations are small; see the warnings.",
    "Changes of phase in the solid alter heat content and expansion as in the material's curves, "
    "not strength or shape; no creep.",
)
ASSUMED_BY_HOLD = {
    "vise": "The vise does not give: all that it grips stays where it was, and takes heat evenly.",
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
    ("Cooling time t8/5 of a plate", "EN 1011-2, Annex D", "test_cooling_time"),
    ("Free, held, bent and two-metal bodies", "closed forms", "test_mech_thermoelastic"),
    ("Restrained bar, three bars, bar heated on one edge", "strength of materials",
     "test_mech_bars"),
    ("Thick sphere and cylinder that yield", "Hill, 1950", "test_mech_plastic"),
    ("Plastic strain path", "NAFEMS R0049", "test_mech_plastic"),
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
        "round-tube-saddle": "a round tube welded onto another",
        "round-tube-butt": "round tubes welded end to end",
        "plate-butt": "butt-welded plates",
        "plate-tee": "a welded tee of plates",
        "tube-socket": "a tube welded onto a plate",
        "mesh": "a part like this one",
        "step": "a part like this one",
    }.items()
}


def write_report(run_dir) -> Path:
    """Write report.html of a run folder and return its path.

    Raises
    ------
    StoreError
        If the folder is no run, or has no readings yet.
    """
    record = read_run(run_dir)
    path = record.path / "report.html"
    with whole_file(path) as beside:
        beside.write_text(report_page(record), encoding="utf-8")
    return path


def report_page(record: RunRecord) -> str:
    """The page as text."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("weldsim", "data"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    words = final_words(record)
    return environment.get_template("report.html").render(
        title=record.title,
        status=record.manifest.get("status", "running"),
        results=[w for w in words if not w.startswith("Careful: ")],
        careful=[w.removeprefix("Careful: ") for w in words if w.startswith("Careful: ")],
        how_sure=record.manifest.get("error_estimate", {}).get("how", "not estimated"),
        strip=plot(charts.timetable_strip(record), "timetable of the arcs"),
        curves=plot(charts.gauge_history(record), "gauge readings against time"),
        paths=[
            plot(spot_path(record, g, 5.2), f"path of the light spot of {g['name']}")
            for g in record.pointers
        ],
        layout=layout(record),
        pictures=pictures(record),
        clamps=clamp_table(record),
        locked=locked_table(record),
        released=released_table(record),
        gauges=gauge_table(record),
        welds=weld_table(record),
        balances=balance_table(record),
        assumptions=assumptions(record),
        cautions=CAUTIONS,
        defer=DEFER,
        checked=[f"{name} ({source})" for name, source, _ in CHECKED],
        missing=VALIDATION.get(record.case.get("part", {}).get("kind"), ""),
        inputs=inputs(record),
    )


def plot(figure, label: str):
    """A figure as markup that is safe to stand in the page."""
    from markupsafe import Markup, escape

    return Markup(charts.inline_svg(figure, str(escape(label))))


def pictures(record: RunRecord) -> list[dict]:
    """Pictures of the part in the folder as data URLs with a caption, the animation first."""
    folder = record.path / PICTURES
    found = sorted(p for p in folder.glob("*") if p.suffix in KINDS)
    out = []
    for kind, caption in CAPTIONS.items():
        for path in (p for p in found if p.stem.partition("_")[0] == kind):
            out.append(_embedded(path, caption.format(path.stem.partition("_")[2])))
    return out


def _embedded(path: Path, caption: str) -> dict:
    """A picture as a data URL with its caption."""
    data = base64.b64encode(path.read_bytes()).decode()
    return {"url": f"data:{KINDS[path.suffix]};base64,{data}", "caption": caption}


def layout(record: RunRecord) -> dict | None:
    """Picture of the part before the run with its caption, None where it was not made."""
    path = record.path / PICTURES / "layout.png"
    return _embedded(path, LAYOUT) if path.exists() else None


def gauge_table(record: RunRecord) -> list[dict]:
    """One row a gauge column: end, error, extreme and its time, time to settle."""
    read = record.summary.get("gauges", {})
    return [_gauge_row(record, c, read.get(c.name)) for c in record.columns if c.weld is None]


def _gauge_row(record: RunRecord, column: Column, entry: dict | None) -> dict:
    error = record.errors.get(column.name)
    row = {
        "name": f"{column.gauge} {column.component}",
        "unit": unit_word(column.unit),
        "final": reading(record, column),
        "error": "" if error is None else f"± {error_text(record, column).split()[0]}",
        "extreme": "", "extreme_time": "", "settled": "",
    }  # fmt: skip
    if entry:
        after = settled(record, entry)
        row["extreme"] = rounded(entry["extreme"], error, column.unit)
        row["extreme_time"] = f"{entry['extreme_time_s']:.0f}"
        row["settled"] = "not yet" if after is None else f"{after:.0f}"
    return row


def weld_table(record: RunRecord) -> list[dict]:
    """One row a weld: process, settings, arc times, energies, cooling time, interpass."""
    read = {w["name"]: w for w in record.summary.get("welds", [])}
    welds = record.case.get("welds", [])
    passes = [(w.get("seam"), w.get("number", 1)) for w in welds if w.get("tack", -1) < 0]
    split = {p for p in passes if p[0] and passes.count(p) > 1}
    return [
        _weld_row(w, read.get(w["name"], {}), (w.get("seam"), w.get("number", 1)) in split)
        for w in welds
    ]


def _weld_row(weld: dict, read: dict, split: bool) -> dict:
    process, _ = PROCESSES.get(str(weld.get("process")), ("", None))
    return {
        "name": weld["name"],
        "process": f"{process} ({weld.get('process')})",
        "where": weld_place(weld, split),
        "current": _number(weld.get("current"), ".0f"),
        "voltage": _number(weld.get("voltage"), ".1f"),
        "speed": _number(weld.get("speed"), ".2f", 1e3),
        "start": _number(read.get("start_s"), ".0f"),
        "end": _number(read.get("end_s"), ".0f"),
        "arc_energy": _number(read.get("arc_energy_kJ_mm"), ".2f"),
        "heat_input": _number(read.get("heat_input_kJ_mm"), ".2f"),
        "t85": _number(read.get("t8_5_s"), ".1f"),
        "interpass": _number(read.get("highest_interpass_degC"), ".0f"),
    }


def weld_place(weld: dict, split: bool = False) -> str:
    """Where a weld lies: face, line and travel on a bar; seam, pass and travel on a joint.

    With `split` it is one of several stretches of its pass, which is then told.
    """
    if not weld.get("seam"):
        return f"{weld.get('face')}, {weld.get('line')}, {weld.get('travel')}"
    if weld.get("tack", -1) >= 0:
        return f"tack on {weld['seam']}, {span_words(weld)}"
    if not weld.get("filler", True):
        return f"{weld['seam']}, heat only, {weld.get('travel')}"
    whole = f"{weld['seam']}, pass {weld.get('number', 1)}, {weld.get('travel')}"
    return f"{whole}, {span_words(weld)}" if split else whole


def span_words(weld: dict) -> str:
    """Stretch of a seam in mm along its natural direction."""
    return f"{1e3 * weld.get('begin', 0.0):.4g} to {1e3 * weld.get('finish', 0.0):.4g} mm"


def clamp_table(record: RunRecord) -> list[dict]:
    """One row a clamp; none for a bar's vise, which the assumptions describe."""
    clamps = record.case.get("clamps") or []
    if record.case.get("part", {}).get("kind") == "bar":
        clamps = [c for c in clamps if c["name"] != "vise"]
    return [
        {
            "name": c["name"],
            "at": ", ".join(c.get("at", [])),
            "kind": c.get("kind", "rigid"),
            "stiffness": _stiffness(c),
            "heat": _number(c.get("conductance") or None, ".4g"),
            "on": rule_words(c.get("on"), "from the start"),
            "off": rule_words(c.get("off"), "never"),
        }
        for c in clamps
    ]


def _stiffness(clamp: dict) -> str:
    """Of a spring in kN/mm and kN m/rad."""
    if clamp.get("kind") != "spring":
        return "–"
    turning = clamp.get("turning")
    turn = f", {turning / 1e3:.4g} kN m/rad" if turning else ", free to turn"
    return f"{clamp.get('stiffness', 0.0) / 1e6:.4g} kN/mm{turn}"


def rule_words(rule: dict | None, usual: str) -> str:
    """When something happens, from a start rule in run.json."""
    if rule is None or rule.get("kind") == "never":
        return usual if rule is None else "never"
    if rule["kind"] == "cold":
        return "when the part is cold"
    if rule["kind"] == "time":
        return f"at {rule['seconds']:.4g} s" if rule["seconds"] else "from the start"
    if rule["kind"] == "after":
        after = f"{rule['seconds']:.4g} s after " if rule["seconds"] else "at "
        return f"{after}the end of {rule['weld']}"
    what = rule.get("weld") or "the weld zone"
    return f"when {what} is below {rule['temperature'] - KELVIN:.4g} °C"


def locked_table(record: RunRecord) -> list[tuple[str, str]]:
    """Stress left in the part and what the clamps hold at the end; empty where not known."""
    locked = record.summary.get("locked_in") or {}
    rows = [
        (words, f"{locked[key]:.0f} MPa")
        for key, words in (
            ("mean_weld_zone_MPa", "mean equivalent stress of the weld zone"),
            ("largest_von_mises_MPa", "largest equivalent stress anywhere"),
        )
        if locked.get(key) is not None
    ]
    for name, held in (locked.get("reactions") or {}).items():
        force, moment = held.get("force_N") or 0.0, held.get("moment_Nm") or 0.0
        text = f"{_figures(force)} N and {_figures(moment)} N m"
        rows.append((f"clamp {name} still pushes with", text))
    return rows


def _figures(value: float) -> str:
    """Three figures without an exponent; 0 for what is next to nothing."""
    digits = 0 if value >= 100 else 1 if value >= 10 else 2
    return "0" if value < 0.005 else f"{value:.{digits}f}"


def released_table(record: RunRecord) -> list[tuple[str, str]]:
    """What each opening of clamps moved: clamps and time, and the change of the gauges."""
    gauges = {c.name: c for c in record.columns if c.weld is None and c.unit in ("mm", "mrad")}
    out, off = [], set()
    found = (record.summary.get("locked_in") or {}).get("released") or []
    for entry in [found] if isinstance(found, dict) else found:
        names = [n for n in entry.get("clamps", []) if n not in off]
        off |= set(names)
        moved = [
            f"{gauges[k].gauge} {gauges[k].component} {rounded(v, record.errors.get(k), 'mm')} "
            f"{unit_word(gauges[k].unit)}"
            for k, v in (entry.get("change") or {}).items()
            if k in gauges and gauges[k].unit == "mm"
        ]
        what = f"{', '.join(names)} off at {entry.get('time_s', 0.0):.0f} s"
        out.append((what, ", ".join(moved) or "no gauge moved"))
    return out


def _number(value, form: str, factor: float = 1.0) -> str:
    return "–" if value is None else format(factor * value, form)


def balance_table(record: RunRecord) -> list[tuple[str, str]]:
    """Heat in, lost and stored, what is not accounted for, and the cost of the run."""
    b, m = record.manifest.get("balances", {}), record.manifest
    heat = [
        (f"heat {words}", f"{b[key] / 1e3:.2f} kJ")
        for key, words in (
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
    cost = [(key.replace("_", " "), f"{value}") for key, value in mesh.items()]
    cost += [(key, f"{m[key]}") for key in ("grade", "solver", "steps", "retries") if key in m]
    cost += [
        (f"time for {key.removesuffix('_s')}", f"{value:.1f} s")
        for key, value in m.get("stage_times", {}).items()
    ]
    return heat + cost


def assumptions(record: RunRecord) -> list[str]:
    """What the numbers rest on, by what the case has."""
    case = record.case
    model = case.get("solve", {}).get("model", "plastic")
    hold = case.get("hold", {}).get("kind", "free")
    bar = case.get("part", {}).get("kind", "bar") == "bar"
    first = [START_OF_BAR] if bar else [START_OF_JOINT, *_pieces(case)]
    held = [] if bar else _clamping(case)
    if hold == "free" and held:
        hold = "ends"
    extra = [ASSUMED_BY_HOLD.get(hold), *held]
    if any(case.get("preset") or ()):
        extra.append(PRESET)
    if case.get("cooling_film") is not None:
        extra.append(FORCED.format(f"{case['cooling_film']:.4g} W/m²/K"))
    extra.append(ASSUMED_BY_MODEL.get(model))
    return [*first, *ASSUMED, *(line for line in extra if line)]


def _pieces(case: dict) -> list[str]:
    """How the pieces of a joint are together before and between the arcs."""
    arcs = [bool(t.get("arc")) for t in case.get("tacks") or []]
    out = [ASSUMED_BY_TACKS["cold"]] if arcs and not all(arcs) else []
    out += [ASSUMED_BY_TACKS["arc"]] if any(arcs) else []
    part = case.get("part", {})
    out += [] if arcs else [ASSUMED_BY_TACKS["none"]]
    if part.get("kind") in ("mesh", "step"):
        return [*out, OWN_LAND]
    return [*out, OPEN_LAND] if "penetration" in part else out


def _clamping(case: dict) -> list[str]:
    """What clamps do, by kind, and what happens when one comes off."""
    clamps = case.get("clamps") or []
    kinds = dict.fromkeys(c.get("kind", "rigid") for c in clamps)
    out = [ASSUMED_BY_CLAMP[k] for k in kinds if k in ASSUMED_BY_CLAMP]
    loose = any((c.get("off") or {"kind": "never"}).get("kind") != "never" for c in clamps)
    return [*out, LOOSE] if loose else out


def inputs(record: RunRecord) -> list[tuple[str, str]]:
    """Every input in SI, then versions and changes made on the command line."""
    rows = list(_flat(record.case))
    rows += [(f"version of {k}", str(v)) for k, v in record.manifest.get("versions", {}).items()]
    return rows + [("changed on the command line", str(c)) for c in record.manifest["overrides"]]


def _flat(value, name: str = ""):
    """Nested records as lines of dotted name and text."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _flat(inner, f"{name}.{key}".strip("."))
    elif isinstance(value, list) and value and isinstance(value[0], dict):
        for number, inner in enumerate(value):
            yield from _flat(inner, f"{name}.{inner.get('name', number)}")
    elif value is not None:
        whole = isinstance(value, float) and math.isfinite(value)
        yield name, f"{value:.6g}" if whole else str(value)
