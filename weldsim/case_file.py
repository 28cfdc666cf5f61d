"""Sections of a case file: which keys there are, in what units, and with which defaults."""

from __future__ import annotations

import re
import tomllib
from difflib import get_close_matches
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from weldsim.case import Bar, Gauge, Hold, SolveOptions, StartRule, Surroundings, Weld
from weldsim.errors import CaseError
from weldsim.process import PROCESSES
from weldsim.units import parse


def _quantity(kind: str, sign: str = "any"):
    """A pydantic type that reads a quantity of one kind, positive or not negative if asked."""

    def read(value):
        number = parse(value, kind)
        if sign == "positive" and not number > 0:
            raise ValueError(f"{value!r} is not allowed: it must be greater than zero")
        if sign == "not negative" and number < 0:
            raise ValueError(f"{value!r} is not allowed: it must not be negative")
        if kind == "temperature" and number <= 0:
            raise ValueError(f"{value!r} is not allowed: it is below absolute zero")
        return number

    return Annotated[float, BeforeValidator(read)]


def _word_or(kind: str, *words: str):
    """A word out of a few, or a quantity that is not negative."""

    def read(value):
        if value in words:
            return value
        try:
            number = parse(value, kind)
        except ValueError:
            listed = ", ".join(f'"{w}"' for w in words)
            raise ValueError(
                f"{value!r} is not allowed: write {listed} or a {kind} such as "
                + ('"90 s"' if kind == "time" else '"20 mm"')
            ) from None
        if number < 0:
            raise ValueError(f"{value!r} is not allowed: it must not be negative")
        return number

    return Annotated[Any, BeforeValidator(read)]


Size = _quantity("length", "positive")
Place = _quantity("length")
Axis = Literal["+x", "-x", "+y", "-y", "+z", "-z"]


