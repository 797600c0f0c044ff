"""The canonical content of what is said, by which the same statement is known again.

It binds what was said about the machine, not who recorded it when: a file
imported twice says the same things twice.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from json.encoder import encode_basestring

from models.values.job import Job

Stages = tuple[Sequence[float] | None, Sequence[float] | None, Sequence[float]]

_ENCODER = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def digest_of(parts: Sequence[object]) -> bytes:
    """Give the SHA-256 of a flat or nested list in canonical JSON.

    Parameters
    ----------
    parts : sequence of object
        Texts, numbers, booleans, ``None`` and lists of them, in a fixed order. [as stored]

    Returns
    -------
    bytes
        32 bytes. [unitless]
    """
    return hashlib.sha256(_ENCODER.encode(parts).encode()).digest()


def job_content(job: Job, performed_us: int) -> bytes:
    """Give the digest of what a job says, in stored units.

    The texts as typed are left out: 0.06 mm and 60 µm say the same.

    Parameters
    ----------
    job : Job
        The job. [unitless]
    performed_us : int
        Its moment. [µs since 1970, UTC]
    """
    return digest_of(
        [
            job.ref,
            job.tag,
            performed_us,
            job.reason,
            job.people,
            job.instrument,
            job.method,
            job.work_order,
            job.found and job.found.as_tuple(),
            job.left and job.left.as_tuple(),
            job.target.as_tuple(),
            job.soft_before.values,
            job.soft_after.values,
            job.moves_v.values,
            job.moves_h.values,
            [job.temp_stationary_c, job.temp_movable_c, job.temp_ambient_c, job.hours_run],
            job.checks,
            job.notes,
            job.reviewer,
        ]
    )


def job_content_text(
    ref: str,
    tag: str,
    performed_us: int,
    reason: str,
    people: Sequence[str],
    instrument: str,
    method: str,
    work_order: str,
    stages: Stages,
    feet: Sequence[str],
    numbers: Sequence[float | None],
    checks: Sequence[str],
    notes: str,
    reviewer: str,
) -> bytes:
    """Give the same digest as :func:`job_content`, put together by hand from its parts; a test holds the two together.

    Parameters
    ----------
    ref, tag, reason, instrument, method, work_order, notes, reviewer : str
        Texts of the job. [unitless]
    performed_us : int
        Its moment. [µs since 1970, UTC]
    people, checks : sequence of str
        Names and checks done. [unitless]
    stages : tuple
        Found, left and target: four numbers each, or ``None``. [mm, mm/m]
    feet : sequence of str
        The four lists of feet values, written as JSON. [mm]
    numbers : sequence of float or None
        Three temperatures and the hours run. [°C, h]
    """
    said = encode_basestring
    found, left, target = ["null" if x is None else f"[{','.join(map(repr, x))}]" for x in stages]
    other = ",".join(["null" if x is None else repr(x) for x in numbers])
    text = (
        f"[{said(ref)},{said(tag)},{performed_us},{said(reason)},[{','.join(map(said, people))}],{said(instrument)},"
        f"{said(method)},{said(work_order)},{found},{left},{target},{','.join(feet)},[{other}],"
        f"[{','.join(map(said, checks))}],{said(notes)},{said(reviewer)}]"
    )
    return hashlib.sha256(text.encode()).digest()
