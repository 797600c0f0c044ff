"""What the Asset page tells of the machine itself: its facts, its descriptions over the years, the limits of the last visit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

import numpy as np

from dashboard.views.asset_last_view import left_text
from dashboard.views.job_words import limit_set_text
from dashboard.views.limit_words import given_texts, how_taken
from dashboard.views.record_names import four_text
from dashboard.views.said_fields import fields_of
from dashboard.words import say
from dashboard.writing import DASH, day, speed_class
from models.history.columns import SPEED_BOUNDS_RPM, speed_class_of
from models.units import Display, Quantity
from models.values.asset import Asset
from models.values.story import AssetStory, JobLine


@dataclass(frozen=True, slots=True)
class Described:
    """One description of the machine, as the book holds it."""

    since: str
    author: str
    coupling: str
    speed: str
    feet: str


def described(story: AssetStory, display: Display) -> tuple[Described, ...]:
    """Give the descriptions of the machine, the newest first."""
    return tuple(
        Described(
            since=day(one.asset.valid_from) if one.asset.valid_from else DASH,
            author=one.author,
            coupling=_coupling(one.asset, display),
            speed=display.text(one.asset.limit_speed_rpm, Quantity.SPEED),
            feet=_distances(one.asset.feet_movable_mm, display),
        )
        for one in reversed(story.versions)
    )


def _coupling(asset: Asset, display: Display) -> str:
    coupling = say(f"coupling.{asset.coupling.value}")
    return (
        say("asset.coupling.span", coupling=coupling, span=display.text(asset.span_mm, Quantity.DISTANCE))
        if asset.span_mm
        else coupling
    )


def upcoming_of(story: AssetStory, display: Display) -> tuple[tuple[str, str], ...]:
    """Give for each description that begins later from when it holds, and in what it differs from the one before it."""
    found, before = [], story.asset
    for later in story.upcoming:
        was, then = (dict(fields_of(replace(one, valid_from=None), display)) for one in (before, later))
        differs = "; ".join(
            say("asset.upcoming.field", name=name, text=text) for name, text in then.items() if was[name] != text
        )
        found.append((say("asset.upcoming", day=day(later.valid_from)), differs or say("asset.upcoming.same")))
        before = later
    return tuple(found)


def limit_note_of(jobs: Sequence[JobLine], display: Display) -> str:
    """Say which limits the last visit was judged by; empty where there was none."""
    if not jobs:
        return ""
    given = jobs[-1].limits
    texts = given_texts(given, display)
    if not texts:
        return say("asset.limits.none")
    return say("asset.limits", limits=", ".join(texts), how=how_taken(given), name=limit_set_text(jobs[-1].limit_set))


def facts_of(
    story: AssetStory, jobs: Sequence[JobLine], display: Display, zone: ZoneInfo
) -> tuple[tuple[str, str], ...]:
    """Give what is known of the machine, by name; what the book does not know is left out."""
    asset = story.asset
    speed = display.text(asset.speed_rpm, Quantity.SPEED)
    if asset.speed_max_rpm:
        speed = say("asset.speed.upto", speed=speed, most=display.text(asset.speed_max_rpm, Quantity.SPEED))
    if asset.limit_speed_rpm:
        index = int(speed_class_of(np.array([asset.limit_speed_rpm]))[0])
        speed = f"{speed} ({speed_class(index, SPEED_BOUNDS_RPM)})"
    feet = _distances(asset.feet_movable_mm, display)
    still = _distances(tuple(-x for x in asset.feet_stationary_mm), display)
    last = jobs[-1] if jobs else None
    facts: list[tuple[str, str]] = [
        (say("fact.where"), ", ".join(part for part in (story.site.name, asset.area) if part)),
        (say("fact.train"), asset.train),
        (
            say("fact.machines"),
            say("fact.drives", driver=asset.driver, driven=asset.driven)
            if asset.driver and asset.driven
            else asset.driven or asset.driver,
        ),
        (say("fact.coupling"), _coupling(asset, display)),
        (say("fact.speed"), speed),
        (say("fact.power"), display.text(asset.power_kw, Quantity.POWER) if asset.power_kw else ""),
        (say("fact.criticality"), asset.criticality),
        (say("fact.feet_movable"), feet),
        (say("fact.feet_stationary"), still),
        (say("fact.commissioned"), day(asset.commissioned) if asset.commissioned else ""),
        (say("fact.retired"), day(asset.retired) if asset.retired else ""),
        *upcoming_of(story, display),
    ]
    if last is not None:
        facts += [
            (say("fact.last_visit"), day(last.job.performed_at.astimezone(zone).date())),
            (say("fact.last_left"), left_text(story.standing, story.site.zone, display)),
            (
                say("fact.target"),
                four_text(last.job.target, display) if any(last.job.target.as_tuple()) else say("fact.no_target"),
            ),
        ]
    return tuple((name, value) for name, value in facts if value)


def _distances(distances_mm: Sequence[float], display: Display) -> str:
    texts = [display.text(x, Quantity.DISTANCE, with_unit=False) for x in distances_mm]
    return f"{' · '.join(texts)} {display.unit(Quantity.DISTANCE)}" if texts else ""
