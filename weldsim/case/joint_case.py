"""Sections of a case about a joint to SI records: seams, order, clamps, tacks, gauges."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from weldsim.case import sections_to_records as case_file
from weldsim.case.keys import check_section
from weldsim.case.passes import pieces
from weldsim.errors import CaseError
from weldsim.joints.registry import faces_of, joint_module
from weldsim.schema.process import PROCESSES
from weldsim.schema.records import Clamp, Hold, SolveOptions, StartRule, Tack, Weld
from weldsim.schema.sections import WRONG, is_known, near_to, nearest, such_as
from weldsim.units import parse

NEEDED = ("process", "current", "voltage", "efficiency", "speed")
ARC = (
    *NEEDED, "front_length", "rear_length", "half_width", "depth", "weave", "weave_rate", "dwell",
    "crater",
)  # fmt: skip
AXES = "xyz"


def read_joint(raw: dict, folder: Path, mistakes: list[str]) -> dict:
    """Records of a case about a joint, as keyword arguments of `Case`.

    Parameters
    ----------
    raw : dict
        Tables as TOML gives them, `[part] kind` a joint.
    folder : Path
        Of the case, where files it names are looked for.
    mistakes : list of str
        Added to, one line each. Where the part itself is wrong nothing else is read.
    """
    kind = raw["part"]["kind"]
    module = joint_module(kind)
    part = check_section("part", raw["part"], "[part]", mistakes, kind)
    before = len(mistakes)
    if any(value is WRONG for value in dict(part).values()):
        before = -1
    else:
        part = case_file.with_material(part, folder, mistakes)
        if hasattr(module, "resolve"):
            part = module.resolve(part, folder, mistakes)
        mistakes += [f"[part] {key}: {text}" for key, text in module.check(part)]
    air = case_file.one("surroundings", {"surroundings": {}, **raw}, mistakes)
    solve = case_file.one("solve", {"solve": {}, **raw}, mistakes)
    preset = case_file.one("preset", {"preset": {}, **raw}, mistakes)
    records = {
        "title": raw.get("title"), "part": part, "hold": Hold("free"), "welds": (),
        "surroundings": case_file.surroundings(air), "gauges": (),
        "solve": SolveOptions(**dict(solve)), "clamps": (), "tacks": (),
        "preset": tuple(dict(preset).values()),
    }  # fmt: skip
    if before < 0 or len(mistakes) > before:
        return records
    lines = module.seam_lines(part)
    hold, clamps = _holds(raw, part, module, mistakes)
    tacks = _tacks(raw, part, module, lines, mistakes)
    welds, film_coefficient = _welds(raw, part, module, lines, tacks, clamps, mistakes)
    gauges = [
        _gauge(name, g, part, module, clamps, mistakes)
        for name, g in case_file.many("gauge", raw, mistakes)
    ]
    records |= {
        "hold": hold, "clamps": clamps, "tacks": tacks, "welds": welds, "cooling_film_coefficient": film_coefficient,
        "gauges": tuple(g for g in gauges if g is not None),
    }  # fmt: skip
    _rules(records, mistakes)
    return records


def _holds(raw, part, module, mistakes):
    """The hold of the joint and its clamps, with the extra ones."""
    section = check_section(
        "hold", raw.get("hold", {"kind": "ends"}), "[hold]", mistakes, part.kind
    )
    conductance = section.conductance or 0.0
    hold = Hold(section.kind, 0.0, conductance, "never")
    clamps = []
    if section.kind == "ends":
        off = rule_of(section.release, "[hold] release", mistakes)
        held = tuple(module.HELD)
        if not held:
            mistakes.append(f'[hold] kind: a {part.kind} has no ends to hold, allowed: "free"')
        clamps = [Clamp(face, (face,), conductance=conductance, off=off) for face in held]
    names = faces_of(part)
    for name, c in case_file.many("clamp", raw, mistakes, needed=False):
        where = f"[clamp.{name}]"
        at = [c.at] if isinstance(c.at, str) else c.at
        if not isinstance(at, list) or not at or any(a not in names for a in at):
            bad = next((a for a in at if a not in names), at) if isinstance(at, list) else at
            mistakes.append(
                f"{where} at: {bad!r} is not a face of this joint, allowed: {', '.join(names)}"
                f"{near_to(bad, names)}"
            )
            continue
        if c.kind == "spring" and c.stiffness is None:
            mistakes.append(f'{where} stiffness: missing key for a spring, such as "5 kN/mm"')
        if c.kind == "spring" and c.turning is None and not _stays(clamps):
            mistakes.append(
                f'{where} turning: missing key for a spring that holds alone, such as "10 kN m/rad"'
            )
        if c.kind == "rigid" and (c.stiffness or c.turning):
            mistakes.append(f'{where} stiffness: a rigid clamp has none, allowed: kind = "spring"')
        taken = {face for other in clamps for face in other.at}
        if taken & set(at):
            mistakes.append(
                f"{where} at: {sorted(taken & set(at))[0]!r} is held already, allowed: each face "
                "once"
            )
        clamps.append(
            Clamp(
                name, tuple(at), c.kind, c.stiffness or 0.0, c.turning or 0.0, c.conductance,
                rule_of(c.on, f"{where} on", mistakes), rule_of(c.off, f"{where} off", mistakes),
            )
        )  # fmt: skip
    return hold, tuple(clamps)


def _stays(clamps) -> bool:
    """Whether a rigid clamp holds from the beginning to the end."""
    return any(
        c.kind == "rigid" and c.off.kind == "never" and c.on == StartRule("time", 0.0)
        for c in clamps
    )


def rule_of(value, where: str, mistakes: list[str]) -> StartRule:
    """ "never", "cold", "90 s", "60 s after A" or "when A below 150 degC"."""
    if value in ("never", "cold"):
        return StartRule(value)
    return case_file.start_rule(value, where.rsplit(" ", 1)[0], mistakes, where.rsplit(" ", 1)[1])


def _tacks(raw, part, module, lines, mistakes) -> tuple[Tack, ...]:
    if "tack" not in raw:
        return tuple(module.default_tacks(part)) if part.tacks == "usual" else ()
    out = []
    for number, (_, t) in enumerate(case_file.many("tack", raw, mistakes), 1):
        where = f"[tack.{number}]"
        if t.seam not in lines:
            if is_known(t.seam):
                mistakes.append(f"{where} seam: {t.seam!r} is unknown{nearest(t.seam, lines)}")
            continue
        length = lines[t.seam].length
        if not is_known(t.length) or not is_known(t.size):
            continue
        if t.length >= length:
            mistakes.append(
                f"{where} length: {1e3 * t.length:.4g} mm is not allowed: shorter than the seam, "
                f"{1e3 * length:.4g} mm"
            )
            continue
        begin = {"start": 0.0, "end": length - t.length, "middle": (length - t.length) / 2}
        if isinstance(t.at, str) and t.at in begin:
            first = begin[t.at]
        else:
            try:
                first = parse(t.at, "length") - t.length / 2
            except ValueError:
                mistakes.append(
                    f'{where} at: {t.at!r} is not allowed: write "start", "middle", "end" or how '
                    'far along the seam its middle lies, such as "20 mm"'
                )
                continue
        if first < -1e-9 or first + t.length > length + 1e-9:
            mistakes.append(
                f"{where} at: the tack lies beyond the end of its seam, allowed: "
                f"{500 * t.length:.4g} to {1e3 * (length - t.length / 2):.4g} mm"
            )
            continue
        out.append(Tack(t.seam, max(first, 0.0), first + t.length, t.size, t.arc))
    return tuple(out)


def _welds(raw, part, module, lines, tacks, clamps, mistakes):
    """Arc stretches in order of welding, and the film of forced cooling between them."""
    arc = case_file.one("arc", {"arc": {}, **raw}, mistakes)
    schedule = case_file.one("schedule", {"schedule": {}, **raw}, mistakes)
    written = case_file.many("weld", raw, mistakes, needed=False)
    held = [
        module.place(part, face) for c in clamps for face in c.at if _has_place(module, part, face)
    ]
    if schedule.pause is not None and schedule.interpass is not None:
        mistakes.append("[schedule] interpass: write either pause or interpass, not both")
    wanted = _in_order(schedule, written, lines, mistakes)
    welds: list[Weld] = []
    for number, tack in enumerate(tacks):
        if tack.arc:
            welds += _tack_weld(number, tack, arc, lines, part, welds, mistakes)
    for name, section, seam, passes, travel in wanted:
        line = lines[seam]
        where = f"[weld.{name}]" if section else f"[schedule] order {name}"
        direction = direction_of(line, travel, part, held)
        if direction is None:
            words = directions_of(line, part, held)
            mistakes.append(
                f"{where} travel: {travel!r} is not allowed on {seam}: write "
                + " or ".join(f'"{w}"' for w in words)
            )
            continue
        for number in passes:
            label = name if len(passes) == 1 else f"{name}.{number}"
            welds += _pass(label, section, line, number, travel, direction, arc, schedule, welds, where,
                           part, mistakes)  # fmt: skip
    if not welds and not any("order" in m or "[weld" in m for m in mistakes):
        mistakes.append(
            '[schedule] order: missing, allowed: seams in order with their travel, such as ["'
            + ", ".join(f"{n}:{next(iter(line.directions))}" for n, line in list(lines.items())[:2])
            + '"], or [[weld]] sections'
        )
    return tuple(welds), schedule.cooling_film_coefficient


def _has_place(module, part, face) -> bool:
    try:
        module.place(part, face)
    except CaseError:
        return False
    return True


def _in_order(schedule, written, lines, mistakes):
    """(name, section or None, seam, passes, travel) in order of welding."""
    sections = {name: s for name, s in written}
    for name, s in written:
        if s.seam not in lines and is_known(s.seam):
            mistakes.append(f"[weld.{name}] seam: {s.seam!r} is unknown{nearest(s.seam, lines)}")
        elif s.seam in lines and s.number is not None and s.number > lines[s.seam].passes:
            mistakes.append(
                f"[weld.{name}] pass: {s.number} is not allowed: the bead layout of {s.seam} has "
                f"{lines[s.seam].passes}"
            )
    good = {
        n: s for n, s in sections.items()
        if s.seam in lines and is_known(s.travel) and (s.number or 1) <= lines[s.seam].passes
    }  # fmt: skip
    if not schedule.order or not is_known(schedule.order):
        return [(n, s, s.seam, _passes(s, lines), s.travel) for n, s in good.items()]
    out, used = [], {}
    for item in schedule.order:
        head, _, travel = item.partition(":")
        head = head.strip()
        seam, _, number = head.partition("/")
        if head in sections:
            if head in good:
                s = good[head]
                out.append((head, s, s.seam, _passes(s, lines), travel.strip() or s.travel))
            continue
        known = (*lines, *sections)
        if seam not in lines:
            mistakes.append(
                f"[schedule] order: {item!r}: no seam or weld is named {seam}{nearest(seam, known)}"
            )
            continue
        room = lines[seam].passes
        if number and not (number.isdecimal() and 1 <= int(number) <= room):
            mistakes.append(
                f"[schedule] order: {item!r}: pass {number} is not there, allowed: 1 to {room}"
            )
            continue
        if not travel:
            mistakes.append(
                f"[schedule] order: {item!r} does not say the travel, allowed: "
                + " or ".join(f'"{seam}:{w}"' for w in lines[seam].directions)
            )
            continue
        passes = [int(number)] if number else list(range(1, room + 1))
        twice = [p for p in passes if (seam, p) in used]
        if twice:
            mistakes.append(f"[schedule] order: {item!r}: {seam} is welded twice, allowed: once")
            continue
        used |= {(seam, p): True for p in passes}
        out.append((head.replace("/", "."), None, seam, passes, travel.strip()))
    return out


def _passes(section, lines) -> list[int]:
    return [section.number] if section.number else list(range(1, lines[section.seam].passes + 1))


def directions_of(line, part, held) -> dict[str, int]:
    """Words for the two directions of a seam: its own, the hill's, and the hold's."""
    out = dict(line.directions)
    way = line.points[-1] - line.points[0]
    length = float(np.linalg.norm(way))
    if line.closed or length < 1e-9:
        return out
    up = np.zeros(3)
    up[AXES.index(part.up[1])] = 1.0 if part.up[0] == "+" else -1.0
    rise = float(way @ up) / length
    if abs(rise) > 0.5:
        out |= {"uphill": 1 if rise > 0 else -1, "downhill": -1 if rise > 0 else 1}
    if held:
        near = [min(np.linalg.norm(p - h) for h in held) for p in (line.points[0], line.points[-1])]
        if abs(near[1] - near[0]) > 0.3 * length:
            toward = 1 if near[1] < near[0] else -1
            out |= {"toward the hold": toward, "away from the hold": -toward}
    return out


def direction_of(line, word, part, held) -> int | None:
    """1 along a seam's natural direction, -1 against it, None where the word says nothing."""
    return directions_of(line, part, held).get(word)


