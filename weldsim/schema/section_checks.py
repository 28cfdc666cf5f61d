"""A section of a case file read by its model: every mistake in it is told, none hides another.

A key that is wrong is replaced by `WRONG` and its section read again, so that the rest of the
section can still be checked: every comparison with a nan is false, and nothing follows from it.
"""

from __future__ import annotations

import math
import typing
from difflib import SequenceMatcher, get_close_matches
from typing import Annotated, Any

from pydantic import BeforeValidator, ValidationError

from weldsim.schema.mistakes import Mistake
from weldsim.schema.quantities import WRONG, Quantity, Section, WordOrTime

RENAMED = {  # keys of older case files
    ("surroundings", "film"): "film_coefficient",
    ("schedule", "cooling_film"): "cooling_film_coefficient",
    ("solve", "companion"): "error_estimate",
    **{("preset", f"lean_{axis}"): f"tilt_{axis}" for axis in "xyz"},
}
RENAMED_SECTIONS = {"hold": "clamping"}
EXAMPLES = {
    "length": '"220 mm"', "width": '"45 mm"', "thickness": '"8 mm"', "current": '"200 A"',
    "voltage": '"12.5 V"', "speed": '"1.1 mm/s"', "efficiency": "0.77", "emissivity": "0.8",
    "bead_width": '"8 mm"', "bead_height": '"2 mm"', "travel": '"up"', "face": '"front"',
    "material": '"carbon-steel"', "name": '"A"', "process": '"141"', "at": '"80 mm"',
    "conductance": '"500 W/m2/K"', "aim": '"+x"', "up": '"+z"', "throw": '"4 m"',
    "direction": '"+z"', "tolerance": '"1 mrad" or "0.5 mm"',
}  # fmt: skip
EXAMPLES_OF = {
    ("part", "kind"): '"bar"', ("clamping", "kind"): '"one end" or "free"',
    ("gauge", "kind"): '"pointer"', ("gauge", "name"): '"pointer"',
    ("gauge", "at"): '"free end"', ("clamping", "length"): '"30 mm"',
}  # fmt: skip


def keys_of(model: type[Section]) -> list[str]:
    """Keys of a section as they are written in the file.

    Parameters
    ----------
    model : type of Section
        What its keys mean.

    Returns
    -------
    list of str
        In the order of the model.
    """
    return [f.alias or n for n, f in model.model_fields.items()]


# keys read by hand later, as a number they are
READ_LATER = {"start": "time", "on": "time", "off": "time", "release": "time", "at": "length"}


def quantity_kind(model: type[Section], key: str) -> str | None:
    """Kind of the quantity that a key holds.

    Parameters
    ----------
    model : type of Section
        The section it stands in.
    key : str
        As in the file.

    Returns
    -------
    str or None
        One of `weldsim.units.KINDS`, None where it holds none.
    """
    field = next((f for n, f in model.model_fields.items() if (f.alias or n) == key), None)
    if field is None:
        return None
    if field.annotation is Any and not field.metadata:
        return READ_LATER.get(key)
    return next((r.kind for r in readers(field.annotation, field.metadata)), None)


def readers(annotation, metadata) -> list:
    """What reads a field, wherever in its type it stands.

    Parameters
    ----------
    annotation : type
        Of the field.
    metadata : iterable
        Of the field, as pydantic keeps it.

    Returns
    -------
    list of Quantity and WordOrTime
        None of them for a field of another type.
    """
    found = [m.func for m in metadata if isinstance(m, BeforeValidator)]
    out = [f for f in found if isinstance(f, (Quantity, WordOrTime))]
    if typing.get_origin(annotation) is Annotated:
        inner, *more = typing.get_args(annotation)
        return out + readers(inner, more)
    return out + [r for inner in typing.get_args(annotation) for r in readers(inner, ())]


def unknown_key(section: str, key: str, keys: list[str]) -> str:
    """What to say of a key that a section does not have: its new name, or the nearest one.

    Parameters
    ----------
    section, key : str
        As written.
    keys : list of str
        Those the section has.

    Returns
    -------
    str
        The end of a sentence.
    """
    now = RENAMED.get((section, key))
    if now in keys:
        return f", it is called {now} now"
    return nearest(key, keys)


def unknown_section(section: str, known) -> str:
    """What to say of a section that there is not: its new name, or the nearest one.

    Parameters
    ----------
    section : str
        As written.
    known : iterable of str
        Those there are.

    Returns
    -------
    str
        The end of a sentence.
    """
    now = RENAMED_SECTIONS.get(section)
    return f", it is called {now} now" if now else nearest(section, known)


