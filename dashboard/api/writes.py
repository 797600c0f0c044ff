"""Writing through the interface: a job in, an amendment or a voiding in, by the same commands and checks as the pages."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from dashboard.api.asking import Asked, pointer
from dashboard.api.operations import PREFIX
from dashboard.api.problems import ProblemError, Where
from dashboard.api.reads import Given, tag_of, version_of
from dashboard.api.schemas import NEEDED
from dashboard.api.shown import FEET, FOUR, PLAIN, job_version
from dashboard.api.shown import job as shown_job
from models.commands.amend_job import amend_job, take_back_job, void_job
from models.commands.record_job import DoubtfulJobError, record_job, ref_for
from models.errors import (
    ConflictError,
    InvalidValueError,
    OtherVersionError,
    OvertakenError,
    RefTakenError,
    UnknownNameError,
)
from models.maths.plausible import Check, Gravity
from models.store.tokens import Answered, AnsweredBeforeError, KeyUsedOtherwiseError, Receipt
from models.values.decision import SIDES, Covariances, independent
from models.values.job import COMPONENTS, FeetValues, Job, Misalignment
from models.values.kinds import Method, Reason
from models.values.story import JobLine

THROUGH = "through"
"""Name in ``Job.typed`` under which it is kept through which token a job came."""

_TYPED = {
    "found": "found", "left": "left", "target": "target", "soft_before_mm": "soft_before", "soft_after_mm": "soft_after",
    "moves_v_mm": "move_v", "moves_h_mm": "move_h", "temp_stationary_c": "temp_stationary", "temp_movable_c": "temp_movable",
    "temp_ambient_c": "temp_ambient", "hours_run": "hours_run",
}  # fmt: skip
"""How the names begin under which the typed text of a number is kept: it goes when the number is changed."""


def _given_moment(text: str, place: str) -> datetime:
    """Read a moment; the pattern has let through days that no month has."""
    try:
        return datetime.fromisoformat(text)
    except ValueError as fault:
        raise ProblemError(
            422, "not-valid", "The body is not as it has to be.",
            errors=[{"pointer": pointer(place, "performed_at"), "detail": f"{text} is no day of the calendar.", "remedy": "Check the date."}],
        ) from fault  # fmt: skip


def _four(said: Mapping[str, float] | None) -> Misalignment | None:
    # -0.0 becomes 0.0: the two would be different bytes in the book.
    return None if said is None else Misalignment(*(float(said[FOUR[name]]) + 0.0 for name in COMPONENTS))


def _feet(said: list[float | None]) -> FeetValues:
    return FeetValues(tuple(None if value is None else float(value) + 0.0 for value in said))


def _number(said: float | None) -> float | None:
    return None if said is None else float(said) + 0.0


def job_of(said: Mapping[str, Any], zone: str, typed: Mapping[str, str], place: str = "job") -> Job:
    """Make a job of what was sent; its shape was checked before.

    Parameters
    ----------
    said : mapping
        A job as the description has it. [mm, mm/m, °C, h]
    zone : str
        IANA name of the zone in which the work was done. [unitless]
    typed : mapping of str to str
        What is kept as typed beside it. [as typed]
    place : str
        Where it stands in the body, for problems. [unitless]

    Raises
    ------
    InvalidValueError
        If it cannot be a job.
    """
    performed = _given_moment(said["performed_at"], place).astimezone(UTC)
    feet: dict[str, Any] = {inside: _feet(said.get(outside) or []) for inside, outside in FEET.items()}
    plain: dict[str, Any] = {name: _number(said.get(name)) for name in PLAIN}
    return Job(
        ref=said.get("ref") or ref_for(said["tag"], performed, zone),
        tag=said["tag"],
        performed_at=performed,
        zone=zone,
        reason=Reason(said["reason"]),
        people=tuple(dict.fromkeys(said.get("people", []))),
        instrument=said.get("instrument") or "",
        method=Method(said.get("method", Method.OTHER)),
        work_order=said.get("work_order", ""),
        found=_four(said.get("found")),
        left=_four(said.get("left")),
        target=_four(said.get("target")) or Misalignment(),
        **feet,
        **plain,
        checks=tuple(said.get("checks", [])),
        notes=said.get("notes", ""),
        reviewer=said.get("reviewer", ""),
        typed=typed,
    )


def _through(asked: Asked) -> dict[str, str]:
    token = asked.caller.token
    return {} if token is None else {THROUGH: f"JSON interface, token '{token.name}'"}


def _author(asked: Asked) -> str:
    account = asked.caller.account
    return "" if account is None else account.person(asked.site.site_id)


def _receipt(asked: Asked) -> Receipt | None:
    token = asked.caller.token
    if token is None or not asked.key:
        return None

    def write(line: JobLine) -> Answered:
        return Answered(asked.operation.status, json.dumps(job_version(line, asked.site), ensure_ascii=False))

    return Receipt(token.number, asked.key, asked.digest, asked.now, write)


def _uncertainty(asked: Asked) -> Covariances | None:
    """Read what was sent of the uncertainty of both measurements; ``None`` where nothing was.

    A measurement that is left out is one of which nothing is said: ``null`` says that its uncertainty is not known.
    """
    said = asked.body.get("uncertainty")
    if said is None:
        return None
    found, left = (None if one is None else independent(one.as_tuple()) for one in map(_four, map(said.get, SIDES)))
    return Covariances(found, left, tuple(side for side in SIDES if side in said))


def record(asked: Asked) -> Given:
    """Record a job."""
    said = asked.body["job"]
    with _told("job"):
        return _written(
            asked,
            lambda: record_job(
                asked.engine, asked.site, job_of(said, asked.site.zone, _through(asked)), by=_author(asked), now=asked.now,
                stated_reasons=asked.body.get("stated_reasons"), bolts_tight=asked.body.get("bolts_tight"),
                covariances=_uncertainty(asked), receipt=_receipt(asked),
            ),
        )  # fmt: skip


def amend(asked: Asked) -> Given:
    """Amend a version of a job: what is named is replaced as a whole, what is not stays."""
    entry, changes = asked.given["entry"], asked.body.get("changes", {})
    line = version_of(asked, entry)
    old = line.job
    for name in NEEDED:
        if changes.get(name, "") is None:
            where = {"pointer": pointer("changes", name), "detail": "It cannot be taken out."}
            raise ProblemError(422, "not-valid", "The body is not as it has to be.", errors=[where])
    gone = tuple(_TYPED[name] for name in changes if name in _TYPED)
    typed = {name: text for name, text in old.typed.items() if not (gone and name.startswith(gone))}
    with _told("changes", bound=_is_bound(asked, line)):
        return _written(
            asked,
            lambda: amend_job(
                asked.engine, asked.site, entry, replace(_changed(old, changes), typed=typed | _through(asked)),
                by=_author(asked), now=asked.now, why=asked.body["why"],
                stated_reasons=asked.body.get("stated_reasons"), bolts_tight=asked.body.get("bolts_tight"),
                covariances=_uncertainty(asked), made_from=_made_from(asked, line), receipt=_receipt(asked),
            ),
        )  # fmt: skip


def void(asked: Asked) -> Given:
    """Void a job, or take a void one back."""
    entry, change = asked.given["entry"], take_back_job if asked.body.get("take_back") else void_job
    line = version_of(asked, entry)
    with _told("why", bound=_is_bound(asked, line)):
        return _written(
            asked,
            lambda: change(
                asked.engine, asked.site, entry, by=_author(asked), now=asked.now, why=asked.body["why"],
                typed=_through(asked), made_from=_made_from(asked, line), receipt=_receipt(asked),
            ),
        )  # fmt: skip


_FITS_NOTHING = "-"


def _made_from(asked: Asked, line: JobLine) -> str | None:
    """Give the leaf hash to which a write is bound; ``None`` where it is bound to none.

    Tags are compared strongly: a weak one never fits.  Where none fits, the command is still asked: what was answered before under the same key is
    answered so again, also where the version was overtaken since, by this very request.
    """
    if not asked.tags:
        return None
    # The tag that it had before it was overtaken: the command says by what.
    before = tag_of(replace(line, superseded_by=None), asked.site)
    return line.leaf if tag_of(line, asked.site) in asked.tags or before in asked.tags else _FITS_NOTHING


def _is_bound(asked: Asked, line: JobLine) -> bool:
    """Tell whether a version that was overtaken is not what a write is bound to; it is where its tag was given for it as overtaken."""
    return bool(asked.tags) and not (line.superseded_by is not None and tag_of(line, asked.site) in asked.tags)


def _changed(old: Job, changes: Mapping[str, Any]) -> Job:
    made = job_of({**shown_job(old), **changes}, old.zone, {}, "changes")
    # A moment that is not named stays exactly what it is.
    return made if "performed_at" in changes else replace(made, performed_at=old.performed_at)


def _written(asked: Asked, command: Callable[[], JobLine]) -> Given:
    try:
        line = command()
    except AnsweredBeforeError as before:
        body = json.loads(before.answered.text)
        return Given(body, headers={"Location": f"{PREFIX}/jobs/{body['entry']}", "Idempotency-Replayed": "true"})
    return Given(job_version(line, asked.site), headers={"Location": f"{PREFIX}/jobs/{line.entry}"})


_OTHER = (
    "Nothing was written: If-Match names another version than the one that stands under this number. An older state of the book may have been put back, or "
    "the machine was given another tag. A weak tag never fits."
)


@contextmanager
def _told(place: str, *, bound: bool = False) -> Iterator[None]:
    """Turn what the commands refuse into problems that point into the body; ``bound`` where a version is named by its tag."""
    try:
        yield
    except DoubtfulJobError as fault:
        errors = [_doubt(check, place) for check in fault.checks]
        raise ProblemError(
            422, "doubtful", "The job was not written: it speaks against itself or against the book.",
            remedy="Correct it; where a stated reason is asked for, it can go into 'stated_reasons' instead, by the name of the check.",
            errors=errors,
        ) from fault  # fmt: skip
    except (OtherVersionError, OvertakenError) as fault:
        if not bound:
            raise ProblemError(409, "conflict", fault.message, remedy=fault.remedy) from fault
        why = fault.message if isinstance(fault, OvertakenError) else _OTHER
        where = {
            "header": "If-Match",
            "detail": why,
            "remedy": "Get the job again, see whether it is the one that is meant, and send its ETag.",
        }
        raise ProblemError(412, "other-version", why, remedy=where["remedy"], errors=[where]) from fault
    except RefTakenError as fault:
        raise _taken(fault) from fault
    except ConflictError as fault:
        raise ProblemError(409, "conflict", fault.message, remedy=fault.remedy) from fault
    except KeyUsedOtherwiseError as fault:
        where = {"header": "Idempotency-Key", "detail": fault.message, "remedy": fault.remedy}
        raise ProblemError(422, "key-used", fault.message, remedy=fault.remedy, errors=[where]) from fault
    except UnknownNameError as fault:
        where = {"pointer": pointer(place, "tag"), "detail": fault.message, "remedy": fault.remedy}
        raise ProblemError(422, "not-valid", fault.message, remedy=fault.remedy, errors=[where]) from fault
    except InvalidValueError as fault:
        where = {"pointer": pointer(place), "detail": fault.message, "remedy": fault.remedy or "Correct it."}
        raise ProblemError(422, "not-valid", fault.message, remedy=fault.remedy, errors=[where]) from fault


def _taken(fault: RefTakenError) -> ProblemError:
    """Lead a program to the job that has the number: its own, where the answer to a first try was lost."""
    place = f"{PREFIX}/jobs/{fault.entry}"
    return ProblemError(
        409, "conflict", fault.message, remedy=fault.remedy, headers={"Location": place},
        more={"entry": fault.entry, "location": place, "same_content": fault.same},
    )  # fmt: skip


_FIELDS = {
    "performed": "performed_at", "soft_after": "soft_after_mm", "soft_before": "soft_before_mm",
    "moves_v": "moves_v_mm", "moves_h": "moves_h_mm",
}  # fmt: skip


def _doubt(check: Check, place: str) -> Where:
    name, _, part = check.field.partition(".")
    at = [place, _FIELDS.get(name, name)] if name else [place]
    if part in FOUR:
        at.append(FOUR[part])
    asks = "a correction" if check.gravity is Gravity.STOP else "a stated reason"
    return {"pointer": pointer(*at), "detail": check.sentence, "check": str(check.doubt), "asks": asks}
