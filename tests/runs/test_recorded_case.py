"""The case in run.json as records, with what old runs do not tell."""

from pathlib import Path

from weldsim.runs.reading import RunRecord
from weldsim.runs.recorded_case import RecordedRule, recorded_case, recorded_paths


def of(manifest):
    return RunRecord(Path("run"), manifest, {}, {}, ())


def test_what_a_run_does_not_tell_has_its_usual_value():
    case = recorded_case(of({"case": {"welds": [{"name": "A", "seam": None}]}}))
    assert case.seams_of_welds and not case.tilted
    assert (case.clamping, case.model) == ("free", "plastic")
    (weld,) = case.welds
    assert weld.group == "A" and not weld.is_tack and weld.filler and weld.number == 1
    assert case.weld("B").name == "B" and case.gauge("x").kind == ""
    assert recorded_case(of({})).welds == () and recorded_paths(of({})) == ()


def test_clamps_have_rules_and_welds_of_a_joint_their_seam():
    off = {"kind": "after", "seconds": 20.0, "weld": "front", "temperature": None}
    clamp = {"name": "jig", "at": ["end"], "kind": "spring", "on": None, "off": off}
    welds = [{"name": "t1", "seam": "front", "tack": 0}, {"name": "front.2", "seam": "front"}]
    case = recorded_case(
        of({"case": {"part": {"kind": "plate-tee"}, "clamps": [clamp], "welds": welds}})
    )
    assert case.clamps[0].on is None and case.clamps[0].at == ("end",)
    assert case.clamps[0].off == RecordedRule("after", 20.0, "front")
    assert [w.group for w in case.welds] == ["front", "front"] and case.welds[0].is_tack
    assert not case.seams_of_welds


def test_a_bead_on_a_bar_stands_for_itself_whatever_its_seam_is_called():
    bead = {"name": "A", "seam": "bead A", "face": "front", "line": "across"}
    assert recorded_case(of({"case": {"welds": [bead]}})).welds[0].group == "A"
