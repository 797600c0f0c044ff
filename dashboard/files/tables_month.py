"""Tables of the Month page: by speed class, month by month, jobs behind a number, what was left over, what came back."""

from __future__ import annotations

from collections.abc import Sequence

from dashboard.fetch import Scene
from dashboard.files.around import DAYS, SHARE, Around, iso_month, of, share_columns, verdict
from dashboard.files.table_out import ColumnOut, Form, TableOut, column
from dashboard.place import read_month
from dashboard.views.month_chart_view import MonthSeries
from dashboard.views.month_jobs_view import JOBS, Asked, JobBehind, jobs_behind, read_asked
from dashboard.views.month_limits_view import one_set_words
from dashboard.views.month_view import SERIES, MonthView, Visit, build
from dashboard.views.shares import Share
from dashboard.words import say
from dashboard.writing import month as month_name
from models.errors import InvalidValueError

EVERY = 10**9
"""A length that no list reaches."""


def _view(around: Around) -> MonthView:
    seen: Scene = around.seen
    month = read_month(seen.place).value
    view = build(
        seen.history,
        seen.runs,
        month,
        seen.today,
        site=around.site,
        instruments=around.book.instruments(around.site.site_id),
        limit_set=seen.limit_set,
        today_us=seen.now_us,
        sets=around.book.limit_sets(around.site.site_id),
    )
    if view.state == "ahead":
        raise InvalidValueError(say("report.month.ahead", asked=f"{view.month:%Y-%m}"))
    return view


def month_classes(around: Around) -> TableOut:
    """Give a month by speed class, against the twelve months before; the last row is all speeds."""
    view = _view(around)
    lines = (*view.classes, view.total)
    columns = [
        of("class", Form.TEXT, lines, lambda line: line.name),
        of("jobs", Form.COUNT, lines, lambda line: line.jobs),
        *share_columns("found", [line.found for line in lines]),
        *share_columns("found_before", [line.found_before for line in lines]),
        *share_columns("left", [line.left for line in lines]),
        *share_columns("left_before", [line.left_before for line in lines]),
    ]
    told = (say("files.window.month", month=month_name(view.month)), one_set_words(view.one_set).rstrip("."))
    window = ". ".join(text for text in told if text)
    return around.table("month-classes", columns, window, "files.sure.shares", month=month_name(view.month))


def month_chart(around: Around) -> TableOut:
    """Give the months of the control chart, the oldest first."""
    view = _view(around)
    series = view.series
    rows = range(len(series.months))
    found = [
        Share(int(series.found_count[i]), int(series.found_n[i]), float(series.found_share[i]),
              float(series.found_low[i]), float(series.found_high[i])) for i in rows
    ]  # fmt: skip
    columns = [
        of("month", Form.TEXT, list(rows), lambda i: iso_month(series.day(i))),
        column("jobs", Form.COUNT, series.jobs.tolist()),
        *share_columns("found", found),
        column("centre", Form.NUMBER, series.centre.tolist(), SHARE, 3),
        column("lower", Form.NUMBER, series.lower.tolist(), SHARE, 3),
        column("upper", Form.NUMBER, series.upper.tolist(), SHARE, 3),
        column("above", Form.YES, series.above.tolist()),
        column("below", Form.YES, series.below.tolist()),
        column("in_run", Form.YES, series.run.tolist()),
        column("limits_begin", Form.TEXT, _limits_begin(series)),
        column("left_over", Form.COUNT, series.left_count.tolist()),
        column("left_n", Form.COUNT, series.left_n.tolist()),
    ]
    window = say("files.window.series", n=SERIES, month=month_name(view.month))
    return around.table("month-chart", columns, window, "files.sure.chart")


def _limits_begin(series: MonthSeries) -> list[str]:
    """Name the limit set that begins to judge with a month; blank for all others."""
    begun = {row: say("whatif.set", name=one.name, version=one.version) for row, one in series.since}
    return [begun.get(row, "") for row in range(len(series.months))]


def month_jobs(around: Around) -> TableOut:
    """Give the jobs behind a number of the page; all jobs of the month where the address asks for no number."""
    seen = around.seen
    view = _view(around)
    asked = read_asked(seen.place).value or Asked(JOBS)
    number = view.month.year * 12 + view.month.month - 1
    behind = jobs_behind(seen.history, number, asked, view.one_set.limit_set if view.one_set else None, most=EVERY)
    return around.table("month-jobs", _jobs(behind.lines), behind.title)


def _jobs(lines: Sequence[JobBehind]) -> list[ColumnOut]:
    return [
        of("tag", Form.TEXT, lines, lambda line: line.tag),
        of("day", Form.DAY, lines, lambda line: line.day),
        of("found_ratio", Form.NUMBER, lines, lambda line: line.found_ratio, "", 2),
        of("found_verdict", Form.TEXT, lines, lambda line: verdict(line.found_ratio)),
        of("left_ratio", Form.NUMBER, lines, lambda line: line.left_ratio, "", 2),
        of("left_verdict", Form.TEXT, lines, lambda line: verdict(line.left_ratio)),
        of("reason", Form.TEXT, lines, lambda line: line.reason),
        of("person", Form.TEXT, lines, lambda line: line.person),
        of("instrument", Form.TEXT, lines, lambda line: line.instrument),
        of("entry", Form.COUNT, lines, lambda line: line.entry),
        of("description", Form.TEXT, lines, lambda line: line.description),
        of("area", Form.TEXT, lines, lambda line: line.area),
    ]


def month_left_over(around: Around) -> TableOut:
    """Give the visits of the month that left a machine over limit, the worst first."""
    view = _view(around)
    return _visits(around, "month-left-over", view, view.left_over)


def month_returned(around: Around) -> TableOut:
    """Give the visits of the month that found a machine back over limit, the worst first."""
    view = _view(around)
    return _visits(around, "month-returned", view, view.returned)


def _visits(around: Around, name: str, view: MonthView, lines: Sequence[Visit]) -> TableOut:
    columns = [
        of("tag", Form.TEXT, lines, lambda line: line.tag),
        of("day", Form.DAY, lines, lambda line: line.day),
        of("was_left", Form.NUMBER, lines, lambda line: line.was_left, "", 2),
        of("days", Form.NUMBER, lines, lambda line: line.days, DAYS, 0),
        of("found_ratio", Form.NUMBER, lines, lambda line: line.found_ratio, "", 2),
        of("left_ratio", Form.NUMBER, lines, lambda line: line.left_ratio, "", 2),
        of("person", Form.TEXT, lines, lambda line: line.person),
        of("entry", Form.COUNT, lines, lambda line: line.entry),
        of("description", Form.TEXT, lines, lambda line: line.description),
        of("area", Form.TEXT, lines, lambda line: line.area),
    ]
    return around.table(name, columns, say("files.window.one_month", month=month_name(view.month)))
