"""One table on its way out: columns with name, unit, meaning and kind, and where it came from."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

from dashboard.words import say

Value = str | int | float | bool | date | datetime | None
"""What a cell holds; ``None`` is not known."""


class Form(StrEnum):
    """What a column holds, and how it is written."""

    TEXT = "text"
    NUMBER = "number"
    COUNT = "whole number"
    YES = "yes or no"
    DAY = "day"
    MOMENT = "date and time"


@dataclass(frozen=True, slots=True)
class ColumnOut:
    """One column.

    ``decimals`` is how many a person wants to see; the value itself is not rounded.
    ``comes_back`` tells that our own import reads the column: a moment is then written so that it comes back the very same.
    """

    name: str
    unit: str
    meaning: str
    form: Form
    values: tuple[Value, ...]
    decimals: int | None = None
    comes_back: bool = False

    @property
    def heading(self) -> str:
        """Give the name with the unit in brackets, as it stands above the column."""
        return f"{self.name} [{self.unit}]" if self.unit else self.name


@dataclass(frozen=True, slots=True)
class TableOut:
    """A table, whole: what it shows, of which window, site and state of the book, and how sure it is.

    ``zone`` is the clock of its moments, ``asked`` the query that was asked, ``head`` the number of the last entry.
    ``estimates`` is the entry up to which averages over all machines go where that is not the last one.
    """

    name: str
    title: str
    columns: tuple[ColumnOut, ...]
    window: str
    sure: str
    book: str
    site: str
    code: str
    zone: str
    head: int
    made_at: datetime
    asked: str = ""
    estimates: int | None = None

    def __post_init__(self) -> None:
        """Refuse columns of unequal length or of one name."""
        if len({len(column.values) for column in self.columns}) > 1:
            raise ValueError(f"{self.name}: columns of unequal length")
        if len({column.heading for column in self.columns}) != len(self.columns):
            raise ValueError(f"{self.name}: two columns of one name")

    def __len__(self) -> int:
        """Give the number of rows."""
        return len(self.columns[0].values) if self.columns else 0

    def rows(self) -> Iterator[tuple[Value, ...]]:
        """Give row after row."""
        return zip(*(column.values for column in self.columns), strict=True)

    @property
    def stem(self) -> str:
        """Give the name of a file without its ending: site, table and the state of the book."""
        return f"{self.code}-{self.name}-entry-{self.head}"


def column(
    key: str, form: Form, values: Iterable[Value], unit: str = "", decimals: int | None = None, **said: object
) -> ColumnOut:
    """Make a column whose name and meaning stand among the texts.

    Parameters
    ----------
    key : str
        Key of the texts ``files.column.<key>`` and ``files.meaning.<key>``. [unitless]
    form : Form
        What it holds. [unitless]
    values : iterable
        One value a row; NaN becomes not known. [unit]
    unit : str
        Unit that stands in brackets behind the name. [unitless]
    decimals : int, optional
        Decimals worth showing. [unitless]
    **said : object
        What stands in braces in the meaning. [unitless]
    """
    meaning = say(f"files.meaning.{key}", **said)
    return ColumnOut(say(f"files.column.{key}"), unit, meaning, form, tuple(map(known, values)), decimals)


def known(value: Value) -> Value:
    """Give ``None`` for a number that is not known, else the value."""
    return None if isinstance(value, float) and not math.isfinite(value) else value
