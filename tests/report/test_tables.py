"""Tables of a report: what its rows are called."""

from weldsim.report.tables import balance_table
from weldsim.runs.reading import RunRecord


def test_times_are_named_by_what_they_went_into(tmp_path):
    times = {"mesh_s": 0.8, "solve_s": 19.2, "error_estimate_s": 4.9}
    rows = dict(balance_table(RunRecord(tmp_path, {"stage_times": times}, {}, {}, ())))
    assert rows == {
        "time for meshing": "0.8 s", "time for solving": "19.2 s",
        "time for the second run, for the estimated error": "4.9 s",
    }  # fmt: skip
