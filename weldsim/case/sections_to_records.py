"""Tables of a case file to SI records, with their defaults; all mistakes are gathered."""

from __future__ import annotations

import re
from dataclasses import replace
from importlib.resources import files
from pathlib import Path

from weldsim.case.keys import check_section
from weldsim.errors import CaseError
from weldsim.joints.registry import kind_of
from weldsim.schema.process import PROCESSES
from weldsim.schema.records import (
    Bar,
    Clamp,
    Gauge,
    Hold,
    SolveOptions,
    StartRule,
    Surroundings,
    Weld,
)
from weldsim.schema.sections import TOP, WRONG, is_known, near_to, nearest, such_as
from weldsim.schema.tolerance import read_tolerance
from weldsim.units import parse

GAUGE_KEYS = {
    "pointer": ("at", "aim", "up", "throw"),
    "dial": ("at", "direction"),
    "thermocouple": ("at",),
    "bow": ("direction",),
    "gap": ("at",),
    "reaction": ("at",),
}
OF_BAR = ("pointer", "dial", "thermocouple", "bow")
OF_A_BAR = ("part", "hold", "weld", "preset", "surroundings", "gauge", "solve")
NAMED_PLACES = ("free end", "mid length", "start end")


def read_sections(raw: dict, folder: Path) -> tuple[dict, list[str]]:
    """Sections as SI records, and the mistakes found.

    Parameters
    ----------
    raw : dict
        Tables as TOML gives them.
    folder : Path
        Where a material file named in the case is looked for.

    Returns
    -------
    records : dict
        Keyword arguments of `Case`. What is wrong stands there as nan or None.
    mistakes : list of str
    """
    mistakes = [f"[{k}]: unknown section{nearest(k, TOP)}" for k in raw if k not in TOP]
    title = raw.get("title")
    if not isinstance(title, str) or not title.strip():
        mistakes.append('title: missing or empty, allowed: a line of text such as "Pivot arm"')
    if kind_of(raw) != "bar":
        from weldsim.case.joint_case import read_joint

        return read_joint(raw, folder, mistakes), mistakes
    part = one("part", raw, mistakes)
    bar = _with_material(Bar(**dict(part)), folder, mistakes)
    hold = _hold(one("hold", raw, mistakes), mistakes)
    air = one("surroundings", {"surroundings": {}, **raw}, mistakes)
    solve = one("solve", {"solve": {}, **raw}, mistakes)
    welds = many("weld", raw, mistakes)
    gauges = many("gauge", raw, mistakes)
    clamps = ()
    if hold.kind == "vise":
        release = hold.release
        off = StartRule(release) if isinstance(release, str) else StartRule("time", release)
        clamps = (Clamp("vise", ("vise",), conductance=hold.conductance, off=off),)
    for section in ("clamp", "tack", "arc", "schedule"):
        if section in raw:
            mistakes.append(
                f"[{section}]: a bar has no such section, allowed: {', '.join(OF_A_BAR)}"
            )
    preset = one("preset", {"preset": {}, **raw}, mistakes)
    records = {
        "title": title,
        "part": bar,
        "hold": hold,
        "clamps": clamps,
        "preset": tuple(dict(preset).values()),
        "welds": tuple(_weld(name, w, bar, hold, mistakes) for name, w in welds),
        "surroundings": surroundings(air),
        "gauges": tuple(_gauge(name, g, mistakes) for name, g in gauges),
        "solve": SolveOptions(**dict(solve)),
    }
    return records, mistakes


def one(section: str, raw: dict, mistakes: list[str]):
    """A section that stands once; see `check_section`."""
    if section not in raw:
        mistakes.append(f"[{section}]: missing section")
    return check_section(section, raw.get(section), f"[{section}]", mistakes)


