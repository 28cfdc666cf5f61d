"""What the page calls the keys of a case file, where the key itself is no plain word.

`HEADS` names the sections, `LABELS` the fields: by section and key, or by key where it is the same
everywhere.
"""

from __future__ import annotations

HEADS = {
    "part": "Part", "clamping": "Clamping", "weld": "Welds", "preset": "Tilt given before welding",
    "surroundings": "Air and preheat", "gauge": "Gauges", "solve": "How it is computed",
    "clamp": "More clamps", "tack": "Tacks", "arc": "Arc", "schedule": "Pauses",
}  # fmt: skip
HOLD_NAMES = {
    "one end": "clamp at one end", "ends": "its usual ends", "free": "nothing, it lies free",
}  # fmt: skip
LABELS = {
    ("part", "up"): "up in the workshop",
    ("part", "clock"): "clock positions start at",
    ("part", "depth"): "depth to fuse",
    ("part", "scale"): "unit of the file",
    ("part", "lines"): "beads, one a line",
    ("part", "path"): "or a CSV file of beads",
    ("part", "at_once"): "beads laid at once (0: one by one)",
    ("part", "bead_width"): "from bead to bead",
    ("part", "side_toes"): "toe clamps on both sides, places",
    ("part", "start_toes"): "toe clamps on the start end, places",
    ("part", "finish_toes"): "toe clamps on the finish end, places",
    ("part", "toe_reach"): "toes reach in by",
    ("clamping", "kind"): "clamped by",
    ("clamping", "length"): "clamped length",
    ("clamping", "release"): "clamp opens",
    ("weld", "face"): "face",
    ("weld", "line"): "bead runs",
    ("weld", "pass"): "pass number",
    ("weld", "pattern"): "pattern along the seam",
    ("weld", "segment"): "length of one stretch",
    ("weld", "filler"): "lays metal",
    ("preset", "tilt_x"): "tilt toward +x",
    ("preset", "tilt_y"): "tilt toward +y",
    ("preset", "tilt_z"): "tilt toward +z",
    ("gauge", "up"): "up on the target is",
    ("gauge", "direction"): "reads along",
    ("gauge", "size"): "spot size",
    ("clamp", "kind"): "sort of clamp",
    ("clamp", "temperature"): "its own temperature",
    ("clamp", "on"): "closes",
    ("clamp", "off"): "opens",
    ("tack", "size"): "tack leg",
    ("tack", "arc"): "laid with the arc",
    ("schedule", "pause"): "pause after each weld",
    ("schedule", "interpass"): "or wait until below (interpass)",
    ("schedule", "cooling_film_coefficient"): "forced cooling, heat loss to air",
    ("solve", "model"): "metal",
    ("solve", "end"): "computed until",
    "aim": "beam points along",
    "ambient": "air temperature",
    "error_estimate": "second run for the estimated error",
    "conductance": "heat contact of the clamp",
    "crater": "crater fill time",
    "depth": "heat source, depth",
    "dwell": "wait at the start",
    "emissivity": "heat radiation (emissivity)",
    "film_coefficient": "heat loss to air",
    "front_length": "heat source, ahead",
    "half_width": "heat source, half width",
    "rear_length": "heat source, behind",
    "shrinkage_across": "shrinkage across (elastic)",
    "shrinkage_along": "shrinkage along (elastic)",
    "slides": "lets its faces slide",
    "start": "starts",
    "throw": "target distance",
    "turning": "rotational stiffness",
    "weave": "weave, each side",
    "weave_rate": "weaves per second",
}


def label_of_field(section: str, key: str) -> str:
    """What a field is called.

    Parameters
    ----------
    section, key : str
        Of a case file.

    Returns
    -------
    str
        A few plain words.
    """
    return LABELS.get((section, key)) or LABELS.get(key) or key.replace("_", " ")