def _arc_of(section, arc, where, mistakes) -> dict:
    """Arc values of a weld: its own before those of [arc]."""
    values = {}
    for key in ARC:
        own = getattr(section, key, None) if section else None
        values[key] = getattr(arc, key) if own is None else own
    for key in NEEDED:
        if values[key] is None:
            mistakes.append(f"{where} {key}: missing here and in [arc]{such_as('arc', key)}")
            values[key] = WRONG
    process = values["process"]
    if is_known(process) and process not in PROCESSES:
        listed = ", ".join(f"{k} {v[0]}" for k, v in PROCESSES.items())
        mistakes.append(f"{where} process: {process!r} is unknown, allowed (ISO 4063): {listed}")
        values["process"] = "141"
    if (values["weave"] or 0) > 0 and values["weave_rate"] is None:
        mistakes.append(f'{where} weave_rate: missing key beside weave, such as "2 Hz"')
    return values


def shape_on(line, values) -> dict:
    """Weld fields of an arc on a seam; ellipsoid as wide as a pass, as deep as it has to fuse."""
    width = line.width / np.sqrt(line.passes)
    half = width / 2
    usual = {"half_width": half, "front_length": half, "rear_length": 2 * half, "depth": line.depth}
    out = {k: values[k] or usual[k] for k in usual}
    out |= {k: values[k] for k in NEEDED}
    out |= {k: values[k] or 0.0 for k in ("weave", "weave_rate", "dwell", "crater")}
    return out | {"bead_width": line.width, "bead_height": 0.0}


