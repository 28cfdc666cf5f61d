"""A flat bar as a joint kind: its beads, which the case places, are its seams.

How a case about a bar is written, and what of it does not fit. The geometry is in `bar_blocks`.
What could not be read is nan: every comparison with it is false, so nothing more is said of it.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

from weldsim.joints.bar_blocks import (
    PLACES,
    Bar,
    Bead,
    blocks,
    faces,
    place,
    seam_lines,
)
from weldsim.joints.bar_sections import BarSection, BeadSection, ClampingSection
from weldsim.joints.protocol import JointKind
from weldsim.schema.mistakes import Mistake
from weldsim.schema.quantities import WRONG
from weldsim.schema.records import Clamp, Hold, StartRule
from weldsim.schema.section_checks import is_known, such_as
from weldsim.schema.sections import JointWeldSection

SMALLEST, LARGEST = 0.5e-3, 10.0  # m; beyond it a unit was mistyped ("200 m" for "200 mm")
SLACK = 1e-9  # m; lengths in inches are not round in metres
SPARE_LENGTH = 40e-3  # m, longest line that is offered along an edge
SPARE_WIDTH = 0.6  # of the thickness: widest line that is offered on an edge
ENDS = ("free end", "start end")
OPPOSITE = {"front": "back", "back": "front", "top": "bottom", "bottom": "top"}


def mm(value: float) -> str:
    """A length in words; of what is beyond all measure in m."""
    return f"{1e3 * value:.4g} mm" if value < 10 else f"{value:.4g} m"


# the part
def read_part(section: BarSection) -> Bar:
    """The bar of a [part] section, without beads yet."""
    return Bar(**dict(section))


def check(part: Bar) -> list[tuple[str, str]]:
    """What does not fit, as (key, sentence)."""
    sizes = {"length": part.length, "width": part.width, "thickness": part.thickness}
    return [
        (key, f"{mm(value)} is not allowed: {mm(SMALLEST)} to {mm(LARGEST)}")
        for key, value in sizes.items()
        if value < SMALLEST or value > LARGEST
    ]


def words(part: Bar) -> str:
    """The bar's sizes in one line."""
    sizes = " x ".join(f"{1e3 * v:.4g}" for v in (part.length, part.width, part.thickness))
    return f"flat bar {sizes} mm"


# the clamp
def clamped(section: ClampingSection, part: Bar, mistakes: list) -> tuple[Hold, tuple[Clamp, ...]]:
    """The hold of a bar and its clamp; see `JointKind.hold`."""
    values = dict(section)
    for key in ("length", "conductance"):
        if values[key] is None and section.kind == "one end":
            text = f"missing key for a clamp{such_as('clamping', key)}"
            mistakes.append(Mistake("clamping", "", key, None, text))
            values[key] = WRONG
        elif values[key] is None or section.kind == "free":
            values[key] = 0.0
    hold = Hold(**values)
    if hold.kind == "free" and hold.release != "never":
        text = f'{hold.release!r}: a free part has no clamp, allowed: "never"'
        mistakes.append(Mistake("clamping", "", "release", hold.release, text))
    if hold.kind != "one end":
        return hold, ()
    if hold.length <= 0 or hold.length >= part.length:
        text = (
            f"{mm(hold.length)} is not allowed: greater than zero and shorter than the part, "
            f"{mm(part.length)}"
        )
        mistakes.append(Mistake("clamping", "", "length", hold.length, text))
    release = hold.release
    off = StartRule(release) if isinstance(release, str) else StartRule("time", release)
    return hold, (Clamp("clamp", ("vise",), conductance=hold.conductance, off=off),)


# the beads
def lay_beads(part: Bar, hold: Hold, written, mistakes: list):
    """The bar with its beads, and their welds as those of a seam; see `JointKind.lay_out`."""
    beads, welds = [], []
    for name, section in written:
        faults = _word_faults(section)
        mistakes += _said(name, faults)
        if faults or not is_known(section.face) or not is_known(section.travel):
            continue
        bead = _bead(name, section, part, hold, mistakes)
        mistakes += _said(name, [*_size_faults(part, bead), *_place_faults(part, hold, bead)])
        if bead.finish <= bead.begin:
            continue
        beads.append(bead)
        welds.append((name, _weld_of(name, section)))
    for one, two in combinations(beads, 2):
        mistakes += _said(two.name, _overlap_faults(one, two))
    return replace(part, beads=tuple(beads)), welds


def _said(name: str, faults) -> list[Mistake]:
    return [Mistake("weld", name, key, value, text) for key, value, text in faults]


