"""From a draft to everything that is said about it: every method gives back what its readings were made from."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.maths.conformance import conformance
from models.maths.dials import Carrier, expected_face, expected_rim
from models.maths.geometry import spacer_angles, without_noise
from models.maths.judged import limits_for
from models.maths.moves import Moving
from models.maths.plausible import Doubt, Gravity
from models.maths.sag import NO_SAG, Sag, SagMeaning
from models.maths.soft_foot import Pattern
from models.maths.working import work_out
from models.units import MM_PER_INCH, MM_PER_MIL, Display
from models.values.asset import Asset
from models.values.draft import CarriedBy, DialDraft, Draft, RowDraft, Way, WhichMoves
from models.values.job import Misalignment
from models.values.kinds import Coupling
from models.values.limits import Combine, Judged, LimitRow, LimitSet, LimitsGiven
from tests.conftest import NOW

MM = Display("mm")
CLOCK = (0.0, 90.0, 180.0, 270.0)
SHORT = Asset("P-1", speed_rpm=1485.0, feet_movable_mm=(200.0, 600.0), feet_stationary_mm=(-150.0, -500.0))
SPACER = Asset("P-2", coupling=Coupling.SPACER, span_mm=180.0, speed_rpm=2970.0, feet_movable_mm=(250.0, 700.0))
LIMITS = LimitsGiven(0.08, 0.67, None, 0.05)
FLEX = LimitsGiven(None, None, 0.5, 0.05)
NUMBER = st.floats(-0.5, 0.5)
MISALIGNED = st.builds(Misalignment, NUMBER, NUMBER, NUMBER, NUMBER)
NONE = Misalignment()


def rim(
    m: Misalignment, plane: float, carrier: CarriedBy, angles: tuple[float, ...] = CLOCK, sag: float = 0.0
) -> DialDraft:
    given_sag = Sag(sag, SagMeaning.FULL) if sag else NO_SAG
    shown = expected_rim(m, np.array(angles), plane, Carrier(carrier), given_sag)
    return DialDraft(
        angles, tuple(float(x) for x in shown), plane_mm=plane, carried_by=carrier,
        sag_mm=sag or None, sag_stands="full roll-over reading",
    )  # fmt: skip


def face(v: float, h: float, diameter: float, floating: tuple[float, ...] = ()) -> DialDraft:
    shown = expected_face(v, h, np.array(CLOCK), diameter)
    if not floating:
        return DialDraft(CLOCK, tuple(float(x) for x in shown), diameter_mm=diameter)
    axial = np.array(floating)
    return DialDraft(
        CLOCK, tuple(float(x) for x in shown + axial), tuple(float(x) for x in -shown + axial), diameter_mm=diameter
    )  # fmt: skip


def worked_as(m: Misalignment, draft: Draft, asset: Asset = SHORT, target: Misalignment = NONE) -> None:
    worked = work_out(draft, asset, FLEX if asset is SPACER else LIMITS, target, MM)
    assert worked.reason == ""
    assert worked.misalignment is not None
    assert worked.misalignment.as_tuple() == pytest.approx(m.as_tuple(), abs=1e-9)


@given(MISALIGNED, st.floats(0, 0.3), st.floats(-300, -20), st.floats(20, 300))
def test_every_method_gives_back_what_its_readings_were_made_from(
    m: Misalignment, sag: float, a: float, b: float
) -> None:
    worked_as(m, Draft(Way.RESULTS, results=m.as_tuple()))
    worked_as(
        m,
        Draft(
            Way.REVERSE_INDICATOR, dials=(rim(m, a, "movable shaft", sag=sag), rim(m, b, "stationary shaft", sag=sag))
        ),
    )
    worked_as(m, Draft(Way.RIM_FACE, dials=(rim(m, a, "movable shaft"), face(m.angle_v, m.angle_h, b))))
    alpha_v, beta_v, alpha_h, beta_h = spacer_angles(m, 180.0)
    faces = (face(alpha_v, alpha_h, 100 + b), face(beta_v, beta_h, b))
    worked_as(m, Draft(Way.FACE_FACE, dials=faces), SPACER)
    arc = (-80.0, -30.0, 20.0, 90.0)
    around = (rim(m, a, "stationary shaft", arc), rim(m, b, "stationary shaft", arc))
    worked_as(m, Draft(Way.AROUND, dials=around))
    worked_as(m, Draft(Way.AROUND, dials=(face(m.angle_v, m.angle_h, b), around[0])))
    worked_as(m, Draft(Way.AROUND, dials=(around[0], face(m.angle_v, m.angle_h, b))))


@pytest.mark.parametrize("place", [0, 1])
def test_a_dial_around_the_shaft_with_a_plane_and_a_diameter_is_asked_for_and_not_guessed(place: int) -> None:
    m = Misalignment(0.02, 0.1, 0.0, 0.0)
    dials = [rim(m, -60, "stationary shaft"), rim(m, 90, "stationary shaft")]
    worked_as(m, Draft(Way.AROUND, dials=tuple(dials)))
    dials[place] = replace(dials[place], diameter_mm=200.0)
    worked = work_out(Draft(Way.AROUND, dials=tuple(dials)), SHORT, LIMITS, NONE, MM)
    assert worked.misalignment is None
    assert worked.needs == ()
    assert worked.reason.startswith(f"Dial {place + 1} has a distance from the coupling centre and a swept diameter.")
    # By the other ways it is told by the way itself which dial is which.
    carried = tuple(
        replace(rim(m, x, c), diameter_mm=200.0) for x, c in ((-60, "movable shaft"), (90, "stationary shaft"))
    )
    worked_as(m, Draft(Way.REVERSE_INDICATOR, dials=carried))


@given(MISALIGNED, st.tuples(*[st.floats(-0.5, 0.5)] * 4))
def test_an_opposite_face_dial_takes_the_axial_float_out(m: Misalignment, floating: tuple[float, ...]) -> None:
    alpha_v, beta_v, alpha_h, beta_h = spacer_angles(m, 180.0)
    faces = (face(alpha_v, alpha_h, 200.0, floating), face(beta_v, beta_h, 150.0, floating[::-1]))
    worked_as(m, Draft(Way.FACE_FACE, dials=faces), SPACER)


def test_readings_seen_from_the_other_machine_swap_left_and_right() -> None:
    m = Misalignment(0.1, 0.3, -0.2, 0.4)
    dials = (rim(m, -90, "movable shaft"), rim(m, 90, "stationary shaft"))
    mirrored = tuple(replace(d, angles_deg=(0.0, 270.0, 180.0, 90.0)) for d in dials)
    worked_as(m, Draft(Way.REVERSE_INDICATOR, dials=mirrored, seen_from="stationary machine"))


def test_a_zero_out_of_readings_is_a_zero() -> None:
    first = DialDraft(readings_mm=(0, 0.07, -0.05, -0.12), plane_mm=-80.0, carried_by="movable shaft")
    second = DialDraft(readings_mm=(0, -0.12, -0.05, 0.07), plane_mm=80.0, carried_by="stationary shaft")
    measured = work_out(Draft(Way.REVERSE_INDICATOR, dials=(first, second)), SHORT, LIMITS, NONE, MM).misalignment
    assert measured is not None
    assert repr(measured.offset_v) == "0.0", "not what the arithmetic leaves where readings cancel"


def test_the_reverse_indicator_example_of_a_book_gives_its_shims() -> None:
    """CV-3. Bloch & Geitner, Machinery Component Maintenance and Repair, p. 203: lower 0.003, raise 0.007 in."""
    inch = MM_PER_INCH
    # The axis stands +0.012 in at the plane S and +0.007 in at A, 14 in further; the feet lie 12 and 38 in beyond A.
    s = DialDraft(readings_mm=(0, 0.012 * inch, 0.024 * inch, 0.012 * inch), plane_mm=0.0, carried_by="movable shaft")
    a = DialDraft(
        readings_mm=(0, -0.007 * inch, -0.014 * inch, -0.007 * inch), plane_mm=14 * inch, carried_by="stationary shaft"
    )
    feet = (RowDraft(26 * inch), RowDraft(52 * inch))
    worked = work_out(
        Draft(Way.REVERSE_INDICATOR, dials=(s, a), feet_movable=feet), SHORT, LIMITS, NONE, Display("mil")
    )
    assert [need.shim_mm / inch for need in worked.needs] == pytest.approx([-0.0027, 0.0066], abs=6e-5)
    assert worked.complete


def test_everything_is_judged_on_the_deviation_from_the_target() -> None:
    m, target = Misalignment(0.05, 0.2, 0.0, 0.0), Misalignment(0.05, 0.2, 0.0, 0.0)
    worked = work_out(Draft(Way.RESULTS, results=m.as_tuple()), SHORT, LIMITS, target, MM)
    assert worked.deviation == Misalignment()
    assert worked.ratio == 0
    assert [need.shim_mm for need in worked.needs] == [0, 0]
    straight = work_out(Draft(Way.RESULTS, results=m.as_tuple()), SHORT, LIMITS, NONE, MM)
    assert straight.ratio == pytest.approx(0.05 / 0.08)


def test_the_flex_planes_of_a_spacer_are_judged() -> None:
    """CV-26, derived: y(0) 0.10 mm and 0.5 mrad over 200 mm make 1.0 and −0.5 mrad at the flex planes."""
    asset = replace(SPACER, span_mm=200.0)
    worked = work_out(Draft(Way.RESULTS, results=(0.15, 0.5, 0.0, 0.0)), asset, FLEX, NONE, MM)
    assert worked.flex_angles == pytest.approx((1.0, -0.5, 0.0, 0.0))
    assert worked.ratio == pytest.approx(2.0)


def test_a_probability_needs_a_noise_that_is_known() -> None:
    m = Misalignment(0.05, 0.2, 0.02, 0.1)
    dials = (rim(m, -90, "movable shaft"), rim(m, 90, "stationary shaft"))
    draft = Draft(Way.REVERSE_INDICATOR, dials=dials)
    silent = work_out(draft, SHORT, LIMITS, NONE, MM)
    assert silent.standard_errors is None
    assert silent.conformance is not None
    assert silent.conformance.probability is None
    assert silent.conformance.reason == silent.uncertainty_reason != ""
    told = work_out(replace(draft, reading_sd_mm=0.005, distance_sd_mm=1.0), SHORT, LIMITS, NONE, MM)
    assert told.standard_errors is not None
    assert told.conformance is not None
    assert told.deviation is not None
    assert told.conformance.probability == conformance(told.deviation, told.covariance, LIMITS).probability
    assert all(need.shim_se_mm is not None and need.shim_se_mm > 0 for need in told.needs)
    near, far = told.needs
    assert far.shim_se_mm > near.shim_se_mm  # type: ignore[operator]
    quick = work_out(replace(draft, reading_sd_mm=0.005), SHORT, LIMITS, NONE, MM, probability=False)
    assert quick.conformance is None
    assert quick.ratio == told.ratio
    results = Draft(Way.RESULTS, results=m.as_tuple(), results_sd=(0.01, 0.05, 0.01, 0.05))
    worked = work_out(results, SHORT, LIMITS, NONE, MM)
    assert worked.standard_errors == pytest.approx((0.01, 0.05, 0.01, 0.05))


def test_two_opposite_dials_are_less_noisy_than_one() -> None:
    one = (face(0.5, 0.1, 200.0), face(0.2, 0.1, 200.0))
    two = (face(0.5, 0.1, 200.0, (0.0,) * 4), face(0.2, 0.1, 200.0, (0.0,) * 4))
    errors = [
        work_out(Draft(Way.FACE_FACE, dials=dials, reading_sd_mm=0.01), SPACER, FLEX, NONE, MM).standard_errors
        for dials in (one, two)
    ]
    assert errors[0] is not None
    assert errors[1] is not None
    assert np.array(errors[0]) / np.array(errors[1]) == pytest.approx(np.sqrt(2.0))


@pytest.mark.parametrize("moves", ["movable machine", "stationary machine", "both machines"])
def test_the_machine_that_moves_is_a_choice(moves: WhichMoves) -> None:
    worked = work_out(Draft(Way.RESULTS, results=(0.1, 0.4, -0.1, 0.2), moves=moves), SHORT, LIMITS, NONE, MM)
    machines = {need.machine for need in worked.needs}
    expected = {Moving.MOVABLE, Moving.STATIONARY} if moves == "both machines" else {Moving(moves)}
    assert machines == expected
    assert worked.complete
    assert worked.remains is not None
    assert worked.remains.as_tuple() == pytest.approx((0, 0, 0, 0), abs=1e-9)


def test_feet_that_are_held_leave_a_remainder_that_is_told() -> None:
    feet = (RowDraft(200.0, shim_out_mm=0.05), RowDraft(600.0, left_mm=0.0, right_mm=0.0))
    worked = work_out(Draft(Way.RESULTS, results=(0.2, 0.0, 0.1, 0.0), feet_movable=feet), SHORT, LIMITS, NONE, MM)
    assert not worked.complete
    assert [need.held_v for need in worked.needs] == [True, False]
    assert [need.held_h for need in worked.needs] == [False, True]
    assert worked.needs[0].shim_mm == pytest.approx(-0.05)
    assert all(need.shim_se_mm is None for need in worked.needs)
    assert worked.remains is not None
    again = work_out(Draft(Way.RESULTS, results=worked.remains.as_tuple()), SHORT, LIMITS, NONE, MM)
    assert worked.remains_ratio == pytest.approx(again.ratio)


def test_what_is_missing_is_said_and_the_rest_is_worked_out() -> None:
    half = Draft(Way.RESULTS, results=(0.1, None, 0.0, None), soft_foot_mm=(0.02, 0.01, 0.09, 0.01))
    worked = work_out(half, SHORT, LIMITS, NONE, MM)
    assert worked.misalignment is None
    assert worked.reason == "Still missing: vertical angularity, horizontal angularity."
    assert worked.soft_foot is not None
    assert worked.soft_foot.pattern is Pattern.ONE
    two = (DialDraft(readings_mm=(0.0, 0.1, None, None), plane_mm=0.0), rim(Misalignment(), 90, "stationary shaft"))
    assert work_out(Draft(Way.REVERSE_INDICATOR, dials=two), SHORT, LIMITS, NONE, MM).reason.startswith(
        "Readings of dial 1: 2;"
    )
    no_plane = (DialDraft(readings_mm=(0.0,) * 4), two[1])
    assert (
        "distance of dial 1" in work_out(Draft(Way.REVERSE_INDICATOR, dials=no_plane), SHORT, LIMITS, NONE, MM).reason
    )
    assert "two dials; 1 are" in work_out(Draft(Way.RIM_FACE, dials=two[:1]), SHORT, LIMITS, NONE, MM).reason
    assert "diameter" in work_out(Draft(Way.RIM_FACE, dials=(two[1], two[1])), SHORT, LIMITS, NONE, MM).reason
    faces = (face(0.1, 0.1, 100.0), face(0.1, 0.1, 100.0))
    assert "span" in work_out(Draft(Way.FACE_FACE, dials=faces), SHORT, LIMITS, NONE, MM).reason
    gap = replace(faces[0], opposite_mm=(0.0, None, None, None))
    assert "opposite" in work_out(Draft(Way.FACE_FACE, dials=(gap, faces[1])), SPACER, FLEX, NONE, MM).reason


def test_a_typed_span_makes_the_offset_and_the_described_one_judges() -> None:
    faces = (face(0.4, 0.1, 100.0), face(-0.2, 0.3, 100.0))
    worked = work_out(Draft(Way.FACE_FACE, dials=faces, span_mm=240.0), SPACER, FLEX, NONE, MM)
    plain = work_out(Draft(Way.FACE_FACE, dials=faces), SPACER, FLEX, NONE, MM)
    assert worked.misalignment is not None
    assert plain.misalignment is not None
    assert worked.misalignment.offset_v == pytest.approx(plain.misalignment.offset_v * 240 / 180)
    assert worked.flex_angles == spacer_angles(worked.misalignment, 180.0), "as the book judges it"
    assert [(one.gravity, one.field) for one in worked.checks if one.doubt is Doubt.SPAN] == [(Gravity.REASON, "span")]
    for draft, asset in (
        (Draft(Way.FACE_FACE, dials=faces, span_mm=181.7), SPACER),
        (Draft(Way.FACE_FACE, dials=faces, span_mm=240.0), SHORT),
    ):
        checks = work_out(draft, asset, FLEX if asset is SPACER else LIMITS, NONE, MM).checks
        assert Doubt.SPAN not in {one.doubt for one in checks}


def test_nonsense_stops_with_its_field_and_never_raises() -> None:
    good = rim(Misalignment(), 90, "stationary shaft")

    def stops(draft: Draft, asset: Asset = SHORT) -> list[str]:
        worked = work_out(draft, asset, FLEX if asset is SPACER else LIMITS, NONE, MM)
        return [check.field for check in worked.checks if check.gravity is Gravity.STOP]

    assert stops(Draft(Way.REVERSE_INDICATOR, dials=(good, good))) == ["dial.2.plane"]
    assert stops(Draft(Way.RIM_FACE, dials=(good, replace(face(0, 0, 10), diameter_mm=0.0)))) == ["dial.2.diameter"]
    assert stops(Draft(Way.FACE_FACE, dials=(face(0, 0, 9), face(0, 0, 9)), span_mm=0.0), SPACER) == ["span"]
    short = replace(good, plane_mm=-90.0, angles_deg=(0.0, 10.0, 20.0, 30.0))
    assert stops(Draft(Way.REVERSE_INDICATOR, dials=(short, good))) == ["dial.1"]
    feet = (RowDraft(0.0), RowDraft(600.0))
    assert stops(Draft(Way.RESULTS, results=(0.0,) * 4, feet_movable=feet)) == ["feet.movable.1.at"]
    assert stops(Draft(Way.RESULTS, results=(30.0, 0.0, 0.0, 0.0))) == ["results.offset_v"]
    assert stops(
        Draft(Way.REVERSE_INDICATOR, dials=(replace(good, plane_mm=-9.0, sag_mm=0.1, sag_sd_mm=-1.0), good))
    ) == [""]
    assert stops(Draft(Way.REVERSE_INDICATOR, dials=(replace(good, plane_mm=-9.0), good), reading_sd_mm=-1.0)) == [""]


def test_feet_and_limits_that_are_not_known_are_said() -> None:
    bare = Asset("P-9")
    worked = work_out(
        Draft(Way.RESULTS, results=(0.1, 0.1, 0.1, 0.1), soft_foot_mm=(0.1, 0.1)), bare, LimitsGiven(), NONE, MM
    )
    assert worked.ratio is None
    assert worked.needs == ()
    assert "two rows of feet of the movable machine" in worked.needs_reason
    assert worked.soft_foot_reason == "The limit set holds no limit for soft foot."
    same = (RowDraft(200.0), RowDraft(200.2))
    told = work_out(Draft(Way.RESULTS, results=(0.1,) * 4, feet_movable=same), SHORT, LIMITS, NONE, MM)
    assert told.needs == ()
    assert told.needs_reason
    assert Doubt.FOOT_DISTANCE in {check.doubt for check in told.checks}


def test_soft_foot_of_a_manual_gives_its_shim() -> None:
    """CV-12. US Bureau of Reclamation, FIST 4-1A, p. 17: 0.005 and three × 0.002 in ask for 0.003 in."""
    rises = tuple(x * 1000 * MM_PER_MIL for x in (0.005, 0.002, 0.002, 0.002))
    worked = work_out(Draft(Way.RESULTS, soft_foot_mm=rises), SHORT, LimitsGiven(soft_foot_mm=0.05), NONE, MM)
    assert worked.soft_foot is not None
    assert worked.soft_foot.shims_mm == pytest.approx((3 * MM_PER_MIL, 0, 0, 0))


@given(MISALIGNED, st.sampled_from([SHORT, SPACER]))
def test_the_ratio_is_the_one_by_which_the_book_judges(m: Misalignment, asset: Asset) -> None:
    from models.commands.judging import ratios
    from models.values.job import Job
    from models.values.kinds import Reason

    rows = (
        LimitRow(Judged.OFFSET, Coupling.SHORT, per_rpm=120.0, combine=Combine.EACH),
        LimitRow(Judged.ANGULARITY, Coupling.SHORT, value=0.5),
        LimitRow(Judged.FLEX_ANGLE, Coupling.SPACER, value=0.5),
    )
    given_set = LimitSet("own", "test", "tester", NOW.date(), rows)
    limits = limits_for(given_set, asset.coupling, asset.limit_speed_rpm)
    m = without_noise(m)  # as it is recorded
    job = Job("J", asset.tag, NOW, "UTC", Reason.PLANNED, found=m, left=m, target=Misalignment(0.1, 0.0, -0.1, 0.2))
    worked = work_out(Draft(Way.RESULTS, results=m.as_tuple()), asset, limits, job.target, MM)
    assert ratios([job], [asset], [limits])[0] == [worked.ratio]


def test_dials_beyond_the_coupling_centre_and_odd_rises_are_told_with_everything_else() -> None:
    """With 70 for −70 the wrong moves come out; everything else of the readings is as it should be."""
    first = DialDraft(CLOCK, (0.0, -0.02, 0.04, 0.06), plane_mm=70.0, carried_by="movable shaft")
    second = DialDraft(CLOCK, (0.0, 0.01, -0.06, -0.07), plane_mm=80.0, carried_by="stationary shaft")
    draft = Draft(Way.REVERSE_INDICATOR, dials=(first, second), soft_foot_mm=(0.02, -0.10, 0.03, 5.0))
    worked = work_out(draft, SHORT, LIMITS, NONE, MM)
    assert worked.misalignment is not None, "asked about, not refused"
    asked = [(check.doubt, check.field) for check in worked.checks if check.gravity is Gravity.REASON]
    assert (Doubt.HUB_SIDE, "dial.1.plane") in asked
    assert [field for doubt, field in asked if doubt is Doubt.RISE] == ["soft_foot.2", "soft_foot.4"]
    right = replace(draft, dials=(replace(first, plane_mm=-70.0), second), soft_foot_mm=())
    assert not {Doubt.HUB_SIDE, Doubt.RISE} & {check.doubt for check in work_out(right, SHORT, LIMITS, NONE, MM).checks}
