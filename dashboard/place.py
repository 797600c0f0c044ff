"""Where the reader stands: the page and its choices, all of it in the address, so that a view can be sent.

What comes in an address was typed by anybody.  It is read once, here, and
what cannot be read becomes a sentence to show, never an error.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import lru_cache
from typing import Final, Generic, TypeVar
from urllib.parse import parse_qs, parse_qsl, quote, quote_plus, unquote

from dashboard.strict import note, refuse
from dashboard.words import say
from models.history.columns import SPEED_BOUNDS_RPM
from models.units import Display
from models.values.story import Site

KEPT = ("site", "units")
"""Choices that go along from page to page."""

WINDOWS = (12, 24, 36, 60)
"""Windows of the repeat offenders that can be chosen, in months; 'all' is the fifth."""

IMPORT: Final = "/import"
"""Path of the page on which a file is imported."""

SITE: Final = "/site"
"""Path of the page on which a site is set."""

UNITS = ("mm", "mil")
"""Units of length that a reader can switch to."""

DEFAULT_WINDOW = 24
MAX_WINDOW = 1200
ALL = "all"

T = TypeVar("T")

_MONTH = re.compile(r"^((?:19|20)\d\d)-(0[1-9]|1[0-2])$", re.ASCII)

MAX_QUERY = 2000
"""A longer query string is not read."""


@dataclass(frozen=True, slots=True)
class Place:
    """A path and its choices, as the address says them."""

    path: str = "/"
    choices: Mapping[str, str] = field(default_factory=dict)

    def get(self, name: str) -> str:
        """Give one choice as typed; an empty text where the address does not say it."""
        note(name)
        return self.choices.get(name, "").strip()

    def to(self, path: str, **changes: object) -> str:
        """Write the address of another page: site and units go along, other choices do not."""
        kept = {name: self.choices[name] for name in KEPT if self.choices.get(name)}
        return _address(path, kept, changes)

    def here(self, **changes: object) -> str:
        """Write the address of this page with some choices changed; ``None`` takes a choice out."""
        return _address(self.path, dict(self.choices), changes)


def _address(path: str, choices: dict[str, str], changes: Mapping[str, object]) -> str:
    for name, value in changes.items():
        if value is None or value == "":
            choices.pop(name, None)
        else:
            choices[name] = str(value)
    # As urllib's urlencode does it, but each word once: a page has hundreds of links that differ in one.
    query = "&".join(f"{_quoted(name)}={_quoted(value)}" for name, value in choices.items())
    return f"{path}?{query}" if query else path


@lru_cache(maxsize=4096)
def _quoted(text: str) -> str:
    return quote_plus(text)


def read_place(pathname: str | None, search: str | None) -> Place:
    """Read an address; the first of repeated choices counts."""
    query = (search or "").lstrip("?")[:MAX_QUERY]
    try:
        parsed = parse_qs(query, keep_blank_values=False, max_num_fields=50)
    except ValueError:
        parsed = {}
    return Place(pathname or "/", {name: values[0] for name, values in parsed.items()})


def read_file_place(pathname: str | None, search: str | None) -> Place:
    """Read the address of a file whole, however long: many tags of labels may stand before its site.

    A page that cannot read its address says so and shows the first site; a file would be the wrong one.
    """
    choices: dict[str, str] = {}
    for name, value in parse_qsl((search or "").lstrip("?"), keep_blank_values=False):
        choices.setdefault(name, value)
    return Place(pathname or "/", choices)


def asset_path(tag: str) -> str:
    """Write the path of an asset's page; a tag may hold a slash or a blank."""
    return f"/asset/{quote(tag, safe='')}"


def tag_of(pathname: str | None) -> str:
    """Read the tag from the path of an asset's page; empty on the list of machines."""
    return unquote((pathname or "").removeprefix("/asset").lstrip("/"))


@dataclass(frozen=True, slots=True)
class Read(Generic[T]):
    """A choice as it was read, and a sentence about what could not be read; empty where all is well."""

    value: T
    problem: str = ""

    def __post_init__(self) -> None:
        """Refuse what could not be read where nobody would see the sentence about it."""
        refuse(self.problem)


def read_site(place: Place, sites: tuple[Site, ...]) -> Read[Site | None]:
    """Give the site that was asked for by its code, else the first."""
    asked = place.get("site")
    first = sites[0] if sites else None
    if not asked or first is None:
        return Read(first)
    for site in sites:
        if site.code.casefold() == asked.casefold():
            return Read(site)
    return Read(first, say("problem.site", asked=shortened(asked), used=first.code))


def read_display(place: Place, site: Site) -> Read[Display]:
    """Give the units to show: the site's own, or mm or mil where the address asks for them."""
    asked = place.get("units")
    if not asked:
        return Read(site.display)
    if asked in UNITS:
        return Read(Display(asked, site.display.temperature))
    return Read(site.display, say("problem.units", asked=shortened(asked), used=site.display.length))


def read_month(place: Place) -> Read[date | None]:
    """Give the first day of the month that was asked for, e.g. ``month=2026-10``; ``None`` where none was."""
    asked = place.get("month")
    if not asked:
        return Read(None)
    match = _MONTH.match(asked)
    if match is None:
        return Read(None, say("problem.month", asked=shortened(asked)))
    return Read(date(int(match[1]), int(match[2]), 1))


def read_window(place: Place) -> Read[int | None]:
    """Give the window in months, 24 where none was asked for; ``None`` is all of the history."""
    asked = place.get("window")
    if not asked:
        return Read(DEFAULT_WINDOW)
    if asked == ALL:
        return Read(None)
    if asked.isascii() and asked.isdigit() and 1 <= int(asked[:4]) <= MAX_WINDOW and len(asked) <= 4:
        return Read(int(asked))
    return Read(DEFAULT_WINDOW, say("problem.window", asked=shortened(asked), used=DEFAULT_WINDOW, most=MAX_WINDOW))


def read_class(place: Place) -> Read[int | None]:
    """Give the index of the speed class that was asked for by its upper bound; ``None`` is all of them."""
    asked = place.get("class")
    if not asked or asked == ALL:
        return Read(None)
    for index in range(len(SPEED_BOUNDS_RPM) + 1):
        if asked == class_code(index):
            return Read(index)
    known = ", ".join(f"‘{class_code(index)}’" for index in range(len(SPEED_BOUNDS_RPM) + 1))
    return Read(None, say("problem.class", asked=shortened(asked), known=known))


def class_code(index: int) -> str:
    """Write a speed class as it stands in an address: its upper bound in rpm, or ``'above'``."""
    return f"{SPEED_BOUNDS_RPM[index]:.0f}" if index < len(SPEED_BOUNDS_RPM) else "above"


def shortened(text: str, most: int = 40) -> str:
    """Cut a text that anybody may have typed to a length that fits a sentence."""
    return text if len(text) <= most else text[: most - 1] + "…"
