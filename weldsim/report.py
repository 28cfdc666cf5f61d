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
ASSUMED = (
    "The part starts flat, without stress, at its preheat temperature; no tack welds.",
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
# Joint kinds whose parts these checks are made of, with what is still missing for each.
VALIDATION = {
    "bar": "The movement of this joint has not been compared with measurements on a welded bar: "
    "read it as a direction and an order of magnitude until you have measured one like it.",
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
        pictures=pictures(record),
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
            data = base64.b64encode(path.read_bytes()).decode()
            words = caption.format(path.stem.partition("_")[2])
            out.append({"url": f"data:{KINDS[path.suffix]};base64,{data}", "caption": words})
    return out


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
    return [_weld_row(w, read.get(w["name"], {})) for w in record.case.get("welds", [])]


def _weld_row(weld: dict, read: dict) -> dict:
    process, _ = PROCESSES.get(str(weld.get("process")), ("", None))
    return {
        "name": weld["name"],
        "process": f"{process} ({weld.get('process')})",
        "where": f"{weld.get('face')}, {weld.get('line')}, {weld.get('travel')}",
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
    """What the numbers rest on, by model and hold."""
    model = record.case.get("solve", {}).get("model", "plastic")
    hold = record.case.get("hold", {}).get("kind", "free")
    extra = (ASSUMED_BY_HOLD.get(hold), ASSUMED_BY_MODEL.get(model))
    return [*ASSUMED, *(line for line in extra if line)]


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
