"""Jobs of an import, row by row: read, judged in batches, written."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from models.commands.import_things import File, Things
from models.commands.judging import ratios_of, version_on
from models.commands.plain_jobs import Four, PlainJob, plain_row
from models.commands.report import SheetReport
from models.intake.checking import check_asset, check_job
from models.intake.problems import Code, Severity
from models.intake.reading import Cell
from models.intake.rows import Row, RowReader
from models.ledger.content import job_content
from models.store import known as ask
from models.store.rows import job_row
from models.tables.base import to_microseconds
from models.tables.jobs import JobRow
from models.values.asset import Asset
from models.values.job import Job, Misalignment
from models.values.kinds import Kind
from models.values.limits import LimitsGiven


@dataclass(slots=True)
class Pending:
    """A job that has passed its own checks and waits for its batch; a plain one has a row only where something is said of it."""

    number: int
    row: Row | None
    cells: Sequence[Cell]
    job: Job | PlainJob
    day: date
    content: bytes
    asset_id: int
    asset: Asset

    def speak(self) -> Row:
        """Give the row, to say something of it."""
        if self.row is None:
            self.row = Row(self.number)
        return self.row


@dataclass(frozen=True, slots=True)
class Judged:
    """What a job is judged by, and its ratios as-found and as-left."""

    limit_entry: int | None
    limits: LimitsGiven
    ratios: tuple[float | None, float | None]


class JobRows(Things):
    """The jobs of an import, one row after the other."""

    def _job(self, reader: RowReader, row: Row, cells: Sequence[Cell]) -> Pending | None:
        tag = row.values.get("tag")
        if tag and tag not in self.versions and any(key.startswith("assets.") for key in row.values):
            self._asset_from_job(reader, row, tag)
        job = check_job(reader, row, self.known)
        if job is None:
            return None
        performed_us = to_microseconds(job.performed_at)
        content = job_content(job, performed_us)
        earlier = self.seen.earlier(job.ref)
        if earlier is not None:
            number, same = earlier
            if same == content:
                row.problems.append(
                    reader.problem(
                        row,
                        "ref",
                        Code.DUPLICATE,
                        Severity.ERROR,
                        job.ref,
                        f"each record once; row {number} says the same",
                    )
                )
            else:
                row.problems.append(
                    reader.problem(
                        row,
                        "ref",
                        Code.KEY_CONFLICT,
                        Severity.ERROR,
                        job.ref,
                        f"a number of its own; row {number} has it with other content",
                    )
                )
            return None
        self.seen.keep((job.ref,), (row.number,), (content,))
        moment = hash((job.tag, performed_us))
        if moment in self.seen.moments:
            row.problems.append(
                reader.problem(
                    row,
                    "performed",
                    Code.SAME_MOMENT,
                    Severity.WARNING,
                    job.performed_at.date(),
                    "one job of an asset at one time",
                )
            )
        self.seen.moments.add(moment)
        versions = self.versions[job.tag]
        day = self.judge.day(job)
        described = version_on([version for _, _, version in versions], day)
        return Pending(row.number, row, tuple(cells), job, day, content, versions[0][0], described)

    def _plain(self, number: int, cells: Sequence[Cell], job: PlainJob) -> Pending | None:
        """Take a plain row in, unless its job number or moment was there before: then something has to be said of it."""
        moment = hash((job.tag, job.performed_us))
        if job.ref in self.seen.refs() or moment in self.seen.moments:
            return None
        self.seen.keep((job.ref,), (number,), (job.content,))
        self.seen.moments.add(moment)
        versions = self.versions[job.tag]
        described = versions[0][2] if len(versions) == 1 else version_on([v for _, _, v in versions], job.day)
        return Pending(number, None, cells, job, job.day, job.content, versions[0][0], described)

    def _asset_from_job(self, reader: RowReader, row: Row, tag: str) -> None:
        """Found an asset from a register in which the machine stands in the row of its job."""
        if not row.is_good:
            self.promised.add(tag)  # the true error is told; 'unknown asset' on top of it would mislead
            return
        asset = check_asset(reader, row, "assets.")
        if asset is None:
            return
        file = self.files[str(next(s.source.path for s in reversed(self.report.sheets)))]
        self._add_asset(asset, row, file)

    def _write(self, reader: RowReader, waiting: list[Pending], sheet: SheetReport, file: File) -> None:
        """Judge a batch and write it."""
        taken = self._taken([p.job.ref for p in waiting])
        fresh = [p for p in waiting if self._is_fresh(reader, p, taken, sheet)]
        for pending, judged in zip(fresh, self._judged(fresh), strict=True):
            self._write_one(reader, pending, judged, sheet, file)
        for pending in waiting:
            if pending.row is not None:
                self._settle(pending.row, pending.cells, sheet)
        self._flush()

    def _taken(self, refs: list[str]) -> dict[str, set[bytes]]:
        """Give what the book says under each of the job numbers that it holds."""
        return ask.taken_refs(self.unit.connection, self.site.site_id, refs) if self.had_jobs and refs else {}

    def _is_fresh(self, reader: RowReader, pending: Pending, taken: dict[str, set[bytes]], sheet: SheetReport) -> bool:
        """Tell whether the book does not know a job yet; count it or say why not otherwise."""
        held = taken.get(pending.job.ref)
        if held is None:
            return True
        if pending.content in held:
            sheet.unchanged += 1
        else:
            self._tell_taken(reader, pending.speak(), pending.job.ref)
        return False

    def _tell_taken(self, reader: RowReader, row: Row, ref: str) -> None:
        expected = "what the book says of this job; a job is changed by an amendment, not by a second import"
        row.problems.append(reader.problem(row, "ref", Code.KEY_IN_BOOK, Severity.ERROR, ref, expected))

    def _judged(self, fresh: list[Pending]) -> Iterator[Judged]:
        """Judge jobs."""
        if not fresh:
            return
        judged = [self.judge.limits_on(p.day, p.asset) for p in fresh]
        found, left = ratios_of(
            [_numbers(p.job.found) for p in fresh],
            [_numbers(p.job.left) for p in fresh],
            [p.job.target if isinstance(p.job, PlainJob) else p.job.target.as_tuple() for p in fresh],
            [p.asset for p in fresh],
            [limits for _, limits in judged],
        )
        for (entry, limits), *ratios in zip(judged, found, left, strict=True):
            yield Judged(entry, limits, (ratios[0], ratios[1]))

    def _write_one(self, reader: RowReader, pending: Pending, judged: Judged, sheet: SheetReport, file: File) -> None:
        job, limits = pending.job, judged.limits
        if limits.offset_mm is None and limits.flex_mm_m is None and job.tag not in self.unjudged:
            self._tell_unjudged(reader, pending.speak(), job.tag)
        batch, line = self._batch(file), str(pending.number)
        people = [self._person_id(name, batch, line) for name in job.people]
        person_id = people[0] if people else None
        instrument_id = self._instrument_id(job.instrument, batch, line) if job.instrument else None
        entry = self.unit.append(Kind.JOB_RECORDED, batch=batch, line=line)
        if isinstance(job, PlainJob):
            row = plain_row(
                entry, self.site.site_id, pending.asset_id, job, pending.asset, self.known.zone.key, person_id,
                instrument_id, judged.limit_entry, limits, judged.ratios,
            )  # fmt: skip
        else:
            row = job_row(
                entry, self.site.site_id, pending.asset_id, job, pending.asset, person_id=person_id,
                instrument_id=instrument_id, limit_entry=judged.limit_entry, limits=limits, ratios=judged.ratios,
                content=pending.content,
            )  # fmt: skip
        self.unit.add(JobRow, row)
        sheet.taken += 1

    def _tell_unjudged(self, reader: RowReader, row: Row, tag: str) -> None:
        """Say once for a machine that its jobs have no verdict."""
        self.unjudged.add(tag)
        expected = "a speed for this asset; without one its jobs have no limit and no verdict"
        row.problems.append(reader.problem(row, "tag", Code.NOT_JUDGED, Severity.WARNING, tag, expected))


def _numbers(measured: Misalignment | Four | None) -> Four | None:
    """Give a measurement as four plain numbers, whichever way it was read."""
    return measured.as_tuple() if isinstance(measured, Misalignment) else measured
