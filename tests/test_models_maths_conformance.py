"""Conformance of a whole job, and what a decision rule makes of it."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from models.errors import InvalidValueError
from models.maths.box import Probability
from models.maths.conformance import Conformance, Rule, Verdict, acceptance_radius, conformance, decide
from models.maths.deciding import decided_by
from models.maths.dials import Carrier, RimDial, expected_rim, two_rims
from models.maths.limits import flex_angles, limit_ratio
from models.maths.readings import Sweep
from models.maths.uncertainty import InputUncertainty
from models.values.decision import DecisionRule
from models.values.job import Misalignment
from models.values.kinds import Coupling
from models.values.limits import Judged, LimitsGiven

SHORT = LimitsGiven(offset_mm=0.08, angle_mm_m=0.67, soft_foot_mm=0.05)
SPACER = LimitsGiven(flex_mm_m=0.5)
CLOCK = np.array([0.0, 90.0, 180.0, 270.0])
DRAWS = 1_000_000


def measured_covariance(noise: float = 0.01) -> np.ndarray:
    dials = [
        RimDial(Sweep(tuple(CLOCK), tuple(expected_rim(Misalignment(), CLOCK, x, c))), x, c)
        for x, c in ((-40.0, Carrier.MOVABLE), (70.0, Carrier.STATIONARY))
    ]
    got = two_rims(*dials, InputUncertainty(noise)).covariance
    assert got is not None
    return got


def sized(v: np.ndarray, h: np.ndarray, each: bool) -> np.ndarray:
    return np.maximum(np.abs(v), np.abs(h)) if each else np.hypot(v, h)


@pytest.mark.parametrize("each", [False, True])
@pytest.mark.parametrize("coupling", list(Coupling))
def test_a_whole_job_agrees_with_a_million_simulated_ones(coupling: Coupling, each: bool) -> None:
    deviation, cov, span = Misalignment(0.055, -0.45, -0.045, 0.40), measured_covariance(0.02), 300.0
    limits = LimitsGiven(SHORT.offset_mm, SHORT.angle_mm_m, None, None, each)
    if coupling is Coupling.SPACER:
        limits = LimitsGiven(None, None, 0.45, None, each)
    got = conformance(deviation, cov, limits, coupling, span)
    true = np.random.default_rng(7).multivariate_normal(deviation.as_tuple(), cov, DRAWS)
    given_limits = np.array(
        [[np.nan if x is None else x for x in (limits.offset_mm, limits.angle_mm_m, limits.flex_mm_m, None)]],
        dtype=float,
    )
    ratios = limit_ratio(true, np.repeat(given_limits, DRAWS, axis=0), np.full(DRAWS, each), np.full(DRAWS, span))
    assert got.probability is not None
    assert 0.05 < got.probability < 0.99
    spread = math.sqrt(got.probability * (1 - got.probability) / DRAWS)
    assert (ratios <= 1).mean() == pytest.approx(got.probability, abs=4 * spread + got.error)
    if coupling is Coupling.SPACER:
        angles = flex_angles(true, np.full(DRAWS, span))
        singles = [sized(angles[:, i], angles[:, i + 2], each) <= 0.45 for i in (0, 1)]
    else:
        singles = [
            sized(true[:, i], true[:, i + 2], each) <= x for i, x in ((0, SHORT.offset_mm), (1, SHORT.angle_mm_m))
        ]
    for part, hits in zip(got.parts, singles, strict=True):
        p = part.probability
        assert hits.mean() == pytest.approx(p, abs=4 * math.sqrt(p * (1 - p) / DRAWS) + 1e-6)


def test_the_resultant_is_not_the_product_of_the_axes() -> None:
    cov = np.diag([0.02**2, 1e-6, 0.02**2, 1e-6])
    limit = LimitsGiven(offset_mm=0.1)
    circle = conformance(Misalignment(0.09, 0, 0.09, 0), cov, limit).probability
    square = conformance(Misalignment(0.09, 0, 0.09, 0), cov, LimitsGiven(offset_mm=0.1, each_axis=True)).probability
    assert circle is not None
    assert square is not None
    assert circle < 0.1
    assert square > 0.4


def test_offset_and_angularity_that_go_together_are_not_a_product() -> None:
    cov = measured_covariance(0.02)
    got = conformance(Misalignment(0.075, 0.65, 0.0, 0.0), cov, SHORT)
    assert got.probability is not None
    product = got.parts[0].probability * got.parts[1].probability
    assert abs(got.probability - product) > 1e-3


@settings(deadline=None, max_examples=15)
@given(st.floats(-0.1, 0.1), st.floats(-0.8, 0.8), st.floats(-0.1, 0.1), st.floats(-0.8, 0.8), st.booleans())
def test_all_is_at_most_as_probable_as_each_and_at_least_what_each_leaves(
    a: float, b: float, c: float, d: float, each: bool
) -> None:
    limits = LimitsGiven(SHORT.offset_mm, SHORT.angle_mm_m, None, None, each)
    got = conformance(Misalignment(a, b, c, d), measured_covariance(), limits)
    assert got.probability is not None
    parts = [part.probability for part in got.parts]
    assert max(0.0, sum(parts) - 1) - 1e-6 <= got.probability <= min(parts) + 1e-6


@settings(deadline=None, max_examples=8)
@given(st.floats(-0.1, 0.1), st.floats(-0.8, 0.8), st.floats(-0.1, 0.1), st.floats(-0.8, 0.8))
def test_vertical_and_horizontal_may_be_exchanged(a: float, b: float, c: float, d: float) -> None:
    order = [2, 3, 0, 1]
    cov = measured_covariance()
    here = conformance(Misalignment(a, b, c, d), cov, SPACER, Coupling.SPACER, 250.0).probability
    there = conformance(Misalignment(c, d, a, b), cov[np.ix_(order, order)], SPACER, Coupling.SPACER, 250.0).probability
    assert there == pytest.approx(here, abs=1e-6)


def test_parts_name_what_is_judged_where_and_how_large_it_is() -> None:
    got = conformance(Misalignment(0.03, 0.3, 0.04, 0.4), measured_covariance(), SHORT)
    assert [(p.judged, p.size) for p in got.parts] == [
        (Judged.OFFSET, pytest.approx(0.05)),
        (Judged.ANGULARITY, pytest.approx(0.5)),
    ]
    ends = conformance(Misalignment(), measured_covariance(), SPACER, Coupling.SPACER, 250.0).parts
    assert [(p.judged, p.place) for p in ends] == [
        (Judged.FLEX_ANGLE, "stationary end"),
        (Judged.FLEX_ANGLE, "movable end"),
    ]


def test_no_uncertainty_is_known_and_nothing_judged_are_told() -> None:
    unknown = conformance(Misalignment(), None, SHORT)
    assert (unknown.probability, "not known" in unknown.reason) == (None, True)
    nothing = conformance(Misalignment(), np.eye(4), LimitsGiven(soft_foot_mm=0.05))
    assert isinstance(nothing, Conformance)
    assert (nothing.probability, "judges nothing" in nothing.reason) == (None, True)


def test_a_flex_limit_says_nothing_about_a_short_coupling() -> None:
    assert conformance(Misalignment(), np.eye(4), SPACER, Coupling.SHORT).probability is None


@pytest.mark.parametrize(
    "covariance", [np.diag([1.0, 1.0, 1.0, -1.0]), np.eye(3), np.triu(np.ones((4, 4))), np.full((4, 4), np.nan)]
)
def test_what_is_no_covariance_is_refused(covariance: np.ndarray) -> None:
    with pytest.raises(InvalidValueError, match="covariance"):
        conformance(Misalignment(), covariance, SHORT)


def test_a_spacer_needs_its_span_and_one_kind_of_limit() -> None:
    with pytest.raises(InvalidValueError, match="span"):
        conformance(Misalignment(), np.eye(4), SPACER, Coupling.SPACER)
    with pytest.raises(InvalidValueError, match="not at both"):
        conformance(Misalignment(), np.eye(4), LimitsGiven(0.1, None, 0.5), Coupling.SPACER, 200.0)


@pytest.mark.parametrize(
    ("probability", "ratio", "rule", "verdict"),
    [
        (0.60, 0.9, Rule.SIMPLE, Verdict.WITHIN),
        (None, 1.0, Rule.SIMPLE, Verdict.WITHIN),
        (0.48, 1.0000001, Rule.SIMPLE, Verdict.OVER),
        (0.95, 0.7, Rule.GUARDED, Verdict.WITHIN),
        (0.94, 0.8, Rule.GUARDED, Verdict.UNDECIDED),
        (0.06, 1.2, Rule.GUARDED, Verdict.UNDECIDED),
        (0.04, 1.3, Rule.GUARDED, Verdict.OVER),
        (0.04, 0.3, Rule.GUARDED, Verdict.UNDECIDED),
        (None, 0.1, Rule.GUARDED, Verdict.UNDECIDED),
    ],
)
def test_the_rule_of_the_site_decides(probability: float | None, ratio: float, rule: Rule, verdict: Verdict) -> None:
    """Guards at 95 % and 5 %: ISO 14253-1 and JCGM 106 [from memory, no copy read]."""
    assert decide(probability, ratio, rule) is verdict


@pytest.mark.parametrize("confidence", [0.5, 1.0, 0.05, float("nan")])
def test_a_confidence_that_decides_nothing_is_refused(confidence: float) -> None:
    with pytest.raises(InvalidValueError):
        decide(0.9, 0.5, Rule.GUARDED, confidence)


@pytest.mark.parametrize(("u", "radius", "one_sided"), [(0.1, 0.830, 0.836), (0.2, 0.646, 0.671), (0.3, 0.438, 0.507)])
def test_the_acceptance_circle_is_smaller_than_limit_less_guard(u: float, radius: float, one_sided: float) -> None:
    """Statistics reference, 3(e): radii computed for this project; recomputed here by quadrature."""
    got = acceptance_radius(1.0, u)
    assert got == pytest.approx(radius, abs=0.0005)
    assert one_sided == pytest.approx(1 - 1.645 * u, abs=0.0007)
    assert got is not None
    assert got < one_sided


def test_an_uncertainty_as_large_as_the_limit_leaves_nothing_to_accept() -> None:
    assert acceptance_radius(1.0, 1.0) is None
    with pytest.raises(InvalidValueError):
        acceptance_radius(0.0, 1.0)


def test_guarded_decisions_are_wrong_as_seldom_as_they_say() -> None:
    """Machines on the edge of acceptance under the guarded rule are over in 5 % of cases, seen from the reading."""
    radius = acceptance_radius(0.1, 0.02)
    assert radius is not None
    true = np.random.default_rng(3).normal([radius, 0.0], 0.02, (DRAWS, 2))
    assert (np.hypot(true[:, 0], true[:, 1]) > 0.1).mean() == pytest.approx(0.05, abs=0.001)


def test_the_published_file_says_that_its_examples_are_from_memory() -> None:
    text = json.loads((Path(__file__).parent / "published" / "uncertainty_decision.json").read_text())
    assert text["jcgm106"]["status"] == "memory"


@pytest.mark.parametrize("each_axis", [False, True])
def test_all_is_no_likelier_than_its_unlikeliest_part(each_axis: bool) -> None:
    g = np.array([0.03, 0.15, 0.03, 0.15])
    for eps in (0.02, 0.01):
        cov = np.outer(g, g) + np.diag((eps * g) ** 2)
        got = conformance(Misalignment(0.09, 0.45, 0.09, 0.45), cov, LimitsGiven(0.1, 0.6, each_axis=each_axis))
        parts = [part.probability for part in got.parts]
        assert got.probability is not None
        assert max(0.0, sum(parts) - 1.0) <= got.probability <= min(parts)
        assert got.probability == pytest.approx(min(parts), abs=2e-3), "who is within by offset is within by angularity"


def test_a_probability_is_known_as_well_as_its_parts_bound_it() -> None:
    """Both ends of a spacer by one error alone (rank 1): the circles are hard to compute together, and lie between close bounds.

    400,000 draws of our own: 0.9865.
    """
    g = np.array([-0.00414623, 0.12065, 0.0011813, 0.070671])
    at = Misalignment(0.0727213, 0.0739648, 0.0029347, 0.2790618)
    got = conformance(at, np.outer(g, g), LimitsGiven(flex_mm_m=0.45), Coupling.SPACER, 300.0)
    assert got.probability == pytest.approx(0.9865, abs=6e-4)
    assert got.error < 6e-4
    assert decided_by(DecisionRule(Rule.GUARDED), None, got, 0.7).verdict is Verdict.WITHIN


def test_a_probability_that_is_not_known_well_enough_is_not_given_and_decides_nothing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    cov, here = measured_covariance(), Misalignment(0.0715, 0.5, 0.01, 0.1)
    rule = DecisionRule(Rule.GUARDED, 0.8)
    known = conformance(here, cov, SHORT)
    assert decided_by(rule, None, known, 0.5).verdict is Verdict.WITHIN
    monkeypatch.setattr(
        "models.maths.conformance.joint_probability", lambda *_, **__: Probability(known.probability or 0, 0.02)
    )
    unsure = conformance(here, cov, SHORT)
    assert (unsure.probability, unsure.error) == (None, 0.02)
    assert "could not be computed" in unsure.reason
    assert decided_by(rule, None, unsure, 0.5).verdict is Verdict.UNDECIDED
    near = Conformance(0.9502, 5e-4, (), False)
    one = decided_by(DecisionRule(Rule.GUARDED), None, near, 0.5)
    assert (one.verdict, one.probability) == (Verdict.UNDECIDED, None), "it may lie on either side of 95 %"
    assert decide(0.0495, 1.5, Rule.GUARDED, 0.95, 1e-3) is Verdict.UNDECIDED
    assert decide(0.0495, 1.5, Rule.GUARDED, 0.95, 1e-4) is Verdict.OVER
