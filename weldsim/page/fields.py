"""Fields of the page, read off the keys of a case file: one list of keys, here and there.

Kinds, units, words and signs come from the pydantic sections of `schema.sections` and the
joints, values and remarks from the commented starters. Nothing here says what a case may hold.
"""

from __future__ import annotations

import re
import tomllib
import typing
from collections.abc import Iterable
from functools import lru_cache
from importlib.resources import files
from types import UnionType
from typing import Any

from pydantic import BeforeValidator

from weldsim.case.keys import section_model
from weldsim.joints.registry import KINDS, joint_kind
from weldsim.materials.shelf import list_materials
from weldsim.page.labels import HEADS, HOLD_NAMES, label_of_field
from weldsim.schema.process import PROCESSES
from weldsim.schema.quantities import Quantity, WordOrTime
from weldsim.schema.section_checks import EXAMPLES, EXAMPLES_OF
from weldsim.schema.sections import MANY
from weldsim.units import KINDS as QUANTITIES
from weldsim.units import to_si

# kinds that need a file of their own, offered through a case file
FROM_FILE = tuple(kind for kind in KINDS if joint_kind(kind).needs_file)
# units offered for a kind of quantity, the usual one first; any other may be typed
OFFERED = {
    "length": ("mm", "in", "m", "ft"), "time": ("s", "min", "h"),
    "speed": ("mm/s", "mm/min", "in/min", "cm/min"), "current": ("A",), "voltage": ("V",),
    "temperature": ("degC", "degF", "K"), "conductance": ("W/m2/K",), "angle": ("deg", "mrad"),
    "frequency": ("Hz",), "stiffness": ("kN/mm", "N/mm"), "turning stiffness": ("kN m/rad",),
}  # fmt: skip
ORDERED = {("schedule", "order")}  # set by the list of welds, not by a field


def units_offered() -> dict:
    """Units of each kind of quantity with what turns them to SI: value * factor + shift.

    Returns
    -------
    dict
        Kind of quantity to a list of `unit`, `factor` and `shift`.
    """
    out = {}
    for kind, units in OFFERED.items():
        si = QUANTITIES[kind][0]
        zero = [_in_si(0.0, u, si) for u in units]
        one = [_in_si(1.0, u, si) for u in units]
        out[kind] = [
            {"unit": u, "factor": b - a, "shift": a}
            for u, a, b in zip(units, zero, one, strict=True)
        ]
    return out


def _in_si(number: float, unit: str, si_unit: str) -> float:
    value = to_si(number, unit, si_unit)
    if value is None:
        raise ValueError(f"{unit} cannot be turned into {si_unit}")
    return value


def label_of(kind: str) -> str:
    """What a joint kind is called.

    Parameters
    ----------
    kind : str
        A joint kind.

    Returns
    -------
    str
        As a person reads it.
    """
    return joint_kind(kind).label


@lru_cache(maxsize=len(KINDS))
def form_of(kind: str) -> dict:
    """Sections with their fields, and the starter's tables.

    Parameters
    ----------
    kind : str
        A joint kind.

    Returns
    -------
    dict
        `sections`: list of `key`, `head`, `many`, `fields`; `seams_of_welds` of its `JointKind`;
        `tables`: the starter as JSON holds it.
    """
    text = (files("weldsim") / "data" / "starters" / f"{kind}.toml").read_text(encoding="utf-8")
    remarks = _remarks(text)
    return {
        "kind": kind,
        "label": label_of(kind),
        "seams_of_welds": joint_kind(kind).seams_of_welds,
        "sections": [
            {
                "key": section,
                "head": HEADS[section],
                "many": section in MANY,
                "fields": _fields(section, kind, remarks),
            }
            for section in joint_kind(kind).sections
        ],
        "tables": tomllib.loads(text),
    }


def _fields(section: str, kind: str, remarks: dict) -> list[dict]:
    model = section_model(section, kind)
    out = []
    for name, info in model.model_fields.items():
        key = info.alias or name
        if (section, key) == ("part", "kind") or (section, key) in ORDERED:
            continue
        example = EXAMPLES_OF.get((section, key)) or EXAMPLES.get(key, "")
        field = {
            "key": key,
            "label": label_of_field(section, key),
            "needed": info.is_required(),
            "remark": "" if key == "name" else remarks.get((section, key), ""),
            "example": example.split(" or ")[0].strip('"'),
            **_type(info.annotation, info.metadata),
        }
        if isinstance(info.default, str) and field["type"] == "word":
            field["default"] = info.default
        if key == "material":
            field.update(type="word", words=list(list_materials()))
        if key == "process":
            field.update(
                type="word", words=list(PROCESSES),
                names=[f"{number} {name}" for number, (name, _) in PROCESSES.items()],
                remark="number of ISO 4063",  # the starter's names the one it begins with
            )  # fmt: skip
        if (section, key) == ("clamping", "kind"):
            field["names"] = [HOLD_NAMES.get(word, word) for word in field["words"]]
        if key == "file":
            field["locked"] = True
        field["remark"] = _without_label(field)
        if _says_no_more(field):
            field["remark"] = ""
        out.append(field)
    return out


def _without_label(field: dict) -> str:
    """A remark without the label, where it begins with that."""
    remark = str(field["remark"])
    for between in (", ", " "):
        if remark.startswith(field["label"] + between):
            return remark.removeprefix(field["label"] + between)
    return remark


def _says_no_more(field: dict) -> bool:
    """Whether a remark names another key, or words that the field's list offers."""
    remark = field["remark"]
    words = re.findall(r"[\w-]+", remark.removeprefix("or "))
    return bool(re.match(r"or \w+ = ", remark)) or (
        bool(words) and set(words) <= set(field.get("words", ()))
    )


def _type(annotation: Any, metadata: Iterable) -> dict:
    """Type of a field, and its unit kind, sign or words."""
    for item in metadata:
        if isinstance(item, BeforeValidator) and isinstance(item.func, Quantity):
            return {"type": "quantity", "unit": item.func.kind, "sign": item.func.sign}
        if isinstance(item, BeforeValidator) and isinstance(item.func, WordOrTime):
            return {"type": "text", "hints": list(item.func.words)}
    origin = typing.get_origin(annotation)
    if origin is typing.Annotated:
        inner, *more = typing.get_args(annotation)
        return _type(inner, more)
    if origin in (typing.Union, UnionType):
        inner = [a for a in typing.get_args(annotation) if a is not type(None)]
        return _type(inner[0], metadata)
    if origin is typing.Literal:
        return {"type": "word", "words": list(typing.get_args(annotation))}
    if annotation is bool:
        return {"type": "flag"}
    if annotation is int:
        return {"type": "whole"}
    if annotation is float:
        return {"type": "number"}
    return {"type": "text"}


_SECTION = re.compile(r"\s*\[+\s*([A-Za-z]+)")
_KEY = re.compile(r"\s*(\w+)\s*=\s*(?:\"[^\"]*\"|[^#])*#\s*(.+)")


def _remarks(text: str) -> dict:
    """(section, key) -> remark behind its line in a commented file, the first one."""
    out: dict[tuple[str, str], str] = {}
    section = ""
    for line in text.splitlines():
        if found := _SECTION.match(line):
            section = found[1]
        elif found := _KEY.match(line):
            out.setdefault((section, found[1]), found[2].strip().replace("`", ""))
    return out
