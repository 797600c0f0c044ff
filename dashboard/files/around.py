"""What every table on its way out stands on: the scene of its page, the book, and the moment."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import TypeVar

from dashboard.context import Book, context
from dashboard.fetch import Scene, file_scene
from dashboard.files.table_out import ColumnOut, Form, TableOut, Value, column
from dashboard.views.shares import Share
from dashboard.words import say
from dashboard.writing import count
from models.errors import UnknownNameError
from models.units import Display, Quantity, to_stored
from models.values.story import Site

T = TypeVar("T")

SHARE = "0–1"
"""Unit of a share or a probability: 1 is all of it."""

PER_YEAR = "1/year"
DAYS = "d"
RPM = "rpm"


@dataclass(frozen=True, slots=True)
class Around:
    """One question for a table: what the page of the same address stands on."""

    seen: Scene
    book: Book
    shown: str
    made_at: datetime
    query: str

    @property
    def site(self) -> Site:
        """Give the site."""
        return self.seen.required

    @property
    def display(self) -> Display:
        """Give the units that the address asks for."""
        return self.seen.display

    def asked(self, name: str) -> str:
        """Give one choice of the address."""
        return self.seen.place.get(name)

    def unit(self, quantity: Quantity) -> str:
        """Give the unit of a quantity."""
        return self.display.unit(quantity)

    def table(
        self, name: str, columns: Sequence[ColumnOut], window: str, sure: str = "files.sure.none", **said: object
    ) -> TableOut:
        """Put a table together; its title stands among the texts as ``files.title.<name>``."""
        return TableOut(
            name=name,
            title=say(f"files.title.{name}", **said),
            columns=tuple(columns),
            window=window,
            sure=" ".join(text for text in (say(sure), self._estimates()) if text),
            book=self.shown,
            site=self.site.name,
            code=self.site.code,
            zone=self.site.zone,
            head=self.seen.history.head,
            made_at=self.made_at,
            asked=self.query,
            estimates=self.seen.estimates_until,
        )

    def _estimates(self) -> str:
        until = self.seen.estimates_until
        return "" if until is None else say("picture.estimates", fleet=count(until))

    def measured(self, key: str, values: Iterable[float | None], quantity: Quantity) -> ColumnOut:
        """Make a column of a stored quantity in the unit of the page, not rounded."""
        shown = [shown_exactly(value, quantity, self.display) for value in values]
        return column(key, Form.NUMBER, shown, self.unit(quantity), self.display.decimals(quantity))


def around(path: str, query: str) -> Around:
    """Find what a query speaks of.

    Parameters
    ----------
    path : str
        Path of the table or of its page. [unitless]
    query : str
        The query as it stands behind the question mark. [unitless]

    Raises
    ------
    UnknownNameError
        If the book has no site, or the query names one that there is not.
    """
    here, seen = context(), file_scene(path, query)
    if seen.site is None:
        raise UnknownNameError(say("files.no_site"), remedy=say("book.empty.command"))
    settings = here.settings
    shown = settings.named.name if settings.is_file else settings.shown.rpartition("/")[2]
    return Around(seen, here.book, shown, here.clock(), query.lstrip("?"))


def decimals_of(quantity: Quantity, display: Display) -> int | None:
    """Give how many decimals of a quantity a sheet shows; ``None`` for as many as there are: hours of a counter bear a fraction or none."""
    return None if quantity is Quantity.DURATION else display.decimals(quantity)


def shown_exactly(value: float | None, quantity: Quantity, display: Display) -> float | None:
    """Convert a stored number so that it comes back the very same when it is read in the unit of its heading.

    Parameters
    ----------
    value : float or None
        The number as stored. [mm, mm/m, °C or another stored unit]
    quantity : Quantity
        What it measures. [unitless]
    display : Display
        Units of the page. [unitless]

    Returns
    -------
    float or None
        In the unit of the page; of the neighbouring numbers that one whose conversion back is exact, if there is one.
    """
    if value is None or not math.isfinite(value):
        return None
    unit, shown = display.unit(quantity), display.show(value, quantity)
    near = (shown, math.nextafter(shown, -math.inf), math.nextafter(shown, math.inf))
    return next((one for one in near if to_stored(one, unit, quantity) == value), shown) + 0.0


def of(
    key: str, form: Form, lines: Sequence[T], get: Callable[[T], Value], unit: str = "", decimals: int | None = None
) -> ColumnOut:
    """Make a column out of lines of a view."""
    return column(key, form, [get(line) for line in lines], unit, decimals)


def share_columns(name: str, shares: Sequence[Share]) -> list[ColumnOut]:
    """Make the columns of a share: how many of how many, the share, and its interval."""
    return [
        of(f"{name}_over", Form.COUNT, shares, lambda s: s.count),
        of(f"{name}_n", Form.COUNT, shares, lambda s: s.n),
        of(f"{name}_share", Form.NUMBER, shares, lambda s: s.share if s.known else None, SHARE, 3),
        of(f"{name}_low", Form.NUMBER, shares, lambda s: s.low if s.known else None, SHARE, 3),
        of(f"{name}_high", Form.NUMBER, shares, lambda s: s.high if s.known else None, SHARE, 3),
    ]


def verdict(ratio: float | None) -> str | None:
    """Give the verdict of a limit ratio; ``None`` where nothing was judged."""
    if ratio is None or math.isnan(ratio):
        return None
    return say("verdict.over") if ratio > 1 else say("verdict.within")


def iso_month(first: date) -> str:
    """Write a month as it stands in an address, e.g. ``'2026-10'``."""
    return f"{first:%Y-%m}"
