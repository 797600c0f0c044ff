"""What a part of a page stands on, for parts that need more than one of these; ``dashboard.fetch.Scene`` is one.

A component knows no database and no request, so it names what it takes instead of where that comes from.
"""

from __future__ import annotations

from typing import Protocol

from dashboard.place import Place
from models.history.columns import History
from models.units import Display


class Seen(Protocol):
    """Address, units and history of a page."""

    @property
    def place(self) -> Place:
        """Give the address."""

    @property
    def display(self) -> Display:
        """Give the units to show."""

    @property
    def history(self) -> History:
        """Give the history of the site."""
