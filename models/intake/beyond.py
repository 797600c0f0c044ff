"""Cells over which no heading stands: more cells than headings, and columns without one.

A line of a text file that has more cells than the row of headings has come
apart: a comma in a text, or one before decimals, was taken for the end of a
cell, and everything after it has moved.  A column that lies within the sheet
and has only no heading is a habit of people (a remark beside the table): its
rows are whole, and it is said once that it is not read.  In rows that came
back to be mended, what had been too much stands to the right of the column
that says what to mend; there it is too much still, even where a spreadsheet has
given that column a blank heading.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

from models.intake.reading import Cell

_SHOWN = 80


class Beyond:
    """What is known of the cells of a sheet over which no heading stands.

    ``cells`` says how many cells a row may have, ``untold`` are the columns
    without a heading of which nothing was said yet.

    Parameters
    ----------
    headings : sequence of Cell
        The row of headings, blank ones too. [as typed]
    mapped : collection of int
        Columns that are read, whatever stands over them. [unitless]
    last : str
        A heading behind which nothing may stand. [unitless]
    """

    def __init__(self, headings: Sequence[Cell], mapped: Collection[int], last: str = "") -> None:
        texts = ["" if heading is None else " ".join(str(heading).split()) for heading in headings]
        self.cells = texts.index(last) + 1 if last and last in texts else len(texts)
        self.untold = [place for place, text in enumerate(texts[: self.cells]) if not text and place not in mapped]

    def more(self, cells: Sequence[Cell]) -> str:
        """Give what stands in cells that are too many; empty where nothing does."""
        found = " | ".join(str(cell).strip() for cell in cells[self.cells :] if not is_blank(cell))
        return found if len(found) <= _SHOWN else f"{found[: _SHOWN - 1]}…"

    def tell(self, cells: Sequence[Cell]) -> list[tuple[int, str]]:
        """Give the untold columns in which something stands in a row, with what stands there; they are told from then on."""
        found = [
            (place, str(cells[place]).strip()[:_SHOWN])
            for place in self.untold
            if place < len(cells) and not is_blank(cells[place])
        ]
        if found:
            told = {place for place, _ in found}
            self.untold = [place for place in self.untold if place not in told]
        return found

    def is_silent(self, cells: Sequence[Cell]) -> bool:
        """Tell whether nothing has to be said of a row for these cells."""
        return (len(cells) <= self.cells or all(map(is_blank, cells[self.cells :]))) and all(
            place >= len(cells) or is_blank(cells[place]) for place in self.untold
        )


def is_blank(cell: Cell) -> bool:
    """Tell whether a cell is blank."""
    return cell is None or (isinstance(cell, str) and not cell.strip())
