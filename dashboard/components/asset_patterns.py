"""What the history suggests about the cause, with what speaks for it and against it and the jobs behind."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from dashboard.components import elements as html
from dashboard.components.aria import aria
from dashboard.components.pieces import Child, note, section
from dashboard.place import Place
from dashboard.views.asset_patterns_view import Cause, Observation, PatternsView
from dashboard.words import say
from dashboard.writing import chance, counted, day, percent


def patterns_part(view: PatternsView, place: Place) -> html.Section:
    """Put the suggested causes, then the others on demand; nothing is claimed where nothing is suggested."""
    suggested, others = view.suggested, [cause for cause in view.causes if cause.side != "for"]
    parts: list[Child] = []
    if suggested:
        parts += [_cause(cause, place) for cause in suggested]
        parts.append(note(say("asset.suggests.caution", false=percent(view.rate))))
    else:
        parts.append(html.P(say("asset.suggests.nothing")))
    if others:
        title = (
            say("asset.suggests.others", n=len(others))
            if suggested
            else say("asset.suggests.looked", n=counted(len(others), "cause"))
        )
        parts.append(html.Details([html.Summary(title), *[_cause(cause, place) for cause in others]], className="more"))
    return section(say("asset.suggests.title"), *parts, about=say("about.asset.patterns"))


def _cause(cause: Cause, place: Place) -> html.Article:
    name = say(f"asset.cause.{cause.key}", name=cause.name)
    heads = {
        "for": say("asset.suggests.for", cause=name),
        "against": say("asset.suggests.against", cause=name),
        "open": say("asset.suggests.open", cause=name),
    }
    return html.Article(
        [
            html.H3(heads[cause.side]),
            html.Ul([_observation(one) for one in cause.seen], className="seen"),
            html.P(say("asset.suggests.chance", share=chance(cause.chance))) if cause.side == "for" else None,
            html.P([html.Strong(say("asset.settles")), " ", say(f"asset.settles.{cause.key}", name=cause.name)]),
            html.P(html.Link(say("asset.off.more"), href=place.to("/people"))) if cause.name else None,
            _jobs(cause.jobs, place),
        ],
        className="cause suggested" if cause.side == "for" else "cause",
    )


def _observation(one: Observation) -> html.Li:
    # The sign is only for the eye: the words beside it say the same.
    sign = {"for": "+", "against": "−", "open": "·"}[one.side]
    return html.Li(
        [
            html.Span(sign, className="sign", **aria(hidden="true")),
            html.Span(say(f"asset.side.{one.side}"), className="side"),
            html.Span(one.text),
        ]
    )


def _jobs(jobs: Sequence[tuple[int, date | None]], place: Place) -> Child:
    if not jobs:
        return None
    links = [
        html.Li(
            html.Link(
                day(on) if on is not None else say("asset.job.entry", entry=entry),
                href=place.here(job=entry),
            )
        )
        for entry, on in jobs
    ]
    return html.Details(
        [html.Summary(say("asset.suggests.jobs", n=counted(len(jobs), "job"))), html.Ul(links, className="job-links")]
    )
