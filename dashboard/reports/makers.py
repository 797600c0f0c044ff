"""From a book to a paper: asks what the pages ask, and hands the same views to the papers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from functools import cached_property
from zoneinfo import ZoneInfo

from dashboard.context import Book
from dashboard.desk import basis_on
from dashboard.fetch import Scene
from dashboard.kept import keep
from dashboard.place import shortened
from dashboard.prepared import runs_for
from dashboard.reports.asset_around import Around
from dashboard.reports.asset_report import asset_paper
from dashboard.reports.codes import asset_address, record_address
from dashboard.reports.field_sheet import Visit, sheet_paper, way_of_last
from dashboard.reports.identity import Identity, maker, misfit_words
from dashboard.reports.labels import Label, labels_paper
from dashboard.reports.month_report import month_paper
from dashboard.reports.press import Paper
from dashboard.views import asset_view
from dashboard.views.decisions_view import entries_of_month, month_words
from dashboard.views.month_view import MonthView, build
from dashboard.words import say
from dashboard.writing import count
from models.errors import AlteredBookError, InvalidValueError, UnknownNameError
from models.history.columns import History
from models.history.engine import Study, study_of
from models.units import Display
from models.values.draft import Way
from models.values.limits import LimitSet
from models.values.proof import Misfit
from models.values.story import AssetStory, Site


@dataclass(frozen=True)
class Asking:
    """Who asks for a paper: which book and site, in which units, when, on which size of paper; ``base`` is the reader's address.

    ``scene`` is what a page stands on; with it a paper is made from the very same history.  ``by`` says for whom, or by what,
    the paper is made.  History and study are read once: whatever is written meanwhile, all that is made for one asking says the same.
    """

    book: Book
    site: Site
    display: Display
    now: datetime
    size: str = "a4"
    base: str = ""
    scene: Scene | None = None
    by: str = ""

    @cached_property
    def history(self) -> History:
        """Give the history of the site: that of the page which asks, else that of the book when it was first asked for."""
        return self.book.history(self.site.site_id) if self.scene is None else self.scene.history

    @cached_property
    def study(self) -> Study:
        """Give the study of that history; a page of a large book waits for none, a command makes it."""
        if self.scene is not None:
            return self.scene.study
        history = self.history
        return keep(history, "study", lambda: study_of(history))

    @property
    def code(self) -> str:
        """Give the code of the site for an address; blank where the book holds only one."""
        return self.site.code if len(self.book.sites()) > 1 else ""

    @property
    def today(self) -> date:
        """Give the day on the site's calendar."""
        return self.now.astimezone(ZoneInfo(self.site.zone)).date()

    @property
    def now_us(self) -> int:
        """Give the present time. [µs since 1970, UTC]."""
        return round(self.now.astimezone(UTC).timestamp() * 1_000_000)

    def identity(self, head: int, misfit: Misfit | None = None) -> Identity:
        """Give what a paper says of itself that knows the book up to an entry."""
        until = None if self.scene is None else self.scene.estimates_until
        return Identity(self.site, head, self.now, self.book.proof(self.site.site_id), until, misfit, maker(self.by))


def month_view(asking: Asking, month: date | None) -> MonthView:
    """Give what the Month page shows.

    Parameters
    ----------
    asking : Asking
        Who asks. [unitless]
    month : date or None
        First day of the month; the last month with jobs where ``None``. [d]
    """
    book, site, history = asking.book, asking.site, asking.history
    view = build(
        history,
        runs_for(history),
        month,
        asking.today,
        site=site,
        instruments=book.instruments(site.site_id),
        limit_set=book.limit_set(site.site_id),
        today_us=asking.now_us,
        study=asking.study,
        look=lambda entries: book.looked_at(site.site_id, entries),
        sets=book.limit_sets(site.site_id),
    )
    if site.guarded is None or view.state != "ok":
        return view
    undecided = book.undecided(site.site_id, entries_of_month(history, view.month))
    return replace(view, sentence=f"{view.sentence} {month_words(site.guarded, undecided)}")


def month_review(asking: Asking, month: date | None) -> Paper:
    """Make the monthly review.

    Parameters
    ----------
    asking : Asking
        Who asks. [unitless]
    month : date or None
        First day of the month; the last month with jobs where ``None``. [d]
    """
    return review_of(asking, month_view(asking, month))


def review_of(asking: Asking, view: MonthView) -> Paper:
    """Make the monthly review of what the Month page shows.

    Parameters
    ----------
    asking : Asking
        Who asks. [unitless]
    view : MonthView
        What was shown to the same asking. [unitless]

    Raises
    ------
    InvalidValueError
        If the month has not begun.
    """
    if view.state == "ahead":
        raise InvalidValueError(say("report.month.ahead", asked=f"{view.month:%Y-%m}"))
    return month_paper(view, asking.identity(asking.history.head), size=asking.size)


