"""Cases about joints: what is understood, and one clear line for each mistake."""

import pytest

from tests.places import ROOT
from weldsim.case.load import load_case, parse_case
from weldsim.errors import CaseError

MAST = ROOT / "cases" / "mast_stub.toml"


def read(*changes):
    return load_case(MAST, changes)


def refused(*changes):
    with pytest.raises(CaseError) as caught:
        read(*changes)
    return str(caught.value)


def test_the_short_form_gives_order_travel_and_pauses():
    welds = read().welds
    assert [w.name for w in welds] == ["right", "back", "left", "front"]
    assert [w.direction for w in welds] == [-1, -1, -1, 1]  # uphill is -y: the front is below
    assert [w.start.seconds for w in welds] == [0, 60, 60, 60]
    assert welds[0].arc.power == pytest.approx(110 * 11.5 * 0.77)
    assert welds[0].duration == pytest.approx(20.0)


def test_only_some_of_the_seams_may_be_welded():
    welds = read('schedule.order=["left:downhill"]').welds
    assert [(w.seam, w.direction) for w in welds] == [("left", 1)]


def test_interpass_waits_for_the_weld_zone():
    text = MAST.read_text(encoding="utf-8").replace('pause = "60 s"', 'interpass = "150 degC"')
    rule = parse_case(text, str(MAST)).welds[1].start
    assert (rule.kind, rule.weld, rule.temperature) == ("below", None, pytest.approx(423.15))


def test_clockwise_is_one_way_around():
    order = ", ".join(f'"{s}:clockwise"' for s in ("front", "left", "back", "right"))
    assert [w.direction for w in read(f"schedule.order=[{order}]").welds] == [1, -1, -1, 1]


def test_uphill_needs_a_seam_that_rises():
    assert "'uphill' is not allowed on front" in refused('schedule.order=["front:uphill"]')
    assert read("part.up=+x", 'schedule.order=["front:uphill"]').welds[0].direction == 1


def test_long_form_splits_a_seam():
    text = (
        MAST.read_text(encoding="utf-8")
        + """
[[weld]]
name = "step"
seam = "front"
travel = "+x"
pattern = "backstep"
segment = "10 mm"
current = "90 A"
"""
    )
    welds = parse_case(text, str(MAST), ['schedule.order=["step", "back:-x"]']).welds
    assert [w.name for w in welds] == ["step.1", "step.2", "step.3", "step.4", "back"]
    assert [w.direction for w in welds] == [-1, -1, -1, -1, -1]
    assert [round(1e3 * w.begin) for w in welds[:4]] == [0, 10, 20, 30]
    assert (welds[0].arc.current, welds[4].arc.current) == (90.0, 110.0)
    assert welds[1].start.weld == "step.1" and welds[4].start.weld == "step.4"


def test_tacks_usual_written_and_none():
    text = MAST.read_text(encoding="utf-8")
    begin, end = text.index("[[tack]]"), text.index("[arc]")
    without = text[:begin] + text[end:]
    usual = parse_case(without, str(MAST)).tacks
    assert usual == read().tacks  # the demo writes out what is usual
    assert parse_case(without, str(MAST), ["part.tacks=none"]).tacks == ()


@pytest.mark.parametrize(
    "change, words",
    [
        ("part.branch_wall=12 mm", "[part] branch_wall: 12 mm is not allowed: at most a quarter"),
        ("part.branch_width=60 mm", "[part] branch_width: 60 mm is wider than the chord"),
        ("part.leg=6 mm", "[part] leg: 6 mm"),
        ("part.penetration=3 mm", "[part] penetration: 3 mm is not allowed: at most nine tenths"),
        ("part.chord_length=40 mm", "[part] chord_length: 40 mm is too short"),
        ('schedule.order=["frnt:+x"]', "no seam or weld is named frnt, did you mean front?"),
        ('schedule.order=["front:+z"]', "'+z' is not allowed on front: write"),
        ('schedule.order=["front"]', "does not say the travel"),
        ('schedule.order=["front:+x", "front:-x"]', "front is welded twice"),
        ('schedule.order=["front/2:+x"]', "pass 2 is not there, allowed: 1 to 1"),
        ("schedule.interpass=150 degC", "write either pause or interpass, not both"),
        ("arc.current=110 V", "[arc] current: '110 V' is not a current"),
        ("tack.1.seam=top", "[tack.1] seam: 'top' is unknown"),
        ("tack.1.length=50 mm", "[tack.1] length: 50 mm is not allowed: shorter than the seam"),
        ("tack.1.at=39 mm", "[tack.1] at: the tack lies beyond the end"),
        ("gauge.pointer.at=free end", "'free end' is not allowed: write"),
        ("clamping.kind=one end", 'write "ends" or "free"'),
        ("part.kind=tee", "kind: 'tee' is not allowed: write \"bar\" or \"square-tube-tee\""),
    ],
)  # fmt: skip
def test_a_mistake_is_one_clear_line(change, words):
    assert words in refused(change)


def test_missing_arc_values_are_asked_for():
    text = MAST.read_text(encoding="utf-8").replace('current = "110 A"\n', "")
    with pytest.raises(CaseError, match=r"current: missing here and in \[arc\], such as"):
        parse_case(text, str(MAST))


CLAMP = """
[[clamp]]
name = "rail"
at = "branch end"
kind = "spring"
stiffness = "5 kN/mm"
turning = "10 kN m/rad"
off = "cold"
"""


def test_a_spring_clamp_in_si():
    text = MAST.read_text(encoding="utf-8") + CLAMP
    rail = parse_case(text, str(MAST)).clamps[-1]
    assert (rail.stiffness, rail.turning) == (pytest.approx(5e6), pytest.approx(1e4))
    assert rail.off.kind == "cold" and rail.on.seconds == 0.0


@pytest.mark.parametrize(
    "old, new, words",
    [
        ("branch end", "top", "[clamp.rail] at: 'top' is not a face of this joint"),
        ("branch end", "chord end", "'chord end' is held already"),
        ('stiffness = "5 kN/mm"\n', "", "[clamp.rail] stiffness: missing key for a spring"),
        ('"spring"', '"rigid"', "a rigid clamp has none"),
        ('"cold"', '"60 s after top"', "[clamp.rail] off: 'top' is no weld"),
    ],
)
def test_clamps_are_checked(old, new, words):
    text = MAST.read_text(encoding="utf-8") + CLAMP.replace(old, new)
    with pytest.raises(CaseError) as caught:
        parse_case(text, str(MAST))
    assert words in str(caught.value)


def test_a_spring_that_holds_alone_has_to_resist_turning():
    text = MAST.read_text(encoding="utf-8") + CLAMP.replace('turning = "10 kN m/rad"\n', "")
    assert parse_case(text, str(MAST)).clamps[-1].turning == 0.0  # the chord ends hold
    with pytest.raises(CaseError, match="turning: missing key for a spring that holds alone"):
        parse_case(text, str(MAST), ["clamping.kind=free"])


@pytest.mark.parametrize("up, target", [("-y", "-y"), ("+y", "+y"), ("+x", "+x"), ("+z", "+x")])
def test_up_on_the_target_is_up_in_the_workshop_unless_the_beam_goes_there(up, target):
    """Gravity decides what a person calls up on a wall; along +z there is none across the beam."""
    text = MAST.read_text(encoding="utf-8").replace('up = "+x"', '# up = "+x"')
    (gauge,) = parse_case(text, str(MAST), [f"part.up={up}", 'schedule.order=["front:+x"]']).gauges
    assert (gauge.aim, gauge.up) == ("+z", target)
