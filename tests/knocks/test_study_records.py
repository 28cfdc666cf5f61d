"""Records of studies from elsewhere: what a model refuses, and the seeded spoiling."""

import json

import pytest

from tests.knocks import study_records
from tests.knocks.tally import unreadable
from weldsim.errors import StoreError


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    return study_records.made(tmp_path_factory.mktemp("work") / "study")


def test_what_was_made_is_read(whole):
    study_records.read(whole)


@pytest.mark.parametrize(
    "name, entries, said",
    [
        ("plan.json", {"format": 2}, "plan.json: format 2 is not one"),
        ("plan.json", {"rows": [{"moves": [["front"]]}]}, "plan.json: rows.0.moves.0"),
        ("plan.json", {"drift": {"factors": "many"}}, "plan.json: drift.factors"),
        ("plan.json", {"words": "a"}, "plan.json: words"),
        ("band.json", {"format": "1"}, "band.json: format '1' is not one"),
        ("band.json", {"runs": 2.5}, "band.json: runs"),
        ("band.json", {"readings": [{"column": "a"}]}, "band.json: readings.0"),
        ("fit/answer.json", {"record": {"parameters": {"arc.efficiency": {"value": "0.8"}}}},
         "answer.json: parameters.arc.efficiency"),
    ],
)  # fmt: skip
def test_what_no_study_writes_is_refused_by_name(whole, name, entries, said):
    path = whole / name
    kept = path.read_text(encoding="utf-8")
    path.write_text(json.dumps({**json.loads(kept), **entries}), encoding="utf-8")
    try:
        with pytest.raises(StoreError) as caught:
            study_records.read(whole)
    finally:
        path.write_text(kept, encoding="utf-8")
    assert said in str(caught.value) and "\n" not in str(caught.value)
    assert not unreadable(str(caught.value))


@pytest.mark.slow
def test_spoiled_records_are_read_or_refused():
    tally = study_records.knock(300, seed=1)
    assert not tally.broke, tally.report()
    assert tally.refused > 100 and tally.accepted > 10
