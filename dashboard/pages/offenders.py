"""Repeat offenders: the reliability engineer, weekly.

Decides from it which machines to look into first: those that came back over
limit often enough that chance is a poor explanation.
"""

from __future__ import annotations

from math import isfinite

import dash

from dashboard.components import elements as html
from dashboard.components.chart import chart
from dashboard.components.links import machine
from dashboard.components.pieces import (
    Child,
    blank,
    choices,
    limits,
    note,
    section,
    sentence,
    two_lines,
)
from dashboard.components.tables import Column, table
from dashboard.components.take import take
from dashboard.context import context
from dashboard.fetch import Scene
from dashboard.figures.funnel import funnel_figure
from dashboard.kept import keep
from dashboard.opening import attach_fill, begin, no_jobs, skeleton
from dashboard.place import ALL, WINDOWS, Place, class_code, read_class, read_window
from dashboard.views.groups_view import AREA, INSTRUMENT, TRAIN, Alike, Groups, groups_of
from dashboard.views.limits_desk_view import in_force_of
from dashboard.views.offender_filters import NAMES, read_filters
from dashboard.views.offenders_before_view import earlier_words, gone_words
from dashboard.views.offenders_limits_view import by_today_words
from dashboard.views.offenders_view import ALL as MANY
from dashboard.views.offenders_view import MOST, OffenderLine, OffendersView, build
from dashboard.words import say
from dashboard.writing import count, counted, day, judged, percent, speed_class
from models.history.columns import SPEED_BOUNDS_RPM
from models.history.material import HOURS_PER_DAY
from models.history.runs import DAYS_PER_YEAR
from models.units import Display, Quantity

MINUTES = 60.0 * HOURS_PER_DAY
"""Minutes of a day."""

PATH = "/offenders"
NAME = "page.offenders"
ORDER = 3


GROUPS = {
    AREA: "offenders.group.area",
    TRAIN: "offenders.group.train",
    INSTRUMENT: "offenders.group.instrument",
}
"""Keys of the names of groups."""

MOVES = ("offenders.part.near_v", "offenders.part.far_v", "offenders.part.near_h", "offenders.part.far_h")
"""Keys of the rows of feet, in the order of the engine."""

READS = (
    "component.short.offset_v",
    "component.short.angle_v",
    "component.short.offset_h",
    "component.short.angle_h",
)
"""Keys of the components, in the order of the engine."""


_PLACES = {
    "above": "offenders.funnel.above_word",
    "between": "offenders.funnel.between",
    "within": "offenders.funnel.within",
    "below": "offenders.funnel.below_word",
}
"""Keys of where a point of the picture lies."""


class Ids:
    """Ids of this page."""

    BODY = "offenders-body"


def layout() -> html.Div:
    """Give the skeleton; the numbers come with the callback."""
    return skeleton(Ids.BODY)


def fill(seen: Scene, scheme: str) -> Child:
    """Fill the page."""
    window, speed = read_window(seen.place), read_class(seen.place)
    history, study = seen.history, seen.study
    filters, unknown = read_filters(seen.place, history)
    sets = context().book.limit_sets(seen.required.site_id)
    view = build(
        history,
        seen.runs,
        window.value,
        speed.value,
        seen.today,
        site=seen.required,
        limit_set=in_force_of(sets, seen.today),
        most=MANY if seen.place.get("list") == "all" else MOST,
        filters=filters,
        study=study,
        sets=sets,
    )
    groups = keep(history, "groups", lambda: groups_of(history, study))
    return body(view, groups, seen, scheme, (window.problem, speed.problem, *unknown))


def register(app: dash.Dash) -> None:
    """Attach the callback."""
    attach_fill(app, Ids.BODY, PATH, fill)


