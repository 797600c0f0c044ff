"""What the rows of a sheet tell of how it is read where a person has fixed that: the same, the contrary, or nothing."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from enum import Enum
from itertools import chain
from typing import Generic, TypeVar

from models.intake.cells import texts_in
from models.intake.dates import Order
from models.intake.day_order import OPENING, order_told
from models.intake.decimal_sign import sign_told
from models.intake.mapping import SheetMapping
from models.intake.reading import Sheet
from models.units import Decimal

T = TypeVar("T", Order, Decimal)
_SHOWN = 40


class Told(Enum):
    """What rows tell of something that is fixed; where some tell the same and some the contrary, the same."""

    NOTHING = "nothing"
    SAME = "same"
    CONTRARY = "contrary"


@dataclass(frozen=True, slots=True)
class Fixed(Generic[T]):
    """Something of a sheet's reading that may be fixed: what it is, in which columns it counts, and what a text tells of it."""

    of: Callable[[SheetMapping], T | None]
    columns: Callable[[SheetMapping], list[int]]
    by: Callable[[str], T | None]
    most: int | None

    def told(self, sheet: Sheet, mapping: SheetMapping) -> Told:
        """Look what the rows of a sheet tell; as soon as one tells the same, no other is looked at.

        Parameters
        ----------
        sheet : Sheet
            The sheet. [unitless]
        mapping : SheetMapping
            How it is read. [unitless]

        Raises
        ------
        UnreadableFileError
            If the file is no text in its encoding, or a quotation is not closed.
        """
        fixed, columns = self.of(mapping), self.columns(mapping)
        found = Told.NOTHING
        if fixed is None:
            return found
        texts = texts_in(sheet, mapping.header_row, columns, most=self.most)
        for text in chain(_first_texts(sheet, mapping.header_row, columns), chain.from_iterable(texts)):
            told = self.by(text)
            if told is fixed:
                return Told.SAME
            if told is not None:
                found = Told.CONTRARY
        return found

    def place(self, sheet: Sheet, mapping: SheetMapping) -> str:
        """Name the first row that tells the contrary, with what stands there; empty where none does."""
        fixed, columns = self.of(mapping), self.columns(mapping)
        for number, cells in sheet.rows():
            for place in columns if number > mapping.header_row else ():
                cell = cells[place] if place < len(cells) else None
                if isinstance(cell, str) and self.by(cell) not in {None, fixed}:
                    return f"row {number}: {' '.join(cell.split())[:_SHOWN]}"
        return ""


def _first_texts(sheet: Sheet, header_row: int, columns: Sequence[int]) -> Iterator[str]:
    """Give texts of the rows that were read for a look: nearly always they tell, and no file has to be opened."""
    cells = (row[place] for row in sheet.head[header_row:] for place in columns if place < len(row))
    return (cell for cell in cells if isinstance(cell, str))


def _order(mapping: SheetMapping) -> Order | None:
    return mapping.order if mapping.order in {Order.DAY_FIRST, Order.MONTH_FIRST} else None


def _sign(mapping: SheetMapping) -> Decimal | None:
    # That of the template was told by its own first rows: nobody has confirmed anything.
    return None if mapping.is_template or mapping.decimal is Decimal.AUTO else mapping.decimal


FIXED_ORDER: Fixed[Order] = Fixed(_order, lambda mapping: mapping.date_columns, order_told, OPENING)
FIXED_DECIMAL: Fixed[Decimal] = Fixed(_sign, lambda mapping: mapping.number_columns, sign_told, None)