def _pass(
    label, section, line, number, travel, direction, arc, schedule, before, where, part, mistakes
):
    """Stretches of one pass in order, with their start rules."""
    values = _arc_of(section, arc, where, mistakes)
    begin = section.begin if section and section.begin is not None else 0.0
    finish = section.finish if section and section.finish is not None else line.length
    if finish > line.length + 1e-6:
        mistakes.append(
            f"{where} to: {1e3 * finish:.4g} mm is beyond the seam, allowed: up to "
            f"{1e3 * line.length:.4g} mm"
        )
        return []
    if finish <= begin:
        mistakes.append(f"{where} to: {1e3 * finish:.4g} mm is not beyond from")
        return []
    pattern = section.pattern if section and is_known(section.pattern) else "continuous"
    segment = section.segment if section else None
    if pattern != "continuous" and segment is None:
        mistakes.append(f'{where} segment: missing key for {pattern}, such as "20 mm"')
        return []
    runs = pieces(begin, min(finish, line.length), direction, pattern, segment)
    out = []
    for count, (low, high, way) in enumerate(runs, 1):
        last = (out or before)[-1].name if out or before else None
        if out:
            start = StartRule("after", 0.0, last)
        else:
            start = _start(section, schedule, last, where, mistakes)
        out.append(
            Weld(
                name=label if len(runs) == 1 else f"{label}.{count}", begin=low, finish=high,
                travel=travel, start=start, seam=line.name, number=number, direction=way,
                filler=section.filler if section else True,
                shrinkage_along=section.shrinkage_along if section else None,
                shrinkage_across=section.shrinkage_across if section else None,
                **shape_on(line, values),
            )
        )  # fmt: skip
    return out


