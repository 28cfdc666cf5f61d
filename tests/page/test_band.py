"""A band as the page computes and shows it, against the propagation of one uncertain value."""

import pytest

from tests.page.kit import starter
from weldsim.case.load import parse_case
from weldsim.page.band_task import band_answer, scatter
from weldsim.page.case_form import form_text
from weldsim.runs.solving import solve

pytestmark = pytest.mark.slow
NINE_OF_TEN = 1.645  # quantile of the normal distribution, 95 % below


def test_the_spread_of_one_value_is_its_slope_times_its_deviation(tmp_path):
    """First-order propagation, u(y) = |dy/dx| u(x) (JCGM 100:2008, eq. 12), the slope from two runs
    of their own; heat that scatters by 3 % bends a bar nearly in proportion."""
    tables = starter()
    tables["solve"] = {"grade": "sketch", "end": "120 s", "error_estimate": False}
    text = form_text(tables)
    case = parse_case(text, "bar.toml")
    others = [r["key"] for r in scatter(text, "bar.toml") if r["key"] != "arc.efficiency"]
    options = {"grade": "sketch", "finer": "none", "sample": 10, "exact": others,
               "spread": {"arc.efficiency": "3 %"}}  # fmt: skip
    told = []
    answer = band_answer(case, options, tmp_path, 2, lambda share, words: told.append(share))
    assert told[-1] == 1.0 and (tmp_path / "band.json").is_file()
    up = next(r for r in answer["record"]["readings"]
              if r["column"] == "pointer_up_mm" and r["moment"] == "cold")  # fmt: skip
    assert up["shares_in_words"].startswith("arc efficiency explains")

    ends = []
    for factor in (0.97, 1.03):
        heat = {f"weld.{w.name}.efficiency": factor * w.arc.efficiency for w in case.welds}
        ends.append(1e3 * solve(case.with_changes(heat)).gauges["pointer", "up", "mm"][-1])
    half = NINE_OF_TEN * abs(ends[1] - ends[0]) / 2
    assert (up["high"] - up["low"]) / 2 == pytest.approx(half, rel=0.3)
    assert up["low"] < up["value"] < up["high"]

    # what is drawn is what is said
    curve = next(c for c in answer["curves"] if c["name"] == "pointer_up_mm")
    assert all(a <= b for a, b in zip(curve["low"], curve["high"], strict=True))
    (target,) = answer["targets"]
    assert target["low"][1] == pytest.approx(up["low"], abs=0.01)
    inside = [target["low"][1] <= spot[1] <= target["high"][1] for spot in target["spots"]]
    assert 0.8 < sum(inside) / len(inside) <= 1.0
