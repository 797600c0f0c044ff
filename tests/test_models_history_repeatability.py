"""Variance components against NIST and the AIAG's example."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import chi2, f_oneway

from models.history import repeatability
from models.history.repeatability import DEFAULT_OFFSET_MM, crossed, one_way, repeatability_of, within_ss

PUBLISHED = Path(__file__).parent / "published"
GAUGE = json.loads((PUBLISHED / "gauge_rr_anova.json").read_text(encoding="utf-8"))


def test_five_instruments_of_nist() -> None:
    """NIST StRD SiRstv, certified values, 13 digits."""
    data = json.loads((PUBLISHED / "strd_sirstv.json").read_text(encoding="utf-8"))
    certified = data["certified"]
    got = one_way(np.array(data["resistance"]), np.array(data["instrument"]))
    assert got.between_ss == pytest.approx(certified["ss_between"], rel=1e-9)
    assert got.within_ss == pytest.approx(certified["ss_within"], rel=1e-9)
    assert got.f == pytest.approx(certified["F"], rel=1e-11)
    assert got.within_sd == pytest.approx(certified["resid_sd"], rel=1e-12)
    assert [got.between_df, got.within_df] == certified["df"]
    groups = [np.array(data["resistance"])[np.array(data["instrument"]) == k] for k in range(1, 6)]
    assert got.p == pytest.approx(f_oneway(*groups).pvalue, rel=1e-8)


def test_the_crossed_example() -> None:
    """AIAG, Measurement Systems Analysis, 10 × 3 × 3 (seen in a secondary copy), 4 decimals."""
    ms, published = GAUGE["ms"], GAUGE["published"]
    got = crossed(ms["part"], ms["operator"], ms["interaction"], ms["repeatability"],
                  parts=GAUGE["parts"], operators=GAUGE["operators"], repeats=GAUGE["reps"])  # fmt: skip
    assert got.repeat_sd == pytest.approx(published["EV"], abs=5e-5)
    assert got.operator_sd == pytest.approx(published["AV"], abs=5e-5)
    assert got.gauge_sd == pytest.approx(published["GRR"], abs=5e-5)
    assert got.part_sd == pytest.approx(published["PV"], abs=5e-5)
    assert got.interaction_f == pytest.approx(published["interaction_F"], abs=5e-4)
    assert got.interaction_p == pytest.approx(published["interaction_p"], abs=5e-4)
    assert got.pooled
    total = np.hypot(got.gauge_sd, got.part_sd)
    assert 100 * got.gauge_sd / total == pytest.approx(published["pct_study_var_grr"], abs=0.02)
    assert int(1.41 * got.part_sd / got.gauge_sd) == published["ndc"]


def test_standard_deviations_are_pooled_by_variance() -> None:
    """NIST/SEMATECH e-Handbook, mpc444: five sums of squares of 60 df each give .10290."""
    block = GAUGE["nist_pooling_mpc444"]
    rng = np.random.default_rng(1)
    readings, group = [], []
    for k, ss in enumerate(block["ss"]):
        x = rng.normal(size=block["df_each"] + 1)
        x -= x.mean()
        readings.append(x * np.sqrt(ss / np.sum(x**2)) + 5.0 * k)
        group.append(np.full(len(x), k))
    got, df = within_ss(np.concatenate(readings)[:, None], np.concatenate(group))
    assert df == 300
    assert np.sqrt(got[0] / df) == pytest.approx(block["s1"], abs=5e-5)


def test_the_default_stays_until_thirty_repeats() -> None:
    rng = np.random.default_rng(2)
    for repeats, used, shown in ((5, False, False), (20, False, True), (40, True, True)):
        readings = rng.normal(0.0, 0.01, (2 * repeats, 4)) + np.repeat(rng.normal(size=(repeats, 4)), 2, axis=0)
        got = repeatability_of(readings, np.repeat(np.arange(repeats), 2))
        assert got.from_repeats is used
        assert np.isfinite(got.measured).all() == shown
        assert (got.stated[0] == DEFAULT_OFFSET_MM) != used
        assert got.reason
    assert (got.low < got.measured).all()
    assert (got.measured < got.high).all()
    assert got.measured[0] == pytest.approx(0.01, rel=0.3)


def test_no_readings_and_unknown_ones_give_the_default_in_words() -> None:
    assert repeatability_of(np.zeros((0, 4)), np.zeros(0, int)).reason.startswith("no repeat readings")
    assert repeatability_of(np.full((40, 4), np.nan), np.zeros(40, int)).df == 0


def test_one_mistyped_reading_is_not_the_whole_figure() -> None:
    """Forty re-reads with a standard deviation of 0.006 mm; without the cut one of 0.52 mm makes it 0.06 mm and more."""
    rng = np.random.default_rng(6)
    readings = rng.normal(0.0, 0.006, (80, 4))
    group = np.repeat(np.arange(40), 2)
    clean = repeatability_of(readings, group)
    wrong = readings.copy()
    wrong[7, 0] = 0.52
    dirty = repeatability_of(wrong, group)
    assert (clean.cut, dirty.cut) == (0, 1)
    assert 1.0 < dirty.stated[0] / clean.stated[0] < 1.35
    np.testing.assert_array_equal(dirty.stated[1:], clean.stated[1:])
    assert dirty.low[0] < 0.006 < dirty.high[0]


def test_the_cut_leaves_the_variance_of_normal_readings_as_it_is() -> None:
    """The share that it keeps of a chi-square variable, from scipy's integration; and readings of which some are cut by chance."""
    for df in (1, 3, 9):
        kept = chi2.expect(lambda x, most=16.0 * df: np.minimum(x, most), (df,))
        ours = repeatability._kept_share(np.array([df]))[0]
        assert ours == pytest.approx(kept / df, rel=1e-8)
    readings = np.random.default_rng(7).normal(0.0, 1.0, (120_000, 4))
    found = repeatability_of(readings, np.repeat(np.arange(60_000), 2))
    assert found.cut > 0
    np.testing.assert_allclose(found.stated, 1.0, rtol=0.015)
