"""Chances of being found over limit: counted by band against a truth that is planted."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from models.history.chances import BANDS, begun_of, chances_of
from models.history.engine import study_of
from models.history.limit_space import ratio_in_limit_units
from tests.fleet import Plan, make_fleet


def test_past_chances_are_held_against_what_was_found() -> None:
    history, _ = make_fleet(71, Plan(assets=300, jobs_low=4, jobs_high=9, break_share=0.0, heavy=False, reactive=0.0))
    study = study_of(history)
    got, made = study.fleet.chances, study.predictions
    begun = begun_of(history.jobs, study.runs, study.material)
    over = ratio_in_limit_units(begun.left[made.row] + made.mean + made.error, begun.each_axis[made.row]) > 1.0
    np.testing.assert_array_equal(over, study.runs.end_ratio[study.material.run[made.row]] > 1.0)
    for at, (above, below) in enumerate(pairwise(BANDS)):
        here = (made.over >= above) & (made.over < below)
        assert got.n[-1, at] == here.sum() > 20
        assert got.claimed[-1, at] == pytest.approx(made.over[here].mean())
        assert got.found[-1, at] == pytest.approx(over[here].mean())
        assert got.low[-1, at] - 0.03 < got.claimed[-1, at] < got.high[-1, at] + 0.03
    assert 0 < got.n[:-1].sum() <= got.n[-1].sum()


def test_without_a_prediction_no_band_has_a_run() -> None:
    history, _ = make_fleet(72, Plan(assets=8))
    study = study_of(history)
    begun = begun_of(history.jobs, study.runs, study.material)
    got = chances_of(study.predictions, study.material, begun, len(study.grouping.label))
    assert not got.n.any()
    assert np.isnan(got.found).all()
