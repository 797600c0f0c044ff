"""What is worked out of a large history before anybody asks for it, so that no page has to wait.

``derive`` gives what rests on the history alone: it is kept with the picture
from one start to the next.  ``warm`` works out what also rests on the day.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from dashboard.context import Book, Clock
from dashboard.fetch import recheck_for
from dashboard.kept import keep
from dashboard.picture import Picture
from dashboard.pictures import Pictures
from dashboard.place import WINDOWS
from dashboard.prepared import due_for, index_for, runs_for
from dashboard.views.due_page_view import RISKS
from dashboard.views.effects_view import effects_for
from dashboard.views.finder_view import match
from dashboard.views.groups_view import groups_of
from dashboard.views.left_over_view import left_over_for
from dashboard.views.offender_filters import areas_of
from dashboard.views.offenders_view import ranked_for
from dashboard.views.people_view import held_for, job_days, next_with_another_for
from dashboard.views.plan_view import ground_of
from models.history.columns import History
from models.history.engine import Study
from models.values.story import Site


def derive(history: History, study: Study) -> dict[object, object]:
    """Work out what rests on a history alone: by the keys under which the pages keep it.

    Parameters
    ----------
    history : History
        The site's history. [unitless]
    study : Study
        What it says. [unitless]
    """
    runs = runs_for(history)
    found: dict[object, object] = {
        "index": index_for(history),
        "groups": keep(history, "groups", lambda: groups_of(history, study)),
        "job days": job_days(history),
        "next with another": next_with_another_for(history),
        "left over": left_over_for(history),
    }
    for who in ("instrument", "person"):
        found["effects", who] = effects_for(history, runs, who)
    for risk in RISKS:
        if risk / 100.0 != study.choices.risk:
            found[f"recheck {risk / 100.0:g}"] = recheck_for(history, risk / 100.0)
    return found


def warm(picture: Picture, site: Site, now: datetime) -> None:
    """Work out what the first page of the day would otherwise wait for.

    Parameters
    ----------
    picture : Picture
        The picture that is shown. [unitless]
    site : Site
        Its site. [unitless]
    now : datetime
        The present time, with a zone. [unitless]
    """
    history, study = picture.history, picture.study
    if study is None:
        return
    today = now.astimezone(ZoneInfo(site.zone)).date()
    now_us = round(now.timestamp() * 1_000_000)
    due_for(history, today, site.interval_months)
    ground_of(history, study, today, now_us, site.interval_months)
    match(history.assets, "x")
    areas_of(history.assets)
    for window in (*WINDOWS, None):
        ranked_for(history, runs_for(history), window, None, today)


def pictures_of(book: Book, clock: Clock) -> Pictures:
    """Give the pictures of a book, which work out beforehand what its pages will ask for.

    Parameters
    ----------
    book : Book
        The book. [unitless]
    clock : callable
        Gives the present time. [unitless]
    """

    def warm_site(picture: Picture, site_id: int, later_s: float) -> None:
        for site in book.sites():
            if site.site_id == site_id:
                warm(picture, site, clock() + timedelta(seconds=later_s))
                if picture.study is not None:
                    held_for(picture.history, book.instrument_versions(site_id))

    return Pictures(derive, warm_site)
