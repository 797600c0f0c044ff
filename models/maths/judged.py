"""Judgement of one machine: which limits a set gives for it, and the limit ratio of one deviation, in plain numbers.

What :mod:`models.maths.limits` does for many at once, without the array library: for a
small import it would take longer to load than everything else.  A test holds the two
ratios together bit for bit.
"""

from __future__ import annotations

from models.values.kinds import Coupling
from models.values.limits import Combine, Judged, LimitRow, LimitSet, LimitsGiven

ORDER = (Judged.OFFSET, Judged.ANGULARITY, Judged.FLEX_ANGLE, Judged.SOFT_FOOT)
"""Order of the columns of a limits array."""

AT_LIMIT = 1e-9
"""A limit ratio as near to 1 as this is 1: a billionth of a limit is no measurement, but decimals that are taken from one
another, turned into mm or squared miss their exact value by up to a few 10⁻¹³ of a limit."""


def at_limit(ratio: float) -> float:
    """Give a limit ratio with what lies at the limit, but for the rounding of decimals, exactly at 1.

    Parameters
    ----------
    ratio : float
        Size of a deviation ÷ limit, as computed. [unitless]

    Returns
    -------
    float
        The same; 1 where it is nearer to 1 than :data:`AT_LIMIT`. [unitless]

    Notes
    -----
    Nothing else decides between within and over: whoever compares a ratio with 1, in numbers, arrays or SQL, finds
    0.14 mm against a target of 0.10 and a limit of 0.04 within.
    """
    return 1.0 if abs(ratio - 1.0) <= AT_LIMIT else ratio


def row_limit(row: LimitRow, speed_rpm: float) -> float:
    """Give the limit of one row at a speed that the row covers.

    Parameters
    ----------
    row : LimitRow
        The row. [unitless]
    speed_rpm : float
        Running speed, the highest where it varies. [rpm]

    Returns
    -------
    float
        The limit. [mm or mm/m]
    """
    if row.value is not None:
        return row.value
    assert row.per_rpm is not None  # noqa: S101 - LimitRow refuses rows with neither
    return row.per_rpm / max(speed_rpm, row.floor_rpm)


def limits_for(limit_set: LimitSet, coupling: Coupling, speed_rpm: float | None) -> LimitsGiven:
    """Give the limits that a set holds for one machine.

    A row for the coupling itself comes before a row for any coupling; among
    several that fit, the first.  A row that depends on speed, or covers only
    some speeds, gives nothing for a machine of unknown speed.  A spacer
    coupling that has a flex-angle limit is not judged at its centre as well.
    A machine is judged axis by axis only where all its rows say so.

    Parameters
    ----------
    limit_set : LimitSet
        One version of a set. [unitless]
    coupling : Coupling
        Kind of the coupling. [unitless]
    speed_rpm : float or None
        Running speed, the highest where it varies. [rpm]

    Returns
    -------
    LimitsGiven
        Limits in mm and mm/m; ``None`` where the set says nothing.
    """
    found = {judged: _row_for(limit_set, judged, coupling, speed_rpm) for judged in ORDER}
    rows = {judged: row for judged, row in found.items() if row is not None}
    if coupling is Coupling.SPACER and Judged.FLEX_ANGLE in rows:
        rows.pop(Judged.OFFSET, None)
        rows.pop(Judged.ANGULARITY, None)
    given = {judged: row_limit(row, speed_rpm or 0.0) for judged, row in rows.items()}
    # Only rows that judge this machine have a say; where they differ the resultant holds, which is never the smaller.
    ways = {row.combine for judged, row in rows.items() if judged is not Judged.SOFT_FOOT}
    each = ways == {Combine.EACH}
    return LimitsGiven(
        given.get(Judged.OFFSET),
        given.get(Judged.ANGULARITY),
        given.get(Judged.FLEX_ANGLE),
        given.get(Judged.SOFT_FOOT),
        each,
    )


def _row_for(limit_set: LimitSet, judged: Judged, coupling: Coupling, speed_rpm: float | None) -> LimitRow | None:
    def covers(row: LimitRow) -> bool:
        if row.judged is not judged or row.coupling not in (None, coupling):
            return False
        if row.judged is Judged.FLEX_ANGLE and coupling is not Coupling.SPACER:
            return False
        open_ended = row.above_rpm <= 0 and row.upto_rpm is None
        if speed_rpm is None:
            return open_ended and row.value is not None
        return speed_rpm > row.above_rpm and (row.upto_rpm is None or speed_rpm <= row.upto_rpm)

    fitting = [row for row in limit_set.rows if covers(row)]
    return min(fitting, key=lambda row: row.coupling is None, default=None)  # min keeps the first of equals


def ratio_of(deviation: tuple[float, float, float, float], limits: LimitsGiven, span_mm: float | None) -> float | None:
    """Give the limit ratio of one deviation, as :func:`models.maths.limits.limit_ratio` gives it for many.

    Parameters
    ----------
    deviation : tuple of float
        Measured − target: offset V, angularity V, offset H, angularity H. [mm, mm/m, mm, mm/m]
    limits : LimitsGiven
        The limits of the machine. [mm, mm/m]
    span_mm : float or None
        Span between flex planes; ``None`` for a short coupling. [mm]

    Returns
    -------
    float or None
        Limit ratio; ``None`` where nothing is judged. [unitless]
    """
    offset_v, angle_v, offset_h, angle_h = deviation
    each, found = limits.each_axis, []
    if limits.offset_mm is not None:
        found.append(_size(offset_v, offset_h, each=each) / limits.offset_mm)
    if limits.angle_mm_m is not None:
        found.append(_size(angle_v, angle_h, each=each) / limits.angle_mm_m)
    if limits.flex_mm_m is not None and span_mm is not None:
        slope_v, slope_h = offset_v / span_mm * 1000.0, offset_h / span_mm * 1000.0
        half_v, half_h = angle_v / 2.0, angle_h / 2.0
        near = _size(slope_v + half_v, slope_h + half_h, each=each)
        far = _size(half_v - slope_v, half_h - slope_h, each=each)
        found += [near / limits.flex_mm_m, far / limits.flex_mm_m]
    return at_limit(max(found)) if found else None


def _size(vertical: float, horizontal: float, *, each: bool) -> float:
    # abs() of a complex number is the C library's hypot, as the arrays take it; math.hypot rounds otherwise now and then.
    return max(abs(vertical), abs(horizontal)) if each else abs(complex(vertical, horizontal))