def many(section: str, raw: dict, mistakes: list[str], needed: bool = True) -> list:
    """(name, section) of each entry; one without a name of its own goes by its number."""
    if not needed and section not in raw:
        return []
    entries = raw.get(section)
    if not isinstance(entries, list) or not entries:
        mistakes.append(f"[[{section}]]: missing, allowed: one [[{section}]] section or more")
        return []
    out = []
    for number, entry in enumerate(entries, 1):
        name = entry.get("name") if isinstance(entry, dict) else None
        known = [n for n, _ in out]
        if section == "tack":
            name = str(number)
        elif not isinstance(name, str) or not name or name in known:
            if name in known:
                mistakes.append(
                    f"[{section}.{number}] name: {name!r} is used twice, allowed: each name once"
                )
            name = str(number)
        kind = "bar" if kind_of(raw) == "bar" else "joint"
        out.append((name, check_section(section, entry, f"[{section}.{name}]", mistakes, kind)))
    return out


def material_names() -> list[str]:
    """Materials that come with weldsim."""
    shelf = files("weldsim") / "data" / "materials"
    return sorted(f.name[:-5] for f in shelf.iterdir() if f.name.endswith(".toml"))


def with_material(part, folder: Path, mistakes: list[str]):
    """The part of a joint with its material found."""
    found = _with_material(Bar("", 0, 0, 0, part.material), folder, mistakes)
    return part.model_copy(update={"material": found.material})


def _with_material(bar: Bar, folder: Path, mistakes: list[str]) -> Bar:
    """The bar with its material found: a name that comes with weldsim, or a file by the case."""
    names = material_names()
    if bar.material in names or not is_known(bar.material):
        return bar
    path = folder / bar.material
    if bar.material.endswith(".toml") and path.is_file():
        return replace(bar, material=str(path))
    mistakes.append(
        f"[part] material: {bar.material!r} is unknown, allowed: {', '.join(names)} or a .toml "
        f"file beside the case{near_to(bar.material, names)}"
    )
    return bar


def _hold(section, mistakes: list[str]) -> Hold:
    values = dict(section)
    for key in ("length", "conductance"):
        if values[key] is None and section.kind == "vise":
            mistakes.append(f"[hold] {key}: missing key for a vise{such_as('hold', key)}")
            values[key] = WRONG
        elif values[key] is None or section.kind == "free":
            values[key] = 0.0
    return Hold(**values)


def surroundings(section) -> Surroundings:
    """Surroundings with the preheat filled in."""
    values = dict(section)
    if values["preheat"] is None:
        values["preheat"] = values["ambient"]
    return Surroundings(**values)


def _weld(name: str, section, bar: Bar, hold: Hold, mistakes: list[str]) -> Weld:
    """A weld with its defaults filled in from the part."""
    values = dict(section)
    where = f"[weld.{name}]"
    line = values["line"] or ("along" if section.face in ("top", "bottom") else "across")
    values.update(name=name, line=line)
    half = section.bead_width / 2
    defaults = {"half_width": half, "front_length": half, "rear_length": 2 * half, "depth": half}
    for key, default in defaults.items():
        values[key] = values[key] or default
    if is_known(section.process) and section.process not in PROCESSES:
        listed = ", ".join(f"{k} {v[0]}" for k, v in PROCESSES.items())
        mistakes.append(
            f"{where} process: {section.process!r} is unknown, allowed (ISO 4063): {listed}"
        )
    if line == "across" and is_known(section.face) and values["at"] is None:
        mistakes.append(f'{where} at: missing key, such as "75 mm" from the held end')
        values["at"] = WRONG
    edge = section.face in ("top", "bottom")
    values["at"] = 0.0 if values["at"] is None or (edge and line == "along") else values["at"]
    span = (-bar.width / 2, bar.width / 2) if line == "across" else (hold.length, bar.length)
    for key, default in zip(("begin", "finish"), span, strict=True):
        values[key] = default if values[key] is None else values[key]
    values["start"] = start_rule(values["start"], where, mistakes)
    return Weld(**values)


_AFTER = re.compile(r"\s*(.+?)\s+after\s+(\S+)\s*")
_BELOW = re.compile(r"\s*when\s+(\S+)\s+below\s+(.+?)\s*")


