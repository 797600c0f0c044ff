"""What an entry says, field by field, as a person reads it in the units of the page."""

from __future__ import annotations

from collections.abc import Iterable

from dashboard.views.job_words import checks_text
from dashboard.views.limit_rows import row_lines
from dashboard.words import say
from dashboard.writing import DASH, counted, day, moment, rule_text
from models.units import Display, Quantity
from models.values.asset import Asset, MachineBreak
from models.values.decision import DecisionRule
from models.values.entry import ImportedFile, KeySet, Said
from models.values.job import FeetValues, Job, Misalignment
from models.values.limits import LimitSet
from models.values.people import Account, Instrument, Person
from models.values.story import JobLine, Signoff, Site

Pairs = tuple[tuple[str, str], ...]


def fields_of(said: Said, display: Display) -> Pairs:
    """Give the fields of what an entry says, each with its text.

    Parameters
    ----------
    said : Site, Signoff, Account, KeySet, Asset, MachineBreak, Person, Instrument, LimitSet, ImportedFile or JobLine
        What the entry says. [as stored]
    display : Display
        Units of the page. [unitless]

    Returns
    -------
    tuple of pairs of str
        Name and text of each field, in the order of a sheet; the same names for every version of a thing, but for the
        rows of a limit set. [as shown]
    """
    if isinstance(said, JobLine):
        pairs = _job(said.job, display)
    elif isinstance(said, Asset):
        pairs = _asset(said, display)
    elif isinstance(said, LimitSet):
        pairs = _limit_set(said, display)
    elif isinstance(said, Site):
        pairs = _site(said)
    elif isinstance(said, Signoff | Account | KeySet):
        pairs = _trust(said)
    else:
        pairs = _small(said)
    return tuple((name, text or DASH) for name, text in pairs)


def _small(said: MachineBreak | Person | Instrument | ImportedFile) -> Iterable[tuple[str, str]]:
    if isinstance(said, MachineBreak):
        yield say("entry.field.tag"), said.tag
        yield say("entry.field.part"), say(f"part.{said.part}")
        yield say("entry.field.on"), day(said.on)
        yield say("entry.field.reason"), said.reason
    elif isinstance(said, Person):
        yield say("entry.field.name"), said.name
        yield say("entry.field.qualification"), said.qualification
        yield say("entry.field.active"), _yes(given=said.active)
    elif isinstance(said, Instrument):
        yield say("entry.field.serial"), said.serial
        yield say("entry.field.description"), said.description
        yield say("entry.field.calibrated"), day(said.calibrated)
        yield say("entry.field.due"), day(said.due)
    else:
        yield say("entry.file.name"), said.name
        yield say("entry.file.digest"), said.sha256


def _trust(said: Signoff | Account | KeySet) -> Iterable[tuple[str, str]]:
    if isinstance(said, Signoff):
        yield say("entry.field.signed_entry"), str(said.signed_entry)
        yield say("entry.field.signed_by"), said.by
        yield say("entry.field.meaning"), say(f"meaning.{said.meaning}")
        yield say("entry.field.remark"), said.remark
    elif isinstance(said, Account):
        yield say("entry.field.login"), said.login
        yield say("entry.field.name"), said.person
        yield say("entry.field.mail"), said.mail
        yield say("entry.field.roles"), "; ".join(said.roles)
        yield say("entry.field.active"), _yes(given=said.active)
        yield say("entry.field.outside"), said.outside
    else:
        yield say("entry.field.origin"), said.origin
        yield say("entry.field.public_key"), said.public_key.hex()


def _site(said: Site) -> Iterable[tuple[str, str]]:
    yield say("entry.field.name"), said.name
    yield say("entry.field.code"), said.code
    yield say("entry.field.zone"), said.zone
    yield say("entry.field.length"), said.display.length
    yield say("entry.field.temperature"), said.display.temperature
    yield say("entry.field.interval"), counted(said.interval_months, "month")
    yield say("entry.field.rule"), rule_text(said.rule or DecisionRule())


