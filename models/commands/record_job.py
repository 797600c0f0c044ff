"""Record a job: one visit, checked against what the book knows, judged, and appended as one entry.

People and instruments that the book does not know are added with entries of
their own in the same transaction.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from functools import reduce
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from models.commands.judging import Judge, ratios
from models.errors import InvalidValueError, RefTakenError, UnknownNameError
from models.ledger.content import job_content
from models.maths.deciding import decision_of
from models.maths.plausible import Check, Gravity, open_checks
from models.maths.plausible_job import Beside, check_job
from models.sentences.told import Told
from models.store import known as ask
from models.store.decisions import rule_of
from models.store.one_job import holder_of_ref
from models.store.rows import decision_rows, instrument_row, job_row, person_row
from models.store.story import read_story
from models.store.tokens import Receipt
from models.store.unit import Unit, writing
from models.tables.base import to_microseconds
from models.tables.decisions import DecisionRow
from models.tables.jobs import JobRow
from models.tables.people import InstrumentRow, InstrumentVersionRow, PersonRow, PersonVersionRow
from models.values.asset import Asset
from models.values.decision import SIDES, Covariance, Covariances, Decision, DecisionRule, Decisions
from models.values.description import version_on
from models.values.draft import STATED
from models.values.draft import stated_reasons as stated_in
from models.values.job import Job
from models.values.kinds import Kind
from models.values.people import Instrument, Person
from models.values.spelling import seen
from models.values.story import AssetStory, JobLine, JudgedAs, Site


class DoubtfulJobError(InvalidValueError):
    """A job that speaks against itself or against the book; ``checks`` are what is still open."""

    def __init__(self, checks: tuple[Check, ...]) -> None:
        stops = [check for check in checks if check.gravity is Gravity.STOP]
        asked = ", ".join(f"'{check.doubt}'" for check in checks if check.gravity is Gravity.REASON)
        remedy = Told("told.handing.doubtful.correct")
        if not stops:
            remedy = Told("told.handing.doubtful.state", doubts=asked)
        said = reduce(lambda first, then: Told("told.both", first=first, then=then), (c.sentence for c in checks))
        super().__init__(Told("told.handing.doubtful", sentences=said), remedy=remedy)
        self.checks = checks


def ref_for(tag: str, performed_at: datetime, zone: str) -> str:
    """Give the job number of a job that has none: its machine and its time on the site's clock.

    Parameters
    ----------
    tag : str
        Tag of the asset. [unitless]
    performed_at : datetime
        Aware moment of the job. [unitless]
    zone : str
        IANA name of the site's zone. [unitless]
    """
    return f"{tag} {performed_at.astimezone(ZoneInfo(zone)):%Y-%m-%d %H:%M}"


def record_job(
    engine: sa.Engine,
    site: Site,
    job: Job,
    *,
    by: str,
    now: datetime,
    stated_reasons: Mapping[str, str] | None = None,
    bolts_tight: bool | None = None,
    covariances: Covariances | None = None,
    receipt: Receipt | None = None,
    known_to: int | None = None,
) -> JobLine:
    """Record a job.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The book's engine. [unitless]
    site : Site
        Site of the machine. [unitless]
    job : Job
        What is said. [as stored]
    by : str
        Who records it. [unitless]
    now : datetime
        Aware moment of recording. [unitless]
    stated_reasons : mapping of str to str, optional
        Why it is recorded although a check speaks against it, by the name of the check. [unitless]
    bolts_tight : bool, optional
        Whether the as-left was measured after the last bolt was tight; ``None`` where nobody was asked. [unitless]
    covariances : Covariances, optional
        What is known of the uncertainty of both measurements; a guarded decision rule asks for it. [mm, mm/m]
    receipt : Receipt, optional
        Sees to it that a request sent twice counts once. [unitless]
    known_to : int, optional
        The last entry of the machine that whoever says it has seen: a job of the same day that went in since is asked about. [unitless]

    Returns
    -------
    JobLine
        The job as it stands in the book, with its verdict.

    Raises
    ------
    UnknownNameError
        If the site has no such machine.
    RefTakenError
        If the job number is taken.
    DoubtfulJobError
        If something stops it (a time in the future, say), or needs a reason that is not stated.
    """
    job = with_seen_names(job)
    with writing(engine, site.site_id, by, now) as unit:
        if receipt is not None:
            receipt.look(unit.connection)
        story = _story(unit, site, job.tag)
        check_ref(unit, site, job)
        stated = _given(stated_reasons)
        recording = Recording(unit, site, story)
        check_sides(job, covariances)
        still = open_checks(recording.checks(job, bolts_tight=bolts_tight, known_to=known_to), stated)
        if still:
            raise DoubtfulJobError(still)
        line = recording.write(with_stated(job, stated), covariances=covariances)
        if receipt is not None:
            receipt.keep(unit.connection, line)
        return line


def _given(reasons: Mapping[str, str] | None) -> dict[str, str]:
    """Leave out blank reasons: a blank is no reason."""
    return {name: " ".join(text.split()) for name, text in (reasons or {}).items() if text.strip()}


def with_seen_names(job: Job) -> Job:
    """Give a job whose people are named by what anybody sees; a name of which nothing is seen is none."""
    return replace(job, people=tuple(dict.fromkeys(filter(None, map(seen, job.people)))), reviewer=seen(job.reviewer))


def with_stated(job: Job, stated: Mapping[str, str]) -> Job:
    """Keep the stated reasons with what was typed; those that were there before stay unless they are stated anew."""
    kept = {STATED + name: text for name, text in (stated_in(job.typed) | _given(stated)).items()}
    plain = {name: text for name, text in job.typed.items() if not name.startswith(STATED)}
    return replace(job, typed=plain | kept)


def _story(unit: Unit, site: Site, tag: str) -> AssetStory:
    story = read_story(unit.connection, site, tag)
    if story is None:
        raise UnknownNameError(
            Told("told.handing.machine", site=site.name, tag=tag), remedy=Told("told.handing.machine.remedy")
        )
    return story


def check_ref(unit: Unit, site: Site, job: Job, job_id: int | None = None) -> None:
    """Refuse a job number that another job has, be it void: what was once written under a number stays the only thing under it.

    Raises
    ------
    RefTakenError
        If it is taken.
    """
    held = holder_of_ref(unit.connection, site.site_id, job.ref)
    if held is None or held[0] == job_id:
        return
    if held[3]:
        raise RefTakenError(
            Told("told.handing.ref.void", ref=job.ref, entry=held[1]),
            remedy=Told("told.handing.ref.void.remedy", entry=held[1]),
            entry=held[1],
        )
    if held[2] == job_content(job, to_microseconds(job.performed_at)):
        raise RefTakenError(Told("told.handing.again", ref=job.ref, entry=held[1]), entry=held[1], same=True)
    raise RefTakenError(
        Told("told.handing.ref", ref=job.ref, entry=held[1]), remedy=Told("told.handing.ref.remedy"), entry=held[1]
    )


def _known(said: Covariances | None, job: Job, old: JobLine | None, side: str) -> Covariance | None:
    """Give what is known of the uncertainty of a measurement: what is said of it, else what was known where a new version leaves it as it was."""
    if said is not None and side in said.says:
        given: Covariance | None = getattr(said, side)
        return given
    was: Decision | None = None if old is None else getattr(old.decisions, side)
    stays = old is not None and getattr(job, side) == getattr(old.job, side)
    return was.covariance if was is not None and stays else None


def check_sides(job: Job, covariances: Covariances | None) -> None:
    """Refuse an uncertainty of a measurement that a job does not have.

    Parameters
    ----------
    job : Job
        What is to be recorded. [as stored]
    covariances : Covariances or None
        What is said of the uncertainty of its measurements. [mm, mm/m]

    Raises
    ------
    InvalidValueError
        With the measurement that is not there.
    """
    for side in SIDES if covariances is not None else ():
        if getattr(covariances, side) is not None and getattr(job, side) is None:
            raise InvalidValueError(Told(f"told.unmeasured.{side}"), remedy=Told("told.unmeasured.remedy"))


class Recording:
    """Writes versions of jobs of one asset inside an open transaction."""

    def __init__(self, unit: Unit, site: Site, story: AssetStory) -> None:
        self.unit, self.site, self.story = unit, site, story
        self.judge = Judge(ask.limit_sets(unit.connection, site.site_id), ZoneInfo(site.zone))
        self.people = ask.people(unit.connection, site.site_id)
        self.instruments = ask.instruments(unit.connection, site.site_id)
        # As it is chosen behind the lock: the decision is by the rule in force at this moment.
        self.rule = rule_of(unit.connection, site.site_id) or DecisionRule()

    def checks(
        self, job: Job, *, job_id: int | None = None, bolts_tight: bool | None = None, known_to: int | None = None
    ) -> tuple[Check, ...]:
        """Hold a job against what the book knows; ``job_id`` is the job of which it is a new version, ``known_to`` as in :func:`record_job`."""
        asset = self._asset(job)
        _, limits = self.judge.limits(job, asset)
        found, left = ratios([job], [asset], [limits])
        beside = Beside(
            asset=asset,
            now=self.unit.clock,
            jobs=tuple(line.job for line in self.story.standing if line.job_id != job_id),
            breaks=tuple(broken.on for broken in self.story.breaks),
            instruments=[version for _, versions in self.instruments.values() for version in versions],
            limits=limits,
            found_ratio=found[0],
            left_ratio=left[0],
            display=self.site.display,
            bolts_tight=bolts_tight,
            merged_into=self.story.merged_into,
            merged_on=self.story.asset.retired,
            people=self.people.keys(),
            meanwhile=tuple(line.job for line in self.story.since(known_to)),
        )
        return check_job(job, beside)

    def decided(self, job: Job, old: JobLine | None, covariances: Covariances | None) -> Decisions:
        """Give what the rule in force decides of both measurements; ``old`` and ``covariances`` as for :meth:`write`."""
        asset = self._asset(job)
        _, limits = self.judge.limits(job, asset)
        one, two = (
            decision_of(self.rule, getattr(job, side), job.target, _known(covariances, job, old, side), asset, limits, ratio[0])
            for side, ratio in zip(SIDES, ratios([job], [asset], [limits]), strict=True)
        )  # fmt: skip
        return Decisions(one, two)

    def write(
        self,
        job: Job,
        *,
        old: JobLine | None = None,
        why: str = "",
        void: bool = False,
        covariances: Covariances | None = None,
    ) -> JobLine:
        """Judge a job and append it; with an old version as what supersedes that.

        One that only voids the old version, or takes it back, keeps its verdict: it says nothing new of the machine.
        A measurement of whose uncertainty ``covariances`` say nothing keeps its own if it stays as it was.
        """
        was = old.judged_as if old is not None and (old.void or void) else None
        asset = self._asset(job)
        if old is not None and was is not None:
            asset = replace(
                asset, coupling=was.coupling, speed_rpm=was.speed_rpm, speed_max_rpm=None, span_mm=was.span_mm
            )
            limit_entry, limits, name = was.limit_entry, old.limits, old.limit_set
            found, left = [old.found_ratio], [old.left_ratio]
        else:
            limit_entry, limits = self.judge.limits(job, asset)
            adopted = self.judge.adopted(job)
            found, left = ratios([job], [asset], [limits])
            name = "" if adopted is None else f"{adopted.limit_set.name}, version {adopted.limit_set.version}"
        people = [self._person(name) for name in job.people]
        instrument = self._instrument(job.instrument) if job.instrument else None
        unit, job_id = self.unit, None if old is None else old.job_id
        kind = Kind.JOB_RECORDED if old is None else Kind.JOB_AMENDED
        supersedes = None if old is None else old.entry
        entry = unit.append(kind, job_id, supersedes=supersedes, why=why)
        content = job_content(job, to_microseconds(job.performed_at))
        row = job_row(
            entry, self.site.site_id, self.story.asset_id, job, asset,
            person_id=people[0] if people else None, instrument_id=instrument, limit_entry=limit_entry, limits=limits,
            ratios=(found[0], left[0]), content=content, job_id=job_id, supersedes=supersedes, void=void,
        )  # fmt: skip
        unit.add(JobRow, row)
        decisions = old.decisions if old is not None and was is not None else self.decided(job, old, covariances)
        for brought in decision_rows(entry, self.site.site_id, decisions):
            unit.add(DecisionRow, brought)
        judged_as = JudgedAs(asset.coupling, asset.limit_speed_rpm, asset.span_mm, limit_entry)
        return JobLine(
            entry, job_id or entry, unit.at, unit.author, job, limits, name, found[0], left[0], supersedes,
            why_amended=why, void=void, judged_as=judged_as, decisions=decisions,
        )  # fmt: skip

    def _asset(self, job: Job) -> Asset:
        return version_on([version.asset for version in self.story.versions], self.judge.day(job))

    def _person(self, name: str) -> int:
        if name not in self.people:
            person_id = self.unit.append(Kind.PERSON_ADDED)
            self.unit.add(PersonRow, (person_id, self.site.site_id, name))
            self.unit.add(PersonVersionRow, person_row(person_id, self.site.site_id, person_id, Person(name)))
            self.people[name] = (person_id, Person(name))
        return self.people[name][0]

    def _instrument(self, serial: str) -> int:
        if serial not in self.instruments:
            number, given = self.unit.append(Kind.INSTRUMENT_ADDED), Instrument(serial)
            self.unit.add(InstrumentRow, (number, self.site.site_id, serial))
            self.unit.add(InstrumentVersionRow, instrument_row(number, self.site.site_id, number, given))
            self.instruments[serial] = (number, [given])
        return self.instruments[serial][0]
