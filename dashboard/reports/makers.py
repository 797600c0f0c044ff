"""From a book to a paper: asks what the pages ask, and hands the same views to the papers."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

from dashboard.context import Book
from dashboard.fetch import runs_for, study_for
from dashboard.place import shortened
from dashboard.reports.asset_report import Around, asset_paper
from dashboard.reports.identity import Identity
from dashboard.reports.month_report import month_paper
from dashboard.reports.press import Paper
from dashboard.views import asset_view
from dashboard.views.month_view import MonthView, build
from dashboard.words import say
from models.errors import UnknownNameError
from models.units import Display
from models.values.story import AssetStory, Site


@dataclass(frozen=True, slots=True)
class Asking:
    """Who asks for a paper: which book and site, in which units, when, and on which size of paper."""

    book: Book
    site: Site
    display: Display
    now: datetime
    size: str = "a4"

    @property
    def today(self) -> date:
        """Give the day on the site's calendar."""
        return self.now.astimezone(ZoneInfo(self.site.zone)).date()

    @property
    def now_us(self) -> int:
        """Give the present time. [µs since 1970, UTC]."""
        return round(self.now.astimezone(UTC).timestamp() * 1_000_000)

    @property
    def identity(self) -> Identity:
        """Give what each paper says of itself."""
        return Identity(self.site, self.book.head(), self.now)


def month_view(asking: Asking, month: date | None) -> MonthView:
    """Give what the Month page shows.

    Parameters
    ----------
    asking : Asking
        Who asks. [unitless]
    month : date or None
        First day of the month; the last month with jobs where ``None``. [d]
    """
    book, site = asking.book, asking.site
    history = book.history(site.site_id)
    return build(
        history,
        runs_for(history),
        month,
        asking.today,
        site=site,
        instruments=book.instruments(site.site_id),
        limit_set=book.limit_set(site.site_id),
        today_us=asking.now_us,
        study=study_for(history),
    )


def month_review(asking: Asking, month: date | None) -> Paper:
    """Make the monthly review.

    Parameters
    ----------
    asking : Asking
        Who asks. [unitless]
    month : date or None
        First day of the month; the last month with jobs where ``None``. [d]
    """
    book, site = asking.book, asking.site
    view = month_view(asking, month)
    stories = (book.story(site.site_id, tag) for tag in {visit.tag for visit in view.left_over})
    reviewers = {line.entry: line.job.reviewer for story in stories if story for line in story.jobs}
    return month_paper(view, asking.identity, reviewers, size=asking.size)


def story_of(asking: Asking, tag: str) -> AssetStory:
    """Give the story of a machine.

    Raises
    ------
    UnknownNameError
        If the site has no machine of that tag.
    """
    story = asking.book.story(asking.site.site_id, tag)
    if story is None:
        raise UnknownNameError(say("report.unknown.asset", tag=shortened(tag)))
    return story


def asset_history(asking: Asking, tag: str) -> Paper:
    """Make the history of a machine.

    Parameters
    ----------
    asking : Asking
        Who asks. [unitless]
    tag : str
        The machine. [unitless]
    """
    book, site_id = asking.book, asking.site.site_id
    story = story_of(asking, tag)
    around = Around(book.people(site_id), book.instrument_versions(site_id), book.limit_sets(site_id))
    return asset_paper(story, asset_view.build(story, asking.display), around, asking.identity, size=asking.size)
