"""What a job says in codes, put into the words of the reader: differences, checks, the limits it was judged by, its source."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from dashboard.views.limit_words import given_texts, how_taken
from dashboard.views.record_fields import quantity_of
from dashboard.views.typed_fields import typed_name
from dashboard.words import say
from dashboard.writing import DASH, judged_by
from models.intake.typed import read_number
from models.units import Display
from models.values.decision import SIDES, Covariance
from models.values.differences import QUANTITIES, TEXTS, Difference, differences
from models.values.draft import WorkCheck
from models.values.job import COMPONENTS, Job
from models.values.limits import LimitsGiven
from models.values.story import JobLine

_CHECKS = {check.value: check.name for check in WorkCheck}
_VERSION, _ROW = ", version ", ", row "


@dataclass(frozen=True, slots=True)
class Told:
    """One field that two versions say differently, as a person reads it."""

    field: str
    old: str
    new: str


def told(differences: Iterable[Difference]) -> tuple[Told, ...]:
    """Put differences into words.

    Parameters
    ----------
    differences : iterable of Difference
        What two versions of a job say differently. [as shown]
    """
    return tuple(Told(field_name(one), _value(one, one.old), _value(one, one.new)) for one in differences)


def told_versions(old: JobLine, new: JobLine, display: Display) -> tuple[Told, ...]:
    """Put into words what two versions of a job say differently, and what they were judged by where that differs.

    Parameters
    ----------
    old, new : JobLine
        Two versions. [as stored]
    display : Display
        Units to write them in. [unitless]
    """
    verdicts = [
        Told(say(f"differs.{name}"), was, now)
        for name, was, now in (
            ("found_ratio", *(judged_by(line.found_ratio, line.decisions.found) for line in (old, new))),
            ("left_ratio", *(judged_by(line.left_ratio, line.decisions.left) for line in (old, new))),
        )
        if was != now
    ]
    for side in SIDES:
        was, now = (
            _deviations(None if one is None else one.covariance, display)
            for one in (getattr(line.decisions, side) for line in (old, new))
        )
        if was != now:
            verdicts.append(Told(say(f"differs.{side}_known"), was, now))
    limits = [_limits(line.limits, display) for line in (old, new)]
    if old.limits != new.limits:
        verdicts.insert(0, Told(say("differs.limits"), *limits))
    return (*told_jobs(old.job, new.job, display), *verdicts)


def told_jobs(old: Job, new: Job, display: Display) -> tuple[Told, ...]:
    """Put into words what two versions of a job say differently: its fields, and the readings of which its numbers are made.

    Parameters
    ----------
    old, new : Job
        Two versions. [as stored]
    display : Display
        Units to write the fields in; readings stand as they were typed. [unitless]
    """
    return (*told(differences(old, new, display)), *_readings(old.typed, new.typed, display))


def _readings(old: Mapping[str, str], new: Mapping[str, str], display: Display) -> Iterator[Told]:
    """Tell the readings, distances and choices that were typed otherwise; of another way of measuring that alone."""
    for stage in ("found", "left"):
        method = f"{stage} method"
        another = old.get(method) != new.get(method)
        for key in dict.fromkeys(key for key in (*old, *new) if key.startswith(f"{stage} ")):
            was, now = old.get(key, ""), new.get(key, "")
            if (key == method or not another) and was != now and not _reads_alike(key, was, now, display):
                yield Told(typed_name(key), was or DASH, now or DASH)


def _reads_alike(key: str, was: str, now: str, display: Display) -> bool:
    quantity = quantity_of(key.partition(" ")[2])
    if quantity is None:
        return False
    one, other = (read_number(key, text, quantity, display)[0] for text in (was, now))
    return one is not None and other is not None and one.value == other.value


def _deviations(known: Covariance | None, display: Display) -> str:
    """Write the standard uncertainties of the four components."""
    if known is None:
        return DASH
    sizes = ((name, math.sqrt(known[place][place]), QUANTITIES[place]) for place, name in enumerate(COMPONENTS))
    return "; ".join(
        f"{say(f'differs.part.{name}')} {display.show(sd, of):.3g} {display.unit(of)}" for name, sd, of in sizes
    )


def _limits(given: LimitsGiven, display: Display) -> str:
    return "; ".join((*given_texts(given, display), how_taken(given)))


def field_name(one: Difference) -> str:
    """Name the field of a difference."""
    name, part = one.parts
    if name in ("found", "left", "target"):
        return say("differs.component", stage=say(f"differs.{name}"), component=say(f"differs.part.{part}"))
    return say("differs.foot", what=say(f"differs.{name}"), foot=part) if part else say(f"differs.{name}")


def _value(one: Difference, text: str) -> str:
    if one.key not in TEXTS:
        return text
    if one.key == "checks":
        return checks_text(text.split("; "))
    known = {"reason": "reason", "method": "method"}.get(one.key)
    return say(f"{known}.{text}") if known else text


def checks_text(checks: Iterable[str]) -> str:
    """Write the checks that were done; one that the book's own list does not know stands as it was written."""
    return "; ".join(say(f"record.check.{_CHECKS[one]}") if one in _CHECKS else one for one in checks)


def limit_set_text(named: str) -> str:
    """Write the name and version of the limit set that a job was judged by; empty where there was none."""
    name, sign, version = named.rpartition(_VERSION)
    if not sign:  # a line of the book names it in short
        name, sign, version = named.rpartition(" ")
    return say("asset.limits.name", name=name, version=version) if sign and version.isdigit() else named


def source_text(source: str) -> str:
    """Write the file and row that a job came from; empty where somebody typed it."""
    file, sign, row = source.rpartition(_ROW)
    return say("book.source.row", file=file, row=row) if sign else source


def marked_by(old: JobLine, new: JobLine) -> str:
    """Say that a version voids the job, or takes it back; empty where it does neither."""
    if new.void:
        return say("asset.amended.void")
    return say("asset.amended.back") if old.void else ""
