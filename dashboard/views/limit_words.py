"""Limits of one machine in words: what is in force, how it is taken, and why there is none."""

from __future__ import annotations

from collections.abc import Sequence

from dashboard.words import say
from models.units import Display, Quantity
from models.values.limits import LimitSet, LimitsGiven


def given_texts(limits: LimitsGiven, display: Display) -> tuple[str, ...]:
    """Write each limit that a set gave for a machine; empty where it gave none.

    Parameters
    ----------
    limits : LimitsGiven
        The limits. [mm, mm/m]
    display : Display
        Units to write them in. [unitless]
    """
    pairs = (
        ("limit.offset", limits.offset_mm, Quantity.OFFSET),
        ("limit.angle", limits.angle_mm_m, Quantity.ANGULARITY),
        ("limit.flex", limits.flex_mm_m, Quantity.ANGULARITY),
        ("limit.soft", limits.soft_foot_mm, Quantity.OFFSET),
    )
    return tuple(say(key, value=display.text(value, quantity)) for key, value, quantity in pairs if value is not None)


def how_taken(limits: LimitsGiven) -> str:
    """Say how vertical and horizontal are taken; where only soft foot has a limit, that nothing is judged of the shafts.

    Parameters
    ----------
    limits : LimitsGiven
        The limits. [mm, mm/m]
    """
    if not judges_shafts(limits):
        return say("limit.no_shafts")
    return say("limit.each") if limits.each_axis else say("limit.resultant")


def judges_shafts(limits: LimitsGiven) -> bool:
    """Tell whether offset, angularity or flex angles are judged: soft foot is no resultant."""
    return any(limit is not None for limit in (limits.offset_mm, limits.angle_mm_m, limits.flex_mm_m))


def limits_in_force(limits: LimitsGiven, display: Display, limit_set: LimitSet | None, speed_rpm: float | None) -> str:
    """Write the limits that are in force for a machine; where there are none, why.

    Parameters
    ----------
    limits : LimitsGiven
        The limits. [mm, mm/m]
    display : Display
        Units to write them in. [unitless]
    limit_set : LimitSet or None
        The set in force. [unitless]
    speed_rpm : float or None
        Speed at which limits are taken. [rpm]
    """
    if judges_shafts(limits):
        return _joined(given_texts(limits, display), how_taken(limits))
    return _joined(given_texts(limits, display), why_none(limit_set, speed_rpm))


def _joined(texts: Sequence[str], then: str) -> str:
    return say("record.last.limits.how", limits=", ".join(texts), how=then) if texts else then


def why_none(limit_set: LimitSet | None, speed_rpm: float | None) -> str:
    """Say why nothing is judged of the shafts of a machine.

    Parameters
    ----------
    limit_set : LimitSet or None
        The set in force. [unitless]
    speed_rpm : float or None
        Speed at which limits are taken. [rpm]
    """
    if limit_set is None:
        return say("limit.why.no_set")
    return say("limit.why.no_speed") if speed_rpm is None else say("limit.why.no_row")
