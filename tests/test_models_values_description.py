"""Which description of a machine holds on a day does not hang on the order in which descriptions came in."""

from __future__ import annotations

from datetime import date
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from models.values.asset import Asset
from models.values.description import place_on, version_on

STARTS = st.one_of(st.none(), st.dates(date(2020, 1, 1), date(2020, 1, 9)))
DAYS = st.dates(date(2019, 12, 28), date(2020, 1, 12))


@given(st.lists(STARTS, min_size=1, max_size=6), DAYS)
def test_the_latest_start_by_a_day_holds_and_before_all_the_earliest(starts: list[date | None], day: date) -> None:
    begins = [start or date.min for start in starts]
    begun = [start for start in begins if start <= day]
    start = max(begun) if begun else min(begins)
    assert place_on(starts, day) == max(place for place, one in enumerate(begins) if one == start)


@given(st.lists(STARTS, min_size=1, max_size=4, unique=True), DAYS)
def test_the_order_of_rows_says_nothing(starts: list[date | None], day: date) -> None:
    assert len({order[place_on(order, day)] for order in permutations(starts)}) == 1


@pytest.mark.parametrize(
    ("day", "held"), [(date(2019, 5, 1), 2020), (date(2021, 5, 1), 2020), (date(2022, 1, 1), 2022), (date(2031, 1, 1), 2022)]
)  # fmt: skip
def test_a_machine_before_its_first_start_is_as_it_was_described_first(day: date, held: int) -> None:
    later, first = (Asset("P-1", f"as of {year}", valid_from=date(year, 1, 1)) for year in (2022, 2020))
    assert version_on([later, first], day).description == version_on([first, later], day).description == f"as of {held}"


def test_of_equal_starts_the_last_entry_holds_and_one_without_a_start_always_held() -> None:
    wrong, right = (
        Asset("P-1", "wrong", valid_from=date(2022, 1, 1)),
        Asset("P-1", "right", valid_from=date(2022, 1, 1)),
    )
    for day in (date(2021, 12, 31), date(2022, 1, 1)):
        assert version_on([wrong, right], day) is right
    always = Asset("P-1", "always")
    assert version_on([wrong, always, right], date(2021, 12, 31)) is always
