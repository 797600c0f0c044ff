"""The invented plant: machines, people and instruments, and what is planted in them.

Everything is read from ``scenario.toml``; nothing in it was measured or copied.
"""

from __future__ import annotations

import math
import tomllib
import zlib
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cache
from importlib import resources
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from models.values.asset import Asset, MachineBreak
from models.values.kinds import Coupling, Method, Part
from models.values.people import Instrument, Person

HISTORY_BEGINS = date(2020, 11, 1)
"""The first day of the six years."""

LETTER = {"pump": "P", "fan": "F", "compressor": "C", "mill": "M", "gearbox": "G"}
"""Letter of the driven machine in a tag: this plant's own habit."""

EQUIPMENT_CLASS = {"pump": "PU", "fan": "BL", "compressor": "CO"}
"""Class codes of ISO 14224:2016, Annex A.

PU was read in a public repository's note on Annex A; CO (high confidence) and BL (medium confidence) are from memory,
not verified against a copy (the project's trade reference, section 7).  Other machines carry no code.
"""


@dataclass(frozen=True, slots=True)
class Cause:
    """One planted truth: what, where or with whom, since when, and its sizes as they stand in the scenario.

    ``too_short`` marks one whose history is too short for anybody to find it.
    """

    cause: str
    tags: tuple[str, ...]
    since: date
    person: str = ""
    instrument: str = ""
    too_short: bool = False
    size: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Reader:
    """An instrument with what the generator knows of it: repeatability and how often it is taken."""

    instrument: Instrument
    method: Method
    noise: tuple[float, float]
    share: float


@dataclass(frozen=True, slots=True)
class Station:
    """One asset with what the generator knows of it and no sheet says.

    ``versions`` holds its descriptions in order of time.  ``wander`` is the
    standard deviation of its ordinary drift after one year, in limit units.
    """

    versions: tuple[Asset, ...]
    interval_months: float
    duty: float
    counter: bool
    wander: float
    hot_c: float | None
    causes: tuple[Cause, ...]
    breaks: tuple[MachineBreak, ...]
    corrected_on: date | None

    @property
    def tag(self) -> str:
        """Give the tag, the same in all versions."""
        return self.versions[0].tag

    def asset_on(self, day: date) -> Asset:
        """Give the description that held on a day."""
        return [v for v in self.versions if v.valid_from is None or v.valid_from <= day][-1]

    def cause(self, name: str) -> Cause | None:
        """Give the planted cause of that name, if this asset carries it."""
        return next((c for c in self.causes if c.cause == name), None)


@dataclass(frozen=True, slots=True)
class Scenario:
    """The plant before anything happens in it."""

    code: str
    name: str
    zone: str
    stations: tuple[Station, ...]
    people: tuple[Person, ...]
    reviewers: tuple[str, ...]
    readers: tuple[Reader, ...]
    causes: tuple[Cause, ...]
    notes: dict[str, tuple[str, ...]]

    @property
    def timezone(self) -> ZoneInfo:
        """Give the zone of the site."""
        return ZoneInfo(self.zone)

    def cause(self, name: str) -> Cause:
        """Give the first planted cause of that name."""
        return next(c for c in self.causes if c.cause == name)


@cache
def scenario() -> Scenario:
    """Read the scenario that ships beside this file."""
    text = resources.files("seed_data").joinpath("scenario.toml").read_text(encoding="utf-8")
    data = tomllib.loads(text)
    causes = tuple(_cause(row) for row in data["planted"])
    breaks = tuple(MachineBreak(b["tag"], b["on"], Part(b["part"]), b["reason"]) for b in data["break"])
    stations = tuple(
        _station(asset, family, data, causes, breaks) for family in data["family"] for asset in _family(family, data)
    )
    return Scenario(
        data["site"]["code"],
        data["site"]["name"],
        data["site"]["zone"],
        stations,
        tuple(Person(p["name"], p["qualification"]) for p in data["person"]),
        tuple(p["name"] for p in data["person"] if p.get("reviews")),
        tuple(_reader(row) for row in data["instrument"]),
        causes,
        {key: tuple(texts) for key, texts in data["notes"].items()},
    )


def own_generator(seed: int, tag: str, purpose: str) -> np.random.Generator:
    """Give the random numbers of one asset, which do not depend on what the other assets do.

    Parameters
    ----------
    seed : int
        Seed of the whole plant. [unitless]
    tag : str
        Tag of the asset. [unitless]
    purpose : str
        What the numbers are for. [unitless]
    """
    return np.random.Generator(np.random.PCG64([seed, zlib.crc32(f"{purpose} {tag}".encode())]))


def _cause(row: dict[str, Any]) -> Cause:
    taken = {"cause", "tags", "since", "person", "instrument", "too_short"}
    size = {key: float(value) for key, value in row.items() if key not in taken}
    return Cause(
        row["cause"],
        tuple(row.get("tags", ())),
        row["since"],
        row.get("person", ""),
        row.get("instrument", ""),
        bool(row.get("too_short", False)),
        size,
    )


