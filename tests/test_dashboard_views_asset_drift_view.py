"""Drift in the plane and at the feet: the numbers are the engine's, in the unit that is shown."""

import json
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from plotly.utils import PlotlyJSONEncoder

from dashboard.components.asset_drift import drift_part
from dashboard.views.asset_drift_view import _why, build_drift, mean_step, region
from dashboard.words import say
from models.history.direction import NO_DIRECTION
from models.history.distributions import f_quantile
from models.history.engine import study_of
from models.history.feet import foot_rates
from models.maths.limits import flex_angles
from models.units import Display
from models.values.limits import LimitsGiven
from tests.history_maker import made_book

BOOK = made_book()
HISTORY = BOOK.history(1)
STUDY = study_of(HISTORY)
SETTLES, SPACER = 1, 3
"""P-102 has a base that settles, P-104 a spacer coupling (tests.history_maker.made_book)."""


def view(asset: int, feet: tuple[float, ...] = (350.0, 900.0), **more: Any) -> Any:
    given: dict[str, Any] = {"display": Display(), "who": {}, **more}
    return build_drift(STUDY, HISTORY, asset, feet_mm=feet, **given)


def test_an_arrow_is_as_long_as_the_drift_of_its_run() -> None:
    one = view(SETTLES)
    runs = STUDY.material.run[STUDY.material.asset == SETTLES]
    drift = STUDY.runs.drift[runs]
    np.testing.assert_allclose(one.planes[0].found - one.planes[0].left, drift[:, [2, 0]])
    np.testing.assert_allclose(one.planes[1].found - one.planes[1].left, drift[:, [3, 1]])
    assert len(one.moves) == len(runs)
    assert all(move.left_on < move.found_on for move in one.moves)
    assert all(before.found_on <= after.left_on for before, after in pairwise(one.moves))


def test_a_spacer_moves_at_its_flex_planes() -> None:
    one = view(SPACER)
    runs = STUDY.material.run[STUDY.material.asset == SPACER]
    angles = flex_angles(STUDY.runs.drift[runs], np.full(len(runs), 140.0))
    np.testing.assert_allclose(one.planes[0].found - one.planes[0].left, angles[:, [2, 0]], atol=1e-12)
    assert one.planes[1].key == "asset.plane.flex.1"
    assert (one.planes[0].unit, one.planes[0].limit) == ("mm/m", 0.5)


def test_the_mean_drift_is_the_engines_rate_times_the_limit() -> None:
    one = view(SETTLES)
    series, scale = int(STUDY.material.series_now[SETTLES]), int(STUDY.material.scale_row[SETTLES])
    offset = float(HISTORY.jobs.limits[scale, 0])
    assert one.planes[0].mean[1] == pytest.approx(float(STUDY.rates.raw[series, 0]) * offset)
    assert one.way == (one.planes[0].mean[1], one.planes[0].mean[0])
    assert one.way[0] < 0.0


def test_units_turn_offsets_and_leave_angles() -> None:
    """1 mil = 0.0254 mm exactly."""
    mm, mil = view(SETTLES), view(SETTLES, display=Display("mil"))
    np.testing.assert_allclose(mil.planes[0].left * 0.0254, mm.planes[0].left)
    np.testing.assert_allclose(mil.planes[1].left, mm.planes[1].left)
    assert mil.feet[0].rate * 0.0254 == pytest.approx(mm.feet[0].rate)
    assert mil.planes[0].limit * 0.0254 == pytest.approx(mm.planes[0].limit)


def test_the_limit_that_is_drawn_is_the_chosen_one() -> None:
    one = view(SETTLES, given=LimitsGiven(0.02, None, None, None, each_axis=True))
    assert (one.planes[0].limit, one.planes[0].square) == (0.02, True)
    assert np.isnan(one.planes[1].limit)
    np.testing.assert_allclose(one.planes[0].mean, view(SETTLES).planes[0].mean)


def test_the_region_of_a_well_known_mean_is_a_circle_of_the_known_size() -> None:
    """Upper 5 % of chi-square with 2 degrees of freedom: 5.991 (NIST/SEMATECH e-Handbook, table 1.3.6.7.4; from memory)."""
    edge = region(np.array([1.0, 2.0]), np.array([0.5, 0.5]), 0.0, np.inf)
    np.testing.assert_allclose(((edge - [1.0, 2.0]) ** 2).sum(axis=1) / 0.25, 5.991, atol=5e-4)


