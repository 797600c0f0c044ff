"""The way into the book for the pages: what is handed in over the desk, and by which limits it is judged.

``dashboard.context.Book`` is what the pages ask; this is what they give.  An
application without a desk shows a book and writes nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Protocol
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from dashboard.views.record_sheet import Basis
from dashboard.views.record_when import PROPOSED, moment_of
from models.commands.amend_job import amend_job, take_back_job, void_job
from models.commands.import_files import import_files
from models.commands.record_job import record_job, ref_for
from models.commands.report import Report, SameVisit, Source
from models.commands.set_site import set_site
from models.commands.sign_off import sign_off, why_not
from models.errors import DriftbookError
from models.intake.problems import Problem
from models.maths.judged import limits_for
from models.store.known import in_force, limit_sets
from models.store.one_job import tag_of_entry
from models.store.versions import read_site_settings
from models.units import Display
from models.values.decision import Covariances, DecisionRule
from models.values.description import version_on
from models.values.job import Job
from models.values.kinds import Meaning
from models.values.limits import LimitSet, LimitsGiven
from models.values.story import AssetStory, JobLine, Site, SiteSetting


@dataclass(frozen=True, slots=True)
class Handed:
    """What is handed in over the desk: a job, who says it, and the answers that go with it.

    ``amends`` is the entry that it takes the place of, ``None`` for a new job; ``made_from`` the leaf hash of that entry
    as the form knows it, in hex (:class:`models.values.story.JobLine`).  ``covariances`` is what is known of the
    uncertainty of both measurements; ``known_to`` the last entry of the machine that the form of a new job was made with.
    """

    job: Job
    by: str
    stated: Mapping[str, str]
    bolts_tight: bool | None = None
    amends: int | None = None
    why: str = ""
    made_from: str = ""
    covariances: Covariances | None = None
    known_to: int | None = None


@dataclass(frozen=True, slots=True)
class Asked:
    """How a form asks a site to be set: everything that can be set, as the form says it; the interval in months."""

    name: str
    zone: str
    display: Display
    interval_months: int
    rule: DecisionRule


KeepRefused = Callable[[Report], None]
"""Keeps the rows that good ones leave behind."""


@dataclass(frozen=True, slots=True)
class Brought:
    """Sheets that are brought to be imported, and what is known of them already.

    ``looking`` asks what it would do; ``good`` takes the good rows although others are refused; ``same_visit`` says what
    becomes of rows that may be visits that the book holds.
    """

    sources: Sequence[Source]
    told: Sequence[Problem] = ()
    looking: bool = True
    good: bool = False
    same_visit: SameVisit = SameVisit.ASK


class Desk(Protocol):
    """Where a page hands in what goes into the book."""

    def limit_set(self, site: Site, day: date) -> LimitSet | None:
        """Give the limit set that was in force at a site on a day."""

    def tag_of(self, site: Site, entry: int) -> str | None:
        """Give the tag of the machine whose job an entry says; ``None`` where it is no such entry."""

    def hand_in(self, site: Site, handed: Handed, now: datetime) -> JobLine:
        """Write a job into the book, or an amendment of one."""

    def sign_off(
        self, site: Site, entry: int, *, meaning: Meaning, by: str, now: datetime, made_from: str, remark: str = ""
    ) -> int:
        """Write a signature under a job."""

    def why_no_signature(self, site: Site, entry: int, by: str) -> DriftbookError | None:
        """Give why somebody cannot sign a job; ``None`` where they can."""

    def void(
        self, site: Site, entry: int, *, by: str, now: datetime, why: str, made_from: str, back: bool = False
    ) -> JobLine:
        """Write that a job is void, or that a void one counts again."""

    def set_site(self, site: Site, asked: Asked, *, by: str, now: datetime, why: str, made_from: str) -> SiteSetting:
        """Write how a site is set from now on."""

    def bring_in(
        self, site: Site, brought: Brought, *, by: str, now: datetime, keep_refused: KeepRefused | None = None
    ) -> Report:
        """Import sheets, or only look at what that would do."""


class BookDesk:
    """The desk of a book."""

    def __init__(self, engine: sa.Engine) -> None:
        self._engine = engine

    def limit_set(self, site: Site, day: date) -> LimitSet | None:
        """Give the limit set that was in force at a site on a day."""
        with self._engine.connect() as connection:
            adopted = in_force(limit_sets(connection, site.site_id), day)
        return None if adopted is None else adopted.limit_set

    def tag_of(self, site: Site, entry: int) -> str | None:
        """Give the tag of the machine whose job an entry says; ``None`` where it is no such entry."""
        with self._engine.connect() as connection:
            return tag_of_entry(connection, site.site_id, entry)

    def hand_in(self, site: Site, handed: Handed, now: datetime) -> JobLine:
        """Write a job into the book, or an amendment of one.

        Raises
        ------
        DriftbookError
            If it is not written; the message says why.
        """
        if handed.amends is None:
            return record_job(
                self._engine, site, handed.job, by=handed.by, now=now, stated_reasons=handed.stated, bolts_tight=handed.bolts_tight,
                covariances=handed.covariances, known_to=handed.known_to,
            )  # fmt: skip
        return amend_job(
            self._engine, site, handed.amends, handed.job, by=handed.by, now=now, why=handed.why,
            stated_reasons=handed.stated, bolts_tight=handed.bolts_tight, made_from=handed.made_from,
            covariances=handed.covariances,
        )  # fmt: skip

    def sign_off(
        self, site: Site, entry: int, *, meaning: Meaning, by: str, now: datetime, made_from: str, remark: str = ""
    ) -> int:
        """Write a signature under a job, and give its entry.

        Raises
        ------
        DriftbookError
            If it is not written; the message says why.
        """
        return sign_off(self._engine, site, entry, meaning=meaning, by=by, now=now, remark=remark, made_from=made_from)

    def why_no_signature(self, site: Site, entry: int, by: str) -> DriftbookError | None:
        """Give why somebody cannot sign a job; ``None`` where they can."""
        return why_not(self._engine, site, entry, by)

    def void(
        self, site: Site, entry: int, *, by: str, now: datetime, why: str, made_from: str, back: bool = False
    ) -> JobLine:
        """Write that a job is void, or that a void one counts again.

        Raises
        ------
        DriftbookError
            If it is not written; the message says why.
        """
        change = take_back_job if back else void_job
        return change(self._engine, site, entry, by=by, now=now, why=why, made_from=made_from)

    def set_site(self, site: Site, asked: Asked, *, by: str, now: datetime, why: str, made_from: str) -> SiteSetting:
        """Write how a site is set from now on, and give how it is set then.

        Raises
        ------
        DriftbookError
            If it is not written; the message says why.
        """
        set_site(
            self._engine, site, by=by, now=now, name=asked.name, display=asked.display, zone=asked.zone,
            interval_months=asked.interval_months, rule=asked.rule, why=why, made_from=made_from,
        )  # fmt: skip
        with self._engine.connect() as connection:
            return read_site_settings(connection, site.site_id)[-1]

    def bring_in(
        self, site: Site, brought: Brought, *, by: str, now: datetime, keep_refused: KeepRefused | None = None
    ) -> Report:
        """Import sheets, or only look at what that would do.

        Raises
        ------
        DriftbookError
            If a file cannot be read to its end, or changed meanwhile.
        """
        return import_files(
            self._engine, site, brought.sources, by=by, now=now, accept_good=brought.good, dry_run=brought.looking,
            same_visit=brought.same_visit, told=brought.told, keep_refused=keep_refused,
        )  # fmt: skip


def basis_on(story: AssetStory, day: date, limit_set: LimitSet | None) -> Basis:
    """Give the machine as it was described on a day, with the limits of a set for it.

    Parameters
    ----------
    story : AssetStory
        Everything about the machine. [unitless]
    day : date
        Day of the job. [unitless]
    limit_set : LimitSet or None
        The set in force on that day. [unitless]
    """
    asset = version_on([version.asset for version in story.versions], day)
    given = LimitsGiven() if limit_set is None else limits_for(limit_set, asset.coupling, asset.limit_speed_rpm)
    return Basis(asset, limit_set, given)


def free_ref(story: AssetStory, moment: datetime) -> str:
    """Give a job number that no job of the machine has: its tag and the time, with a number behind where that is taken.

    A draft keeps it, so that the same draft cannot be recorded twice.  It follows the time in the form
    (:func:`followed`) until somebody changes it.
    """
    wanted = ref_for(story.asset.tag, moment.astimezone(ZoneInfo(story.site.zone)), story.site.zone)
    taken = {line.job.ref for line in story.jobs}
    number, ref = 2, wanted
    while ref in taken:
        ref, number = f"{wanted} ({number})", number + 1
    return ref


def followed(fields: Mapping[str, str], tag: str, zone: str) -> dict[str, str]:
    """Give a form whose job number is that of its time, as long as nobody has typed another.

    A number that is taken is not given a figure behind it here: where an answer was lost, the same draft would go in twice.

    Parameters
    ----------
    fields : mapping of str to str
        The form of a new job. [as typed]
    tag : str
        Tag of the machine. [unitless]
    zone : str
        IANA name of the site's zone. [unitless]
    """
    proposed, moment = fields.get(PROPOSED, ""), moment_of(fields, zone)
    if not proposed or fields.get("ref", "").strip() != proposed or moment is None:
        return dict(fields)
    wanted = ref_for(tag, moment, zone)
    if proposed == wanted or proposed.startswith(f"{wanted} ("):
        return dict(fields)
    return {**fields, "ref": wanted, PROPOSED: wanted}