def _start(section, schedule, last, where, mistakes) -> StartRule:
    """A weld's own rule, else the schedule's pause or interpass rule after the one before."""
    if section is not None and section.start is not None:
        return case_file.start_rule(section.start, where, mistakes)
    if last is None:
        return StartRule("time", 0.0)
    if schedule.interpass is not None and is_known(schedule.interpass):
        return StartRule("below", 0.0, None, schedule.interpass)
    if schedule.pause == "cold":
        return StartRule("cold")
    pause = schedule.pause if schedule.pause is not None and is_known(schedule.pause) else 0.0
    return StartRule("after", pause, last)


def _tack_weld(number, tack, arc, lines, part, before, mistakes):
    """The arc that lays a tack."""
    line = lines[tack.seam]
    values = _arc_of(None, arc, f"[tack.{number + 1}]", mistakes)
    last = before[-1].name if before else None
    start = StartRule("after", 5.0, last) if last else StartRule("time", 0.0)
    return [
        Weld(
            name=f"tack{number + 1}", begin=tack.begin, finish=tack.finish,
            travel=next(iter(line.directions)), start=start, seam=line.name, number=1, direction=1,
            tack=number, **shape_on(line, values),
        )
    ]  # fmt: skip


def _gauge(name, section, part, module, clamps, mistakes):
    """A gauge on a joint."""
    where = f"[gauge.{name}]"
    if not is_known(section.kind):
        return None
    gauge = case_file.gauge_with_keys(name, section, mistakes)
    if section.kind == "gap":
        allowed = tuple(module.gap_places(part))
    elif section.kind == "reaction":
        allowed = tuple(c.name for c in clamps)
    else:
        allowed = faces_of(part)
    at = section.at
    if at is None or section.kind == "bow":
        return gauge
    if isinstance(at, str) and at in allowed:
        return gauge
    if isinstance(at, list) and len(at) == 3 and section.kind in ("dial", "thermocouple"):
        try:
            return replace(gauge, at=tuple(parse(v, "length") for v in at))
        except ValueError as error:
            mistakes.append(f"{where} at: {error}")
            return None
    listed = " or ".join(f'"{n}"' for n in allowed) or "nothing: this joint has none"
    extra = ' or three lengths like ["10 mm", "0 mm", "50 mm"]' if section.kind in (
        "dial", "thermocouple") else ""  # fmt: skip
    mistakes.append(
        f"{where} at: {at!r} is not allowed: write {listed}{extra}{near_to(at, allowed)}"
    )
    return None


