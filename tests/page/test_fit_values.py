"""The table of a fit, also of one that was kept before answers held a table."""

import json

import pytest

from weldsim.errors import StoreError
from weldsim.page.studies import answer_of
from weldsim.page.study_task import ANSWER

PARAMETERS = {
    "metal.softening_temperature": {
        "value": 1473.15, "low": 1423.15, "high": 1523.15, "unit": "K", "frozen": False,
        "prior": {"low": 1173.15, "high": 1723.15},
    },
    "arc.efficiency": {
        "value": 0.7, "low": 0.65, "high": 0.75, "unit": "1", "frozen": True,
        "prior": {"low": 0.5, "high": 0.95},
    },
}  # fmt: skip


def kept(folder, **answer):
    (folder / ANSWER).write_text(json.dumps({"kind": "fit", **answer}))
    return folder


def test_a_fit_kept_without_a_table_is_shown_with_one(tmp_path):
    soft, heat = answer_of(kept(tmp_path, record={"parameters": PARAMETERS}))["values"]
    assert soft["said"] == ["1200 °C", "1150 °C", "1250 °C", "900 °C", "1450 °C"]
    assert soft["said_us"][0] == "2192 °F" and soft["name"] == "softening temperature"
    assert not soft["frozen"] and heat["frozen"] and heat["said"][:3] == ["0.7", "0.65", "0.75"]


def test_an_answer_with_a_table_keeps_it(tmp_path):
    told = answer_of(kept(tmp_path, record={"parameters": PARAMETERS}, values=[]))
    assert told["values"] == []
    assert "values" not in answer_of(kept(tmp_path, record={"rows": []}))


@pytest.mark.parametrize("record", [{"parameters": {"a": {}}}, {"parameters": 3}])
def test_a_damaged_record_is_one_line(tmp_path, record):
    with pytest.raises(StoreError, match="^answer.json: parameters") as refusal:
        answer_of(kept(tmp_path, record=record))
    assert "\n" not in str(refusal.value)
