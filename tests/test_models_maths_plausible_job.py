"""A whole job held against the machine, the instrument and the day."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from models.maths.plausible import Check, Doubt, Gravity
from models.maths.plausible_job import Beside, check_job, paired
from models.values.asset import Asset
from models.values.draft import WorkCheck
from models.values.job import FeetValues, Job, Misalignment
from models.values.kinds import Reason
from models.values.limits import LimitsGiven
from models.values.people import Instrument

NOW = datetime(2026, 11, 25, tzinfo=UTC)
LIMITS = LimitsGiven(0.08, 0.67, None, 0.05)
PUMP = Asset("P-1", speed_rpm=1485.0)
JOB = Job(
    "J9", "P-1", datetime(2026, 10, 1, 9, tzinfo=UTC), "Europe/Lisbon", Reason.PLANNED,
    instrument="D-1", found=Misalignment(0.06, 0.2, -0.03, 0.1), left=Misalignment(0.01, 0.05, 0.0, 0.0),
    checks=(WorkCheck.LEFT_WHEN_TIGHT,),
)  # fmt: skip
DIALS = Instrument("D-1", "dial set", date(2026, 1, 1), date(2027, 1, 1))
BEFORE = replace(JOB, ref="J8", performed_at=datetime(2025, 10, 1, 9, tzinfo=UTC), hours_run=900.0)
BESIDE = Beside(PUMP, NOW, (BEFORE,), instruments=(DIALS,), limits=LIMITS, left_ratio=0.2)


def only(job: Job, beside: Beside = BESIDE) -> Check:
    (check,) = check_job(job, beside)
    return check


def test_an_ordinary_job_is_left_in_peace() -> None:
    assert check_job(JOB, BESIDE) == ()


def test_an_instrument_past_its_calibration_on_the_day_is_named() -> None:
    check = only(JOB, replace(BESIDE, instruments=(replace(DIALS, due=date(2026, 9, 30)),)))
    assert (check.doubt, check.gravity, check.field) == (Doubt.CALIBRATION, Gravity.REASON, "instrument")
    assert "instrument D-1 (dial set) ran out on 2026-09-30, before this job of 2026-10-01" in check.sentence
    assert check_job(JOB, replace(BESIDE, instruments=(replace(DIALS, due=date(2026, 10, 1)),))) == (), (
        "good on its last day"
    )


def test_an_instrument_that_the_book_does_not_know_is_a_note() -> None:
    check = only(JOB, replace(BESIDE, instruments=()))
    assert (check.doubt, check.gravity) == (Doubt.NEW_INSTRUMENT, Gravity.NOTE)
    assert check_job(replace(JOB, instrument=""), replace(BESIDE, instruments=())) == ()


def test_a_known_instrument_under_another_spelling_is_asked_about() -> None:
    beside = replace(BESIDE, instruments=(Instrument("NV-D-003"), Instrument("NV-L-014")))
    for spelt in ("nv-d-003", "NV D 003", "NV\u2011D\u2011003", "NV-D- 003", "NV\u2013D\u2212003"):
        check = only(replace(JOB, instrument=spelt), beside)
        assert (check.doubt, check.gravity, check.field) == (Doubt.ALIKE_INSTRUMENT, Gravity.REASON, "instrument")
        assert f"does not know the instrument {spelt}; it knows NV-D-003," in check.sentence
    for other in ("NV-D-0031", "NV-D-03", "NVX-003"):
        assert only(replace(JOB, instrument=other), beside).doubt is Doubt.NEW_INSTRUMENT
    assert check_job(JOB, replace(BESIDE, instruments=(DIALS, Instrument("d-1")))) == (), (
        "written as the book does, it is that one"
    )


def test_a_name_that_nobody_bears_is_a_note() -> None:
    beside = replace(BESIDE, people=frozenset({"Ada Kelpwright", "Jory Anchorleaf"}))
    check = only(replace(JOB, people=("Ada Kelpwright", "Ada Kelpwrigth")), beside)
    assert (check.doubt, check.gravity, check.field) == (Doubt.NEW_PERSON, Gravity.NOTE, "people")
    assert check.sentence == "The book does not know Ada Kelpwrigth; the name is added."
    check = only(replace(JOB, people=("ada\u00a0KELPWRIGHT",)), beside)
    assert (check.doubt, check.gravity) == (Doubt.NEW_PERSON, Gravity.NOTE)
    assert "it knows Ada Kelpwright, which differs only by capitals, blanks, signs, letters" in check.sentence
    assert check_job(replace(JOB, people=("Jory Anchorleaf", "Ada Kelpwright")), beside) == ()


def test_known_people_with_a_comma_between_them_are_asked_about() -> None:
    beside = replace(BESIDE, people=frozenset({"Ada Kelpwright", "Jory Anchorleaf", "Moss, Ede"}))
    for spelt in ("Ada Kelpwright, Jory Anchorleaf", "ada kelpwright ,Jory  Anchorleaf,"):
        check = only(replace(JOB, people=(spelt,)), beside)
        assert (check.doubt, check.gravity, check.field) == (Doubt.SEVERAL_PEOPLE, Gravity.REASON, "people")
        assert check.sentence.endswith("put a semicolon between them: Ada Kelpwright; Jory Anchorleaf")
    one = only(replace(JOB, people=("Ada Kelpwright, Bo Tarn",)), beside)
    assert one.sentence == (
        "The book knows no 'Ada Kelpwright, Bo Tarn', but Ada Kelpwright. If these are several people, put a semicolon between them: "
        "Ada Kelpwright; Bo Tarn"
    )
    assert only(replace(JOB, people=("Kelpwright, Ada",)), beside).doubt is Doubt.NEW_PERSON
    assert only(replace(JOB, people=("ada kelpwright,",)), beside).doubt is Doubt.NEW_PERSON
    assert check_job(replace(JOB, people=("Moss, Ede",)), beside) == (), "a name that the book knows with its comma"


def test_what_was_moved_is_looked_at() -> None:
    check = only(replace(JOB, moves_v=FeetValues((8.0, 8.0))))
    assert (check.doubt, check.gravity) == (Doubt.MOVE, Gravity.REASON)


def test_an_as_left_over_limit_needs_a_reason() -> None:
    assert only(JOB, replace(BESIDE, left_ratio=1.0000001)).doubt is Doubt.LEFT_OVER
    assert check_job(JOB, replace(BESIDE, left_ratio=1.0)) == ()


def test_it_is_asked_whether_the_bolts_were_tight() -> None:
    job = replace(JOB, checks=())
    assert (only(job).doubt, only(job).gravity) == (Doubt.LOOSE, Gravity.NOTE)
    assert only(job).sentence.startswith("Was the as-left measured after the last bolt was tight?")
    assert only(job, replace(BESIDE, bolts_tight=False)).gravity is Gravity.REASON
    assert check_job(job, replace(BESIDE, bolts_tight=True)) == ()
    looked = replace(job, left=job.found)
    assert check_job(looked, BESIDE) == (), "nothing was moved, so nothing was tightened"


def test_soft_foot_over_limit_after_the_work_names_the_foot() -> None:
    check = only(replace(JOB, soft_after=FeetValues((0.01, 0.02, 0.09, 0.02))))
    assert (check.doubt, check.gravity, check.field) == (Doubt.SOFT_FOOT, Gravity.REASON, "soft_after")
    assert "Foot 2L still rises by 0.090 mm" in check.sentence
    assert check_job(replace(JOB, soft_after=FeetValues((0.01, 0.02, 0.06, 0.02))), BESIDE) == ()
    assert check_job(replace(JOB, soft_after=FeetValues((0.01, 0.20))), BESIDE) == (), "two feet cannot be compared"
    assert paired(FeetValues((0.1, 0.2, 0.3))) == (0.1, 0.2, 0.3, None)


def test_hours_do_not_run_backwards_in_either_direction() -> None:
    check = only(replace(JOB, hours_run=800.0))
    assert (check.doubt, check.gravity, check.field) == (Doubt.HOURS, Gravity.REASON, "hours_run")
    assert "are 800, but 900 at the earlier job J8" in check.sentence
    assert "are 12.5, but 900 at" in only(replace(JOB, hours_run=12.5)).sentence, "the fraction is told, too"
    assert check_job(replace(JOB, hours_run=900.0), BESIDE) == ()
    later = replace(BEFORE, ref="J10", performed_at=datetime(2026, 11, 1, tzinfo=UTC), hours_run=1000.0)
    both = replace(BESIDE, jobs=(BEFORE, later))
    assert Doubt.HOURS in {check.doubt for check in check_job(replace(JOB, hours_run=1100.0), both)}
    assert Doubt.HOURS not in {check.doubt for check in check_job(replace(JOB, hours_run=950.0), both)}


@pytest.mark.parametrize(
    ("field", "value", "gravity"),
    [
        ("temp_stationary", -80.0, Gravity.STOP), ("temp_movable", 280.0, Gravity.REASON), ("temp_movable", 150.0, None),
        ("temp_stationary", -41.0, Gravity.REASON), ("temp_ambient", 85.0, Gravity.REASON), ("temp_ambient", -50.0, None),
        ("temp_ambient", 701.0, Gravity.STOP),
    ],
)  # fmt: skip
def test_temperatures_that_no_machine_at_standstill_has_are_asked_about(
    field: str, value: float, gravity: Gravity | None
) -> None:
    job = replace(JOB, **{f"{field}_c": value})
    if gravity is None:
        assert check_job(job, BESIDE) == ()
        return
    check = only(job)
    assert (check.doubt, check.gravity, check.field) == (Doubt.TEMPERATURE, gravity, field)
    assert "Are unit and sign right?" in check.sentence


def test_a_date_is_not_in_the_future_nor_before_the_last_job_nor_twice() -> None:
    assert only(replace(JOB, performed_at=datetime(2026, 11, 26, tzinfo=UTC))).gravity is Gravity.STOP
    check = only(replace(JOB, performed_at=datetime(2025, 1, 1, tzinfo=UTC)))
    assert (check.doubt, check.gravity) == (Doubt.EARLIER, Gravity.REASON)
    assert "J8, is of 2025-10-01, 10:00, later than this one" in check.sentence
    assert only(replace(JOB, performed_at=BEFORE.performed_at)).doubt is Doubt.SAME_TIME


def test_the_same_readings_on_the_same_day_may_be_the_same_visit() -> None:
    def doubts(other: Job) -> list[Doubt]:
        return [check.doubt for check in check_job(JOB, replace(BESIDE, jobs=(BEFORE, other)))]

    listed = replace(JOB, ref="L-1", performed_at=JOB.performed_at.replace(hour=12))
    check = only(JOB, replace(BESIDE, jobs=(BEFORE, listed)))
    assert (check.doubt, check.gravity, check.field) == (Doubt.SAME_VISIT, Gravity.REASON, "performed")
    assert "Job L-1" in check.sentence
    assert "2026-10-01, 13:00" in check.sentence, "on the clock of the site"
    for away, same in ((0.0049, True), (0.0051, False)):  # what rounding to 0.01 mm takes away, and more
        found = Misalignment(0.06 + away, 0.2, -0.03, 0.1)
        assert (Doubt.SAME_VISIT in doubts(replace(listed, found=found))) is same
    assert Doubt.SAME_VISIT in doubts(replace(listed, left=None)), "what one of the two leaves open is no difference"
    assert doubts(replace(listed, performed_at=JOB.performed_at - timedelta(days=1))) == []


def test_a_job_of_the_same_day_that_went_in_since_the_form_was_made_is_asked_about() -> None:
    other = replace(
        JOB, ref="O-1", performed_at=JOB.performed_at - timedelta(minutes=30), found=Misalignment(0.1, 0.2, -0.03, 0.1)
    )
    beside = replace(BESIDE, jobs=(BEFORE, other))
    assert check_job(JOB, beside) == (), "two visits of one day, one written down after the other, are ordinary"
    check = only(JOB, replace(beside, meanwhile=(other,)))
    assert (check.doubt, check.gravity, check.field) == (Doubt.MEANWHILE, Gravity.REASON, "performed")
    assert "Job O-1 of this machine, of the same day (2026-10-01, 09:30), went into the book after" in check.sentence
    earlier = replace(JOB, performed_at=other.performed_at - timedelta(minutes=30))
    assert only(earlier, replace(beside, meanwhile=(other,))).doubt is Doubt.MEANWHILE, (
        "whichever of the two is the later"
    )
    assert check_job(JOB, replace(BESIDE, meanwhile=(BEFORE,))) == (), "of another day"


def test_signs_are_held_against_the_last_as_left_unless_something_was_replaced_since() -> None:
    last = replace(BEFORE, left=Misalignment(0.06, 0.2, 0.05, -0.1))
    job = replace(JOB, found=Misalignment(0.058, 0.21, -0.051, 0.1))
    beside = replace(BESIDE, jobs=(last,))
    assert only(job, beside).doubt is Doubt.FLIPPED
    assert check_job(job, replace(beside, breaks=(date(2026, 3, 1),))) == ()
    assert only(job, replace(beside, breaks=(date(2024, 3, 1),))).doubt is Doubt.FLIPPED


def test_a_job_is_held_only_against_what_was_before_it() -> None:
    past = tuple(
        replace(BEFORE, ref=f"A{year}", performed_at=datetime(year, 10, 1, tzinfo=UTC)) for year in (2022, 2023, 2024)
    )
    wrong = replace(JOB, found=Misalignment(0.06 / 0.0254, 0.2, -0.03 / 0.0254, 0.1))
    assert {check.doubt for check in check_job(wrong, replace(BESIDE, jobs=past))} == {Doubt.UNIT, Doubt.SIZE}
    later = tuple(replace(job, performed_at=job.performed_at.replace(year=2027)) for job in past)
    assert Doubt.UNIT not in {check.doubt for check in check_job(wrong, replace(BESIDE, jobs=later))}


def test_a_day_without_a_time_may_be_today_before_noon() -> None:
    """Lisbon, 11 July, 10:40 by the clock there: a day alone stands for noon, and noon has not come yet."""
    now = replace(BESIDE, jobs=(), now=datetime(2026, 7, 11, 9, 40, tzinfo=UTC))
    assert check_job(replace(JOB, performed_at=datetime(2026, 7, 11, 11, 0, tzinfo=UTC)), now) == ()
    later = only(replace(JOB, performed_at=datetime(2026, 7, 11, 12, 30, tzinfo=UTC)), now)
    assert (later.doubt, later.gravity) == (Doubt.FUTURE, Gravity.STOP)
    assert later.sentence == "The time 13:30 of 2026-07-11 has not come yet. Check the time."
    tomorrow = only(replace(JOB, performed_at=datetime(2026, 7, 12, 11, 0, tzinfo=UTC)), now)
    assert tomorrow.sentence == "The day 2026-07-12 has not come yet. Check the date."


def test_today_is_the_sites_own_day() -> None:
    """At 23:30 UTC it is the next day in Auckland already, so its noon is one of today."""
    far = replace(JOB, zone="Pacific/Auckland", performed_at=datetime(2026, 7, 11, 0, 0, tzinfo=UTC))  # noon, 11 July
    assert check_job(far, replace(BESIDE, jobs=(), now=datetime(2026, 7, 10, 23, 30, tzinfo=UTC))) == ()
    assert only(far, replace(BESIDE, jobs=(), now=datetime(2026, 7, 10, 11, 30, tzinfo=UTC))).doubt is Doubt.FUTURE


def test_rises_before_and_after_the_work_are_held_to_what_feet_do() -> None:
    job = replace(JOB, soft_before=FeetValues((0.02, -0.10, 0.03, 5.0)), soft_after=FeetValues((-0.02, 0.01)))
    assert [(check.doubt, check.field) for check in check_job(job, BESIDE)] == [
        (Doubt.RISE, "soft_before.2"), (Doubt.RISE, "soft_before.4"), (Doubt.RISE, "soft_after.1"),
    ]  # fmt: skip


def test_an_as_left_that_is_worse_than_the_as_found_is_asked_about() -> None:
    worse = replace(JOB, found=Misalignment(0.016, 0.0, 0.0, 0.05), left=Misalignment(0.068, 0.0, 0.01, 0.0))
    beside = replace(BESIDE, jobs=(), found_ratio=0.20, left_ratio=0.85)
    check = only(worse, beside)
    assert (check.doubt, check.gravity, check.field) == (Doubt.WORSE, Gravity.REASON, "left")
    assert "0.85 of the limit, and 0.20 before" in check.sentence
    assert check_job(worse, replace(beside, left_ratio=0.55)) == (), "no more than two readings may differ by"
    assert only(worse, replace(beside, left_ratio=1.2)).doubt is Doubt.LEFT_OVER, "asked about as over limit, once"
    assert check_job(worse, replace(beside, found_ratio=None)) == (), "not judged"
    fine = replace(JOB, found=Misalignment(0.005, 0.0, 0.0, 0.0), left=Misalignment(0.020, 0.05, 0.01, 0.0))
    assert check_job(fine, beside) == (), "a fast machine: two divisions of a dial are half of its limit"
    on_purpose = replace(worse, target=Misalignment(0.080, 0.0, 0.0, 0.0))
    assert check_job(on_purpose, beside) == (), "nearer to the target"
    looked = replace(worse, left=worse.found)
    assert check_job(looked, beside) == (), "nothing was moved"


def test_a_machine_that_is_out_of_service_on_the_day_is_asked_about() -> None:
    day = JOB.performed_at.date()
    for gone, doubted in ((None, False), (day + timedelta(1), False), (day, True), (day - timedelta(400), True)):
        found = check_job(JOB, replace(BESIDE, asset=replace(PUMP, retired=gone)))
        assert [(check.doubt, check.gravity) for check in found] == [(Doubt.RETIRED, Gravity.REASON)] * doubted, gone
    assert f"out of service since {day - timedelta(400)}" in found[0].sentence


def test_a_record_that_was_merged_is_asked_about_on_every_day_and_the_other_is_named() -> None:
    for gone in (date(2030, 1, 1), JOB.performed_at.date(), None):
        given_up = replace(BESIDE, asset=replace(PUMP, retired=gone), merged_into="P-9", merged_on=date(2026, 11, 30))
        check = only(JOB, given_up)
        assert "merged into P-9 and is out of service since 2026-11-30" in check.sentence, (
            "not since the day of the job"
        )
        assert (check.doubt, check.field) == (Doubt.RETIRED, "tag")
        assert "Record it on P-9." in check.sentence
