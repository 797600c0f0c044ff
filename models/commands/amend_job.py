"""Amend or void a job, or take a void one back: a new version that supersedes the old one, with its author, time and reason.

Nothing is edited: the old version stays in the book and can be read for ever.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime

import sqlalchemy as sa

from models.commands.on_server import OnServer, hold
from models.commands.record_job import DoubtfulJobError, Recording, check_ref, check_sides, with_seen_names, with_stated
from models.errors import ConflictError, InvalidValueError, OtherVersionError, OvertakenError, UnknownNameError
from models.ledger.content import job_content
from models.maths.plausible import Doubt, Gravity, open_checks
from models.sentences.told import Told
from models.store.one_job import tag_of_entry
from models.store.story import read_story
from models.store.tokens import Receipt
from models.store.unit import Unit, writing
from models.tables.base import to_microseconds
from models.values.decision import SIDES, Covariances
from models.values.draft import stated_reasons as stated_in
from models.values.job import Job
from models.values.roles import Permission
from models.values.story import AssetStory, JobLine, Site


def amend_job(
    engine: sa.Engine,
    site: Site,
    entry: int,
    job: Job,
    *,
    by: str,
    now: datetime,
    why: str,
    stated_reasons: Mapping[str, str] | None = None,
    bolts_tight: bool | None = None,
    made_from: str | None = None,
    covariances: Covariances | None = None,
    receipt: Receipt | None = None,
) -> JobLine:
    """Append a new version of a job.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The book's engine. [unitless]
    site : Site
        Site of the machine. [unitless]
    entry : int
        Entry of the version that is amended. [unitless]
    job : Job
        What the job shall say from now on. [as stored]
    by : str
        Who amends. [unitless]
    now : datetime
        Aware moment. [unitless]
    why : str
        Reason of the amendment. [unitless]
    stated_reasons : mapping of str to str, optional
        Why it is recorded although a check speaks against it, by the name of the check. [unitless]
    bolts_tight : bool, optional
        Whether the as-left was measured after the last bolt was tight; ``None`` where nobody was asked. [unitless]
    made_from : str, optional
        Leaf hash of the version that it was made from, in hex, empty where that had none; ``None`` takes whatever stands under the number. [unitless]
    covariances : Covariances, optional
        What is known of the uncertainty of both measurements; a measurement of which nothing is said keeps its own if it stays as it
        was. That alone may be what changes, where the site's rule decides by it. [mm, mm/m]
    receipt : Receipt, optional
        Sees to it that a request sent twice counts once. [unitless]

    Returns
    -------
    JobLine
        The new version, judged by the limits in force on the day of the job.

    Raises
    ------
    UnknownNameError
        If the entry is no job of this site.
    OtherVersionError
        If something else stands under the number than what it was made from.
    ConflictError
        If the version was amended already or is void, if neither job nor known uncertainty changes, or if the new job number is taken.
    InvalidValueError
        If no reason is given, or the job is moved to another machine.
    DoubtfulJobError
        If a check that did not speak against the old version speaks against the new one, without a stated reason.

    Notes
    -----
    What was doubtful in the old version already is not asked again: the amendment is there to correct something else.
    """
    reason, job = _reason(why, Told("told.amending.reason")), with_seen_names(job)
    with writing(engine, site.site_id, by, now) as unit:
        if receipt is not None:
            receipt.look(unit.connection)
        story, old = _version(unit, site, entry, made_from)
        if job.tag != old.job.tag:
            raise InvalidValueError(
                Told("told.amending.moved", entry=entry, old=old.job.tag, new=job.tag),
                remedy=Told("told.amending.moved.remedy", new=job.tag, entry=entry),
            )
        if old.void:
            raise ConflictError(
                Told("told.amending.is_void", ref=old.job.ref, entry=entry, author=old.author),
                remedy=Told("told.amending.is_void.remedy", entry=entry),
            )
        recording = Recording(unit, site, story)
        check_sides(job, covariances)
        if _content(job) == _content(old.job) and not _known_anew(recording, job, old, covariances):
            unheard = covariances is not None and covariances.says and not recording.rule.guarded
            key = "told.amending.uncertain" if unheard else "told.amending.nothing"
            raise ConflictError(Told(key, entry=entry), remedy=Told("told.amending.nothing.remedy"))
        check_ref(unit, site, job, old.job_id)
        before = {check.doubt for check in recording.checks(old.job, job_id=old.job_id, bolts_tight=bolts_tight)}
        before |= {doubt for doubt in Doubt if str(doubt) in stated_in(old.job.typed)}
        stated = {name: text for name, text in (stated_reasons or {}).items() if text.strip()}
        checks = recording.checks(job, job_id=old.job_id, bolts_tight=bolts_tight)
        asked = (check for check in checks if check.gravity is Gravity.STOP or check.doubt not in before)
        still = open_checks(asked, stated)
        if still:
            raise DoubtfulJobError(still)
        holds = {str(check.doubt) for check in checks}
        kept = {name: text for name, text in stated_in(old.job.typed).items() if name in holds}
        line = recording.write(with_stated(job, kept | stated), old=old, why=reason, covariances=covariances)
        if receipt is not None:
            receipt.keep(unit.connection, line)
        return line


def void_job(
    engine: sa.Engine,
    site: Site,
    entry: int,
    *,
    by: str,
    now: datetime,
    why: str,
    typed: Mapping[str, str] | None = None,
    made_from: str | None = None,
    receipt: Receipt | None = None,
    command: OnServer | None = None,
) -> JobLine:
    """Take a job out of every count, by a new version that says so; it stays readable, and its number stays its own.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The book's engine. [unitless]
    site : Site
        Site of the machine. [unitless]
    entry : int
        Entry of the version that is voided. [unitless]
    by : str
        Who voids. [unitless]
    now : datetime
        Aware moment. [unitless]
    why : str
        Reason. [unitless]
    typed : mapping of str to str, optional
        What is kept beside what was typed, e.g. through which token it came. [as typed]
    made_from : str, optional
        Leaf hash of the version that it was made from, in hex, empty where that had none; ``None`` takes whatever stands under the number. [unitless]
    receipt : Receipt, optional
        Sees to it that a request sent twice counts once. [unitless]
    command : OnServer, optional
        The command on the server that does it, where no password is asked for. [unitless]

    Returns
    -------
    JobLine
        The version that says it is void.

    Raises
    ------
    UnknownNameError
        If the entry is no job of this site.
    OtherVersionError
        If something else stands under the number than what it was made from.
    ConflictError
        If the version was amended already, or is void; of a command also where people sign in and no account of that name may amend.
    InvalidValueError
        If no reason or no name is given.
    """
    reason = _reason(why, Told("told.amending.reason.void"))
    return _marked(engine, site, entry, by, now, reason, typed, made_from, receipt, command, True)


def take_back_job(
    engine: sa.Engine,
    site: Site,
    entry: int,
    *,
    by: str,
    now: datetime,
    why: str,
    typed: Mapping[str, str] | None = None,
    made_from: str | None = None,
    receipt: Receipt | None = None,
    command: OnServer | None = None,
) -> JobLine:
    """Let a job that was voided by mistake count again, as it stood before, by a new version.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The book's engine. [unitless]
    site : Site
        Site of the machine. [unitless]
    entry : int
        Entry of the version that says that the job is void. [unitless]
    by : str
        Who takes it back. [unitless]
    now : datetime
        Aware moment. [unitless]
    why : str
        Reason. [unitless]
    typed : mapping of str to str, optional
        What is kept beside what was typed, e.g. through which token it came. [as typed]
    made_from : str, optional
        Leaf hash of the version that it was made from, in hex, empty where that had none; ``None`` takes whatever stands under the number. [unitless]
    receipt : Receipt, optional
        Sees to it that a request sent twice counts once. [unitless]
    command : OnServer, optional
        The command on the server that does it, where no password is asked for. [unitless]

    Returns
    -------
    JobLine
        The version that counts.

    Raises
    ------
    UnknownNameError
        If the entry is no job of this site.
    OtherVersionError
        If something else stands under the number than what it was made from.
    ConflictError
        If the version was amended already, or is not void; of a command also where people sign in and no account of that name may amend.
    InvalidValueError
        If no reason or no name is given.
    """
    reason = _reason(why, Told("told.amending.reason.back"))
    return _marked(engine, site, entry, by, now, reason, typed, made_from, receipt, command, False)


def _marked(
    engine: sa.Engine,
    site: Site,
    entry: int,
    by: str,
    now: datetime,
    reason: str,
    typed: Mapping[str, str] | None,
    made_from: str | None,
    receipt: Receipt | None,
    command: OnServer | None,
    void: bool,
) -> JobLine:
    """Append a version that says the same of the machine, and that the job is void or counts again."""
    if not by.strip():
        raise InvalidValueError(Told("told.amending.name"), remedy=Told("told.sign.name.remedy"))
    with writing(engine, site.site_id, by, now) as unit:
        if receipt is not None:
            receipt.look(unit.connection)
        story, old = _version(unit, site, entry, made_from)
        hold(command, unit, site, by, Permission.AMEND)
        if old.void and void:
            raise ConflictError(Told("told.amending.void", ref=old.job.ref, entry=entry))
        if not old.void and not void:
            raise ConflictError(Told("told.amending.counts", ref=old.job.ref, entry=entry))
        job = replace(old.job, typed={**old.job.typed, **(typed or {})})
        line = Recording(unit, site, story).write(job, old=old, why=reason, void=void)
        if receipt is not None:
            receipt.keep(unit.connection, line)
        return line


def _known_anew(recording: Recording, job: Job, old: JobLine, covariances: Covariances | None) -> bool:
    """Tell whether an uncertainty would be kept that the version did not know, or another one; none is where nothing is decided by it."""
    if covariances is None:
        return False
    decided = recording.decided(job, old, covariances)
    pairs = ((getattr(decided, side), getattr(old.decisions, side)) for side in SIDES)
    return any(new is not None and new.covariance != (was and was.covariance) for new, was in pairs)


def _content(job: Job) -> bytes:
    return job_content(job, to_microseconds(job.performed_at))


def _reason(why: str, asked: Told) -> str:
    reason = " ".join(why.split())
    if not reason:
        raise InvalidValueError(asked, remedy=Told("told.amending.reason.remedy"))
    return reason


def _version(unit: Unit, site: Site, entry: int, made_from: str | None) -> tuple[AssetStory, JobLine]:
    tag = tag_of_entry(unit.connection, site.site_id, entry)
    story = None if tag is None else read_story(unit.connection, site, tag)
    if story is None:
        raise UnknownNameError(
            Told("told.amending.no_job", entry=entry, site=site.name), remedy=Told("told.amending.no_job.remedy")
        )
    old = next(line for line in story.jobs if line.entry == entry)
    if made_from is not None and made_from != old.leaf:
        raise other_version(entry)
    if old.superseded_by is not None:
        raise _overtaken(unit, site, entry, old.superseded_by)
    return story, old


def _overtaken(unit: Unit, site: Site, entry: int, later: int) -> OvertakenError:
    """Say what took the place of a version; where two records were merged, that is a job of another machine."""
    tag = tag_of_entry(unit.connection, site.site_id, later)
    story = None if tag is None else read_story(unit.connection, site, tag)
    line = next((line for line in story.jobs if line.entry == later), None) if story is not None else None
    author = "" if line is None else line.author
    if line is not None and line.void:
        return OvertakenError(
            Told("told.amending.voided", entry=entry, later=later, author=author),
            remedy=Told("told.amending.voided.remedy", later=later),
        )
    return OvertakenError(
        Told("told.amending.amended", entry=entry, later=later, author=author),
        remedy=Told("told.amending.amended.remedy", later=later),
    )


def other_version(entry: int) -> OtherVersionError:
    """Say that a number stands for something else than what a form or request was made from, and what to do.

    Parameters
    ----------
    entry : int
        The number. [unitless]
    """
    return OtherVersionError(
        Told("told.amending.other", entry=entry), remedy=Told("told.amending.other.remedy", entry=entry)
    )