def body(view: OffendersView, groups: Groups, seen: Scene, scheme: str, said: tuple[str, ...]) -> list[Child]:
    """Put the page together."""
    place = seen.place
    head = begin(say("offenders.title"), seen, said)
    if view.state == "empty":
        return [*head, no_jobs(seen)]
    head.append(_choices(view, place))
    if view.state == "too_few":
        return [*head, _nothing(view, place), *_gone(view), limits(view.limits)]
    window = say("offenders.since", day=day(view.since)) if view.since else say("offenders.whole")
    told = (
        view.sentence,
        say("offenders.sentence.window", window=window),
        earlier_words(view.earlier),
        by_today_words(view.by_today),
    )
    parts = [
        *head,
        sentence(" ".join(text for text in told if text)),
        html.Div([_picture(view, place, scheme), _groups(groups, seen)], className="columns"),
    ]
    if view.lines:
        parts.append(_ranking(view, seen))
    return [*parts, *_gone(view), limits(view.limits)]


def _nothing(view: OffendersView, place: Place) -> html.Div:
    """Say what was asked for that nothing answers to, with the ways that bring something."""
    title = say("offenders.too_few.title")
    if not view.wider:
        return blank(title, " ".join(filter(None, (say("offenders.too_few.never"), earlier_words(view.earlier)))))
    chosen = _chosen(view)
    links = []
    for one in view.wider:
        how = say("offenders.too_few.whole")
        if one.name:
            how = say("offenders.too_few.wider", choice=chosen[one.name])
        clear = {name: ALL if name == "window" else None for name in ([one.name] if one.name else chosen)}
        text = say("offenders.too_few.looks", how=how, looks=counted(one.looks, "look"))
        links.append(html.Li(html.Link(text, href=place.here(**clear))))
    ways = say("offenders.too_few.without" if view.wider[0].name else "offenders.too_few.without_all")
    return blank(title, say("offenders.too_few.text", asked="; ".join(chosen.values())), html.P(ways), html.Ul(links))


def _chosen(view: OffendersView) -> dict[str, str]:
    """Write each choice that leaves looks out, by its name in the address."""

    def one(label: str, value: str) -> str:
        return say("offenders.too_few.one", label=label, value=value)

    chosen = {}
    if view.window is not None:
        chosen["window"] = say("offenders.too_few.window", window=counted(view.window, "month"))
    if view.speed_class is not None:
        chosen["class"] = one(say("offenders.speed"), speed_class(view.speed_class, SPEED_BOUNDS_RPM))
    for name, label in NAMES.items():
        value = getattr(view.filters, name)
        if value:
            chosen[name] = one(say(label), dict(view.options.of[name]).get(value, value))
    return chosen


def _gone(view: OffendersView) -> list[Child]:
    return [note(gone_words(view.earlier.gone))] if view.earlier.gone else []


def _choices(view: OffendersView, place: Place) -> html.Div:
    windows = [(counted(n, "month"), place.here(window=n), view.window == n) for n in WINDOWS]
    if view.window is not None and view.window not in WINDOWS:
        windows.append((counted(view.window, "month"), place.here(window=view.window), True))
    windows.append((say("offenders.all_time"), place.here(window=ALL), view.window is None))
    speeds = [(say("offenders.all_speeds"), place.here(**{"class": None}), view.speed_class is None)]
    speeds += [
        (speed_class(i, SPEED_BOUNDS_RPM), place.here(**{"class": class_code(i)}), view.speed_class == i)
        for i in range(len(SPEED_BOUNDS_RPM) + 1)
    ]
    more: list[Child] = []
    for name, label in NAMES.items():
        chosen = getattr(view.filters, name)
        options = [(say("offenders.filter.all"), place.here(**{name: None}), not chosen)]
        offered = view.options.of[name]
        if chosen and chosen not in {value for value, _ in offered}:
            offered = (*offered, (chosen, chosen))
        options += [(text, place.here(**{name: value}), value == chosen) for value, text in offered]
        more.append(choices(say(label), options))
    return html.Div(
        [
            choices(say("offenders.window"), windows),
            choices(say("offenders.speed"), speeds),
            html.Details(
                [html.Summary(say("offenders.filter.more")), *more], open=view.filters.any, className="more-filters"
            ),
        ],
        className="filters",
    )


