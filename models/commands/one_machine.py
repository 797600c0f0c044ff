"""What one machine is called, and what a job says under any of its tags.

The tag of a machine is part of the digest of what a job says.  A machine that was
given another tag, or whose two records were brought together, is the same machine:
a job that comes again under another of its tags says nothing new.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import replace

from models.commands.plain_jobs import PlainJob
from models.ledger.content import job_content, job_content_text
from models.tables.base import to_microseconds
from models.values.asset import Asset
from models.values.job import Job

Versions = Mapping[str, Sequence[tuple[int, int, Asset]]]


class OneMachine:
    """Knows every tag of every machine of a site.

    Parameters
    ----------
    versions : mapping
        For each tag the descriptions of its machine, as (asset number, entry, asset); it grows while files are read. [unitless]
    merged : callable
        Gives pairs of asset numbers that are one machine; asked once, and only where it matters. [unitless]
    """

    def __init__(self, versions: Versions, merged: Callable[[], list[tuple[int, int]]]) -> None:
        self._versions = versions
        self._merged = merged
        self._groups: dict[int, set[int]] | None = None
        self._tags: dict[int, tuple[str, ...]] = {}

    def tags(self, tag: str) -> tuple[str, ...]:
        """Give every tag of the machine that bears or bore a tag, that one first."""
        versions = self._versions[tag]
        asset_id = versions[0][0]
        if asset_id not in self._tags:
            group = self.together().get(asset_id, {asset_id})
            borne = [version.tag for _, _, version in versions]
            if len(group) > 1:
                every = (held for held in self._versions.values() if held[0][0] in group)
                borne += [version.tag for held in every for _, _, version in held]
            self._tags[asset_id] = tuple(dict.fromkeys(borne))
        return tuple(dict.fromkeys((tag, *self._tags[asset_id])))

    def together(self) -> dict[int, set[int]]:
        """Give, for each asset that was brought together with others, all of them."""
        if self._groups is None:
            self._groups = {}
            # Only a record that was given up went out of service that way: without one there is nothing to ask.
            given_up = any(v.retired for held in self._versions.values() for _, _, v in held)
            for one, other in self._merged() if given_up else []:
                whole = self._groups.get(one, {one}) | self._groups.get(other, {other})
                self._groups |= dict.fromkeys(whole, whole)
        return self._groups


def says_one_of(job: Job | PlainJob, ref: str, tags: Sequence[str], contents: Collection[bytes]) -> bool:
    """Tell whether a job, under any of the tags of its machine, says what was said before.

    Parameters
    ----------
    job : Job or PlainJob
        The job. [as stored]
    ref : str
        Number under which it was said. [unitless]
    tags : sequence of str
        Tags of its machine. [unitless]
    contents : collection of bytes
        Digests of what was said. [unitless]
    """
    return any(content in contents for content in _contents(job, ref, tags))


def _contents(job: Job | PlainJob, ref: str, tags: Sequence[str]) -> Iterator[bytes]:
    for tag in tags:
        if isinstance(job, Job):
            yield job_content(replace(job, ref=ref, tag=tag), to_microseconds(job.performed_at))
        else:
            yield job_content_text(
                ref, tag, job.performed_us, job.reason, job.people, job.instrument, job.method, job.work_order,
                (job.found, job.left, job.target), job.feet, job.numbers, json.loads(job.checks), job.notes, job.reviewer,
            )  # fmt: skip
