"""Whether a whole job is plausible beside what the book knows of the machine, the instrument and the day."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import Final
from zoneinfo import ZoneInfo

from models.maths.geometry import deviation
from models.maths.moved import check_moves
from models.maths.plausible import Check, Doubt, Gravity, check_rises
from models.maths.sizes import AIR_USUAL_C, TEMPERATURES_C, TEMPERATURES_USUAL_C
from models.maths.slips import check_signs, check_size, check_unit, check_worse, limit_scale
from models.maths.soft_foot import MIN_MEASURED, assess
from models.sentences.told import Told
from models.units import Display, Quantity
from models.values.asset import Asset
from models.values.calibration import calibrated_on
from models.values.doubled import Four, coarser, read_alike, read_to
from models.values.draft import WorkCheck
from models.values.job import FeetValues, Job
from models.values.limits import LimitsGiven
from models.values.own_work import same_person
from models.values.people import Instrument
from models.values.several import is_nobody, is_several, pieces_of
from models.values.spelling import Alike

NOON: Final = time(12)
"""What a day without a time stands for, as :func:`models.intake.dates.parse_moment` reads it."""


@dataclass(frozen=True, slots=True)
class Beside:
    """What a job is held against.

    ``jobs`` are the jobs of this asset that count, without the one that is
    checked, oldest first; ``breaks`` the days on which something was replaced.
    ``meanwhile`` are those of them that went in after the form of this job was made, as far as that is known.
    ``instruments`` are all versions of all instruments that the book knows, in
    order of entry, and ``people`` all names.  The ratios are
    the job's own limit ratios, ``None`` where nothing is judged.  ``bolts_tight``
    is the answer to the question whether the as-left was measured after the
    last bolt was tight, ``None`` where nobody was asked.  ``merged_into`` is the tag
    of the machine into which this record was merged, empty where it was not, and ``merged_on`` the day on which it was.
    """

    asset: Asset
    now: datetime
    jobs: tuple[Job, ...] = ()
    breaks: tuple[date, ...] = ()
    instruments: Sequence[Instrument] = ()
    limits: LimitsGiven = field(default_factory=LimitsGiven)
    found_ratio: float | None = None
    left_ratio: float | None = None
    display: Display = field(default_factory=Display)
    bolts_tight: bool | None = None
    merged_into: str = ""
    merged_on: date | None = None
    people: Collection[str] = ()
    meanwhile: tuple[Job, ...] = ()


def check_job(job: Job, beside: Beside) -> tuple[Check, ...]:
    """Check a job against the history of its machine.

    Parameters
    ----------
    job : Job
        What is to be recorded. [as stored]
    beside : Beside
        What it is held against. [as stored]

    Returns
    -------
    tuple of Check
        Everything that does not look right, in the order of a sheet.
    """
    earlier = [other for other in beside.jobs if other.performed_at < job.performed_at]
    return (
        *out_of_service(beside.asset, _local(job.performed_at, job), beside.merged_into, beside.merged_on),
        *_time(job, beside),
        *_people(job, beside),
        *_instrument(job, beside),
        *_hours(job, beside.jobs),
        *_temperatures(job, beside.display),
        *_sizes(job, earlier, beside),
        *_signs(job, earlier, beside),
        *check_moves(job, beside.asset, beside.limits, beside.display),
        *_left(job, beside),
        *_soft_foot(job, beside),
    )


def out_of_service(asset: Asset, day: date, merged_into: str = "", merged_on: date | None = None) -> tuple[Check, ...]:
    """Check whether the machine is in service on the day of a job.

    A record that was merged into another is given up for every day: its history stands there.

    Parameters
    ----------
    asset : Asset
        The machine as it is described for that day. [unitless]
    day : date
        Day of the job on the site's calendar. [unitless]
    merged_into : str
        Tag of the machine into which its record was merged; empty where it was not. [unitless]
    merged_on : date or None
        Day since which it is out of service for that. [d]

    Returns
    -------
    tuple of Check
        One where it is out of service, none otherwise.
    """
    gone = asset.retired
    if merged_into:
        on = (merged_on or gone or day).isoformat()
        sentence = Told("told.job.merged", tag=asset.tag, kept=merged_into, on=on)
        return (Check(Doubt.RETIRED, Gravity.REASON, sentence, "tag"),)
    if gone is None or day < gone:
        return ()
    sentence = Told("told.job.retired", tag=asset.tag, on=gone.isoformat())
    return (Check(Doubt.RETIRED, Gravity.REASON, sentence, "tag"),)


def _local(moment: datetime, job: Job) -> date:
    return moment.astimezone(ZoneInfo(job.zone)).date()


def _time(job: Job, beside: Beside) -> list[Check]:
    local, today = job.performed_at.astimezone(ZoneInfo(job.zone)), _local(beside.now, job)
    # A day without a time stands for noon: what was done this morning does not lie in the future.
    if job.performed_at > beside.now and (local.date() > today or local.time() != NOON):
        key = "told.job.future" if local.date() > today else "told.job.future.today"
        sentence = Told(key, day=local.date().isoformat(), time=f"{local:%H:%M}")
        return [Check(Doubt.FUTURE, Gravity.STOP, sentence, "performed")]
    if any(other.performed_at == job.performed_at for other in beside.jobs):
        same = next(other for other in beside.jobs if other.performed_at == job.performed_at)
        sentence = Told("told.job.same_time", ref=same.ref)
        return [Check(Doubt.SAME_TIME, Gravity.REASON, sentence, "performed")]
    if (once := _same_visit(job, beside.jobs)) is not None:
        at = once.performed_at.astimezone(local.tzinfo)
        sentence = Told("told.job.same_visit", ref=once.ref, day=local.date().isoformat(), time=f"{at:%H:%M}")
        return [Check(Doubt.SAME_VISIT, Gravity.REASON, sentence, "performed")]
    # Whoever typed this has not seen them: two people may write down one visit, each with readings of their own.
    same_day = [other for other in beside.meanwhile if _local(other.performed_at, job) == local.date()]
    if same_day:
        other = same_day[-1]
        at = other.performed_at.astimezone(local.tzinfo)
        sentence = Told("told.job.meanwhile", ref=other.ref, day=local.date().isoformat(), time=f"{at:%H:%M}")
        return [Check(Doubt.MEANWHILE, Gravity.REASON, sentence, "performed")]
    last = max(beside.jobs, key=lambda other: other.performed_at, default=None)
    if last is not None and last.performed_at > job.performed_at:
        at = last.performed_at.astimezone(local.tzinfo)
        sentence = Told("told.job.earlier", ref=last.ref, day=at.date().isoformat(), time=f"{at:%H:%M}")
        return [Check(Doubt.EARLIER, Gravity.REASON, sentence, "performed")]
    return []


def _same_visit(job: Job, jobs: Sequence[Job]) -> Job | None:
    """Give the job of the same day with the same readings: of a list that was imported, say, where days have no hours."""
    mine, day, to = _readings(job), _local(job.performed_at, job), read_to(job.typed)
    there = (other for other in jobs if _local(other.performed_at, job) == day)
    return next((o for o in there if read_alike(_readings(o), mine, coarser(to, read_to(o.typed)))), None)


def _readings(job: Job) -> tuple[Four | None, Four | None]:
    found, left = job.found, job.left
    return None if found is None else found.as_tuple(), None if left is None else left.as_tuple()


def _people(job: Job, beside: Beside) -> list[Check]:
    """Tell each new name; one in whose pieces somebody is known, or which says so by itself, may be several people."""
    known = {name.casefold(): name for name in beside.people}
    found = []
    for name in job.people:
        if name in beside.people:
            continue
        if is_nobody(name):
            found.append(Check(Doubt.NEW_PERSON, Gravity.REASON, Told("told.job.nobody", name=name), "people"))
            continue
        pieces = pieces_of(name)
        there = [known[piece.casefold()] for piece in pieces if piece.casefold() in known]
        if len(pieces) > 1 and (there or is_several(name)):
            typed = "; ".join(known.get(piece.casefold(), piece) for piece in pieces)
            several = Told("told.job.several_people.perhaps", name=name, typed=typed)
            if there:
                several = Told("told.job.several_people", name=name, known=tuple(dict.fromkeys(there)), typed=typed)
            found.append(Check(Doubt.SEVERAL_PEOPLE, Gravity.REASON, several, "people"))
        else:
            other = Alike(beside.people).other(name)
            other = other or next((known for known in beside.people if same_person(known, name)), None)
            sentence = Told("told.job.new_person", name=name)
            if other is not None:
                sentence = Told("told.job.alike_person", name=name, known=other)
            found.append(Check(Doubt.NEW_PERSON, Gravity.NOTE, sentence, "people"))
    return found


def _instrument(job: Job, beside: Beside) -> list[Check]:
    if not job.instrument:
        return []
    own = [one for one in beside.instruments if one.serial == job.instrument]
    if not own:
        other = Alike({one.serial for one in beside.instruments}).other(job.instrument)
        if other is not None:  # a second record of one instrument would have no calibration to ask about
            sentence = Told("told.job.alike_instrument", serial=job.instrument, known=other)
            return [Check(Doubt.ALIKE_INSTRUMENT, Gravity.REASON, sentence, "instrument")]
        sentence = Told("told.job.new_instrument", serial=job.instrument)
        return [Check(Doubt.NEW_INSTRUMENT, Gravity.NOTE, sentence, "instrument")]
    day = _local(job.performed_at, job)
    known = calibrated_on(own, day)
    if known.due is not None and known.due < day:
        name = f"{known.serial} ({known.description})" if known.description else known.serial
        sentence = Told("told.job.calibration", name=name, due=known.due.isoformat(), day=day.isoformat())
        return [Check(Doubt.CALIBRATION, Gravity.REASON, sentence, "instrument")]
    return []


def _hours(job: Job, jobs: Sequence[Job]) -> list[Check]:
    if job.hours_run is None:
        return []
    for other in jobs:
        if other.hours_run is None or other.performed_at == job.performed_at:
            continue
        later = other.performed_at > job.performed_at
        if (other.hours_run < job.hours_run) if later else (other.hours_run > job.hours_run):
            key = "told.job.hours.later" if later else "told.job.hours.earlier"
            sentence = Told(key, hours=job.hours_run, other=other.hours_run, ref=other.ref)
            return [Check(Doubt.HOURS, Gravity.REASON, sentence, "hours_run")]
    return []


def _temperatures(job: Job, display: Display) -> list[Check]:
    found = []
    for name in ("temp_stationary_c", "temp_movable_c", "temp_ambient_c"):
        value = getattr(job, name)
        low, high = AIR_USUAL_C if name == "temp_ambient_c" else TEMPERATURES_USUAL_C
        if value is None or low <= value <= high:
            continue
        never = not TEMPERATURES_C[0] <= value <= TEMPERATURES_C[1]
        least, most = TEMPERATURES_C if never else (low, high)
        sentence = Told(
            "told.job.temperature.never" if never else "told.job.temperature",
            value=display.text(value, Quantity.TEMPERATURE),
            least=display.text(least, Quantity.TEMPERATURE),
            most=display.text(most, Quantity.TEMPERATURE),
        )
        gravity = Gravity.STOP if never else Gravity.REASON
        found.append(Check(Doubt.TEMPERATURE, gravity, sentence, name.removesuffix("_c")))
    return found


def _sizes(job: Job, earlier: Sequence[Job], beside: Beside) -> list[Check]:
    found: list[Check] = []
    for stage in ("found", "left"):
        value = job.found if stage == "found" else job.left
        if value is None or (stage == "left" and value == job.found):
            continue
        found += check_size(value, stage, beside.display)
        past = [m for other in earlier if (m := other.found if stage == "found" else other.left) is not None]
        # A very good as-left is what everybody wants: it is no slip of the unit unless there is nothing else to judge by.
        found += check_unit(value, past, stage, beside.display, small_too=stage == "found" or job.found is None)
    return found


def _signs(job: Job, earlier: Sequence[Job], beside: Beside) -> list[Check]:
    scale = limit_scale(beside.limits, beside.asset.coupling, beside.asset.span_mm)
    found: list[Check] = []
    last = max(earlier, key=lambda other: other.performed_at, default=None)
    if job.found is not None and last is not None and last.left is not None:
        between = (_local(last.performed_at, job), _local(job.performed_at, job))
        if not any(between[0] <= day <= between[1] for day in beside.breaks):
            found += check_signs(job.found, last.left, scale, "found")
    if job.found is not None and job.left is not None and job.left != job.found:
        found += check_signs(job.left, job.found, scale, "left")
    return found


def _left(job: Job, beside: Beside) -> list[Check]:
    if job.left is None:
        return []
    found = []
    if beside.left_ratio is not None and beside.left_ratio > 1:
        sentence = Told("told.job.left_over", ratio=beside.left_ratio)
        found.append(Check(Doubt.LEFT_OVER, Gravity.REASON, sentence, "left"))
    if job.found is not None and job.left != job.found:
        off = (deviation(job.found, job.target), deviation(job.left, job.target))
        found += check_worse(*off, (beside.found_ratio, beside.left_ratio))
    if job.left != job.found and WorkCheck.LEFT_WHEN_TIGHT not in job.checks:
        if beside.bolts_tight is False:
            sentence = Told("told.job.loose")
            found.append(Check(Doubt.LOOSE, Gravity.REASON, sentence, "checks"))
        elif beside.bolts_tight is None:
            sentence = Told("told.job.loose.asked")
            found.append(Check(Doubt.LOOSE, Gravity.NOTE, sentence, "checks"))
    return found


def _soft_foot(job: Job, beside: Beside) -> list[Check]:
    odd = [
        check
        for name, feet in (("soft_before", job.soft_before), ("soft_after", job.soft_after))
        for check in check_rises(feet.values, name, beside.display)
    ]
    return odd + _soft_left(job, beside)


def _soft_left(job: Job, beside: Beside) -> list[Check]:
    rises, limit = paired(job.soft_after), beside.limits.soft_foot_mm
    if limit is None or sum(rise is not None for rise in rises) < MIN_MEASURED:
        return []
    soft = assess(rises, limit)
    if not any(soft.high):
        return []
    foot = max(range(len(rises)), key=lambda place: rises[place] or 0.0)
    rise, most = (beside.display.text(x, Quantity.OFFSET) for x in (rises[foot], limit))
    sentence = Told("told.job.soft_foot", foot=f"{foot // 2 + 1}{'LR'[foot % 2]}", rise=rise, limit=most)
    return [Check(Doubt.SOFT_FOOT, Gravity.REASON, sentence, "soft_after")]


def paired(feet: FeetValues) -> tuple[float | None, ...]:
    """Give the feet in pairs: a right foot that was left out at the end is one that was not measured."""
    return feet.values + (None,) * (len(feet.values) % 2)