def story_of(asking: Asking, tag: str) -> tuple[AssetStory, int]:
    """Give the story of a machine, and the number of the last entry when it was read.

    Raises
    ------
    UnknownNameError
        If the site has no machine of that tag.
    """
    while True:
        head = asking.book.head()
        story = asking.book.story(asking.site.site_id, tag)
        if story is None:
            raise UnknownNameError(say("report.unknown.asset", tag=shortened(tag)))
        # Somebody may have written between the two questions: then they are asked again.
        if asking.book.head() == head:
            return story, head


def asset_history(asking: Asking, tag: str, *, only_as_written: bool = False) -> Paper:
    """Make the history of a machine; where it is not what was written, the paper says so in the place of the book's root.

    Parameters
    ----------
    asking : Asking
        Who asks. [unitless]
    tag : str
        The machine. [unitless]
    only_as_written : bool
        True for a paper that goes with proofs: then there is none. [unitless]

    Raises
    ------
    AlteredBookError
        If only what was written is to be printed, and this is not.
    """
    book, site_id = asking.book, asking.site.site_id
    story, head = story_of(asking, tag)
    misfit = book.misfit(site_id, story, head)
    if misfit is not None and only_as_written:
        raise AlteredBookError(misfit_words(misfit), remedy=say("report.misfit.remedy"))
    around = Around(
        book.stated_people(site_id),
        book.stated_instruments(site_id),
        book.limit_sets(site_id),
        book.stated_rules(site_id),
    )
    view = asset_view.build(story, asking.display)
    return asset_paper(story, view, around, asking.identity(head, misfit), size=asking.size)


def field_sheet(
    asking: Asking, tag: str, on: date | None = None, way: Way | None = None, *, fillable: bool = False
) -> Paper:
    """Make the field sheet of a machine.

    Parameters
    ----------
    asking : Asking
        Who asks. [unitless]
    tag : str
        The machine. [unitless]
    on : date or None
        Day of the visit; today where ``None``. [d]
    way : Way or None
        How it will be measured; as the last time where ``None``. [unitless]
    fillable : bool
        True for the sheet that fields are laid over. [unitless]
    """
    story, head = story_of(asking, tag)
    day = on or asking.today
    address = record_address(asking.base, tag, asking.code) if asking.base else ""
    visit = Visit(day, way or way_of_last(story), address, fillable)
    basis = basis_on(story, day, limits_on(asking, day))
    return sheet_paper(story, basis, visit, asking.display, asking.identity(head), size=asking.size)


def limits_on(asking: Asking, day: date) -> LimitSet | None:
    """Give the limit set in force on a day: the last adopted by then, else the first; ``None`` where there is none."""
    sets = asking.book.limit_sets(asking.site.site_id)
    adopted = [one for one in sets if one.limit_set.adopted_on <= day] or list(sets[:1])
    return adopted[-1].limit_set if adopted else None


def labels(asking: Asking, tags: Sequence[str] = (), area: str = "", *, most: int | None = None) -> Paper:
    """Make labels: of the machines that are named, else of an area, else of all in service.

    Parameters
    ----------
    asking : Asking
        Who asks; needs the reader's address. [unitless]
    tags : sequence of str
        The machines. [unitless]
    area : str
        The area; blank for all. [unitless]
    most : int or None
        More than so many are refused. [unitless]

    Raises
    ------
    UnknownNameError
        If there is no such machine, or none in the area.
    InvalidValueError
        If the reader's address is not known, or there are too many.
    """
    if not asking.base:
        raise InvalidValueError(say("report.labels.address"), remedy=say("report.address.remedy"))
    history = asking.history
    known = history.assets
    rows = {str(tag): row for row, tag in enumerate(known.tag)}
    for tag in tags:
        if tag not in rows:
            raise UnknownNameError(say("report.unknown.asset", tag=shortened(tag)))
    wanted = list(tags) or [
        tag
        for tag, row in sorted(rows.items())
        if not known.retired[row] and (not area or str(known.area[row]).casefold() == area.casefold())
    ]
    if not wanted:
        raise UnknownNameError(
            say("report.unknown.area", area=shortened(area)) if area else say("report.unknown.labels")
        )
    if most is not None and len(wanted) > most:
        raise InvalidValueError(
            say("report.labels.many", n=count(len(wanted)), most=count(most)), remedy=say("report.labels.many.remedy")
        )
    told = [
        Label(
            tag,
            str(known.description[rows[tag]]),
            str(known.area[rows[tag]]),
            asset_address(asking.base, tag, asking.code),
        )
        for tag in dict.fromkeys(wanted)
    ]
    return labels_paper(told, asking.identity(history.head), size=asking.size)
