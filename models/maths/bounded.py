"""Least squares within bounds, for the few unknowns that a machine's feet have.

Two unknowns for one machine, four for two, and one bound on either side of each
row of feet: few enough to try every set of bounds that could be touched.  That
is exact, needs no tuning, and cannot stop halfway.
"""

from __future__ import annotations

from itertools import combinations, product

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

_TOLERANCE = 1e-9


def least_squares_within(
    matrix: FloatArray, wanted: FloatArray, rows: FloatArray, lower: FloatArray, upper: FloatArray
) -> FloatArray | None:
    """Minimise the misfit within bounds; among equally good answers give the smallest.

    Parameters
    ----------
    matrix : (m, k) float array
        What each unknown does. [as used]
    wanted : (m,) float array
        What shall be reached. [as used]
    rows : (r, k) float array
        Combinations of the unknowns that are bounded. [as used]
    lower, upper : (r,) float array
        Bounds of each combination; infinite where there is none. [as used]

    Returns
    -------
    (k,) float array or None
        The unknowns p that minimise ‖matrix·p − wanted‖ with lower ≤ rows·p ≤ upper, and of those the one with the
        smallest ‖p‖; ``None`` where no p keeps all bounds. [as used]

    Notes
    -----
    At the optimum at most k independent bounds are touched.  With those held as
    equations the rest is an ordinary problem, solved by the singular value
    decomposition; the best of all such answers that keeps every bound is the
    optimum, because the problem is convex.
    """
    unknowns = matrix.shape[1]
    size = max(1.0, float(np.abs(wanted).max(initial=0.0)), float(np.abs(lower[np.isfinite(lower)]).max(initial=0.0)))
    slack = _TOLERANCE * max(size, float(np.abs(upper[np.isfinite(upper)]).max(initial=0.0)))
    best: tuple[float, float, FloatArray] | None = None
    for count in range(min(unknowns, rows.shape[0]) + 1):
        for touched in combinations(range(rows.shape[0]), count):
            for at in product(*(_ends(lower[row], upper[row]) for row in touched)):
                p = _held(matrix, wanted, rows[list(touched)], np.array(at, dtype=np.float64))
                if p is None or (rows @ p < lower - slack).any() or (rows @ p > upper + slack).any():
                    continue
                misfit, norm = float(np.linalg.norm(matrix @ p - wanted)), float(np.linalg.norm(p))
                better = (
                    best is None or misfit < best[0] - slack or (misfit < best[0] + slack and norm < best[1] - slack)
                )
                if better:
                    best = (misfit, norm, p)
        if count == 0 and best is not None:
            return best[2]  # without any bound it is the optimum already
    return None if best is None else best[2]


def _ends(low: float, high: float) -> tuple[float, ...]:
    ends = (low,) if low == high else (low, high)
    return tuple(float(end) for end in ends if np.isfinite(end))


def _held(matrix: FloatArray, wanted: FloatArray, held: FloatArray, at: FloatArray) -> FloatArray | None:
    if held.shape[0] == 0:
        return np.asarray(np.linalg.pinv(matrix, rcond=1e-10) @ wanted, dtype=np.float64)
    _, singular, vt = np.linalg.svd(held)
    if singular[-1] < 1e-10 * singular[0]:
        return None  # one of them follows from the others: another set covers it
    start = np.linalg.pinv(held) @ at
    free = vt[held.shape[0] :].T
    if free.shape[1] == 0:
        return np.asarray(start, dtype=np.float64)
    rest = np.linalg.pinv(matrix @ free, rcond=1e-10) @ (wanted - matrix @ start)
    return np.asarray(start + free @ rest, dtype=np.float64)
