"""How large a misalignment can be at all: bounds for whoever reads what was typed, without anything to compute with."""

from __future__ import annotations

from typing import Final

ODD: Final = (2.0, 10.0)
IMPOSSIBLE: Final = (25.0, 100.0)
"""Offset [mm] and angularity [mm/m] that are odd, and that no aligned machines have; the same for imported sheets and for
what is typed.  This project's own."""
