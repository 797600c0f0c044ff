"""Pictures of shares: point, interval and count are the view's."""

from datetime import date
from typing import Any

import numpy as np
import pytest

from dashboard.figures import shares as drawn_shares
from dashboard.theme import SCHEMES
from dashboard.views import month_view
from models.history.runs import runs_of
from tests.checked_pictures import checked
from tests.history_maker import NOW, STARTER, columns_of, made_book, site

class_figure = checked(drawn_shares.class_figure)

TODAY = date(2026, 11, 18)


def month_of(history: Any, chosen: Any = None) -> Any:
    return month_view.build(
        history, runs_of(history.jobs, history.breaks), chosen, TODAY, site=site(), instruments=(), limit_set=STARTER,
        today_us=int(NOW.timestamp() * 1e6),
    )  # fmt: skip


@pytest.fixture(scope="module")
def history() -> Any:
    return made_book().history(1)


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("stage", ["found", "left"])
def test_each_speed_class_has_its_share_interval_and_count(history: Any, stage: str, scheme: str) -> None:
    view = month_of(history, date(2026, 10, 1))
    figure = class_figure(view.classes, stage, scheme)
    known = [getattr(one, stage) for one in view.classes if getattr(one, stage).known]
    month = next(one for one in figure.data if one.name == "this month")
    np.testing.assert_allclose(month.x, [one.share * 100 for one in known])
    np.testing.assert_allclose(month.x + month.error_x.array, [one.high * 100 for one in known])
    np.testing.assert_allclose(month.x - month.error_x.arrayminus, [one.low * 100 for one in known])
    texts = list(figure.data[0].text)
    for one in known:
        assert f"{one.count} / {one.n}" in texts


def test_an_empty_site_is_an_empty_picture() -> None:
    assert [one.mode for one in class_figure(month_of(columns_of([])).classes, "found", "dark").data] == ["text"]
