"""Which foot moves."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from models.history.engine import study_of
from models.history.feet import FAR, NEITHER, UNKNOWN_FEET, at_feet
from tests.fleet import Plan, make_fleet


def test_the_feet_stand_on_the_line_of_the_shaft() -> None:
    """CV-26 of the project's trade reference (derived): y(0) 0.10 mm, m 0.5 mrad, y(200) 0.20 mm."""
    got = at_feet(np.array([[0.10, 0.5, -0.1, 0.0]]), np.array([[0.0, 200.0]]))
    np.testing.assert_allclose(got, [[0.10, 0.20, -0.1, -0.1]], rtol=1e-12)


def test_a_far_foot_that_sinks_is_found_with_its_rate() -> None:
    history, _ = make_fleet(
        31, Plan(assets=120, jobs_low=9, jobs_high=12, rate_sd=0.0, spacer_share=0.0, break_share=0.0)
    )
    jobs = history.jobs
    sinks = jobs.asset < 20
    # The near row at 250 mm stands, the far one at 750 mm sinks by 0.2 mm a year: offset −(−0.1) …
    visit_years = np.where(sinks, np.diff(jobs.performed_us, prepend=jobs.performed_us[0]) / 31_557_600e6, 0.0)
    slope = -0.2 / 0.5  # mm/m a year
    moved = jobs.found.copy()
    moved[:, 1] += slope * visit_years
    moved[:, 0] += -slope * 0.25 * visit_years
    study = study_of(replace(history, jobs=replace(jobs, found=moved)))
    now = study.material.series_now[:20]
    assert np.mean(study.feet.vertical[now] == FAR) > 0.7
    assert np.mean(study.feet.rates.raw[now, 1]) == pytest.approx(-0.2, abs=0.03)
    others = study.material.series_now[20:]
    assert np.mean(study.feet.vertical[others] == NEITHER) > 0.85


def test_unknown_distances_are_unknown_feet() -> None:
    history, _ = make_fleet(32, Plan(assets=60))
    assets = replace(history.assets, feet_movable_mm=np.full((60, 2), np.nan))
    assert (study_of(replace(history, assets=assets)).feet.vertical == UNKNOWN_FEET).all()
