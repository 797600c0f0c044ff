"""One rule says when a calibration held: for a job that is recorded, for those in the book, and in the list of instruments."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
import sqlalchemy as sa
from hypothesis import given
from hypothesis import strategies as st

from dashboard.views.due_view import calibrations
from dashboard.views.people_view import build
from models.commands.record_job import DoubtfulJobError, record_job
from models.history.calibration import HELD, NOT_KNOWN, RAN_OUT, calibration_of
from models.maths.plausible import Doubt
from models.store.reader import Reader
from models.values.calibration import by_serial, calibrated_on, periods, says_nothing_new
from models.values.people import Instrument
from models.values.story import Site
from tests.conftest import NOW
from tests.seeded import ASSETS, bring_in, write
from tests.test_commands_record_job import JOB

FIRST = date(2025, 1, 10)
L_1 = """serial,description,calibrated,calibration due
L-1,laser,2026-01-10,2027-01-10
L-1,laser,2025-01-10,2026-01-09
"""
"""A list with the newest calibration first."""

L_2 = """serial,description,calibrated,calibration due
L-2,laser,2025-01-10,2026-01-10
L-2,laser,2026-06-01,2027-06-01
"""
"""Between two calibrations there is a time without one."""

DAY = st.integers(0, 40)
VERSIONS = st.lists(
    st.tuples(st.none() | DAY, st.none() | st.integers(0, 15)).map(
        lambda said: Instrument(
            "L-1",
            "",
            None if said[0] is None else FIRST + timedelta(said[0]),
            None if said[1] is None else FIRST + timedelta((said[0] or 0) + said[1]),
        )
    ),
    min_size=1,
    max_size=5,
)


@given(VERSIONS, st.integers(-3, 60))
def test_of_one_day_the_rule_says_what_is_told_of_all_jobs(versions: list[Instrument], days: int) -> None:
    day = FIRST + timedelta(days)
    number = np.array([(day - date(1970, 1, 1)).days])
    told = calibration_of(number, np.array([0]), ["L-1"], versions)
    due = calibrated_on(versions, day).due
    state = NOT_KNOWN if due is None else HELD if due >= day else RAN_OUT
    assert state == told.state[0]
    assert told.late_days[0] == ((day - due).days if due is not None and state == RAN_OUT else 0)


@given(VERSIONS, st.integers(-3, 60), st.randoms(use_true_random=False))
def test_the_order_of_rows_says_nothing_but_for_corrections(versions: list[Instrument], days: int, lot: object) -> None:
    every = list({version.calibrated: version for version in versions if version.due}.values())
    mixed = [*every]
    lot.shuffle(mixed)  # type: ignore[attr-defined]
    day = FIRST + timedelta(days)
    if every:
        assert periods(mixed) == periods(every)
        assert calibrated_on(mixed, day) == calibrated_on(every, day)
        assert all(says_nothing_new(mixed, version) for version in every)


def test_the_last_day_of_a_calibration_is_its_own_where_a_later_one_has_no_last_day() -> None:
    last, later = date(2026, 1, 10), date(2026, 1, 5)
    both = [Instrument("L-1", "", date(2025, 1, 10), last), Instrument("L-1", "", later)]
    assert calibrated_on(both, last).due == last
    after = calibrated_on(both, last + timedelta(1))
    assert (after.calibrated, after.due) == (later, None)


def test_what_is_new_of_an_instrument_is_a_description_or_a_calibration() -> None:
    held = [Instrument("L-1", "", date(2025, 1, 10), date(2026, 1, 10)), Instrument("L-1", "laser", date(2025, 1, 10), date(2026, 2, 10))]  # fmt: skip
    assert not says_nothing_new(held, held[0])
    assert not says_nothing_new(held, replace(held[0], description="laser")), "it was corrected"
    assert says_nothing_new(held, held[1])
    assert says_nothing_new(held, Instrument("L-1", "laser"))
    assert not says_nothing_new(held, Instrument("L-1", "laser", date(2026, 2, 1)))
    assert says_nothing_new(
        [*held, Instrument("L-1", "laser", date(2026, 2, 1))], Instrument("L-1", "laser", date(2026, 2, 1))
    )
    assert by_serial([*held, Instrument("D-1")]) == {"L-1": held, "D-1": [Instrument("D-1")]}


@pytest.fixture
def book(engine: sa.Engine, site: Site, tmp_path: Path) -> Reader:
    first = bring_in(engine, site, *write(tmp_path, assets=ASSETS, one=L_1, two=L_2))
    assert first.written, first.problems
    return Reader(engine)


def test_a_list_in_any_order_says_the_same_to_who_records_and_to_who_looks(book: Reader, site: Site) -> None:
    def entered(serial: str, day: str, *stated: str) -> None:
        at = datetime.fromisoformat(f"{day}T09:30").replace(tzinfo=UTC)
        job = replace(JOB, ref=day, tag="P-1", instrument=serial, performed_at=at)
        reasons = dict.fromkeys(stated, "as it was")
        record_job(book.engine, site, job, by="desk", now=NOW, stated_reasons=reasons)

    entered("L-1", "2025-06-20")
    with pytest.raises(DoubtfulJobError) as refused:
        entered("L-2", "2026-03-15")
    (check,) = (check for check in refused.value.checks if check.doubt is Doubt.CALIBRATION)
    assert "ran out on 2026-01-10, before this job of 2026-03-15" in check.sentence
    entered("L-2", "2026-03-15", Doubt.CALIBRATION)
    entered("L-1", "2026-11-20")
    entered("L-2", "2026-11-21")

    today = NOW.date()
    view = build(book.history(1), book.instrument_versions(1), book.people(1), today)
    assert [(one.serial, one.calibrated, one.due, one.late) for one in view.instruments] == [
        ("L-1", date(2026, 1, 10), date(2027, 1, 10), 0),
        ("L-2", date(2026, 6, 1), date(2027, 6, 1), 1),
    ]
    assert [(row.serial, row.late_days) for row in view.late_rows] == [("L-2", 64)]
    assert [(one.serial, one.days_left) for one in calibrations(book.instruments(1), today)] == [("L-1", 46)]


def test_the_same_list_again_says_nothing_new(book: Reader, site: Site, tmp_path: Path) -> None:
    report = bring_in(book.engine, site, *write(tmp_path, one=L_1, two=L_2))
    assert [(sheet.taken, sheet.unchanged) for sheet in report.sheets] == [(0, 2), (0, 2)]
    # A day that is put right belongs to the calibration that holds, not to the row that came in last.
    due = "serial,calibration due\nL-1,2027-02-10\n"
    assert bring_in(book.engine, site, *write(tmp_path, due=due)).written
    assert periods(by_serial(book.instrument_versions(1))["L-1"]) == (
        (date(2025, 1, 10), date(2026, 1, 9)), (date(2026, 1, 10), date(2027, 2, 10))
    )  # fmt: skip