def _picture(view: OffendersView, place: Place, scheme: str) -> html.Section:
    title = say("offenders.picture.title")
    funnel = view.funnel
    if funnel is None:
        return section(title, note(say("offenders.funnel.none")))
    beyond = [point for point in funnel.points if point.beyond > 0]
    said = [
        say(
            "offenders.funnel.text",
            above=count(funnel.above),
            n=counted(funnel.machines, "machine"),
            chance=f"{funnel.by_chance:.1f}" if funnel.by_chance >= 0.05 else say("offenders.funnel.hardly"),
        )
    ]
    if funnel.below:
        said.append(say("offenders.funnel.below", n=count(funnel.below)))
    one = next((point for point in funnel.points if point.looks == point.returns == 1), None)
    if one is not None:
        said.append(say("offenders.funnel.one", n=counted(one.machines, "machine")))
    columns = [
        Column(say("column.returns")),
        Column(say("column.share"), number=True),
        Column(say("offenders.column.machines"), number=True),
        Column(say("offenders.column.limits")),
    ]
    rows = [
        [
            say("key.of", count=count(point.returns), n=count(point.looks)),
            percent(point.share),
            count(point.machines),
            say(_PLACES[funnel.place(point)]),
        ]
        for point in sorted(funnel.points, key=lambda point: (-point.beyond, -point.looks, -point.returns))
    ]
    tags = ", ".join(tag for point in beyond for tag in point.tags)
    picture = chart(
        funnel_figure(funnel, scheme),
        title=say("offenders.funnel.title"),
        says=" ".join([*said, say("offenders.funnel.says", tags=tags or say("offenders.funnel.nobody"))]),
        height=380,
        note=say("offenders.funnel.note"),
        table=table(say("offenders.funnel.caption"), columns, rows),
    )
    taken = take("funnel", place, list=None)
    return section(title, html.P(" ".join(said)), picture, taken, about=say("offenders.about.funnel"))


def _groups(groups: Groups, seen: Scene) -> html.Section:
    looked = say(
        "offenders.groups.looked",
        areas=counted(groups.areas, "area"),
        trains=counted(groups.trains, "train"),
        instruments=counted(groups.instruments, "instrument"),
    )
    title = say("offenders.groups.title")
    if not groups.lines:
        return section(title, note(say("offenders.groups.none")), note(looked), about=say("offenders.about.groups"))
    columns = [
        Column(say("offenders.column.group")),
        Column(say("offenders.column.moves")),
        Column(say("offenders.column.members"), number=True),
        Column(say("offenders.column.chance")),
    ]
    rows = [
        [_group_name(line, seen.place), _moves(line, seen.display), _members(line), _false(line)]
        for line in groups.lines
    ]
    return section(
        title,
        table(say("offenders.groups.caption"), columns, rows),
        take("groups", seen.place),
        note(looked),
        about=say("offenders.about.groups"),
    )


def _group_name(line: Alike, place: Place) -> Child:
    text = say(GROUPS[line.kind], name=line.name)
    if line.kind == AREA:
        return html.Link(text, href=place.here(area=line.name))
    return html.Link(text, href=place.here(instrument=line.name)) if line.kind == INSTRUMENT else text


def _moves(line: Alike, display: Display) -> Child:
    quantity = Quantity.ANGULARITY if line.kind == INSTRUMENT and line.part % 2 else Quantity.OFFSET

    def text(value: float) -> str:
        return display.text(value, quantity, signed=True, with_unit=False)

    values = {"low": text(line.low), "high": text(line.high), "value": text(line.value), "unit": display.unit(quantity)}
    if line.kind == INSTRUMENT:
        return two_lines(
            say("offenders.reads", part=say(READS[line.part]), **values), say("offenders.reads.below", **values)
        )
    return two_lines(
        say("offenders.moves", part=say(MOVES[line.part]), **values),
        say("offenders.moves.below", others=text(line.others), **values),
    )


def _members(line: Alike) -> str:
    if line.kind == INSTRUMENT:
        return counted(line.members, "run")
    return say("key.of", count=count(line.same_way), n=counted(line.members, "machine"))