def _reader(row: dict[str, Any]) -> Reader:
    instrument = Instrument(row["serial"], row["description"], row["calibrated"], row["due"])
    offset, angle = row["noise"]
    return Reader(instrument, Method(row["method"]), (float(offset), float(angle)), float(row["share"]))


def _full_load_rpm(hz: float, poles: int, kw: float) -> float:
    """Give 120·f/p less a slip that falls with size: about 3 % at 20 kW, below 1 % at 400 kW."""
    slip = max(0.008, 0.03 - 0.007 * math.log(max(kw, 20) / 20))
    return float(round(120 * hz / poles * (1 - slip) / 5) * 5)


def _family(row: dict[str, Any], data: dict[str, Any]) -> list[Asset]:
    area, hz = data["areas"][row["area"]]["name"], data["areas"][row["area"]]["hz"]
    rpm = _full_load_rpm(hz, row["poles"], row["kw"])
    assets = []
    for number in row["numbers"]:
        for letter in row["letters"] or "-":
            name = f"{number}{letter.strip('-')}"
            tag = f"{row['area']}-{LETTER[row['kind']]}-{name}"
            fastest = row.get("fastest")
            driven = _asset(tag, f"{row['service']} {name}", area, row, rpm)
            if fastest:
                driven = replace(driven, speed_max_rpm=float(round(rpm * fastest / 5) * 5))
            if "geared" in row:
                slow = replace(driven, speed_rpm=float(round(rpm * row["geared"] / 5) * 5), driver="gearbox", train=tag)
                first = _asset(f"{row['area']}-G-{name}", f"gearbox of {row['service']} {name}", area, row, rpm)
                assets.append(replace(first, driven="gearbox", equipment_class="", train=tag))
                assets.append(slow)
            else:
                assets.append(driven)
    return assets


def _asset(tag: str, description: str, area: str, row: dict[str, Any], rpm: float) -> Asset:
    span = row.get("span", 0)
    kw = float(row["kw"])
    jitter = own_generator(0, tag, "distances").integers(-3, 4, size=2) * 10
    near = round((170 + 60 * math.log10(kw)) / 10) * 10 + int(jitter[0]) + span / 2
    base = round(18 * kw**0.22) * 10
    return Asset(
        tag,
        description,
        area,
        driven=row["kind"],
        driver="electric motor",
        coupling=Coupling.SPACER if span else Coupling.SHORT,
        span_mm=float(span) or None,
        speed_rpm=rpm,
        power_kw=kw,
        criticality=row["criticality"],
        equipment_class=EQUIPMENT_CLASS.get(row["kind"], ""),
        feet_movable_mm=_rows(near, base, three=kw >= 400),
        feet_stationary_mm=tuple(-x for x in _rows(near + 20 + int(jitter[1]), base * 0.8, three=False)),
    )


def _rows(near: float, base: float, *, three: bool) -> tuple[float, ...]:
    far = near + round(base / 10) * 10
    return (near, (near + far) / 2, far) if three else (near, far)


def _station(
    asset: Asset,
    family: dict[str, Any],
    data: dict[str, Any],
    causes: tuple[Cause, ...],
    breaks: tuple[MachineBreak, ...],
) -> Station:
    tag = asset.tag
    rng = own_generator(0, tag, "habits")
    begun = {row["tag"]: row["on"] for row in data["commissioned"]}
    ended = {row["tag"]: row["on"] for row in data["retired"]}
    first = date(int(rng.integers(2004, 2020)), int(rng.integers(1, 13)), int(rng.integers(1, 29)))
    asset = replace(asset, commissioned=begun.get(tag, first), retired=ended.get(tag))
    standby = tag.endswith(("B", "C"))
    return Station(
        (asset, *(_changed(asset, row, family, data) for row in data["change"] if row["tag"] == tag)),
        {"A": 4.4, "B": 7.1, "C": 10.3}[asset.criticality],
        float(rng.uniform(0.35, 0.55) if standby else rng.uniform(0.7, 0.95)),
        bool(rng.random() < 0.5),
        float(0.48 * math.exp(0.22 * rng.standard_normal())),
        family.get("hot"),
        tuple(c for c in causes if tag in c.tags),
        tuple(b for b in breaks if b.tag == tag),
        next((row["on"] for row in data["corrected"] if row["tag"] == tag), None),
    )


def _changed(asset: Asset, row: dict[str, Any], family: dict[str, Any], data: dict[str, Any]) -> Asset:
    later = replace(asset, valid_from=row["valid_from"])
    if "span" in row:
        later = replace(later, coupling=Coupling.SPACER, span_mm=float(row["span"]))
    if "fastest" in row:
        later = replace(later, speed_max_rpm=float(round((asset.speed_rpm or 0) * row["fastest"] / 5) * 5))
    if "poles" in row:
        hz = data["areas"][family["area"]]["hz"]
        later = replace(later, speed_rpm=_full_load_rpm(hz, row["poles"], family["kw"]))
    return later
