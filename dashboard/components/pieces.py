"""Small pieces of pages: sentence, key numbers, notes, choices, and the states that are not 'ok'."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dashboard.components import elements as html
from dashboard.components.aria import aria
from dashboard.views.limits_view import LimitsNote
from dashboard.views.shares import Share
from dashboard.words import remembered, say
from dashboard.writing import count, interval, percent

Child = Any
"""Whatever Dash takes as a child: a component, a text, or a list of them."""


def heading(title: str, *beside: Child) -> html.Div:
    """Put the page's title, with controls beside it."""
    return html.Div([html.H1(title), *beside], className="page-head")


def sentence(text: str) -> html.P:
    """Put the sentence in plain words that stands on top of a page."""
    return html.P(text, className="sentence")


def section(title: str, *children: Child, about: str = "", wide: bool = True) -> html.Section:
    """Put a part of a page under its title; ``about`` is shown on demand and says how the numbers are made."""
    parts: list[Child] = [html.H2(title), *children]
    if about:
        parts.append(explained(about))
    return html.Section(parts, className="part wide" if wide else "part")


@remembered(200)
def explained(about: str) -> html.Details:
    """Put what is unfolded on demand and says how numbers are made; made once, because it is the same for every machine."""
    return html.Details([html.Summary(say("about.summary")), html.P(about)], className="about")


def note(text: str, *, strong: bool = False) -> html.P:
    """Put a remark; a strong one bears a bar at its side."""
    return html.P(text, className="note strong" if strong else "note")


def problems(texts: Sequence[str]) -> Child:
    """Say what in the address could not be read, and what is shown in its place."""
    said = [text for text in texts if text]
    return html.Div([html.P(text) for text in said], className="problems", role="status") if said else None


def limits(given: LimitsNote) -> html.Div:
    """Say which limits are behind the verdicts of the page."""
    parts: list[Child] = [note(given.text)]
    if given.warning:
        parts.append(note(given.warning, strong=True))
    return html.Div(parts, className="limits")


def key_share(label: str, share: Share, before: str, href: str = "") -> html.Div:
    """Put a share as a key number: its count first, the share and its interval below, then what was before.

    Where there is an address, the number is a link to the jobs behind it.
    """
    if not share.known:
        return key_number(label, "–", say("key.none_judged"), before)
    below = say("key.share", share=percent(share.share), interval=interval(share.low, share.high))
    number = say("key.of", count=count(share.count), n=count(share.n))
    return key_number(label, html.Link(number, href=href) if href else number, below, before)


def key_number(label: str, number: Child, below: str, before: str = "") -> html.Div:
    """Put a key number with its label above, and its unit, count and window below."""
    return html.Div(
        [
            html.Dt(label),
            html.Dd([html.Span(number, className="number"), html.Span(below), html.Span(before, className="soft")]),
        ],
        className="key",
    )


def key_numbers(*keys: html.Div) -> html.Dl:
    """Put key numbers in a row."""
    return html.Dl(list(keys), className="keys")


def choices(label: str, options: Sequence[tuple[str, str, bool]]) -> html.Nav:
    """Put a choice as a row of links: text, address, chosen or not.

    Links need no state of their own: Back works, and each can be opened beside or sent.
    """
    links = [
        html.Li(html.Span(text, className="chosen", **aria(current="true")) if chosen else html.Link(text, href=href))
        for text, href, chosen in options
    ]
    return html.Nav([html.Span(label, className="label"), html.Ul(links)], className="choices", **aria(label=label))


def two_lines(first: Child, second: str) -> html.Div:
    """Put a text with a softer one below it, as a cell of a table."""
    return html.Div(
        [html.Div(first), html.Div(second, className="soft")] if second else [html.Div(first)], className="two-lines"
    )


def blank(title: str, text: str, *more: Child) -> html.Div:
    """Put the page of a state in which there is nothing to show: what that means, and what to do."""
    return html.Div([html.H2(title), html.P(text), *more], className="blank")


def nothing(title: str, text: str, *more: Child) -> html.Div:
    """Put a whole page on which there is nothing to show."""
    return html.Div([html.H1(title), html.Div([html.P(text), *more], className="blank")], className="page")


def later(title: str, text: str, remedy: str) -> html.Div:
    """Put what stands in the place of a page that cannot be shown yet; ``line.js`` loads it again when the book can be worked with."""
    again = html.A(say("page.later.again"), href="", className="waits-for-book")
    return nothing(title, text, html.P(remedy), html.P(say("page.later")), again)


def empty_book() -> html.Div:
    """Put the page of a book without a site: what to type first."""
    return nothing(say("book.empty.title"), say("book.empty.text"), html.Code(say("book.empty.command")))


def waiting() -> html.Div:
    """Put what is seen until the numbers are there."""
    return html.Div(html.P(say("page.waiting")), className="waiting")


def failure(reference: str, told: str = "") -> html.Div:
    """Put what is seen where a page could not be made: what a person can mend, and the number under which it was logged."""
    known = [html.P(line) for line in told.splitlines()]
    return html.Div(
        [
            html.H1(say("error.title")),
            *known,
            html.P(say("error.text", reference=reference)),
            None if known else html.P(say("error.remedy")),
        ],
        className="blank",
        role="alert",
    )