def such_as(section: str, key: str) -> str:
    """An example of a key's value.

    Parameters
    ----------
    section, key : str
        As in the file.

    Returns
    -------
    str
        The end of a sentence, empty where there is no example.
    """
    example = EXAMPLES_OF.get((section, key)) or EXAMPLES.get(key)
    return f", such as {example}" if example else ""


def nearest(word, known) -> str:
    """The nearest known word, or all of them.

    Parameters
    ----------
    word : object
        As written.
    known : iterable
        What is allowed.

    Returns
    -------
    str
        The end of a sentence.
    """
    near = near_to(word, known)
    return near or f", known: {', '.join(str(k) for k in known)}"


def near_to(word, known) -> str:
    """The nearest known word.

    Parameters
    ----------
    word : object
        As written.
    known : iterable
        What is allowed.

    Returns
    -------
    str
        The end of a sentence, empty when none is near.
    """
    near = get_close_matches(str(word), [str(k) for k in known], n=2, cutoff=0.6)
    if len(near) == 2 and len({SequenceMatcher(None, n, str(word)).ratio() for n in near}) == 1:
        return ""  # two as near as each other: a guess would mislead
    return f", did you mean {near[0]}?" if near else ""


def check_section(
    section: str, model: type[Section], values, mistakes: list, name: str = ""
) -> Section:
    """Read a section by its model; what is wrong is added to `mistakes` and stands as `WRONG`.

    Parameters
    ----------
    section : str
        Name of the section.
    model : type of Section
        What its keys mean.
    values : dict or anything
        As the file has them.
    mistakes : list
        `Mistake` records are added.
    name : str
        Of the entry, where the section may stand more than once.

    Returns
    -------
    Section
        With `WRONG` for what could not be read.
    """
    keys = keys_of(model)
    if not isinstance(values, dict):
        if values is not None:
            text = f"{values!r} is not a section with keys"
            mistakes.append(Mistake(section, name, "", values, text))
        return model.model_validate(dict.fromkeys(keys, WRONG))
    try:
        return model.model_validate(values)
    except ValidationError as error:
        found = error.errors()
    for one in found:
        key, value = str(one["loc"][0]), one.get("input")
        mistakes.append(Mistake(section, name, key, value, key_mistake(one, section, keys)))
    bad = {str(e["loc"][0]) for e in found}
    rest = {k: v for k, v in values.items() if k in keys}
    rest.update((k, WRONG) for k in bad if k in keys)
    return model.model_validate(rest)


COMPARED = ("greater_than", "less_than", "greater_than_equal", "less_than_equal")
WANTED_TYPES = {
    "list_type": "write a list", "int_type": "write a whole number",
    "bool_type": "write true or false",
}  # fmt: skip


def key_mistake(error: dict, section: str, keys: list[str]) -> str:
    """What pydantic says of a key, in our words.

    Parameters
    ----------
    error : dict
        One of `ValidationError.errors`.
    section : str
        Name of the section, for examples.
    keys : list of str
        Those the section has.

    Returns
    -------
    str
        To be put behind the key.
    """
    key = str(error["loc"][0])
    value, kind, context = error.get("input"), error["type"], error.get("ctx", {})
    if kind == "extra_forbidden":
        return f"unknown key{unknown_key(section, key, keys)}"
    if kind == "missing":
        return f"missing key{such_as(section, key)}"
    if kind == "value_error":
        return str(context["error"])
    written = str(value).lower() if isinstance(value, bool) else repr(value)
    shown = f"{written} is not allowed"
    if kind == "literal_error":
        words = [w.strip("'") for w in context["expected"].replace(" or ", ", ").split(", ")]
        return f"{shown}: write " + " or ".join(f'"{w}"' for w in words) + near_to(value, words)
    if kind == "string_pattern_mismatch":
        return f"{shown}: letters, digits, - and _ only"
    if kind in COMPARED:
        sign = kind.replace("_than_equal", " than or equal to").replace("_", " ")
        limit = next(iter(context.values()))
        meant = ""  # 77 for 77 %
        if limit == 1 and isinstance(value, int | float) and 1 < value <= 100:
            meant = f', or "{value:g} %" if that is meant'
        return f"{shown}: it must be {sign} {limit:g}{meant}"
    if kind in WANTED_TYPES:
        return f"{shown}: {WANTED_TYPES[kind]}"
    if kind == "float_type":
        return f"{shown}: write a number without quotes{such_as(section, key)}"
    if kind == "string_type":
        return f"{shown}: write text in quotes{such_as(section, key)}"
    return f"{shown}: {error['msg'][0].lower() + error['msg'][1:]}"


def is_known(value) -> bool:
    """Whether a value was read, rather than standing for a mistake.

    Parameters
    ----------
    value : object
        Of a section.

    Returns
    -------
    bool
        False for `WRONG` and any other nan.
    """
    return not (isinstance(value, float) and math.isnan(value))
