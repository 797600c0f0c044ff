"""The top of the Month page: which month, and its five numbers."""

from __future__ import annotations

from datetime import date

import dash_mantine_components as dmc

from dashboard.components import elements as html
from dashboard.components.aria import aria, data
from dashboard.components.pieces import Child, key_number, key_numbers, key_share
from dashboard.ids import MonthIds as Ids
from dashboard.place import Place
from dashboard.views.asked_by_risk import risk_key
from dashboard.views.month_jobs_view import FOUND, JOBS, LEFT, asking
from dashboard.views.month_limits_view import before_text
from dashboard.views.month_view import MonthView
from dashboard.words import say
from dashboard.writing import count, counted, day
from dashboard.writing import month as month_name


def picker(view: MonthView, place: Place) -> html.Div:
    """Put the choice of the month: a step earlier or later, or one out of the list."""
    months = view.months
    here = months.index(view.month)
    older = months[here + 1] if here + 1 < len(months) else None
    newer = months[here - 1] if here > 0 else None
    groups: dict[str, list[dict[str, str]]] = {}
    for one in months:
        groups.setdefault(str(one.year), []).append({"value": f"{one:%Y-%m}", "label": month_name(one)})

    def step(to: date | None, text: str, label: str) -> Child:
        if to is None:
            return html.Span(text, className="step off", **aria(hidden="true"))
        return html.Link(
            text, href=place.here(month=f"{to:%Y-%m}"), className="step", title=f"{label}: {month_name(to)}"
        )

    return html.Div(
        [
            step(older, say("month.earlier"), say("month.earlier_label")),
            dmc.Select(
                id=Ids.PICK,
                data=[{"group": year, "items": items} for year, items in groups.items()],
                value=f"{view.month:%Y-%m}",
                allowDeselect=False,
                searchable=True,
                withScrollArea=False,
                size="sm",
                w=180,
                comboboxProps={"withinPortal": False, "zIndex": 200},
                **aria(label=say("month.pick")),
            ),
            step(newer, say("month.later"), say("month.later_label")),
        ],
        className="picker",
        **data(month=f"{view.month:%Y-%m}"),
    )


def asked_link(
    place: Place, text: Child, kind: str, index: int | None = None, *, before: bool = False, **more: object
) -> Child:
    """Make a number a link to the jobs behind it; ``more`` are other choices of their address."""
    return html.Link(text, href=_behind(place, kind, index, before=before, **more))


def _behind(place: Place, kind: str, index: int | None = None, *, before: bool = False, **more: object) -> str:
    return f"{place.here(**asking(kind, index, before=before), **more)}#{Ids.BEHIND}"


def _jump(text: str, to: str) -> Child:
    """Make a number a link to the part of the page that lists what it counts."""
    return html.A(text, href=f"#{to}")


def month_keys(view: MonthView, place: Place) -> html.Dl:
    """Put the five numbers of the month; each leads to what it counts."""
    due, risk = view.due, view.by_risk
    left_before = before_text(view.one_set, view.left_before, view.left_change)
    if view.unreviewed:
        left_before = f"{say('month.key.unreviewed', n=count(view.unreviewed))} {left_before}"
    return key_numbers(
        key_number(
            say("month.key.jobs"),
            asked_link(place, count(view.jobs), JOBS) if view.jobs else count(view.jobs),
            say("month.key.on", machines=counted(view.machines, "machine")),
            say("month.key.jobs_before", mean=f"{view.jobs_before / 12:.1f}"),
        ),
        key_share(
            say("month.key.found"),
            view.found,
            before_text(view.one_set, view.found_before, view.found_change),
            _behind(place, FOUND),
        ),
        key_number(
            say("month.key.returned"),
            _jump(count(view.returned_n), Ids.RETURNED) if view.jobs else count(0),
            say("month.key.returned_below"),
            say("month.key.returned_window", month=month_name(view.month)),
        ),
        key_share(say("month.key.left"), view.left, left_before, _behind(place, LEFT)),
        key_number(
            say("month.key.due"),
            _jump(count(due.now), Ids.DUE),
            say("month.key.due_below", n=counted(due.in_service, "machine"), day=day(view.today)),
            say("month.key.due_soon", n=count(due.soon), days=due.soon_days)
            if risk is None
            else risk_key(risk.asked, risk.risk, due.soon, due.soon_days),
        ),
    )
