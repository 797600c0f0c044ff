"""What the pages look up in a history, worked out once for it and kept."""

from __future__ import annotations

from datetime import date

from dashboard.kept import keep
from models.history.columns import History
from models.history.due import Due, due_by_rule
from models.history.index import Index, index_of
from models.history.runs import Runs, runs_of


def runs_for(history: History) -> Runs:
    """Give the runs of a history; kept with it."""
    return keep(history, "runs", lambda: runs_of(history.jobs, history.breaks))


def index_for(history: History) -> Index:
    """Give the ways into a history; kept with it."""
    return keep(history, "index", lambda: index_of(history.jobs, runs_for(history)))


def due_for(history: History, today: date, interval_months: int) -> Due:
    """Give what is due by the site's rule; kept for the day.

    Parameters
    ----------
    history : History
        The site's history. [unitless]
    today : date
        The site's day. [d]
    interval_months : int
        The site's rule for the next check. [month]
    """
    return keep(
        history,
        ("due", today, interval_months),
        lambda: due_by_rule(
            history.jobs,
            history.breaks,
            history.assets,
            today=today,
            zone=history.zone,
            interval_months=interval_months,
        ),
    )