def _line_of(section: BeadSection) -> str:
    return section.line or ("along" if section.face in ("top", "bottom") else "across")


def _bead(name: str, section: BeadSection, part: Bar, hold: Hold, mistakes: list) -> Bead:
    """A bead with its defaults filled in from the part."""
    line, at = _line_of(section), section.at
    if line == "across" and at is None:
        text = 'missing key, such as "75 mm" from the clamped end'
        mistakes.append(Mistake("weld", name, "at", None, text))
        at = WRONG
    if at is None or (section.face in ("top", "bottom") and line == "along"):
        at = 0.0
    span = (-part.width / 2, part.width / 2) if line == "across" else (hold.length, part.length)
    begin = span[0] if section.begin is None else section.begin
    finish = span[1] if section.finish is None else section.finish
    return Bead(
        name, section.face, line, at, begin, finish, section.bead_width, section.bead_height
    )


def _weld_of(name: str, section: BeadSection) -> JointWeldSection:
    """The weld of a bead, as one of the whole of its seam."""
    keys = set(JointWeldSection.model_fields) & set(BeadSection.model_fields)
    own = {key: getattr(section, key) for key in keys - {"begin", "finish"}}
    return JointWeldSection.model_construct(**own | {"name": name, "seam": name})


def _word_faults(section: BeadSection) -> list:
    """Whether the line suits the face, and the travel the line."""
    line = _line_of(section)
    if section.face in ("top", "bottom") and line == "across":
        return [("line", line, '"across" is not allowed on an edge: write "along"')]
    allowed = {"across": ("up", "down"), "along": ("+x", "-x")}.get(line)
    if allowed and isinstance(section.travel, str) and section.travel not in allowed:
        listed = " or ".join(f'"{w}"' for w in allowed)
        text = f"{section.travel!r} is not allowed for a bead {line} the bar: write {listed}"
        return [("travel", section.travel, text)]
    return []


def _size_faults(part: Bar, bead: Bead) -> list:
    """Size of the bead against the face and itself."""
    out = []
    room = part.thickness if bead.face in ("top", "bottom") else part.width
    if bead.width > room + SLACK:
        text = f"{mm(bead.width)} is wider than the bar there, allowed: up to {mm(room)}"
        out.append(("bead_width", bead.width, text))
    if bead.height > bead.width:
        text = f"{mm(bead.height)} is not allowed: at most the bead_width, {mm(bead.width)}"
        out.append(("bead_height", bead.height, text))
    return out


def _place_faults(part: Bar, hold: Hold, bead: Bead) -> list:
    """Whether the bead lies on the part, and outside the vise."""
    across = bead.line == "across"
    low, high = (-part.width / 2, part.width / 2) if across else (0.0, part.length)
    out = [
        (key, value, f"{mm(value)} is off the part, allowed: {mm(low)} to {mm(high)}")
        for key, value in (("from", bead.begin), ("to", bead.finish))
        if value < low - SLACK or value > high + SLACK
    ]
    if bead.finish <= bead.begin:
        out.append(("to", bead.finish, f"{mm(bead.finish)} is not beyond from, {mm(bead.begin)}"))
    clamped = hold.length if hold.kind == "one end" else 0.0
    if across:
        return out + _across_faults(part, clamped, bead)
    return out + _along_faults(part, clamped, bead)


def _along_faults(part: Bar, clamped: float, bead: Bead) -> list:
    out, room = [], part.width / 2 - bead.width / 2
    on_face = bead.face in ("front", "back")
    if on_face and room >= 0 and abs(bead.at) > room + SLACK:
        text = (
            f"{mm(bead.at)} is off the part, allowed: {mm(-room)} to {mm(room)} from the middle of "
            "the width"
        )
        out.append(("at", bead.at, text))
    if -SLACK <= bead.begin < clamped - SLACK:
        text = (
            f"{mm(bead.begin)} puts the clamp over the weld, allowed: from {mm(clamped)} on, "
            "beyond the clamp"
        )
        out.append(("from", bead.begin, text))
    return out


def _across_faults(part: Bar, clamped: float, bead: Bead) -> list:
    half, at = bead.width / 2, bead.at
    span = f"allowed: {mm(clamped + half)} to {mm(part.length - half)}"
    if clamped + half > part.length - half:  # no room at all: said at the hold or the bead
        return []
    if at < half - SLACK or at > part.length - half + SLACK:
        return [("at", at, f"{mm(at)} puts the bead off the part, {span}")]
    if at < clamped + half - SLACK:
        return [("at", at, f"{mm(at)} puts the clamp over the weld, {span}")]
    return []