class Section(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


class PartSection(Section):
    kind: Literal["bar"]
    length: Size
    width: Size
    thickness: Size
    material: str


class HoldSection(Section):
    kind: Literal["vise", "free"]
    length: _quantity("length", "not negative") = 0.0
    conductance: _quantity("conductance", "not negative") = 0.0
    release: _word_or("time", "never", "cold") = "never"


class WeldSection(Section):
    name: Annotated[str, Field(pattern=r"^[A-Za-z0-9_-]+$")]
    face: Literal["front", "back", "top", "bottom"]
    line: Literal["across", "along"] | None = None
    at: Place | None = None
    begin: Place | None = Field(None, alias="from")
    finish: Place | None = Field(None, alias="to")
    travel: Literal["up", "down", "+x", "-x"]
    process: str = "141"
    current: _quantity("current", "positive")
    voltage: _quantity("voltage", "positive")
    efficiency: Annotated[float, Field(gt=0, le=1)]
    speed: _quantity("speed", "positive")
    bead_width: Size
    bead_height: Size
    front_length: Size | None = None
    rear_length: Size | None = None
    half_width: Size | None = None
    depth: Size | None = None
    start: Any = "0 s"
    shrinkage_along: Annotated[float, Field(gt=-0.1, lt=0.1)] | None = None
    shrinkage_across: Annotated[float, Field(gt=-0.1, lt=0.1)] | None = None


class SurroundingsSection(Section):
    ambient: _quantity("temperature") = 293.15
    film: _quantity("conductance", "not negative") = 10.0
    emissivity: Annotated[float, Field(ge=0, le=1)] = 0.8
    preheat: _quantity("temperature") | None = None


class GaugeSection(Section):
    name: Annotated[str, Field(pattern=r"^[A-Za-z0-9_-]+$")]
    kind: Literal["pointer", "dial", "thermocouple", "bow"]
    at: Any = None
    aim: Axis | None = None
    up: Axis | None = None
    throw: Size | None = None
    direction: Axis | None = None


class SolveSection(Section):
    model: Literal["plastic", "elastic"] = "plastic"
    grade: Literal["quick", "normal", "fine"] = "normal"
    end: _word_or("time", "cold") = "cold"
    companion: bool = True


TOP = {"title", "part", "hold", "weld", "surroundings", "gauge", "solve"}
EXAMPLES = {
    "length": '"200 mm"', "width": '"40 mm"', "thickness": '"6 mm"', "current": '"150 A"',
    "voltage": '"12 V"', "speed": '"1.3 mm/s"', "efficiency": "0.77", "bead_width": '"7 mm"',
    "bead_height": '"1.5 mm"', "travel": '"up"', "face": '"front"', "kind": '"bar", "vise"',
    "material": '"carbon-steel"', "name": '"A"',
}  # fmt: skip
GAUGE_KEYS = {
    "pointer": ("at", "aim", "up", "throw"),
    "dial": ("at", "direction"),
    "thermocouple": ("at",),
    "bow": ("direction",),
}
NAMED_PLACES = ("free end", "mid length", "start end")


def apply_override(raw: dict, change: str, source_file: str) -> None:
    """Put one ``section.key=value`` into the raw file; welds and gauges go by their name."""
    key, sign, value = change.partition("=")
    path = [p.strip() for p in key.split(".")]
    where = f"{source_file} --set {change}"
    if not sign or len(path) < 1 or not all(path):
        raise CaseError(f"{where}: write it as section.key=value, such as part.thickness=8 mm")
    target = raw
    if path[0] in ("weld", "gauge"):
        if len(path) != 3:
            raise CaseError(f"{where}: write it as {path[0]}.NAME.key=value")
        entries = raw.get(path[0], [])
        names = [e.get("name") for e in entries if isinstance(e, dict)]
        if path[1] not in names:
            listed = ", ".join(str(n) for n in names) or "none"
            raise CaseError(f"{where}: no {path[0]} is named {path[1]}; there are: {listed}")
        target, path = entries[names.index(path[1])], path[2:]
    elif path[0] not in TOP:
        raise CaseError(f"{where}: unknown section{_nearest(path[0], TOP)}")
    elif path[0] == "title":
        pass
    else:
        if len(path) != 2:
            raise CaseError(f"{where}: write it as {path[0]}.key=value")
        target, path = raw.setdefault(path[0], {}), path[1:]
    target[path[0]] = _override_value(value.strip())


def _override_value(text: str):
    """Numbers, true, false, lists and quoted text as in TOML; anything else is text."""
    try:
        return tomllib.loads(f"value = {text}")["value"]
    except tomllib.TOMLDecodeError:
        return text


def read_sections(raw: dict, folder: Path) -> tuple[dict, list[str]]:
    """Sections as SI records, None where one is wrong, and the mistakes found."""
    mistakes = [f"[{k}]: unknown section{_nearest(k, TOP)}" for k in raw if k not in TOP]
    title = raw.get("title")
    if not isinstance(title, str) or not title.strip():
        mistakes.append('title: missing or empty, allowed: a line of text such as "Pivot arm"')
    part = _one(PartSection, raw, "part", mistakes)
    hold = _one(HoldSection, raw, "hold", mistakes)
    air = _one(SurroundingsSection, {"surroundings": {}, **raw}, "surroundings", mistakes)
    solve = _one(SolveSection, {"solve": {}, **raw}, "solve", mistakes)
    welds = _many(WeldSection, raw, "weld", mistakes)
    gauges = _many(GaugeSection, raw, "gauge", mistakes)
    bar = Bar(**part.model_dump()) if part else None
    if bar:
        bar = _with_material(bar, folder, mistakes)
    records = {
        "title": title,
        "part": bar,
        "hold": Hold(**hold.model_dump()) if hold else None,
        "welds": tuple(_weld(w, bar, hold, mistakes) for w in welds if w),
        "surroundings": _surroundings(air) if air else None,
        "gauges": tuple(_gauge(g, mistakes) for g in gauges if g),
        "solve": SolveOptions(**solve.model_dump()) if solve else None,
    }
    return records, mistakes


def _surroundings(section) -> Surroundings:
    values = section.model_dump()
    if values["preheat"] is None:
        values["preheat"] = values["ambient"]
    return Surroundings(**values)


def _one(model, raw, key, mistakes):
    if key not in raw:
        mistakes.append(f"[{key}]: missing section")
        return None
    return _check(model, raw[key], f"[{key}]", mistakes)


def _many(model, raw, key, mistakes):
    entries = raw.get(key)
    if not isinstance(entries, list) or not entries:
        mistakes.append(f"[[{key}]]: missing, allowed: one [[{key}]] section or more")
        return []
    out = []
    for i, entry in enumerate(entries):
        name = entry.get("name", i + 1) if isinstance(entry, dict) else i + 1
        out.append(_check(model, entry, f"[{key}.{name}]", mistakes))
    names = [e.name for e in out if e]
    for name in sorted({n for n in names if names.count(n) > 1}):
        mistakes.append(f"[{key}.{name}] name: {name}: used twice, allowed: each name once")
    return out


def _check(model, values, where, mistakes):
    if not isinstance(values, dict):
        mistakes.append(f"{where}: {values!r} is not a section")
        return None
    try:
        return model.model_validate(values)
    except ValidationError as error:
        known = {f.alias or n for n, f in model.model_fields.items()}
        mistakes += [f"{where} {_line(e, known)}" for e in error.errors()]
        return None


def _line(error: dict, known: set[str]) -> str:
    """One pydantic complaint in our words."""
    key = str(error["loc"][0]) if error["loc"] else ""
    value, kind, context = error.get("input"), error["type"], error.get("ctx", {})
    if kind == "extra_forbidden":
        return f"{key}: unknown key{_nearest(key, known)}"
    if kind == "missing":
        example = f", such as {EXAMPLES[key]}" if key in EXAMPLES else ""
        return f"{key}: missing key{example}"
    if kind == "literal_error":
        return f"{key}: {value!r} is not allowed: write {context['expected']}"
    if kind == "value_error":
        return f"{key}: {context['error']}"
    if kind == "string_pattern_mismatch":
        return f"{key}: {value!r} is not allowed: letters, digits, - and _ only"
    if kind in ("greater_than", "less_than", "greater_than_equal", "less_than_equal"):
        limit = next(iter(context.values()))
        word = (
            kind.replace("_equal", " or equal to").replace("_", " ").replace("than or", "than or")
        )
        return f"{key}: {value!r} is not allowed: it must be {word} {limit:g}"
    return f"{key}: {value!r} is not allowed: {error['msg'][0].lower() + error['msg'][1:]}"


def _nearest(word: str, known) -> str:
    near = get_close_matches(word, [str(k) for k in known], n=1, cutoff=0.6)
    return f", did you mean {near[0]}?" if near else f", known: {', '.join(sorted(known))}"


def _with_material(bar: Bar, folder: Path, mistakes) -> Bar:
    """The bar with its material found: a name that comes with weldsim, or a file by the case."""
    from dataclasses import replace
    from importlib.resources import files

    shelf = files("weldsim") / "data" / "materials"
    names = sorted(f.name[:-5] for f in shelf.iterdir() if f.name.endswith(".toml"))
    if bar.material in names:
        return bar
    path = folder / bar.material
    if bar.material.endswith(".toml") and path.is_file():
        return replace(bar, material=str(path))
    mistakes.append(
        f"[part] material: {bar.material!r} is unknown{_nearest(bar.material, names)}; "
        f"allowed: {', '.join(names)} or a .toml file beside the case"
    )
    return bar


def _weld(section: WeldSection, bar, hold, mistakes) -> Weld:
    """A weld with its defaults filled in from the part."""
    values = section.model_dump()
    where = f"[weld.{section.name}]"
    line = values["line"] or ("across" if section.face in ("front", "back") else "along")
    values["line"] = line
    half = section.bead_width / 2
    for key, default in (
        ("half_width", half), ("front_length", half), ("rear_length", 2 * half), ("depth", half)
    ):  # fmt: skip
        values[key] = values[key] or default
    if section.process not in PROCESSES:
        listed = ", ".join(f"{k} {v[0]}" for k, v in PROCESSES.items())
        mistakes.append(
            f"{where} process: {section.process!r} is unknown, allowed (ISO 4063): {listed}"
        )
        values["process"] = "141"
    if line == "across" and values["at"] is None:
        mistakes.append(f'{where} at: missing key, such as "75 mm" from the held end')
    values["at"] = values["at"] or 0.0
    if bar is not None:
        grip = hold.length if hold is not None and hold.kind == "vise" else 0.0
        span = (-bar.width / 2, bar.width / 2) if line == "across" else (grip, bar.length)
        for key, default in zip(("begin", "finish"), span, strict=True):
            values[key] = default if values[key] is None else values[key]
    else:
        values["begin"], values["finish"] = values["begin"] or 0.0, values["finish"] or 1.0
    values["start"] = _start_rule(values["start"], where, mistakes)
    return Weld(**values)


_AFTER = re.compile(r"\s*(.+?)\s+after\s+(\S+)\s*")
_BELOW = re.compile(r"\s*when\s+(\S+)\s+below\s+(.+?)\s*")


def _start_rule(text, where, mistakes) -> StartRule:
    """ "0 s", "60 s after A" or "when A below 150 degC"."""
    try:
        if isinstance(text, str) and (found := _BELOW.fullmatch(text)):
            return StartRule("below", 0.0, found[1], parse(found[2], "temperature"))
        if isinstance(text, str) and (found := _AFTER.fullmatch(text)):
            seconds = parse(found[1], "time")
            if seconds < 0:
                raise ValueError("negative")
            return StartRule("after", seconds, found[2])
        seconds = parse(text, "time")
        if seconds < 0:
            raise ValueError("negative")
        return StartRule("time", seconds)
    except ValueError:
        mistakes.append(
            f'{where} start: {text!r} is not allowed: write "0 s", "60 s after A" or '
            '"when A below 150 degC"'
        )
        return StartRule("time", 0.0)


def _gauge(section: GaugeSection, mistakes) -> Gauge:
    """A gauge with the keys its kind needs and no others."""
    values = section.model_dump()
    where = f"[gauge.{section.name}]"
    wanted = GAUGE_KEYS[section.kind]
    for key in ("at", "aim", "up", "throw", "direction"):
        if key in wanted and values[key] is None:
            mistakes.append(f"{where} {key}: missing key for a {section.kind}")
        if key not in wanted and values[key] is not None:
            mistakes.append(f"{where} {key}: a {section.kind} has no such key")
            values[key] = None
    if values["at"] is not None:
        values["at"] = _gauge_place(section.kind, values["at"], where, mistakes)
    if section.kind == "pointer" and section.aim and section.up and section.aim[1] == section.up[1]:
        mistakes.append(
            f"{where} up: {section.up!r} is not allowed: it must be at right angles to aim"
        )
    return Gauge(**values)


def _gauge_place(kind, at, where, mistakes):
    """A named place, or three lengths; a pointer sits on an end."""
    names = ("free end", "start end") if kind == "pointer" else NAMED_PLACES
    if isinstance(at, str) and at in names:
        return at
    listed = ", ".join(f'"{n}"' for n in names)
    if isinstance(at, list) and kind != "pointer" and len(at) == 3:
        try:
            return tuple(parse(v, "length") for v in at)
        except ValueError as error:
            mistakes.append(f"{where} at: {error}")
            return names[0]
    extra = "" if kind == "pointer" else ' or three lengths like ["75 mm", "3 mm", "0 mm"]'
    mistakes.append(f"{where} at: {at!r} is not allowed: write {listed}{extra}")
    return names[0]
