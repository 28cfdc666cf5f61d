"""A run's estimated error against what shorter cells and steps change: first seam of a small tee.

Cheap version: tubes 14 and 24 mm wide with the walls (3 mm), leg (4 mm), arc and tacks of
`cases/mast_stub.toml`, so that a section of the weld sees the same, over a seam 14 mm long. The
finer level has cells along the seam and torch steps two thirds as long as quick's and the same one
cell through the walls; a second cell through them is in `benchmarks/tee_convergence.md`. What a run
at quick grade states is |quick - coarse| (`runs.error_estimate`). The check is the usual one of a
grid study (Richardson 1911, from memory): a change from one level to the next bounds the change to
the one after only while the answer settles, so it can fail, and holding says nothing of what no
level resolves.
"""

import numpy as np
import pytest

from tests.places import ROOT

pytestmark = pytest.mark.slow

BENCHMARKS = ROOT / "benchmarks"
TUBES = (
    "part.branch_width=14 mm", "part.branch_length=30 mm", "part.chord_width=24 mm",
    "part.chord_length=50 mm",
)  # fmt: skip
LEVELS = ("coarse", "quick", "closer")


def test_stated_error_of_the_tilt_covers_a_finer_run(monkeypatch):
    monkeypatch.syspath_prepend(str(BENCHMARKS))
    from tee_convergence import estimate, first_seam, table

    found = {name: first_seam(TUBES, name, threads=1) for name in LEVELS}
    print("\n" + table(found) + "\n\n" + estimate(found))
    sizes = [found[name].unknowns for name in LEVELS]
    assert sizes == sorted(set(sizes))  # each level is finer than the one before
    coarse, quick, closer = (found[name].tilt for name in LEVELS)
    stated = np.abs(quick - coarse)
    assert np.all(np.abs(closer - quick) <= stated)
    # it comes nearer: what is left of coarse is more than what is left of quick
    assert np.linalg.norm(closer - quick) < np.linalg.norm(closer - coarse)
    # the stub leans toward the weld (common practice), and the error does not hide the sign
    assert quick[1] > 0 and quick[1] > stated[1]