def _area(bead: Bead):
    """Rectangle a bead covers on its face: ((from, to), (from, to))."""
    line = (bead.begin, bead.finish)
    across = (bead.at - bead.width / 2, bead.at + bead.width / 2)
    return (across, line) if bead.line == "across" else (line, across)


def _overlap_faults(one: Bead, two: Bead) -> list:
    meet = one.face == two.face and all(
        a[0] < b[1] - SLACK and b[0] < a[1] - SLACK
        for a, b in zip(_area(one), _area(two), strict=True)
    )
    if not meet:
        return []
    across = two.line == "across"
    stands = mm(two.at) if across else f"{mm(two.begin)} to {mm(two.finish)}"
    text = f"{stands} puts the bead on top of weld {one.name}, allowed: beads beside each other"
    return [("at" if across else "from, to", two.at if across else two.begin, text)]


# the gauges
def gauge_places(part: Bar, kind: str) -> tuple[str, ...]:
    """Named places for a gauge; a pointer sits on an end."""
    return ENDS if kind == "pointer" else PLACES


def gauge_faults(part: Bar, gauge) -> list[tuple[str, str]]:
    """What does not fit of a gauge, as (key, sentence)."""
    out = []
    if gauge.kind == "bow" and gauge.direction in ("+x", "-x"):
        out.append(
            ("direction", f'{gauge.direction!r} is not allowed: write "+y", "-y", "+z" or "-z", '
             "across the bar")
        )  # fmt: skip
    if not isinstance(gauge.at, tuple):
        return out
    half = (part.thickness / 2, part.width / 2)
    limits = ((0.0, part.length), *((-h, h) for h in half))
    return out + [
        ("at", f"{axis} = {mm(value)} is off the part, allowed: {mm(low)} to {mm(high)}")
        for axis, value, (low, high) in zip("xyz", gauge.at, limits, strict=True)
        if value < low - SLACK or value > high + SLACK
    ]


# what others ask
def bead_record(part: Bar, weld) -> dict:
    """Where a weld lies, as run folders have it: by its bead, in the bar's coordinates. [m]"""
    bead = next(b for b in part.beads if b.name == weld.seam)
    return {
        "seam": "", "face": bead.face, "line": bead.line, "at": bead.at, "begin": bead.begin,
        "finish": bead.finish, "bead_height": bead.height,
    }  # fmt: skip


def spare_beads(case, prefix: str) -> list[tuple[Bead, str, str]]:
    """Places for one more bead or a heating line: opposite the welds, and on the edges.

    Returns
    -------
    list of (Bead, str, str)
        The bead, the name of the seam its weld is like, and where it lies in words.
    """
    part, out = case.part, []
    taken = {bead.face for bead in part.beads}
    for bead in part.beads:
        face = OPPOSITE[bead.face]
        if face not in taken:
            name = f"{prefix} behind {bead.name}"
            out.append((replace(bead, name=name, face=face), bead.name, f"opposite {bead.name}"))
    first = part.beads[0]
    if first.line != "across":
        return out
    low = max(case.clamping.length, first.at - SPARE_LENGTH / 2)
    high = min(part.length, low + SPARE_LENGTH)
    width = min(first.width, SPARE_WIDTH * part.thickness)
    for face in ("top", "bottom"):
        edge = replace(
            first, name=f"{prefix} on {face}", face=face, line="along", at=0.0, begin=low,
            finish=high, width=width,
        )  # fmt: skip
        where = (
            f"along the {face} edge, {1e3 * low:.0f} to {1e3 * high:.0f} mm from the clamped end"
        )
        out.append((edge, first.name, where))
    return out


def with_beads(part: Bar, beads) -> Bar:
    """The bar with further beads."""
    return replace(part, beads=(*part.beads, *beads))


KIND = JointKind(
    label="flat bar",
    part_section=BarSection,
    hold_section=ClampingSection,
    weld_section=BeadSection,
    sections=("part", "clamping", "weld", "surroundings", "gauge", "solve"),
    words=words,
    faces=faces,
    place=place,
    seam_lines=seam_lines,
    blocks=blocks,
    read_part=read_part,
    check=check,
    hold_default=None,
    hold=clamped,
    lay_out=lay_beads,
    gauge_kinds=("pointer", "dial", "thermocouple", "bow"),
    gauge_places=gauge_places,
    gauge_faults=gauge_faults,
    seams_of_welds=True,
    heated_through=True,
    leans_in_clamp=True,
    torch_step=1.0,
    weld_record=bead_record,
    spare_beads=spare_beads,
    with_beads=with_beads,
)
