"""Numbers that go into a workbook with all their digits."""

from __future__ import annotations


class WholeDigits(float):
    """A number that is written so that it comes back the very same.

    The library that writes workbooks asks for sixteen digits; a third of the
    numbers that were converted from mil to mm and back need seventeen.
    """

    def __format__(self, spec: str) -> str:
        """Write the shortest digits that name this number alone, whatever was asked for."""
        return repr(float(self))
