"""Heat: targets, growth in service, and the temperatures that a sheet names."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from models.maths.limits import FloatArray
from seed_data.motion import growth_mm
from seed_data.plant import Station

ORDINARY_HEIGHT_MM = 280.0
"""Shaft height of hot machines that have a proper target. [mm]"""


@dataclass(frozen=True, slots=True)
class Heat:
    """Temperatures at the readings, and how far the hot machine has grown at the first of them, in °C and mm."""

    ambient: float
    stationary: float
    movable: float
    grown_mm: float


def target_of(station: Station, day: date) -> FloatArray:
    """Give the cold misalignment that the plant wants on a day.

    A hot machine grows, so its motor is set higher while cold; the machines
    with a planted thermal cause have no target until somebody corrects it.

    Parameters
    ----------
    station : Station
        The machine. [unitless]
    day : date
        The day. [unitless]

    Returns
    -------
    (4,) float array
        Offset V, angularity V, offset H, angularity H. [mm, mm/m, mm, mm/m]
    """
    target = np.zeros(4)
    cause = station.cause("thermal target")
    if station.hot_c is not None and (
        cause is None or (station.corrected_on is not None and day >= station.corrected_on)
    ):
        height = cause.size["centre_height_mm"] if cause else ORDINARY_HEIGHT_MM
        target[0] = round(growth_mm(height, station.hot_c), 2)
    return target


def hot_shift(station: Station, day: date) -> FloatArray:
    """Give how far a machine runs off its cold deviation because it has no target for its heat.

    Parameters
    ----------
    station : Station
        The machine. [unitless]
    day : date
        The day. [unitless]

    Returns
    -------
    (4,) float array
        Offset V, angularity V, offset H, angularity H. [mm, mm/m, mm, mm/m]
    """
    cause = station.cause("thermal target")
    shift = np.zeros(4)
    if cause is not None and station.hot_c is not None and not target_of(station, day).any():
        shift[0] = -growth_mm(cause.size["centre_height_mm"], station.hot_c)
    return shift


def heat_on(station: Station, day: date, rng: np.random.Generator) -> Heat:
    """Give the temperatures at a visit; a machine with a planted thermal cause is read warm.

    Parameters
    ----------
    station : Station
        The machine. [unitless]
    day : date
        The day of the visit. [unitless]
    rng : numpy.random.Generator
        Random numbers. [unitless]
    """
    season = np.cos(2.0 * np.pi * (day.timetuple().tm_yday - 220) / 365.25)  # warmest in August
    ambient = float(np.round(18.0 + 4.0 * season + 1.5 * rng.standard_normal()))
    cause = station.cause("thermal target")
    warm = cause is not None and not target_of(station, day).any()
    if warm and cause is not None:
        stationary = float(np.round(rng.uniform(46.0, 62.0)))
        return Heat(ambient, stationary, ambient + 9.0, growth_mm(cause.size["centre_height_mm"], stationary, ambient))
    stationary = ambient + float(rng.integers(0, 5))
    return Heat(ambient, stationary, ambient + float(rng.integers(1, 8)), 0.0)
