"""The filters of the repeat offenders come from the address; what nothing answers to is said."""

from dataclasses import replace
from typing import Any

import pytest

from dashboard.place import read_place
from dashboard.views.offender_filters import NAMES, Filters, areas_of, options_of, read_filters
from tests.history_maker import columns_of, made_book


@pytest.fixture(scope="module")
def history() -> Any:
    return made_book().history(1)


def test_every_option_survives_the_way_through_the_address(history: Any) -> None:
    options = options_of(history)
    assert set(options.of) == set(NAMES)
    for name, offered in options.of.items():
        assert offered
        for value, text in offered:
            address = read_place("/offenders", "").here(**{name: value})
            filters, wrong = read_filters(read_place("/offenders", address.partition("?")[2]), history)
            assert (getattr(filters, name), wrong) == (value, ())
            assert filters.any
            assert text


def test_what_nothing_answers_to_is_said_and_not_used(history: Any) -> None:
    filters, wrong = read_filters(read_place("/offenders", "?area=Moon&person=Nobody&coupling=magnetic"), history)
    assert filters == Filters()
    assert not filters.any
    assert len(wrong) == 3
    assert "Moon" in wrong[0]


def test_an_empty_history_offers_couplings_only() -> None:
    options = options_of(columns_of([]))
    assert {name for name, offered in options.of.items() if offered} == {"coupling"}


def test_areas_are_made_once_for_the_same_machines(history: Any) -> None:
    names, member = areas_of(history.assets)
    assert areas_of(history.assets)[1] is member
    assert [names[place] for place in member.tolist()] == history.assets.area.tolist()
    assert list(names) == sorted(set(history.assets.area.tolist()))
    assert areas_of(replace(history.assets))[1] is not member