def start_rule(text, where: str, mistakes: list[str], key: str = "start") -> StartRule:
    """ "0 s", "60 s after A" or "when A below 150 degC"."""
    try:
        if isinstance(text, str) and (found := _BELOW.fullmatch(text)):
            return StartRule("below", 0.0, found[1], parse(found[2], "temperature"))
        found = _AFTER.fullmatch(text) if isinstance(text, str) else None
        seconds = parse(found[1] if found else text, "time")
        if seconds < 0:
            raise ValueError("negative")
        return StartRule("after", seconds, found[2]) if found else StartRule("time", seconds)
    except ValueError:
        mistakes.append(
            f'{where} {key}: {text!r} is not allowed: write "0 s", "60 s after A" or '
            '"when A below 150 degC"'
        )
        return StartRule("time", 0.0)


def _gauge(name: str, section, mistakes: list[str]) -> Gauge:
    """A gauge of a bar."""
    gauge = gauge_with_keys(name, section, mistakes)
    if not is_known(section.kind):
        return gauge
    where, at = f"[gauge.{name}]", gauge.at
    if section.kind in ("gap", "reaction"):
        mistakes.append(f"{where} kind: a bar has no {section.kind}, allowed: {', '.join(OF_BAR)}")
    elif at is not None:
        at = _gauge_place(section.kind, at, where, mistakes)
    if section.kind == "bow" and section.direction in ("+x", "-x"):
        mistakes.append(
            f'{where} direction: {section.direction!r} is not allowed: write "+y", "-y", "+z" or '
            '"-z", across the bar'
        )
    return replace(gauge, at=at)


def gauge_with_keys(name: str, section, mistakes: list[str]) -> Gauge:
    """A gauge with the keys its kind needs and no others."""
    values = {**dict(section), "name": name}
    where = f"[gauge.{name}]"
    size = values.pop("size")
    if not is_known(section.kind):
        return Gauge(**values | {"tolerance": None})
    values["tolerance"] = _limit(section.kind, values["tolerance"], size, where, mistakes)
    wanted = GAUGE_KEYS[section.kind]
    for key in ("at", "aim", "up", "throw", "direction"):
        if key in wanted and values[key] is None:
            mistakes.append(
                f"{where} {key}: missing key for a {section.kind}{such_as('gauge', key)}"
            )
        if key not in wanted and values[key] is not None:
            mistakes.append(
                f"{where} {key}: a {section.kind} has no such key, allowed: {', '.join(wanted)}"
            )
            values[key] = None
    if (
        section.kind == "pointer"
        and isinstance(section.aim, str)
        and isinstance(section.up, str)
        and section.aim[1] == section.up[1]
    ):
        mistakes.append(
            f"{where} up: {section.up!r} is not allowed: it must be at right angles to aim, "
            f"{section.aim!r}"
        )
    return Gauge(**values)


def _limit(kind: str, text, size, where: str, mistakes: list[str]):
    """The tolerance of a gauge, from its text and the size that a class asks for."""
    if text is None or not is_known(text):
        return None
    what = {"pointer": "angle", "bow": "straightness", "dial": "linear", "gap": "linear"}
    if kind not in what:
        mistakes.append(f"{where} tolerance: a {kind} has none, allowed with: {', '.join(what)}")
        return None
    try:
        return read_tolerance(text, what[kind], size if is_known(size) else None)
    except CaseError as error:
        mistakes.append(f"{where} {error}")
        return None


def _gauge_place(kind: str, at, where: str, mistakes: list[str]):
    """A named place, or three lengths; a pointer sits on an end."""
    names = ("free end", "start end") if kind == "pointer" else NAMED_PLACES
    if isinstance(at, str) and at in names:
        return at
    listed = " or ".join(f'"{n}"' for n in names)
    if isinstance(at, list) and kind != "pointer" and len(at) == 3:
        try:
            return tuple(parse(v, "length") for v in at)
        except ValueError as error:
            mistakes.append(f"{where} at: {error}")
            return None
    extra = "" if kind == "pointer" else ' or three lengths like ["75 mm", "3 mm", "0 mm"]'
    mistakes.append(f"{where} at: {at!r} is not allowed: write {listed}{extra}{near_to(at, names)}")
    return None
