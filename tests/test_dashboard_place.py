"""The address: what anybody may type, and what is made of it."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.place import (
    asset_path,
    class_code,
    read_class,
    read_display,
    read_month,
    read_place,
    read_site,
    read_window,
    tag_of,
)
from models.units import Display
from tests.history_maker import site


def test_site_and_units_go_along_and_other_choices_stay_behind() -> None:
    place = read_place("/", "?site=SAL&units=mil&month=2026-10&x=1")
    assert place.to("/offenders", window=36) == "/offenders?site=SAL&units=mil&window=36"


def test_a_choice_is_changed_or_taken_out_on_the_same_page() -> None:
    place = read_place("/offenders", "?window=12&class=1500")
    assert place.here(window=24) == "/offenders?window=24&class=1500"
    assert place.here(**{"class": None}) == "/offenders?window=12"


@given(st.text(min_size=1, max_size=60).filter(lambda tag: tag.strip("/") == tag))
def test_any_tag_survives_the_way_through_an_address(tag: str) -> None:
    assert tag_of(asset_path(tag)) == tag


def test_the_list_of_machines_has_no_tag() -> None:
    assert tag_of("/asset") == tag_of("/asset/") == tag_of(None) == ""


@pytest.mark.parametrize(
    "typed", ["2026-13", "2026-00", "october", "2026-1", "٢٠٢٦-١٠", "99999-01", "1850-01", "2026-10-01"]
)
def test_what_is_no_month_is_said_and_not_used(typed: str) -> None:
    read = read_month(read_place("/", f"?month={typed}"))
    assert read.value is None
    assert typed in read.problem


def test_a_month_is_its_first_day() -> None:
    assert read_month(read_place("/", "?month=2026-10")).value == date(2026, 10, 1)
    assert read_month(read_place("/", "")).value is None


@pytest.mark.parametrize("typed", ["0", "-3", "many", "1201", "12345", "²"])
def test_what_is_no_window_is_said_and_24_months_are_used(typed: str) -> None:
    read = read_window(read_place("/offenders", f"?window={typed}"))
    assert (read.value, bool(read.problem)) == (24, True)


def test_windows_are_months_or_all() -> None:
    assert read_window(read_place("/", "?window=36")).value == 36
    assert read_window(read_place("/", "?window=all")).value is None
    assert read_window(read_place("/", "")).value == 24


def test_a_speed_class_is_named_by_its_upper_bound() -> None:
    assert [class_code(index) for index in range(6)] == ["1000", "1500", "1800", "3000", "3600", "above"]
    assert read_class(read_place("/", "?class=1800")).value == 2
    assert read_class(read_place("/", "?class=above")).value == 5
    assert read_class(read_place("/", "?class=all")).value is None
    assert read_class(read_place("/", "?class=1700")).problem


def test_a_site_is_asked_for_by_its_code_in_any_capitals() -> None:
    first, second = site(), site(site_id=2, code="DUN")
    assert read_site(read_place("/", "?site=dun"), (first, second)).value == second
    read = read_site(read_place("/", "?site=nowhere"), (first, second))
    assert read.value == first
    assert "nowhere" in read.problem
    assert read_site(read_place("/", "?site=x"), ()).value is None


def test_units_are_the_sites_own_unless_the_address_asks_for_others() -> None:
    ours = site(Display("mm", "°F"))
    assert read_display(read_place("/", ""), ours).value == Display("mm", "°F")
    assert read_display(read_place("/", "?units=mil"), ours).value == Display("mil", "°F")
    assert read_display(read_place("/", "?units=furlong"), ours).problem


@given(st.text(max_size=3000))
def test_no_query_breaks_the_reading(query: str) -> None:
    place = read_place("/", query)
    read_month(place)
    read_window(place)
    read_class(place)
    place.here(month="2026-10")


def test_of_repeated_choices_the_first_counts_and_hundreds_are_not_read() -> None:
    assert read_place("/", "?month=2026-10&month=2026-11").get("month") == "2026-10"
    assert read_place("/", "?" + "&".join(f"a{i}=1" for i in range(200))).choices == {}
