"""Dates as an iCalendar feed (RFC 5545), with the refresh interval and the name of RFC 7986."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Literal

MIME = "text/calendar; charset=utf-8"

PRODUCT = "-//driftbook//re-check dates//EN"

LONGEST_LINE = 75
"""Octets of a line before its end; a longer one is folded (RFC 5545, section 3.1)."""

_CONTROLS = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")


@dataclass(frozen=True, slots=True)
class DayEvent:
    """Something that is to be done on a whole day.

    ``uid`` stays the same as long as it is the same thing, whatever its day.
    """

    uid: str
    on: date
    summary: str
    description: str
    status: Literal["CONFIRMED", "TENTATIVE"]
    place: str = ""
    kinds: tuple[str, ...] = ()
    address: str = ""


@dataclass(frozen=True, slots=True)
class DayCalendar:
    """A calendar of whole days, without the moment at which it was written."""

    name: str
    events: tuple[DayEvent, ...]

    @property
    def digest(self) -> str:
        """Give a digest of what it says: the same as long as it says the same, whenever it is asked for."""
        return hashlib.sha256(repr(self).encode("utf-8", "backslashreplace")).hexdigest()[:32]

    def text(self, made_at: datetime) -> str:
        """Write it."""
        return write_calendar(self.name, self.events, made_at)


def write_calendar(name: str, events: Sequence[DayEvent], made_at: datetime, *, refresh_hours: int = 12) -> str:
    """Write a calendar of whole days.

    Parameters
    ----------
    name : str
        Name of the calendar. [unitless]
    events : sequence of DayEvent
        What is in it. [unitless]
    made_at : datetime
        Aware moment at which it was made. [unitless]
    refresh_hours : int
        After how long a program is to ask again. [h]

    Returns
    -------
    str
        Lines that end in CR LF, none longer than 75 octets.
    """
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        f"PRODID:{PRODUCT}",
        "CALSCALE:GREGORIAN",
        "METHOD:PUBLISH",
        f"NAME:{escaped(name)}",
        f"X-WR-CALNAME:{escaped(name)}",
        f"REFRESH-INTERVAL;VALUE=DURATION:PT{refresh_hours}H",
        f"X-PUBLISHED-TTL:PT{refresh_hours}H",
    ]
    for event in events:
        lines.extend(_event(event, stamp(made_at)))
    lines.append("END:VCALENDAR")
    return "".join(f"{part}\r\n" for line in lines for part in folded(line))


def _event(event: DayEvent, made: str) -> Iterator[str]:
    yield "BEGIN:VEVENT"
    yield f"UID:{escaped(event.uid)}"
    yield f"DTSTAMP:{made}"
    yield f"DTSTART;VALUE=DATE:{event.on:%Y%m%d}"
    yield f"DTEND;VALUE=DATE:{event.on + timedelta(days=1):%Y%m%d}"
    yield f"SUMMARY:{escaped(event.summary)}"
    yield f"DESCRIPTION:{escaped(event.description)}"
    if event.place:
        yield f"LOCATION:{escaped(event.place)}"
    if event.kinds:
        yield f"CATEGORIES:{','.join(escaped(kind) for kind in event.kinds)}"
    if event.address:
        yield f"URL:{one_line(event.address)}"
    yield f"STATUS:{event.status}"
    # A date to look at a machine keeps nobody from a meeting.
    yield "TRANSP:TRANSPARENT"
    yield "END:VEVENT"


def stamp(moment: datetime) -> str:
    """Write a moment in UTC as a calendar has it."""
    return f"{moment.astimezone(UTC):%Y%m%dT%H%M%SZ}"


def escaped(text: str) -> str:
    r"""Write a text so that its commas, semicolons, backslashes and line breaks are no part of the form.

    Parameters
    ----------
    text : str
        Any text. [unitless]
    """
    plain = _CONTROLS.sub("", text.replace("\r\n", "\n").replace("\r", "\n").replace("\x85", "\n"))
    plain = plain.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,")
    return plain.replace("\n", "\\n")


def one_line(text: str) -> str:
    """Give a text without anything that could begin a new line."""
    return "".join(letter for letter in text if letter.isprintable())


def folded(line: str) -> Iterator[str]:
    """Fold a line after 75 octets at most, never inside a letter; what follows begins with a blank.

    Parameters
    ----------
    line : str
        A line without its end. [unitless]
    """
    part, octets = "", 0
    for letter in line:
        size = len(letter.encode())
        if octets + size > LONGEST_LINE:
            yield part
            part, octets = " ", 1
        part += letter
        octets += size
    yield part
