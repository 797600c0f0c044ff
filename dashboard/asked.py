"""What the Book, People and Limits pages are asked for: their own choices in the address, each read once.

As in ``dashboard.place``: what cannot be read becomes a sentence, never an error.
"""

from __future__ import annotations

import re
from calendar import monthrange
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from dashboard.place import UNITS, Place, Read, shortened
from dashboard.strict import refuse
from dashboard.words import say
from models.errors import DriftbookError
from models.units import Quantity, parse_number, to_stored
from models.values.entry import EntryFilter
from models.values.kinds import Kind

KINDS = {str(kind).replace(" ", "-"): kind for kind in Kind}
"""How each kind of entry stands in an address."""

DONE = "done"
"""The choice of ``dates`` by which a range of days goes by the day of the work."""

YEARS = (1, 3, 5)
"""Windows of 'what if' that can be chosen, in years; 'all' is the fourth."""

DEFAULT_YEARS = 5
MIL = "mil"
MAX_FACTOR = 1_000_000.0

_DAY = re.compile(r"^((?:19|20)\d\d)(?:-(\d{1,2})(?:-(\d{1,2}))?)?$", re.ASCII)
_NUMBER = re.compile(r"^[1-9]\d{0,14}$", re.ASCII)


@dataclass(frozen=True, slots=True)
class Asked:
    """What the Book page is asked for; ``nothing`` where a name that the book does not know was asked for."""

    filter: EntryFilter
    texts: dict[str, str]
    by_work: bool
    before: int | None = None
    after: int | None = None
    nothing: bool = False
    problems: tuple[str, ...] = ()


def read_days(place: Place, name: str) -> Read[tuple[date, date] | None]:
    """Give the first and last day of what was asked for: a day, a month or a year; ``None`` where nothing was."""
    asked = place.get(name)
    if not asked:
        return Read(None)
    match = _DAY.match(asked)
    unread: Read[tuple[date, date] | None] = Read(None, say("problem.day", asked=shortened(asked)))
    if match is None:
        return unread
    year, month, day = int(match[1]), int(match[2] or 0), int(match[3] or 0)
    try:
        first = date(year, month or 1, day or 1)
    except ValueError:
        return unread
    return Read((first, first if day else date(year, month or 12, monthrange(year, month or 12)[1])))


def named(asked: str, names: Iterable[str]) -> str | None:
    """Give the name that is meant: as spelled, or else in other letters, or else the only one that holds the text."""
    known = list(names)
    if asked in known:
        return asked
    low = asked.casefold()
    same = [name for name in known if name.casefold() == low] or [name for name in known if low in name.casefold()]
    return same[0] if len(same) == 1 else None


def read_asked(
    place: Place, zone: str, tags: Sequence[str], people: Sequence[str], instruments: Sequence[str]
) -> Asked:
    """Read what the Book page is asked for.

    Parameters
    ----------
    place : Place
        The address. [unitless]
    zone : str
        Zone of the site: days are its own. [unitless]
    tags, people, instruments : sequence of str
        What the site knows. [unitless]
    """
    problems: list[str] = []
    nothing = False

    def meant(name: str, known: Sequence[str], problem: str) -> str:
        nonlocal nothing
        asked = place.get(name)
        found = named(asked, known) if asked else ""
        if found is None:
            nothing = True
            problems.append(say(problem, asked=shortened(asked)))
        return found or ""

    tag = meant("asset", tags, "problem.asset")
    instrument = meant("instrument", instruments, "problem.instrument")
    person = place.get("person")
    if person:
        person = named(person, people) or person  # who only writes need not be known as one who aligns
    kind = KINDS.get(place.get("kind"))
    if place.get("kind") and kind is None:
        problems.append(say("problem.kind", asked=shortened(place.get("kind"))))
        refuse(problems[-1], KINDS)
    first, last = read_days(place, "from"), read_days(place, "to")
    problems += [first.problem, last.problem]
    by_work = place.get("dates") == DONE
    if not by_work and (typed := place.get("dates")):
        refuse(say("files.no_value", asked=shortened(typed), name="dates"), [DONE])
    start = _midnight(first.value[0], zone) if first.value else None
    end = _midnight(last.value[1] + timedelta(days=1), zone) if last.value else None
    numbers: dict[str, int | None] = {}
    for name in ("file", "before", "after"):
        asked = place.get(name)
        numbers[name] = int(asked) if _NUMBER.match(asked) else None
        if asked and numbers[name] is None:
            problems.append(say("problem.entry_number", asked=shortened(asked)))
    asked_filter = EntryFilter(
        tag=tag,
        person=person,
        instrument=instrument,
        ref=place.get("job"),
        kind=kind,
        file=numbers["file"],
        recorded_from=None if by_work else start,
        recorded_before=None if by_work else end,
        done_from=start if by_work else None,
        done_before=end if by_work else None,
    )
    names = ("asset", "person", "instrument", "job", "kind", "from", "to", "dates")
    return Asked(
        asked_filter,
        {name: place.get(name) for name in names},
        by_work,
        None if numbers["after"] else numbers["before"],
        numbers["after"],
        nothing,
        tuple(problems),
    )


def _midnight(day: date, zone: str) -> datetime:
    return datetime(day.year, day.month, day.day, tzinfo=ZoneInfo(zone))


def entry_of(pathname: str | None) -> str:
    """Read what stands behind ``/book/`` in a path; empty on the list of entries."""
    return (pathname or "").removeprefix("/book").strip("/")


def read_number(text: str) -> int | None:
    """Read the number of an entry; ``None`` where it is none."""
    return int(text) if _NUMBER.match(text) else None


def read_years(place: Place) -> Read[int | None]:
    """Give the window of 'what if' in years, 5 where none was asked for; ``None`` is all of the history."""
    asked = place.get("years")
    if not asked:
        return Read(DEFAULT_YEARS)
    if asked == "all":
        return Read(None)
    if asked.isascii() and asked.isdigit() and 1 <= int(asked[:3]) <= 100 and len(asked) <= 3:
        return Read(int(asked))
    return Read(DEFAULT_YEARS, say("problem.years", asked=shortened(asked), used=DEFAULT_YEARS))


@dataclass(frozen=True, slots=True)
class Factors:
    """A trial law of speed: limit = factor ÷ rpm; ``None`` keeps what the set in force says."""

    offset_mm_rpm: float | None = None
    angle_mm_m_rpm: float | None = None
    unit: str = "mm"

    @property
    def given(self) -> bool:
        """Tell whether there is any."""
        return self.offset_mm_rpm is not None or self.angle_mm_m_rpm is not None


def read_factors(place: Place) -> Read[Factors]:
    """Give the typed factors of a trial set, e.g. ``offset=80&angle=700``; lengths in mil where ``in=mil`` says so."""
    unit = MIL if place.get("in") == MIL else "mm"
    if place.get("in") not in {"", *UNITS}:
        refuse(say("problem.units", asked=shortened(place.get("in")), used=unit))
    problems, found = [], {}
    for name in ("offset", "angle"):
        asked = place.get(name)
        if not asked:
            continue
        try:
            value = parse_number(asked)
        except DriftbookError:
            value = 0.0
        if 0.0 < value <= MAX_FACTOR:
            found[name] = to_stored(value, unit, Quantity.OFFSET) if name == "offset" else value
        else:
            problems.append(say("problem.factor", asked=shortened(asked)))
    return Read(Factors(found.get("offset"), found.get("angle"), unit), " ".join(problems))