def _false(line: Alike) -> str:
    return say("offenders.chance.rare") if line.q < 0.001 else say("offenders.chance", q=f"{line.q * 100:.1f}")


def _rate(value: float) -> str:
    return f"{value:.2f}"


def _ranking(view: OffendersView, seen: Scene) -> html.Section:
    columns = [
        Column(say("offenders.column.rank")),
        Column(say("column.returns"), number=True),
        Column(say("offenders.column.bound"), number=True),
        Column(say("offenders.column.seen"), number=True),
        Column(say("offenders.column.rate"), number=True),
        Column(say("offenders.column.interval"), number=True),
        Column(say("column.worst"), number=True),
        Column(say("column.last_return"), number=True),
        Column(say("offenders.column.suggests"), below=True),
        Column(say("column.what_where_speed"), below=True),
    ]
    rows = [_line(line, seen) for line in view.lines]
    parts: list[Child] = [
        table(say("offenders.ranking.caption"), columns, rows),
        take("offenders", seen.place, list=None),
    ]
    if view.came_back > len(view.lines):
        parts.append(note(say("offenders.more", shown=count(len(view.lines)), n=count(view.came_back))))
        if seen.place.get("list") != "all":
            parts.append(html.P(html.Link(say("offenders.show_all"), href=seen.place.here(list="all"))))
    return section(say("offenders.ranking.title"), *parts, about=say("about.offenders"))


def _alone(line: OffenderLine) -> str:
    if not isfinite(line.alone):
        return say("offenders.alone.every")
    return say("offenders.alone", rate=_rate(line.alone))


def looked_for(years: float) -> str:
    """Write a time in service in what it is counted in: minutes, hours, days or years.

    Parameters
    ----------
    years : float
        The time. [year]
    """
    days = years * DAYS_PER_YEAR
    for noun, of_day, upto in (
        ("minute", MINUTES, 1.0 / HOURS_PER_DAY),
        ("hour", HOURS_PER_DAY, 2.0),
        ("day", 1.0, 90.0),
    ):
        if days < upto:
            n = round(days * of_day)
            return counted(n, noun) if n else say("offenders.seen.moment")
    return say("offenders.seen.years", years=f"{years:.1f}")


def _seen(line: OffenderLine) -> str:
    time = looked_for(line.years)
    if isfinite(line.seen):
        return say("offenders.seen", rate=_rate(line.seen), time=time)
    return say("offenders.seen.brief", time=time)


def _returns(line: OffenderLine) -> Child:
    own, before, today, below = (
        say("key.of", count=count(line.returns), n=count(line.looks)),
        line.before,
        line.today,
        [],
    )
    if before is not None:
        below.append(
            say("offenders.before", day=day(before.on), returns=count(before.returns), looks=count(before.looks))
        )
    if today is not None and today != (line.looks, line.returns):
        below.append(say("offenders.today.one", returns=count(today[1]), looks=count(today[0])))
    return two_lines(own, "; ".join(below)) if below else own


def _line(line: OffenderLine, seen: Scene) -> list[Child]:
    where = " · ".join((line.area, seen.display.text(line.speed_rpm, Quantity.SPEED))).lstrip(" ·")
    suggests: list[Child] = [
        two_lines(say("month.suggests", cause=one.cause), say("month.settles", what=one.settles))
        for one in line.suggests
    ]
    if line.again:
        suggests.insert(0, two_lines(say("offenders.seen.again"), say("offenders.seen.last")))
    return [
        [html.Span(count(line.rank), className="rank"), machine(line.tag, seen.place)],
        _returns(line),
        html.Strong(_rate(line.bound)),
        _seen(line),
        two_lines(_rate(line.rate), _alone(line)),
        say("write.interval", low=_rate(line.low), high=_rate(line.high)),
        judged(line.worst_ratio),
        day(line.last),
        suggests or html.Span("–", className="soft"),
        two_lines(line.description, where),
    ]
