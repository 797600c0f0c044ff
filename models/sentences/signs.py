"""Which way round the four numbers of a misalignment count, in words: one text for files, pages and programs."""

from __future__ import annotations

from typing import Final

ANGULARITY: Final = "the movable shaft rises, or runs to the right, away from the coupling; the gap at the coupling is then wider at the bottom, or on the left"
"""What a positive angularity is, vertical or horizontal; right and left as for somebody at the movable machine who looks towards the stationary one.

By the geometry of hub faces: gap(bottom) − gap(top) = slope × diameter (project trade reference, 2.1).
"""

TURNED: Final = "a sheet that counts a gap open at the top as + has it the other way round"
"""How to tell a sheet whose sign of angularity has to be turned round."""
