"""Every input of a run in words: what it is of, what it is, its value with its unit."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from typing import Any

from weldsim.runs.reading import RunRecord
from weldsim.text.quantities import Words, given, joined, words

GROUPS = {
    "welds": "weld", "gauges": "gauge", "clamps": "clamp", "tacks": "tack", "solve": "run",
    "clamping": "clamping", "part": "part", "surroundings": "surroundings", "preset": "preset",
}  # fmt: skip
LABELS = {
    "begin": "from", "finish": "to", "at": "place", "number": "pass",
    "bead_width": "width of the bead", "bead_height": "height of the bead", "filler": "filler",
    "filler_yield_factor": "yield of the filler over that of the part",
    "arc": "laid with the arc", "start": "starts", "current": "current", "voltage": "voltage",
    "speed": "travel speed", "front_length": "heat ahead of the arc",
    "rear_length": "heat behind the arc", "half_width": "half width of the heat",
    "depth": "depth of the heat", "weave": "weave to each side", "weave_rate": "weave rate",
    "dwell": "dwell at the start", "crater": "crater fill time", "power": "power into the part",
    "arc_energy": "arc energy", "heat_input": "heat input", "ambient": "air",
    "preheat": "the part starts at", "film_coefficient": "heat loss to air",
    "cooling_film_coefficient": "forced cooling between welds", "throw": "target distance",
    "aim": "beam points along", "up": "up", "error_estimate": "second run for the estimated error",
    "end": "ends", "turning": "rotational stiffness", "slides": "faces slide",
    "conductance": "heat taken by contact",
    "release": "opens", "on": "closes", "off": "opens", "size": "leg", "leg": "leg of the fillet",
    "root_gap": "gap at the root", "penetration": "fused beyond the root", "kind": "kind",
}  # fmt: skip
# last key -> unit people read, factor and offset from SI
_MM, _S = ("mm", 1e3, 0.0), ("s", 1.0, 0.0)
_DEGC, _CONTACT = ("°C", 1.0, -273.15), ("W/m²/K", 1.0, 0.0)
SCALES = {
    **dict.fromkeys(
        ("begin", "finish", "bead_width", "bead_height", "front_length", "rear_length",
         "half_width", "depth", "weave", "size", "length", "at"), _MM),
    **dict.fromkeys(("seconds", "dwell", "crater", "end", "release"), _S),
    **dict.fromkeys(("ambient", "preheat", "temperature", "limit"), _DEGC),
    **dict.fromkeys(("film_coefficient", "cooling_film_coefficient", "conductance"), _CONTACT),
    **dict.fromkeys(("arc_energy", "heat_input"), ("kJ/mm", 1e-6, 0.0)),
    "speed": ("mm/s", 1e3, 0.0), "current": ("A", 1.0, 0.0), "voltage": ("V", 1.0, 0.0),
    "power": ("W", 1.0, 0.0), "weave_rate": ("Hz", 1.0, 0.0), "throw": ("m", 1.0, 0.0),
    "stiffness": ("kN/mm", 1e-6, 0.0), "turning": ("kN m/rad", 1e-3, 0.0),
    "bevel": ("°", math.degrees(1.0), 0.0),
}  # fmt: skip
COUNTS = ("passes",)  # of a part, but no lengths
# folders of a path from the root, in a text
_WHOLE_PATH = re.compile(r"(?:(?<=[\s\"'=:(])|^)(?:[A-Za-z]:)?[\\/](?:[^\s\"'\\/]+[\\/])+")
NOT_SAID = (
    "name",
    "value",
    "measure",
    "note",
    "direction",
)  # said otherwise: in the group, in the text


# values that say that something which few welds have is not there: a tack, a deposit laid at once
IDLE = (("tack", -1), ("speed_up", 1), ("beads", 1), ("spread", 0), ("temperatures", []))


def input_rows(record: RunRecord) -> list[tuple[str, Words]]:
    """Every input of the case, then versions and changes made on the command line.

    Parameters
    ----------
    record : RunRecord

    Returns
    -------
    list of (str, Words)
        What it is, such as "weld A, heat input", and its value, such as "0.831 kJ/mm".
    """
    rows = list(case_rows(record.case))
    versions = record.manifest.get("versions", {})
    rows += [(f"version of {k}", Words(str(v))) for k, v in versions.items()]
    changed = record.manifest["overrides"]
    return rows + [("changed on the command line", Words(without_folders(str(c)))) for c in changed]


def without_folders(text: str) -> str:
    """A text that is passed on: of whole paths the last names alone."""
    return _WHOLE_PATH.sub("", text)


def case_rows(case: dict[str, Any]) -> Iterator[tuple[str, Words]]:
    """Every input of a case as run.json holds it, in words."""
    for key, value in case.items():
        group = GROUPS.get(key, _label(key))
        if isinstance(value, list) and value and isinstance(value[0], dict):
            for number, inner in enumerate(value, 1):
                name = str(inner.get("name", number))
                yield from _inside(name if name == group else f"{group} {name}", inner, key)
        elif isinstance(value, dict):
            yield from _inside(group, value, key)
        elif value is not None:
            yield group, _said(key, value, key)


def _inside(group: str, record: dict[str, Any], section: str) -> Iterator[tuple[str, Words]]:
    for key, value in record.items():
        if key in NOT_SAID or value in (None, "") or (key, value) in IDLE:
            continue
        if record.get("kind") == "rigid" and key in ("stiffness", "turning"):
            continue  # of springs alone
        name = f"{group}, {_label(key)}"
        if isinstance(value, dict):
            if "kind" in value and "seconds" in value:
                yield name, _rule(value)
            elif "text" in value:
                yield name, Words(str(value["text"]))
            else:
                yield from _inside(name, value, section)
        elif isinstance(value, list) and value and isinstance(value[0], dict):
            for number, inner in enumerate(value, 1):
                yield from _inside(f"{name} {inner.get('name', number)}", inner, section)
        else:
            yield name, _said(key, value, section)


def _rule(rule: dict[str, Any]) -> Words:
    """When a weld starts or a clamp opens."""
    kind, seconds = rule["kind"], rule.get("seconds") or 0.0
    weld, limit = rule.get("weld"), rule.get("temperature") or rule.get("limit")
    if kind == "time":
        return Words(f"{seconds:.4g} s after the beginning" if seconds else "at the beginning")
    if kind == "after":
        return Words(f"{seconds:.4g} s after the end of {weld}" if seconds else f"after {weld}")
    if kind == "below" and limit:
        below = given(limit - 273.15, "°C", ".4g")
        return words("when {} is below {}", weld or "the weld zone", below)
    return Words("when the part is cold" if kind == "cold" else kind)


def _label(key: str) -> str:
    return LABELS.get(key, key.replace("_", " "))


def _said(key: str, value: Any, section: str) -> Words:
    """A value with its unit; whole texts and numbers without one stay as they are."""
    if isinstance(value, bool):
        return Words("yes" if value else "no")
    if isinstance(value, list):
        return joined(", ", (_said(key, v, section) for v in value)) if value else Words("none")
    if not isinstance(value, int | float) or not math.isfinite(value):
        return Words(without_folders(str(value)))
    if section == "preset":
        return Words(f"{1e3 * value:.6g} mrad")
    scale = SCALES.get(key)
    if scale is None and section in ("part", "clamping") and key not in COUNTS:
        scale = _MM  # all other numbers of a part are lengths
    if scale is None:
        return Words(f"{value:.6g}")
    unit, factor, offset = scale
    return Words(given(factor * value + offset, unit, ".6g"))