def _asset(said: Asset, display: Display) -> Iterable[tuple[str, str]]:
    def text(value: float | None, quantity: Quantity) -> str:
        return display.text(value, quantity)

    yield say("entry.field.from"), day(said.valid_from)
    yield say("entry.field.tag"), said.tag
    yield say("entry.field.description"), said.description
    yield say("entry.field.area"), said.area
    yield say("entry.field.train"), said.train
    yield say("entry.field.driver"), said.driver
    yield say("entry.field.driven"), said.driven
    yield say("entry.field.coupling"), say(f"coupling.{said.coupling}")
    yield say("entry.field.span"), text(said.span_mm, Quantity.DISTANCE)
    yield say("entry.field.speed"), text(said.speed_rpm, Quantity.SPEED)
    yield say("entry.field.speed_max"), text(said.speed_max_rpm, Quantity.SPEED)
    yield (
        say("entry.field.power"),
        "" if said.power_kw is None else say("entry.field.power.value", n=f"{said.power_kw:g}"),
    )
    yield say("entry.field.criticality"), said.criticality
    yield say("entry.field.class"), said.equipment_class
    yield say("entry.field.feet_movable"), "; ".join(text(x, Quantity.DISTANCE) for x in said.feet_movable_mm)
    yield say("entry.field.feet_stationary"), "; ".join(text(x, Quantity.DISTANCE) for x in said.feet_stationary_mm)
    yield say("entry.field.commissioned"), day(said.commissioned)
    yield say("entry.field.retired"), day(said.retired)


def _limit_set(said: LimitSet, display: Display) -> Iterable[tuple[str, str]]:
    yield say("entry.field.name"), said.name
    yield say("entry.field.version"), str(said.version)
    yield say("entry.field.source"), said.source
    yield say("entry.field.adopted_by"), said.adopted_by
    yield say("entry.field.adopted_on"), day(said.adopted_on)
    yield say("entry.field.starter"), _yes(given=said.starter)
    yield say("entry.field.note"), said.note
    for number, row in enumerate(row_lines(said, display), start=1):
        yield say("entry.field.row", n=number), row.says


def _job(job: Job, display: Display) -> Iterable[tuple[str, str]]:
    temperatures = (job.temp_stationary_c, job.temp_movable_c, job.temp_ambient_c)
    yield say("entry.field.ref"), job.ref
    yield say("entry.field.tag"), job.tag
    yield say("entry.field.done"), f"{moment(job.performed_at, job.zone)} ({job.zone})"
    yield say("entry.field.reason"), say(f"reason.{job.reason}")
    yield say("entry.field.people"), "; ".join(job.people)
    yield say("entry.field.instrument"), job.instrument
    yield say("entry.field.method"), say(f"method.{job.method}")
    yield say("entry.field.work_order"), job.work_order
    yield say("entry.field.found"), _four(job.found, display)
    yield say("entry.field.left"), _four(job.left, display)
    yield say("entry.field.target"), _four(job.target, display) if any(job.target.as_tuple()) else say("fact.no_target")
    for name, feet in (
        (say("entry.field.soft_before"), job.soft_before),
        (say("entry.field.soft_after"), job.soft_after),
        (say("entry.field.moves_v"), job.moves_v),
        (say("entry.field.moves_h"), job.moves_h),
    ):
        yield name, _feet(feet, display)
    yield say("entry.field.hours"), display.text(job.hours_run, Quantity.DURATION)
    known = any(one is not None for one in temperatures)
    yield (
        say("entry.field.temperatures"),
        " / ".join(display.text(one, Quantity.TEMPERATURE) for one in temperatures) if known else "",
    )
    yield say("entry.field.checks"), checks_text(job.checks)
    yield say("entry.field.notes"), job.notes
    yield say("entry.field.reviewer"), job.reviewer


def _four(given: Misalignment | None, display: Display) -> str:
    if given is None:
        return say("entry.four.none")
    texts = {
        name: display.text(value, quantity, signed=True, with_unit=False)
        for name, value, quantity in zip(
            ("offset_v", "angle_v", "offset_h", "angle_h"),
            given.as_tuple(),
            (Quantity.OFFSET, Quantity.ANGULARITY) * 2,
            strict=True,
        )
    }
    return say(
        "fact.four", **texts, offset_unit=display.unit(Quantity.OFFSET), angle_unit=display.unit(Quantity.ANGULARITY)
    )


def _feet(feet: FeetValues, display: Display) -> str:
    if not feet:
        return ""
    texts = (display.text(value, Quantity.OFFSET, signed=True, with_unit=False) for value in feet.values)
    return f"{'  '.join(texts)} {display.unit(Quantity.OFFSET)}"


def _yes(*, given: bool) -> str:
    return say("entry.yes") if given else say("entry.no")
