"""Where the limits changed, the ranking says what those of today would have said of all looks."""

from __future__ import annotations

from datetime import date
from typing import Any

from dashboard.views.offenders_limits_view import by_today_words
from dashboard.views.offenders_view import OffendersView, build
from models.history.runs import runs_of
from tests.history_maker import site
from tests.test_dashboard_views_month_limits_view import SETS, TODAY, plant
from tests.test_models_history_one_set import TIGHT


def view_of(sets: Any, window: int | None = None, history: Any = None) -> OffendersView:
    history = history or plant()
    runs = runs_of(history.jobs, history.breaks)
    return build(history, runs, window, None, TODAY, site=site(), limit_set=TIGHT, most=50, sets=sets)


def test_looks_by_the_limits_of_today_stand_beside_those_of_the_book() -> None:
    """Twelve machines are found between the two limits 23 times; eleven are left well, P-0 is left as it is found."""
    view = view_of(SETS)
    # From March 2026 on, eight visits each; P-0 is within in February, and over from March on.
    assert (view.looks, view.returns) == (11 * 23 + 16, 11 * 8 + 1)
    assert view.by_today is not None
    assert by_today_words(view.by_today) == (
        "The limits were changed on 1 Mar 2026, and each look is judged by those of its own days; "
        "by those of today, ‘tight’, version 1, 253 of 253 looks would be returns."
    )
    by_tag = {line.tag: line for line in view.lines}
    assert by_tag["P-3"].today == (23, 23)
    assert by_tag["P-0"].today == (0, 0)
    assert (by_tag["P-0"].looks, by_tag["P-0"].returns) == (16, 1)


def test_nothing_is_said_where_the_limits_of_today_judged_all_of_it() -> None:
    history = plant()
    assert view_of(SETS, 6, history).by_today is None, "since May"
    assert view_of(SETS[1:], None, history).by_today is None
    assert view_of((), None, history).by_today is None
    assert date(2026, 3, 1) == TIGHT.adopted_on
