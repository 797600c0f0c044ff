"""When a job was done, as the Record page reads it: a text that two moments answer to is asked about at its field."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

from dashboard.words import say
from dashboard.writing import day
from models.errors import NotAQuantityError
from models.intake.clocks import Doubt, clock_doubt
from models.intake.dates import Order, parse_moment, read_moment, spelt_out, two_readings
from models.intake.typed import TypedProblem

FIELD = "performed"
PROPOSED = "ref.proposed"
"""Beside the fields of a form: the job number that was put there by itself, and follows the time."""


@dataclass(frozen=True, slots=True)
class When:
    """A moment; or what is wrong with its text; or what has to be asked, with the answers.

    Each of the ``answers`` is what a person reads, and the text that it puts into the field: that reads one way only.
    """

    moment: datetime | None = None
    problem: TypedProblem | None = None
    question: str = ""
    answers: tuple[tuple[str, str], ...] = ()


def read_when(fields: Mapping[str, str], zone: str) -> When:
    """Read when the job was done, on the site's clock unless the text names another.

    No order of day and month is taken for granted, as on import; points part a day from the month behind it.

    Parameters
    ----------
    fields : mapping of str to str
        The form. [as typed]
    zone : str
        IANA name of the site's zone. [unitless]
    """
    text = fields.get(FIELD, "").strip()
    if not text:
        return When()
    try:
        moment, _ = parse_moment(text, Order.BY_ROWS, ZoneInfo(zone))
    except NotAQuantityError as fault:
        return _either_day(text, zone) or When(problem=TypedProblem(FIELD, fault.found, fault.expected))
    # A year of two digits is one of this century: what lies ahead is refused by a check of its own.
    _, doubts = read_moment(text, Order.BY_ROWS, ZoneInfo(zone), date.max)
    doubts = tuple(doubt for doubt in doubts if doubt in {Doubt.SKIPPED, Doubt.TWICE})
    if not doubts:
        return When(moment)
    return _either_time(parse_moment(text, Order.BY_ROWS, ZoneInfo("UTC"))[0].replace(tzinfo=None), doubts[0], zone)


def moment_of(fields: Mapping[str, str], zone: str) -> datetime | None:
    """Give the moment of a form; ``None`` where it has none, or where its text has to be asked about. See :func:`read_when`."""
    return read_when(fields, zone).moment


def clock_text(moment: datetime, zone: str, form: str = "%Y-%m-%d %H:%M") -> str:
    """Write a moment for the field so that it reads as that moment only.

    Parameters
    ----------
    moment : datetime.datetime
        Aware moment. [unitless]
    zone : str
        IANA name of the zone on whose clock it is written. [unitless]
    form : str
        How day and time are written. [unitless]
    """
    local = moment.astimezone(ZoneInfo(zone))
    twice = clock_doubt(local.replace(tzinfo=None, fold=0), ZoneInfo(zone)) is Doubt.TWICE
    return f"{local:{form}}{_offset(local)}" if twice else f"{local:{form}}"


def _offset(local: datetime) -> str:
    return local.isoformat(timespec="seconds")[19:]


def _either_day(text: str, zone: str) -> When | None:
    """Ask which of two days is meant; ``None`` where the text is no date of two readings."""
    if two_readings(text) is None:
        return None
    answers = []
    for order in (Order.DAY_FIRST, Order.MONTH_FIRST):
        one = spelt_out(text, order)
        try:
            local = parse_moment(one, Order.BY_ROWS, ZoneInfo(zone))[0].astimezone(ZoneInfo(zone))
        except NotAQuantityError:
            return None  # what stands behind the day is no time
        answers.append((day(local.date()), one))
    question = say("record.when.either_day", text=text, one=answers[0][0], other=answers[1][0])
    return When(question=question, answers=tuple(answers))


def _either_time(naive: datetime, doubt: Doubt, zone: str) -> When:
    """Ask which moment is meant by a time that the clocks showed never or twice."""
    info = ZoneInfo(zone)
    first, second = (naive.replace(tzinfo=info, fold=fold).astimezone(UTC).astimezone(info) for fold in (0, 1))
    said = {"day": day(naive.date()), "time": f"{naive:%H:%M}", "zone": zone}
    if doubt is Doubt.SKIPPED:
        answers = tuple((f"{one:%H:%M}", f"{one:%Y-%m-%d %H:%M}") for one in (second, first))
        return When(question=say("record.when.skipped", **said), answers=answers)
    answers = (
        (say("record.when.first", offset=_offset(first)), clock_text(first, zone)),
        (say("record.when.second", offset=_offset(second)), clock_text(second, zone)),
    )
    return When(question=say("record.when.twice", **said), answers=answers)


def today_of(now: datetime, zone: str) -> date:
    """Give the day on a site's calendar."""
    return now.astimezone(ZoneInfo(zone)).date()
