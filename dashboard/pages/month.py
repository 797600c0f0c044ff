"""Month: the maintenance manager, once a month, ten minutes.

Decides from it whether things get better or worse, which machines were left
over limit, and what has to be put on the plan.
"""

from __future__ import annotations

import dash
from dash import Input, State

from dashboard.browser import attach
from dashboard.components import elements as html
from dashboard.components.month_counts import behind_part, by_class, months_part
from dashboard.components.month_lists import calibrations_part, due_part, left_over_part, listed_in, returned_part
from dashboard.components.month_top import month_keys, picker
from dashboard.components.papers import month_papers
from dashboard.components.pieces import Child, limits, note, sentence
from dashboard.context import context
from dashboard.fetch import Scene
from dashboard.ids import MonthIds, Shell
from dashboard.opening import attach_fill, begin, no_jobs, skeleton
from dashboard.place import read_month
from dashboard.views.decisions_view import entries_of_month, month_words
from dashboard.views.limits_desk_view import in_force_of
from dashboard.views.month_jobs_view import read_asked
from dashboard.views.month_view import MonthView, build
from dashboard.writing import month as month_name

PATH = "/"
NAME = "page.month"
ORDER = 1

Ids = MonthIds


def layout() -> html.Div:
    """Give the skeleton; the numbers come with the callback."""
    return skeleton(Ids.BODY)


def fill(seen: Scene, scheme: str) -> Child:
    """Fill the page."""
    month, asked = read_month(seen.place), read_asked(seen.place)
    book, site = context().book, seen.required
    sets = book.limit_sets(site.site_id)
    view = build(
        seen.history,
        seen.runs,
        month.value,
        seen.today,
        site=site,
        instruments=book.instruments(site.site_id),
        limit_set=in_force_of(sets, seen.today),
        today_us=seen.now_us,
        study=seen.study,
        asked=asked.value,
        most=listed_in(seen.place),
        # The columns hold neither reviewers nor signatures.
        look=lambda entries: book.looked_at(site.site_id, entries),
        sets=sets,
    )
    rule = None
    if site.guarded is not None and view.state == "ok":
        rule = month_words(site.guarded, book.undecided(site.site_id, entries_of_month(seen.history, view.month)))
    return body(view, seen, scheme, (month.problem, asked.problem), rule=rule)


def register(app: dash.Dash) -> None:
    """Attach the callbacks."""
    attach_fill(app, Ids.BODY, PATH, fill)
    attach(app, "choose_month", Input(Ids.PICK, "value"), State(Shell.URL, "search"))


def body(view: MonthView, seen: Scene, scheme: str, said: tuple[str, ...], *, rule: str | None) -> list[Child]:
    """Put the page together; ``rule`` is what is said of a guarded decision rule."""
    place = seen.place
    head = begin(month_name(view.month), seen, said, beside=picker(view, place))
    if view.state == "empty":
        return [*head, no_jobs(seen)]
    if view.state == "ahead":
        return [
            *head,
            sentence(view.sentence),
            due_part(view, place),
            calibrations_part(view, place),
            limits(view.limits),
        ]
    parts: list[Child] = [
        *head,
        sentence(view.sentence),
        None if rule is None else note(rule),
        month_papers(view.month, place),
        month_keys(view, place),
    ]
    if view.behind is not None:
        parts.append(behind_part(view.behind, place))
    if view.jobs or view.jobs_before:
        parts.append(by_class(view, place, scheme))
    if (view.series.found_n > 0).any():
        parts.append(months_part(view, place, scheme))
    if view.jobs:
        parts += [returned_part(view, place), left_over_part(view, place)]
    return [*parts, due_part(view, place), calibrations_part(view, place), limits(view.limits)]
