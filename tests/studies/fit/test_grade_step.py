"""The step to a finer grade between the places where it was run: what kriging is bound to give."""

import numpy as np
import pytest

from weldsim.studies.fit.grade_step import LENGTH, NEAR, ROUGH, GradeStep, spread_out

PLACES = np.array([[0.5, 0.5], [0.05, 0.1], [0.9, 0.2], [0.2, 0.95], [0.55, 0.4]])


def test_a_step_that_is_alike_everywhere_is_known_everywhere():
    step = np.linspace(1.0, 3.0, 8).reshape(2, 4)
    found = GradeStep(PLACES, np.repeat(step[None], len(PLACES), axis=0))
    assert found.predict(np.random.default_rng(1).random((6, 2))) == pytest.approx(
        np.repeat(step[None], 6, axis=0)
    )  # weights add up to one: Cressie 1993, equation 3.2.5 (number from memory)
    assert found.errors() == pytest.approx(0.0, abs=1e-12)


def test_what_it_says_of_its_error_is_that_of_fields_drawn_from_its_own_law():
    rng = np.random.default_rng(2)
    away = NEAR * np.array([[1, 0], [-1, 0], [0, 1], [0, -1]])
    everywhere = np.vstack([PLACES, PLACES[-1] + away])
    apart = ((everywhere[:, None] - everywhere[None]) ** 2).sum(-1)
    law = (1 - ROUGH) * np.exp(-0.5 * apart / LENGTH**2) + ROUGH * np.eye(len(everywhere))
    fields = 5.0 + np.linalg.cholesky(law) @ rng.normal(size=(len(everywhere), 4000))
    found = GradeStep(PLACES, fields[: len(PLACES)].reshape(len(PLACES), 1, -1))
    missed = found.predict(everywhere[len(PLACES) :])[:, 0] - fields[len(PLACES) :]
    said = (found.errors() ** 2).sum(axis=0)
    # a variance of 16,000 misses, of which those of one field are alike: good to a few per cent
    assert said.mean() == pytest.approx((missed**2).mean(), rel=0.1)


def test_a_single_place_says_nothing_of_its_error_and_none_no_step():
    one = GradeStep(PLACES[:1], np.ones((1, 2, 3)))
    assert one.errors().shape == (0, 2, 3) and one.last == pytest.approx(1.0)
    assert GradeStep.of([]) is None


def test_places_are_far_from_each_other():
    line = np.array([[0.5], [0.52], [0.1], [0.95], [0.3]])
    assert list(spread_out(line, 3)) == [0, 3, 2] and len(spread_out(line, 9)) == 5