def test_the_region_of_few_runs_is_that_of_the_f_distribution() -> None:
    """Upper 5 % of F with 2 and 10 degrees of freedom: 4.103 (NIST/SEMATECH e-Handbook, table 1.3.6.7.3; from memory)."""
    edge = region(np.zeros(2), np.ones(2), 0.0, 10.0)
    np.testing.assert_allclose((edge**2).sum(axis=1), 2 * 4.103, atol=2e-3)
    for df in (1.0, 3.5, 40.0):
        twin = 2.0 * float(f_quantile(0.95, 2.0, df))
        np.testing.assert_allclose((region(np.zeros(2), np.ones(2), 0.0, df) ** 2).sum(axis=1), twin, rtol=1e-6)


def test_the_region_of_a_mean_step_is_hotellings() -> None:
    """Twin: T² of every point of the edge, with the covariance by numpy, is p (n − 1)/(n − p) F(p, n − p) for p = 2."""
    drifts = np.array([[0.02, -0.11], [0.05, -0.08], [-0.01, -0.14], [0.03, -0.12], [0.00, -0.10]])
    mean, edge = mean_step(drifts)
    np.testing.assert_allclose(mean, [0.018, -0.11])
    far = edge - mean
    squared = np.einsum("ki,ij,kj->k", far, np.linalg.inv(np.cov(drifts.T) / 5), far)
    np.testing.assert_allclose(squared, 2 * 4 / 3 * float(f_quantile(0.95, 2.0, 3.0)), rtol=1e-6)
    assert mean_step(drifts[:2])[1].shape == (0, 2)
    assert np.isfinite(mean_step(np.ones((4, 2)))[1]).all()


@given(st.floats(-0.95, 0.95), st.floats(0.01, 3.0), st.floats(0.01, 3.0), st.floats(2.0, 200.0))
def test_every_point_of_the_edge_lies_equally_far_from_the_mean(rho: float, a: float, b: float, df: float) -> None:
    """Mahalanobis distance with the covariance of the two axes is the same all around."""
    spread = np.array([a, b])
    edge = region(np.array([0.3, -0.2]), spread, rho, df) - np.array([0.3, -0.2])
    inverse = np.linalg.inv(np.outer(spread, spread) * np.array([[1.0, rho], [rho, 1.0]]))
    far = np.einsum("ni,ij,nj->n", edge, inverse, edge)
    np.testing.assert_allclose(far, far[0], rtol=1e-6)
    np.testing.assert_allclose(edge[0], edge[-1], atol=1e-9)


def test_what_is_not_known_has_no_region() -> None:
    assert region(np.array([np.nan, 0.0]), np.ones(2), 0.0, 5.0).shape == (0, 2)


def test_feet_are_the_engines_and_a_row_between_lies_between() -> None:
    series = int(STUDY.material.series_now[SETTLES])
    rows = {(one.row, one.axis): one for one in view(SETTLES, (350.0, 625.0, 900.0)).feet}
    raw = STUDY.feet.rates.raw[series]
    assert rows[1, "v"].rate == pytest.approx(raw[0])
    assert rows[3, "v"].rate == pytest.approx(raw[1])
    assert rows[3, "h"].rate == pytest.approx(raw[3])
    assert rows[2, "v"].rate == pytest.approx((raw[0] + raw[1]) / 2)
    assert [one.between for one in rows.values()] == [False, True, False] * 2
    for one in rows.values():
        assert one.low <= one.rate <= one.high


def test_the_rate_of_a_row_between_is_close_to_its_own_fit() -> None:
    """Twin: the engine's own rates with the row in the middle in place of the farthest."""
    middle = HISTORY.assets.feet_movable_mm.copy()
    middle[:, 1] = 625.0
    twin = foot_rates(STUDY.material, STUDY.runs, middle, STUDY.grouping)
    series = int(STUDY.material.series_now[SETTLES])
    own = next(one for one in view(SETTLES, (350.0, 625.0, 900.0)).feet if (one.row, one.axis) == (2, "v"))
    assert own.rate == pytest.approx(float(twin.rates.raw[series, 1]), abs=0.3 * (own.high - own.low))


def test_nothing_is_said_to_move_from_less_than_three_runs() -> None:
    few = 0
    for asset in range(len(HISTORY.assets)):
        one = view(asset)
        if len(one.moves) < 3:
            few += len(one.moves) > 0
            assert one.verdict == "few"
            assert not any(row.sure for row in one.feet)
            assert all(plane.mean is None and not len(plane.outline) for plane in one.planes)
            if one.moves:
                part = told(one)
                assert "three are needed" in part
                assert "hick arrow" not in part
                assert "year" not in part
    assert few


