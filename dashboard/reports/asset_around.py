"""What stands around a machine's history on paper: people, instruments with their calibrations, the site's decision rules, each with the entry that says so."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from dashboard.words import say
from dashboard.writing import DASH, count, counted, day, moment, rule_text
from models.history.calibration import HELD, RAN_OUT, calibration_of, known_then
from models.values.decision import NO_DECISIONS, DecisionRule
from models.values.entry import AdoptedLimits, Stated
from models.values.people import Instrument, Person
from models.values.story import AssetStory, JobLine

_NOW = {HELD: "report.job.calibration.held", RAN_OUT: "report.job.calibration.ran_out"}
_THEN = {HELD: "report.job.calibration.then.held", RAN_OUT: "report.job.calibration.then.ran_out"}

State = tuple[int, int]
"""Whether a calibration held, and how many days before the job it had run out."""


@dataclass(frozen=True, slots=True)
class Around:
    """What stands around a machine's story: people, instruments, limit sets and decision rules in all their versions."""

    people: tuple[Stated[Person], ...]
    instruments: tuple[Stated[Instrument], ...]
    limit_sets: tuple[AdoptedLimits, ...]
    rules: tuple[Stated[DecisionRule], ...] = ()


@dataclass(frozen=True, slots=True)
class Calibrated:
    """The calibration of a job's instrument on its day, by all that the book says.

    Where the book said otherwise when the job was recorded, ``then`` is that, and ``by`` the entry that changed it.
    """

    now: State
    then: State | None = None
    by: Stated[Instrument] | None = None


def calibrations(lines: Sequence[JobLine], stated: Sequence[Stated[Instrument]], zone: str) -> Mapping[int, Calibrated]:
    """Give the calibration of each version of a job, by its entry.

    Parameters
    ----------
    lines : sequence of JobLine
        The jobs. [as stored]
    stated : sequence of Stated of Instrument
        Every version of every instrument, in order of entry. [unitless]
    zone : str
        The site's zone. [unitless]
    """
    serials = sorted({line.job.instrument for line in lines if line.job.instrument})
    place = {serial: index for index, serial in enumerate(serials)}
    days = np.array([_day(line, zone) for line in lines], dtype="datetime64[D]").astype(np.int64)
    instrument = np.array([place.get(line.job.instrument, -1) for line in lines], dtype=np.int64)
    founded = np.array([line.job_id for line in lines], dtype=np.int64)
    versions = [one.said for one in stated]
    now = calibration_of(days, instrument, serials, versions)
    then = known_then(founded, days, instrument, serials, versions, [one.entry for one in stated])
    found = {}
    for row, line in enumerate(lines):
        state = (int(now.state[row]), int(now.late_days[row]))
        before = (int(then.state[row]), int(then.late_days[row]))
        changed = None if state == before else _changed(line, int(days[row]), state, stated)
        found[line.entry] = Calibrated(state) if changed is None else Calibrated(state, before, changed)
    return found


def _changed(line: JobLine, on: int, now: State, stated: Sequence[Stated[Instrument]]) -> Stated[Instrument] | None:
    """Give the entry from which on the book says of a job's day what it says today."""
    mine = [one for one in stated if one.said.serial == line.job.instrument]
    found = None
    for many in range(len(mine), 0, -1):
        told = calibration_of(
            np.array([on]), np.zeros(1, dtype=np.int64), [line.job.instrument], [one.said for one in mine[:many]]
        )
        if (int(told.state[0]), int(told.late_days[0])) != now or mine[many - 1].entry < line.job_id:
            break
        found = mine[many - 1]
    return found


def calibration_words(serial: str, known: Calibrated | None, zone: str) -> str:
    """Say whether the calibration of a job's instrument held, and where that was entered after the job, what the book said before.

    Parameters
    ----------
    serial : str
        The instrument. [unitless]
    known : Calibrated or None
        What is known of it. [unitless]
    zone : str
        The site's zone. [unitless]
    """
    state, late = (-1, 0) if known is None else known.now
    told = say(_NOW.get(state, "report.job.calibration.unknown"), instrument=serial, days=counted(late, "day"))
    if known is None or known.then is None or known.by is None:
        return told
    state, late = known.then
    before = say(_THEN.get(state, "report.job.calibration.then.unknown"), days=counted(late, "day"))
    return say(
        "report.job.calibration.later", told=told, entry=count(known.by.entry), at=moment(known.by.recorded_at, zone), before=before
    )  # fmt: skip


