"""How the invented machines move between two visits: a random walk, and what is planted on top of it.

The walk is taken in steps of a day.  Its variance grows with calendar time, for standby machines as well.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from models.maths.limits import FloatArray
from models.values.kinds import Part, Reason
from seed_data.plant import Station
from seed_data.rules import Yardstick

SHAPE = np.array([1.0, 0.6, 1.0, 0.6])
"""Ordinary drift of the four components in limit units, relative to the offset: angles move less."""

CAST_IRON_PER_K = 11.4e-6
"""Expansion of grey cast iron, 1/K: Callister, Fundamentals of Materials Science and Engineering, 3rd ed., Table B.6."""

COLD_C = 20.0
"""Temperature at which the plant reckons its machines cold. [°C]"""

SETTLING_YEARS = 12.0
"""A settling base slows down: its rate falls by the factor e in this time. [years]"""


@dataclass(frozen=True, slots=True)
class Call:
    """The day on which somebody goes to the machine, and why."""

    day: date
    reason: Reason


def growth_mm(height_mm: float, temperature_c: float, reference_c: float = COLD_C) -> float:
    """Give how far a shaft centre rises when its casing warms up: α·L·ΔT.

    Parameters
    ----------
    height_mm : float
        From the underside of the foot to the shaft centre. [mm]
    temperature_c : float
        Casing temperature. [°C]
    reference_c : float
        Temperature at which the growth is zero. [°C]

    References
    ----------
    R. B. McMillan, Rotating Machinery: Practical Solutions to Unbalance and Misalignment (2004), eq. 8.2, digital page 146.
    """
    return CAST_IRON_PER_K * height_mm * (temperature_c - reference_c)


def settling_per_year(station: Station, scale: FloatArray, day: date) -> FloatArray:
    """Give the rate at which a base settles on a day; zeros for a base that does not.

    Parameters
    ----------
    station : Station
        The machine. [unitless]
    scale : (4,) float array
        One limit unit of each component. [mm, mm/m, mm, mm/m]
    day : date
        The day. [unitless]

    Returns
    -------
    (4,) float array
        Rate of each component. [mm, mm/m, mm, mm/m per year]
    """
    cause = station.cause("settling base")
    grouted = any(b.part is Part.BASE and b.on <= day for b in station.breaks)
    if cause is None or grouted:
        return np.zeros(4)
    rate = np.array([cause.size["offset_v_per_year"], cause.size["angle_v_per_year"], 0.0, 0.0])
    slower = math.exp(-(day - cause.since).days / 365.25 / SETTLING_YEARS)
    return np.asarray(rate * scale * slower)


def pulled_by_pipes(station: Station, scale: FloatArray, day: date, rng: np.random.Generator) -> FloatArray:
    """Give how far the pipes pull a machine when they are bolted up again after work on it; zeros where they meet freely.

    Parameters
    ----------
    station : Station
        The machine. [unitless]
    scale : (4,) float array
        One limit unit of each component. [mm, mm/m, mm, mm/m]
    day : date
        The day of the work. [unitless]
    rng : numpy.random.Generator
        Random numbers. [unitless]

    Returns
    -------
    (4,) float array
        Step of each component, the same way each time. [mm, mm/m, mm, mm/m]
    """
    pipes = station.cause("pipe strain")
    if pipes is None or day < pipes.since:
        return np.zeros(4)
    pull = np.array([pipes.size["offset_v"], 0.0, pipes.size["offset_h"], pipes.size["angle_h"]])
    return np.asarray(pull * scale * rng.uniform(0.85, 1.15))


def slips(station: Station, scale: FloatArray, start: date, days: int, rng: np.random.Generator) -> FloatArray:
    """Give how far a machine with loose bolts slips on its base on each of the days after the start.

    It slips at some of its starts and trips, mostly to the side, either way, and hardly ever twice the same.

    Parameters
    ----------
    station : Station
        The machine. [unitless]
    scale : (4,) float array
        One limit unit of each component. [mm, mm/m, mm, mm/m]
    start : date
        Day of the last visit. [unitless]
    days : int
        How many days to go. [d]
    rng : numpy.random.Generator
        Random numbers. [unitless]

    Returns
    -------
    (days, 4) float array
        Step of each component on day 1, 2 …. [mm, mm/m, mm, mm/m]
    """
    bolts = station.cause("loose bolts")
    if bolts is None:
        return np.zeros((days, 4))
    late = np.arange(1, days + 1) > (bolts.since - start).days
    slipped = late & (rng.random(days) < bolts.size["slips_per_year"] / 365.25)
    side = np.where(rng.random(days) < 0.5, -1.0, 1.0) * rng.uniform(0.7, 1.3, days)
    sizes = np.stack(
        [
            0.1 * rng.standard_normal(days),
            0.1 * rng.standard_normal(days),
            bolts.size["offset_h"] * side,
            bolts.size["angle_h"] * rng.standard_normal(days),
        ],
        axis=1,
    )
    return np.asarray(slipped[:, None] * sizes * scale)


def walk(
    station: Station, stick: Yardstick, pose: FloatArray, start: date, days: int, rng: np.random.Generator
) -> FloatArray:
    """Give the pose of the machine at the end of each day after the start.

    Parameters
    ----------
    station : Station
        The machine. [unitless]
    stick : Yardstick
        Its limits. [unitless]
    pose : (4,) float array
        Cold misalignment at the start. [mm, mm/m, mm, mm/m]
    start : date
        Day of the last visit. [unitless]
    days : int
        How many days to go. [d]
    rng : numpy.random.Generator
        Random numbers. [unitless]

    Returns
    -------
    (days, 4) float array
        Cold misalignment at the end of day 1, 2 …. [mm, mm/m, mm, mm/m]
    """
    scale = stick.scale
    loose = station.cause("soft foot")
    # Fast machines are a little more over than slow ones: the same movement counts for more against a narrower limit.
    fast = ((station.asset_on(start).limit_speed_rpm or 1500.0) / 1500.0) ** 0.3
    wander = station.wander * fast * (loose.size["wander"] if loose else 1.0)
    steps = rng.standard_normal((days, 4)) * (wander * scale * SHAPE * math.sqrt(1.0 / 365.25))
    middle = start + timedelta(days=days // 2)
    steps += settling_per_year(station, scale, middle) / 365.25
    steps += slips(station, scale, start, days, rng)
    return np.asarray(pose + np.cumsum(steps, axis=0))


def next_call(ratios: FloatArray, start: date, rng: np.random.Generator) -> Call:
    """Tell when somebody comes, given the true limit ratio of each day up to the planned visit.

    Somebody notices a machine that runs badly over its limit: the worse, the sooner.  A few repairs (a seal, a
    bearing) have nothing to do with alignment but disturb it all the same.  The last day is the planned visit.

    Parameters
    ----------
    ratios : (days,) float array
        True limit ratio while running, day by day. [unitless]
    start : date
        Day of the last visit. [unitless]
    rng : numpy.random.Generator
        Random numbers. [unitless]
    """
    chance = rng.random((3, ratios.shape[0]))
    happens = {
        Reason.FAILURE: chance[0] < np.clip(ratios - 2.0, 0.0, 2.0) * 0.0012,
        Reason.CONDITION: chance[1] < 0.0001 + np.clip(ratios - 1.4, 0.0, 2.5) * 0.006,
        Reason.REPAIR: chance[2] < 0.0003,
    }
    days = {reason: int(np.argmax(hit)) for reason, hit in happens.items() if hit.any()}
    if not days:
        return Call(start + timedelta(days=ratios.shape[0]), Reason.PLANNED)
    reason = min(days, key=lambda r: days[r])
    return Call(start + timedelta(days=days[reason] + 1), reason)