def test_no_row_is_said_to_move_where_the_machine_as_a_whole_is_not() -> None:
    """Of some hundred rows with intervals of their own some leave out 0 by chance; pages said both, one below the other."""
    assert any(row.sure for row in view(SETTLES).feet)
    nowhere = np.full_like(STUDY.directions.verdict, NO_DIRECTION)
    study = replace(STUDY, directions=replace(STUDY.directions, verdict=nowhere))
    one = build_drift(study, HISTORY, SETTLES, feet_mm=(350.0, 900.0), display=Display(), who={})
    assert len(one.feet) == 4
    assert not any(row.sure for row in one.feet)
    assert "No steady rate one way" in told(one)
    assert "No row of feet of the movable machine is said to move at a steady rate" in told(one)


def told(one: Any) -> str:
    part = json.dumps(drift_part(one, "light"), cls=PlotlyJSONEncoder)
    return part.replace(json.dumps(say("about.asset.drift")), "")


def test_unknown_feet_a_missing_limit_and_missing_time_are_told_apart() -> None:
    assert "how far the feet are" in told(view(SETTLES, ()))
    assert "limit judges" not in told(view(SETTLES, ()))
    limits = HISTORY.jobs.limits.copy()
    limits[HISTORY.jobs.asset == SETTLES] = np.nan
    unjudged = replace(HISTORY, jobs=replace(HISTORY.jobs, limits=limits))
    one = build_drift(study_of(unjudged), unjudged, SETTLES, feet_mm=(350.0, 900.0), display=Display(), who={})
    assert (one.verdict, one.why) == ("few", "limits")
    assert "as no limit judges the machine" in told(one)
    assert "needed" not in told(one)
    study = study_of(unjudged)
    series = int(study.material.series_now[SETTLES])
    assert [_why(study, series, runs) for runs in range(4)] == ["few", "few", "few", "limits"]
    assert len(one.feet) == 4  # millimetres need no limit
    assert any(row.sure for row in one.feet)
    assert "Whether that grows with time or is the same step after each visit is not told" in told(one)
    at_once = replace(one, why="time", feet=())
    assert told(at_once).count("no time of service lies between") == 2


def test_a_machine_that_comes_off_by_a_step_has_a_mean_of_its_runs_and_no_rate() -> None:
    """Means by hand from the runs: the step of a row at x mm is that of the offset plus x times that of the angularity."""
    chances = np.where(np.arange(len(HISTORY.assets)) == SETTLES, 0.9, 0.1)
    study = replace(STUDY, standing=replace(STUDY.standing, step_chance=chances))
    one = build_drift(study, HISTORY, SETTLES, feet_mm=(350.0, 900.0), display=Display(), who={})
    drift = STUDY.runs.drift[STUDY.material.run[STUDY.material.asset == SETTLES]]
    v, a, h, b = drift.mean(axis=0)
    assert one.feet == ()
    assert [(step.axis, step.row) for step in one.steps] == [("v", 1), ("v", 2), ("h", 1), ("h", 2)]
    assert [step.size for step in one.steps] == pytest.approx([v + 0.35 * a, v + 0.9 * a, h + 0.35 * b, h + 0.9 * b])
    assert [plane.by_step for plane in one.planes] == [True, True]
    assert one.planes[0].mean == pytest.approx((h, v))
    assert one.planes[1].mean == pytest.approx((b, a))
    assert one.way == pytest.approx((v, h))

    part = json.dumps(drift_part(one, "light"), cls=PlotlyJSONEncoder)
    assert "mean drift of a run" in part
    assert "mean drift in a year" not in part


def test_an_unknown_distance_gives_no_feet() -> None:
    assert view(SETTLES, ()).feet == ()


def test_the_break_begins_the_runs_anew() -> None:
    """P-106 had its base grouted anew on 6 May 2024 (tests.history_maker.made_book)."""
    assert min(move.left_on for move in view(5).moves).year >= 2024


def test_who_found_it_stands_with_the_run() -> None:
    entries = HISTORY.jobs.entry.tolist()
    one = view(SETTLES, who={entry: f"job {entry}" for entry in entries})
    assert all(move.who == f"job {move.entry}" for move in one.moves)
