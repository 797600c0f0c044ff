"""Where names may stand beside their points, so that no two of them, and no other point, lie under one another."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from models.history.columns import BoolArray, FloatArray

LETTER, LINE = 7.0, 14.0
"""Width of a bold letter and height of a line of names. [pixel]"""

PLACES = {
    "top right": (0.0, 0.5),
    "top left": (-1.0, 0.5),
    "middle right": (0.0, 0.0),
    "middle left": (-1.0, 0.0),
    "bottom right": (0.0, -0.5),
    "bottom left": (-1.0, -0.5),
}
"""Places of a name by Plotly's word for it: part of its width to the side, and its height up from the point."""


def name_places(
    at: FloatArray, radii: FloatArray, names: Sequence[str], box: tuple[float, float, float, float]
) -> list[str]:
    """Find a place for each name; those that come first choose first, and where there is no room the place is empty.

    Parameters
    ----------
    at : (n, 2) float array
        All points, the named ones first: to the right, and up. [pixel]
    radii : (n,) float array
        Their radii. [pixel]
    names : sequence of str
        Names of the first points. [unitless]
    box : tuple of float
        Left, lower, right and upper bound of the picture. [pixel]

    Returns
    -------
    list of str
        Plotly's word for each name's place; ``""`` for none.
    """
    taken = np.column_stack([at - radii[:, None], at + radii[:, None]])
    found: list[str] = []
    for row, name in enumerate(names):
        width, (x, y), r = LETTER * len(name), at[row], radii[row]
        place = ""
        for word, (side, up) in PLACES.items():
            left = x + r + 1.0 if side == 0.0 else x - r - 1.0 - width
            lower = y + up * (LINE + 2.0 * r) - LINE / 2.0
            own = np.array([left, lower, left + width, lower + LINE])
            inside = own[0] >= box[0] and own[1] >= box[1] and own[2] <= box[2] and own[3] <= box[3]
            if inside and not _meets(own, np.delete(taken, row, axis=0)).any():
                place, taken = word, np.vstack([taken, own])
                break
        found.append(place)
    return found


def _meets(own: FloatArray, others: FloatArray) -> BoolArray:
    return np.asarray(((own[:2] < others[:, 2:]) & (own[2:] > others[:, :2])).all(axis=1), dtype=np.bool_)
