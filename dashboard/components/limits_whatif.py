"""Part of the Limits page: how many verdicts would change under other limits."""

from __future__ import annotations

from dashboard.asked import MIL, YEARS, Factors
from dashboard.components import elements as html
from dashboard.components.asking import ask_form, ask_text
from dashboard.components.chart import chart
from dashboard.components.pieces import Child, choices, note, section
from dashboard.components.seen import Seen
from dashboard.components.tables import Column, table
from dashboard.components.take import take
from dashboard.figures.limits import turn_figure
from dashboard.kept import keep
from dashboard.views.limits_desk_view import LimitsDeskView, Trial, TurnLine
from dashboard.words import say, spoken
from dashboard.writing import count, interval, percent
from models.units import Quantity


def what_if_part(
    view: LimitsDeskView, seen: Seen, scheme: str, *, factors: Factors, years: int | None, guarded: bool
) -> html.Section:
    """Put the question what would change under other limits, and the answer."""
    place, display = seen.place, seen.display
    typed = {"offset": place.get("offset"), "angle": place.get("angle")}
    unit = display.length
    if factors.unit != unit and factors.offset_mm_rpm is not None:
        # The address speaks in another unit than the page: the field shows the same factor in the page's own.
        typed["offset"] = f"{display.show(factors.offset_mm_rpm, Quantity.OFFSET):.5g}"
    clear = None
    if view.trial:
        to = place.here(offset=None, angle=None, set=None, **{"in": None})
        clear = html.Link(say("whatif.clear"), href=to, className="step")
    form = ask_form(
        place,
        ask_text(
            "offset",
            say("whatif.offset", unit=display.unit(Quantity.OFFSET)),
            typed["offset"],
            page="limits",
            hint=say("whatif.offset.hint", now=view.offset_now),
            most=12,
        ),
        ask_text(
            "angle",
            say("whatif.angle", unit=display.unit(Quantity.ANGULARITY)),
            typed["angle"],
            page="limits",
            hint=say("whatif.offset.hint", now=view.angle_now),
            most=12,
        ),
        button=say("whatif.send"),
        label=say("whatif.form"),
        drops=("set",),
        clear=clear,
        along={"in": MIL if unit == MIL else ""},
    )
    options = []
    for line in view.sets:
        asked = place.get("set") == str(line.entry) and not factors.given
        to = place.here(set=line.entry, offset=None, angle=None, **{"in": None})
        options.append((say("whatif.set", name=line.name, version=line.version), to, asked))
    offset, angle = view.third
    tries: list[Child] = [choices(say("whatif.sets"), options)]
    if offset and angle:
        to = place.here(set=None, offset=offset, angle=angle, **{"in": MIL if unit == MIL else None})
        given = (typed["offset"], typed["angle"]) == (offset, angle)
        tries.append(choices(say("whatif.example"), [(say("whatif.example.third"), to, given)]))
    spans = [
        (say("whatif.years.one") if n == 1 else say("whatif.years.n", n=n), place.here(years=n), years == n)
        for n in YEARS
    ]
    spans.append((say("whatif.years.all"), place.here(years="all"), years is None))
    tries.append(choices(say("whatif.years"), spans))
    parts: list[Child] = [note(say("whatif.intro")), form, html.Div(tries, className="filters")]
    if guarded:
        parts.insert(1, note(say("decision.trial")))
    if view.trial:
        parts += _result(view.trial, seen, scheme, kept=factors.given)
    return section(say("whatif.title"), *parts, about=say("about.whatif"))


def _result(trial: Trial, seen: Seen, scheme: str, *, kept: bool) -> list[Child]:
    parts: list[Child] = [
        html.H3(say("whatif.result.title", name=trial.name)),
        html.P(trial.sentence, className="sentence", role="status"),
        note(say("whatif.trial.kept")) if kept else None,
    ]
    if trial.lost:
        parts.append(note(say("whatif.lost", n=count(trial.lost)), strong=True))
    if trial.gained:
        parts.append(note(say("whatif.gained", n=count(trial.gained))))
    stages = (
        ("found", trial.found, say("whatif.picture.found"), say("whatif.caption.found", window=trial.window)),
        ("left", trial.left, say("whatif.picture.left"), say("whatif.caption.left", window=trial.window)),
    )
    known = [stage for stage in stages if stage[1][-1].judged]
    if known:
        parts.append(note(say("whatif.picture.note")))
        parts.append(
            html.Div(
                [_picture(title, stage, lines, seen, scheme) for stage, lines, title, _ in known], className="columns"
            )
        )
        parts += [_turns(caption, lines) for _, lines, _, caption in known]
        parts.append(take("what-if", seen.place))
    return parts


def _picture(title: str, stage: str, lines: tuple[TurnLine, ...], seen: Seen, scheme: str) -> html.Figure:
    told = "; ".join(
        say(
            "whatif.picture.class",
            name=line.name,
            before=percent(line.before.share),
            after=percent(line.after.share),
            n=count(line.judged),
        )
        for line in lines
        if line.judged
    )
    return chart(
        keep(seen.history, ("turns", stage, lines, scheme, spoken()), lambda: turn_figure(lines, stage, scheme)),
        title=title,
        says=say("whatif.picture.says", classes=told),
        height=34 * len(lines) + 50,
    )


def _turns(caption: str, lines: tuple[TurnLine, ...]) -> html.Div:
    columns = [
        Column(say("column.class")),
        Column(say("whatif.column.n"), number=True),
        Column(say("whatif.column.changed"), number=True),
        Column(say("whatif.column.to_over"), number=True),
        Column(say("whatif.column.to_within"), number=True),
        Column(say("whatif.column.before"), number=True),
        Column(say("whatif.column.after"), number=True),
        Column(say("whatif.column.interval"), number=True),
    ]
    rows = [
        [
            line.name,
            count(line.judged),
            count(line.changed),
            count(line.to_over),
            count(line.to_within),
            count(line.before.count),
            count(line.after.count),
            f"{percent(line.after.share)}, {interval(line.after.low, line.after.high)}",
        ]
        for line in lines
    ]
    return table(caption, columns, rows, marked=[False] * (len(lines) - 1) + [True])