def _rules(records, mistakes) -> None:
    """Rules that name a weld have to name one that there is, and one before for a start."""
    names = [w.name for w in records["welds"]]
    air = records["surroundings"]
    twice = {n for n in names if names.count(n) > 1}
    mistakes += [f"[schedule] order: {n!r} stands there twice" for n in sorted(twice)]
    for i, weld in enumerate(records["welds"]):
        rule, where = weld.start, f"[weld.{weld.name}] start:"
        if rule.weld is not None and rule.weld not in names[:i]:
            known = ", ".join(names[:i]) or "a time, since this weld is the first"
            mistakes.append(
                f"{where} {rule.weld!r} is not a weld before this one, allowed: {known}"
            )
        if rule.kind == "below" and rule.temperature <= air.ambient + 1.0:
            mistakes.append(
                f"{where} {rule.temperature - 273.15:.4g} degC is never reached, allowed: over 1 K "
                f"above ambient, {air.ambient - 273.15:.4g} degC"
            )
    for clamp in records["clamps"]:
        for key, rule in (("on", clamp.on), ("off", clamp.off)):
            if rule.weld is not None and rule.weld not in names:
                mistakes.append(
                    f"[clamp.{clamp.name}] {key}: {rule.weld!r} is no weld"
                    f"{nearest(rule.weld, names)}"
                )
    sealed = air.film_coefficient == 0 and air.emissivity == 0 and not any(
        c.conductance for c in records["clamps"])  # fmt: skip
    waits = any(w.start.kind in ("below", "cold") for w in records["welds"])
    if sealed and (records["solve"].end == "cold" or waits):
        mistakes.append(
            "[solve] end: nothing takes heat away (film, emissivity and conductance are zero), so "
            'the part never cools, allowed: a time such as "300 s" and welds started by time'
        )