def instruments(
    lines: Sequence[JobLine], stated: Sequence[Stated[Instrument]], known: Mapping[int, Calibrated], zone: str
) -> dict[str, Any]:
    """Give the table of the instruments: every calibration, with the entry that says so, and whether that came after jobs that rest on it.

    Parameters
    ----------
    lines : sequence of JobLine
        The jobs. [as stored]
    stated : sequence of Stated of Instrument
        Every version of every instrument, in order of entry. [unitless]
    known : mapping of int to Calibrated
        The calibration of each version of a job. [unitless]
    zone : str
        The site's zone. [unitless]
    """
    used = Counter(line.job.instrument for line in lines if line.job.instrument)
    changed: dict[int, set[int]] = {}
    for line in lines:
        by = known[line.entry].by
        if by is not None:
            changed.setdefault(by.entry, set()).add(line.job_id)
    heads = [
        (say("entry.field.serial"), "1.1", "left"), (say("entry.field.description"), "2.2", "left"), (say("entry.field.calibrated"), "1", "right"),
        (say("entry.field.due"), "1", "right"), (say("report.asset.stated"), "2.8", "left"), (say("report.asset.jobs_with"), "0.7", "right"),
    ]  # fmt: skip
    rows: list[list[Any]] = []
    for serial in sorted(used):
        mine = [one for one in stated if one.said.serial == serial]
        if not mine:
            rows.append([{"whole": serial}, DASH, DASH, DASH, say("report.asset.stated.never"), count(used[serial])])
        for number, one in enumerate(mine):
            after = len(changed.get(one.entry, ()))
            rows.append([
                {"whole": serial}, one.said.description or DASH, day(one.said.calibrated), day(one.said.due),
                [*_stated(one, zone), say("report.asset.stated.after", n=counted(after, "job")) if after else ""],
                "" if number else count(used[serial]),
            ])  # fmt: skip
    return {
        "title": say("report.asset.instruments"), "heads": heads, "rows": rows, "none": say("report.asset.no_instruments"),
        "note": say("about.calibration"),
    }  # fmt: skip


def people(story: AssetStory, lines: Sequence[JobLine], stated: Sequence[Stated[Person]], zone: str) -> dict[str, Any]:
    """Give the table of everybody who aligned, reviewed, wrote or signed: each qualification from the entry on that says so.

    Parameters
    ----------
    story : AssetStory
        The machine. [as stored]
    lines : sequence of JobLine
        Its jobs. [as stored]
    stated : sequence of Stated of Person
        Every version of every person, in order of entry. [unitless]
    zone : str
        The site's zone. [unitless]
    """
    numbers = (
        Counter(name for line in lines for name in line.job.people),
        Counter(line.job.reviewer for line in lines if line.job.reviewer),
        Counter(line.author for line in lines),
        Counter(one.by for one in story.signoffs),
    )
    heads = [
        (say("report.asset.name"), "1.7", "left"), (say("entry.field.qualification"), "2.2", "left"), (say("report.asset.stated"), "2.2", "left"),
        (say("report.asset.aligned"), "0.8", "right"), (say("report.asset.reviewed"), "0.8", "right"),
        (say("report.asset.wrote"), "0.9", "right"), (say("report.asset.gave"), "0.8", "right"),
    ]  # fmt: skip
    rows: list[list[Any]] = []
    for name in sorted({one for number in numbers for one in number}, key=str.casefold):
        counts = [count(number[name]) if number[name] else DASH for number in numbers]
        mine = _qualified([one for one in stated if one.said.name == name])
        if not mine:
            rows.append([name, DASH, DASH, *counts])
        for place, one in enumerate(mine):
            told = [one.said.qualification or DASH, _stated(one, zone)]
            rows.append([name, *told, *([""] * len(counts) if place else counts)])
    return {
        "title": say("report.asset.people"), "heads": heads, "rows": rows, "none": say("report.asset.no_people"),
        "note": say("report.asset.people_note"),
    }  # fmt: skip


def _qualified(mine: Sequence[Stated[Person]]) -> list[Stated[Person]]:
    """Give the versions of a person that say another qualification than the one before."""
    before = [None, *(one.said.qualification for one in mine)]
    return [one for one, was in zip(mine, before, strict=False) if one.said.qualification != was]


def rules(story: AssetStory, stated: Sequence[Stated[DecisionRule]], zone: str) -> dict[str, Any]:
    """Give the decision rules that the site has chosen; no row where it never chose one, and nothing was decided of this machine.

    Parameters
    ----------
    story : AssetStory
        The machine. [as stored]
    stated : sequence of Stated of DecisionRule
        The rules, in order of entry. [unitless]
    zone : str
        The site's zone. [unitless]
    """
    decided = any(line.decisions != NO_DECISIONS for line in story.jobs)
    heads = [
        (say("entry.field.rule"), "1.4", "left"), (say("report.asset.stated"), "2.6", "left"), (say("report.asset.why"), "3", "left"),
    ]  # fmt: skip
    shown = stated if decided or story.site.guarded else ()
    rows = [[rule_text(one.said), _stated(one, zone), one.why or DASH] for one in shown]
    return {
        "title": say("report.asset.rules"), "heads": heads, "rows": rows,
        "notes": [say("about.decision"), say("about.decision.chance")] if rows else [],
    }  # fmt: skip


def _stated(one: Stated[Any], zone: str) -> list[str]:
    """Say which entry says it, and who wrote that when."""
    by = say("report.asset.stated.by", by=one.author, at=moment(one.recorded_at, zone))
    return [say("report.asset.stated.entry", entry=count(one.entry)), by]


def _day(line: JobLine, zone: str) -> date:
    return line.job.performed_at.astimezone(ZoneInfo(zone)).date()
