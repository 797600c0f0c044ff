"""What the page of a site's settings shows: what holds, since when, by whom and why, and every time that it was set."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dashboard.views.said_fields import fields_of
from dashboard.words import say
from dashboard.writing import DASH, moment
from models.values.story import SiteSetting


@dataclass(frozen=True, slots=True)
class SettingLine:
    """One value that holds, and the entry that set it last."""

    name: str
    value: str
    since: str
    author: str
    why: str
    entry: int


@dataclass(frozen=True, slots=True)
class SettingVersion:
    """One time that the site was set: its entry, when, by whom, why, and what that changed."""

    entry: int
    recorded: str
    author: str
    why: str
    changes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SiteView:
    """Everything that the page shows of how a site is set; ``versions`` are the newest first."""

    name: str
    code: str
    lines: tuple[SettingLine, ...]
    versions: tuple[SettingVersion, ...]


def build(settings: Sequence[SiteSetting]) -> SiteView:
    """Put into words how a site is set, and was.

    Parameters
    ----------
    settings : sequence of SiteSetting
        How it was set, entry by entry, the oldest first; at least one. [unitless]
    """
    now, zone = settings[-1].site, settings[-1].site.zone
    said = [_values(one) for one in settings]
    lines = []
    for name, value in said[-1].items():
        # The last one that set it otherwise than it was before.
        last = max(place for place in range(len(said)) if place == 0 or said[place][name] != said[place - 1][name])
        one = settings[last]
        lines.append(SettingLine(name, value, moment(one.recorded_at, zone), one.author, _why(one, last), one.entry))
    versions = [
        SettingVersion(
            one.entry,
            moment(one.recorded_at, zone),
            one.author,
            _why(one, place),
            _changes(said[place], said[place - 1] if place else None),
        )
        for place, one in enumerate(settings)
    ]
    return SiteView(now.name, now.code, tuple(lines), tuple(reversed(versions)))


def _values(setting: SiteSetting) -> dict[str, str]:
    """Give what can be set, by its name on the page; the code stands for itself and never changes."""
    return {
        name: text for name, text in fields_of(setting.site, setting.site.display) if name != say("entry.field.code")
    }


def _why(one: SiteSetting, place: int) -> str:
    return one.why or (DASH if place else say("site.made"))


def _changes(now: dict[str, str], before: dict[str, str] | None) -> tuple[str, ...]:
    if before is None:
        return tuple(say("site.first", name=name, new=new) for name, new in now.items())
    told = [
        say("site.changed", name=name, new=new, old=before[name]) for name, new in now.items() if new != before[name]
    ]
    return tuple(told) or (say("site.same"),)
