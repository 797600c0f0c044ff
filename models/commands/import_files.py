"""Import: files go in whole, or with their good rows, or not at all.

One transaction for all files of a call.  Rows are checked as they are read
and written in batches; at the first error the writing stops (unless the good
rows are wanted) and the looking goes on, so that every problem is reported;
then everything is rolled back.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from zoneinfo import ZoneInfo

import sqlalchemy as sa

from models.commands.judging import Judge, ratios_of, version_on
from models.commands.plain_jobs import Four, PlainJob, PlainLane, plain_row
from models.commands.report import Refused, Report, SheetReport, Source
from models.intake.checking import (
    Known,
    Seen,
    check_asset,
    check_break,
    check_instrument,
    check_job,
    check_person,
)
from models.intake.fields import Table
from models.intake.problems import Code, Severity
from models.intake.reading import Cell, CutRow, digest
from models.intake.rows import Row, RowReader
from models.ledger.content import job_content
from models.store import known as ask
from models.store.rows import asset_version_row, break_row, instrument_row, job_row, person_row
from models.store.unit import Unit, writing
from models.tables.base import canonical_json, to_microseconds
from models.tables.book import ImportedFileRow
from models.tables.jobs import JobRow
from models.tables.machines import AssetRow, AssetVersionRow, BreakRow
from models.tables.people import InstrumentRow, InstrumentVersionRow, PersonRow, PersonVersionRow
from models.values.asset import Asset
from models.values.job import Job, Misalignment
from models.values.kinds import Kind
from models.values.people import Instrument, Person
from models.values.story import Site

BATCH = 5_000
"""Rows that are judged and written together; enough to make the parts around them cheap."""

PLAIN_LANE = True
"""Whether plain rows take the short way; a test switches it off to compare."""

_CUT = "a row in which the file breaks off: it did not come whole"

_ORDER = (Table.PEOPLE, Table.INSTRUMENTS, Table.ASSETS, Table.BREAKS, Table.JOBS)

Progress = Callable[[int], None]


class _NothingToKeepError(Exception):
    """Rolls the transaction back when the book is to stay as it was."""


def import_files(
    engine: sa.Engine,
    site: Site,
    sources: Sequence[Source],
    *,
    by: str,
    now: datetime,
    accept_good: bool = False,
    dry_run: bool = False,
    progress: Progress | None = None,
) -> Report:
    """Import sheets into the book.

    Parameters
    ----------
    engine : sqlalchemy.Engine
        The book's engine. [unitless]
    site : Site
        Site that the files belong to. [unitless]
    sources : sequence of Source
        Sheets with confirmed mappings. [unitless]
    by : str
        Who imports. [unitless]
    now : datetime
        Aware moment of the import. [unitless]
    accept_good : bool
        Keep the good rows although others are refused. [unitless]
    dry_run : bool
        Only look: nothing is written. [unitless]
    progress : callable, optional
        Told the number of rows read since it was last told. [unitless]

    Returns
    -------
    Report
        Counts, problems and refused rows; ``written`` says whether the book changed.
    """
    report = Report()
    try:
        with writing(engine, site.site_id, by, now, rehearse=dry_run) as unit:
            work = _Import(
                unit, site, report, accept_good=accept_good, looking=dry_run, progress=progress or (lambda _rows: None)
            )
            first = unit.next_number
            for table in _ORDER:
                for source in sources:
                    if source.mapping.table is table:
                        work.run(source)
            work.close()
            report.problems.sort(key=lambda p: (p.file, p.sheet, p.row, p.column))
            if dry_run or report.taken == 0 or (report.errors and not accept_good):
                raise _NothingToKeepError  # noqa: TRY301 - it rolls the transaction back on its way out
            report.first_entry, report.last_entry = first, unit.next_number - 1
    except _NothingToKeepError:
        return report
    report.written = True
    return report


@dataclass(slots=True)
class _File:
    """A file of this import: its entry is appended with its first row that is taken."""

    source: Source
    sheets: list[SheetReport] = field(default_factory=list)
    entry: int | None = None


@dataclass(slots=True)
class _Pending:
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


class _Import:
    """One import while it runs: what is known so far, and what waits to be written."""

    def __init__(
        self, unit: Unit, site: Site, report: Report, *, accept_good: bool, looking: bool, progress: Progress
    ) -> None:
        self.unit, self.site, self.report = unit, site, report
        self.accept_good, self.looking, self.progress = accept_good, looking, progress
        connection = unit.connection
        self.versions = ask.asset_versions(connection, site.site_id)
        self.people = ask.people(connection, site.site_id)
        self.instruments = ask.instruments(connection, site.site_id)
        self.breaks = ask.breaks(connection, site.site_id)
        self.sets = ask.limit_sets(connection, site.site_id)
        self.had_jobs = ask.has_jobs(connection, site.site_id)
        self.promised: set[str] = set()
        self.mentioned: set[str] = set()
        self.known = Known(
            ZoneInfo(site.zone),
            unit.clock,
            lambda tag: tag in self.versions or tag in self.promised,
            self._has_instrument,
        )
        self.seen = Seen()
        self.in_this_import: dict[tuple[Table, str], int] = {}
        self.files: dict[str, _File] = {}
        self.judge = Judge(self.sets, self.known.zone)
        self.unjudged: set[str] = set()
        self.failed = False

    def _is_known_instrument(self, serial: str) -> bool:
        return serial in self.instruments or serial in self.mentioned

    def _has_instrument(self, serial: str) -> bool:
        """Tell whether an instrument is known; the first row that names an unknown one is told, not each."""
        if self._is_known_instrument(serial):
            return True
        self.mentioned.add(serial)
        return False

    # -- a sheet ----------------------------------------------------------------------------------------------

    def run(self, source: Source) -> None:
        """Read one sheet from its heading down."""
        sheet = SheetReport(source)
        self.report.sheets.append(sheet)
        file = self.files.setdefault(str(source.path), _File(source))
        file.sheets.append(sheet)
        reader = RowReader(source.mapping, source.path.name, self.known.zone)
        take = {
            Table.ASSETS: self._asset,
            Table.BREAKS: self._break,
            Table.INSTRUMENTS: self._instrument,
            Table.PEOPLE: self._person,
        }.get(source.mapping.table)
        waiting: list[_Pending] = []
        told = 0
        lane = PlainLane(reader, self.known, self.versions.__contains__, self._is_known_instrument)
        plain = lane.read if lane.usable and PLAIN_LANE else None
        for number, cells in source.sheet.rows():
            if number <= source.mapping.header_row:
                continue
            if plain is not None and (found := plain(cells)) and (quick := self._plain(number, cells, found)):
                sheet.read += 1
                waiting.append(quick)
                if sheet.read - told >= BATCH:
                    self.progress(sheet.read - told)
                    told = sheet.read
                    self._write(reader, waiting, sheet, file)
                    waiting = []
                continue
            row = reader.read(number, cells)
            if row is None:
                continue
            sheet.read += 1
            if isinstance(cells, CutRow):
                row.problems.append(reader.problem(row, "", Code.CUT_SHORT, Severity.ERROR, _CUT, "a whole file"))
                self._settle(row, cells, sheet)
            elif row.is_total:
                sheet.left_out += 1
                self.report.problems.extend(row.problems)
            elif take is not None:
                take(reader, row, sheet, file)
                self._settle(row, cells, sheet)
            else:
                pending = self._job(reader, row, cells)
                if pending is not None:
                    waiting.append(pending)
                else:
                    self._settle(row, cells, sheet)
            if sheet.read - told >= BATCH:
                self.progress(sheet.read - told)
                told = sheet.read
                self._write(reader, waiting, sheet, file)
                waiting = []
        self._write(reader, waiting, sheet, file)
        self.progress(sheet.read - told)

    def _settle(self, row: Row, cells: Sequence[Cell], sheet: SheetReport) -> None:
        """File the problems of a row, and keep the row itself if an error keeps it out."""
        self.report.problems.extend(row.problems)
        if not row.is_good:
            self.failed = True
            why = "; ".join(f"{p.column or 'row'}: {p.text}" for p in row.problems if p.severity is Severity.ERROR)
            sheet.refused.append(Refused(row.number, tuple(cells), why))

    def _batch(self, file: _File) -> int:
        if file.entry is None:
            file.entry = self.unit.append(Kind.FILE_IMPORTED, late=True)  # what became of its rows is known at the end
        return file.entry

    def _flush(self) -> None:
        if self.looking or (self.failed and not self.accept_good):
            self.unit.forget()
        else:
            self.unit.flush()

    def close(self) -> None:
        """Write what is left, and what became of each file."""
        for file in self.files.values():
            if file.entry is None:
                continue
            mapping = {sheet.source.mapping.sheet: _mapping_note(sheet.source) for sheet in file.sheets}
            self.unit.add(
                ImportedFileRow,
                (
                    file.entry,
                    self.site.site_id,
                    file.source.path.name,
                    digest(file.source.path),
                    sum(sheet.read for sheet in file.sheets),
                    sum(sheet.taken for sheet in file.sheets),
                    sum(len(sheet.refused) for sheet in file.sheets),
                    canonical_json(mapping),
                ),
            )
        self._flush()

    # -- assets, breaks, people, instruments ---------------------------------------------------------------------

    def _asset(self, reader: RowReader, row: Row, sheet: SheetReport, file: _File, prefix: str = "") -> None:
        asset = check_asset(reader, row, prefix)
        if asset is None:
            return
        versions = self.versions.get(asset.tag, [])
        if any(version == asset for _, _, version in versions):
            self._same(reader, row, sheet, (Table.ASSETS, f"{asset.tag} {asset.valid_from}"))
            return
        if versions and (
            asset.valid_from is None or any(version.valid_from == asset.valid_from for _, _, version in versions)
        ):
            earlier = self.in_this_import.get((Table.ASSETS, f"{asset.tag} {asset.valid_from}"))
            code = Code.KEY_IN_BOOK if earlier is None else Code.KEY_CONFLICT
            where = "the book" if earlier is None else f"row {earlier}"
            expected = f"what {where} says of this tag, or a 'valid from' date for a change"
            row.problems.append(reader.problem(row, "tag", code, Severity.ERROR, asset.tag, expected))
            return
        self._add_asset(asset, row, file)
        self.in_this_import[Table.ASSETS, f"{asset.tag} {asset.valid_from}"] = row.number
        sheet.taken += 1

    def _add_asset(self, asset: Asset, row: Row, file: _File) -> None:
        versions = self.versions.get(asset.tag, [])
        batch, line = self._batch(file), str(row.number)
        if versions:
            asset_id = versions[0][0]
            entry = self.unit.append(Kind.ASSET_CHANGED, asset_id, batch=batch, line=line)
        else:
            entry = asset_id = self.unit.append(Kind.ASSET_ADDED, batch=batch, line=line)
            self.unit.add(AssetRow, (asset_id, self.site.site_id, asset.tag))
        self.unit.add(AssetVersionRow, asset_version_row(entry, self.site.site_id, asset_id, asset, row.typed))
        self.versions.setdefault(asset.tag, []).append((asset_id, entry, asset))

    def _same(self, reader: RowReader, row: Row, sheet: SheetReport, key: tuple[Table, str]) -> None:
        """Count a row that says what is known: from the book it is no news, from this file it stands twice."""
        earlier = self.in_this_import.get(key)
        if earlier is None:
            sheet.unchanged += 1
        else:
            row.problems.append(
                reader.problem(
                    row, "", Code.DUPLICATE, Severity.ERROR, f"the same as row {earlier}", "each record once"
                )
            )

    def _break(self, reader: RowReader, row: Row, sheet: SheetReport, file: _File) -> None:
        broken = check_break(reader, row, self.known)
        if broken is None:
            return
        key = (broken.tag, broken.on, str(broken.part))
        if key in self.breaks:
            self._same(reader, row, sheet, (Table.BREAKS, str(key)))
            return
        self.breaks[key] = broken
        asset_id = self.versions[broken.tag][0][0]
        entry = self.unit.append(
            Kind.BREAK_RECORDED, asset_id, why=broken.reason, batch=self._batch(file), line=str(row.number)
        )
        self.unit.add(BreakRow, break_row(entry, self.site.site_id, asset_id, broken))
        self.in_this_import[Table.BREAKS, str(key)] = row.number
        sheet.taken += 1

    def _person(self, reader: RowReader, row: Row, sheet: SheetReport, file: _File) -> None:
        person = check_person(row)
        if person is None:
            return
        if person.name in self.people and self.people[person.name][1] == person:
            self._same(reader, row, sheet, (Table.PEOPLE, person.name))
            return
        self._add_person(person, self._batch(file), str(row.number))
        self.in_this_import[Table.PEOPLE, person.name] = row.number
        sheet.taken += 1

    def _add_person(self, person: Person, batch: int, line: str) -> int:
        site_id = self.site.site_id
        if person.name in self.people:
            person_id = self.people[person.name][0]
            entry = self.unit.append(Kind.PERSON_CHANGED, person_id, batch=batch, line=line)
        else:
            entry = person_id = self.unit.append(Kind.PERSON_ADDED, batch=batch, line=line)
            self.unit.add(PersonRow, (person_id, site_id, person.name))
        self.unit.add(PersonVersionRow, person_row(entry, site_id, person_id, person))
        self.people[person.name] = (person_id, person)
        return person_id

    def _instrument(self, reader: RowReader, row: Row, sheet: SheetReport, file: _File) -> None:
        instrument = check_instrument(reader, row)
        if instrument is None:
            return
        if instrument.serial in self.instruments and self.instruments[instrument.serial][1] == instrument:
            self._same(reader, row, sheet, (Table.INSTRUMENTS, instrument.serial))
            return
        self._add_instrument(instrument, self._batch(file), str(row.number))
        self.in_this_import[Table.INSTRUMENTS, instrument.serial] = row.number
        sheet.taken += 1

    def _add_instrument(self, instrument: Instrument, batch: int, line: str) -> int:
        site_id = self.site.site_id
        if instrument.serial in self.instruments:
            instrument_id = self.instruments[instrument.serial][0]
            entry = self.unit.append(Kind.INSTRUMENT_CHANGED, instrument_id, batch=batch, line=line)
        else:
            entry = instrument_id = self.unit.append(Kind.INSTRUMENT_ADDED, batch=batch, line=line)
            self.unit.add(InstrumentRow, (instrument_id, site_id, instrument.serial))
        self.unit.add(InstrumentVersionRow, instrument_row(entry, site_id, instrument_id, instrument))
        self.instruments[instrument.serial] = (instrument_id, instrument)
        return instrument_id

    # -- jobs ----------------------------------------------------------------------------------------------------

    def _job(self, reader: RowReader, row: Row, cells: Sequence[Cell]) -> _Pending | None:
        tag = row.values.get("tag")
        if tag and tag not in self.versions and any(key.startswith("assets.") for key in row.values):
            self._asset_from_job(reader, row, tag)
        job = check_job(reader, row, self.known)
        if job is None:
            return None
        performed_us = to_microseconds(job.performed_at)
        content = job_content(job, performed_us)
        earlier = self.seen.refs.get(job.ref)
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
        self.seen.refs[job.ref] = (row.number, content)
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
        return _Pending(row.number, row, tuple(cells), job, day, content, versions[0][0], described)

    def _plain(self, number: int, cells: Sequence[Cell], job: PlainJob) -> _Pending | None:
        """Take a plain row in, unless its job number or moment was there before: then something has to be said of it."""
        moment = hash((job.tag, job.performed_us))
        if job.ref in self.seen.refs or moment in self.seen.moments:
            return None
        self.seen.refs[job.ref] = (number, job.content)
        self.seen.moments.add(moment)
        versions = self.versions[job.tag]
        described = versions[0][2] if len(versions) == 1 else version_on([v for _, _, v in versions], job.day)
        return _Pending(number, None, cells, job, job.day, job.content, versions[0][0], described)

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

    def _write(self, reader: RowReader, waiting: list[_Pending], sheet: SheetReport, file: _File) -> None:
        """Judge a batch and write it."""
        taken = {}
        if self.had_jobs and waiting:
            taken = ask.taken_refs(self.unit.connection, self.site.site_id, (p.job.ref for p in waiting))
        fresh: list[_Pending] = []
        for pending in waiting:
            held = taken.get(pending.job.ref)
            if held is None:
                fresh.append(pending)
            elif pending.content in held:
                sheet.unchanged += 1
            else:
                pending.speak().problems.append(
                    reader.problem(
                        pending.speak(),
                        "ref",
                        Code.KEY_IN_BOOK,
                        Severity.ERROR,
                        pending.job.ref,
                        "what the book says of this job; a job is changed by an amendment, not by a second import",
                    )
                )
        if fresh:
            self._write_fresh(reader, fresh, sheet, file)
        for pending in waiting:
            if pending.row is not None:
                self._settle(pending.row, pending.cells, sheet)
        self._flush()

    def _write_fresh(self, reader: RowReader, fresh: list[_Pending], sheet: SheetReport, file: _File) -> None:
        batch = self._batch(file)
        judged = [self.judge.limits_on(p.day, p.asset) for p in fresh]
        found, left = ratios_of(
            [_numbers(p.job.found) for p in fresh],
            [_numbers(p.job.left) for p in fresh],
            [p.job.target if isinstance(p.job, PlainJob) else p.job.target.as_tuple() for p in fresh],
            [p.asset for p in fresh],
            [limits for _, limits in judged],
        )
        site_id, zone = self.site.site_id, self.known.zone.key
        for pending, (limit_entry, limits), found_ratio, left_ratio in zip(fresh, judged, found, left, strict=True):
            job = pending.job
            if limits.offset_mm is None and limits.flex_mm_m is None and job.tag not in self.unjudged:
                self.unjudged.add(job.tag)
                pending.speak().problems.append(
                    reader.problem(
                        pending.speak(),
                        "tag",
                        Code.NOT_JUDGED,
                        Severity.WARNING,
                        job.tag,
                        "a speed for this asset; without one its jobs have no limit and no verdict",
                    )
                )
            line = str(pending.number)
            people = [self._person_id(name, batch, line) for name in job.people]
            person_id = people[0] if people else None
            instrument_id = self._instrument_id(job.instrument, batch, line) if job.instrument else None
            entry = self.unit.append(Kind.JOB_RECORDED, batch=batch, line=line)
            verdict = (found_ratio, left_ratio)
            if isinstance(job, PlainJob):
                row = plain_row(
                    entry, site_id, pending.asset_id, job, pending.asset, zone, person_id, instrument_id, limit_entry,
                    limits, verdict,
                )  # fmt: skip
            else:
                row = job_row(
                    entry, site_id, pending.asset_id, job, pending.asset, person_id=person_id,
                    instrument_id=instrument_id, limit_entry=limit_entry, limits=limits, ratios=verdict,
                    content=pending.content,
                )  # fmt: skip
            self.unit.add(JobRow, row)
            sheet.taken += 1

    def _person_id(self, name: str, batch: int, line: str) -> int:
        held = self.people.get(name)
        return held[0] if held else self._add_person(Person(name), batch, line)

    def _instrument_id(self, serial: str, batch: int, line: str) -> int:
        held = self.instruments.get(serial)
        return held[0] if held else self._add_instrument(Instrument(serial), batch, line)


def _numbers(measured: Misalignment | Four | None) -> Four | None:
    """Give a measurement as four plain numbers, whichever way it was read."""
    return measured.as_tuple() if isinstance(measured, Misalignment) else measured


def _mapping_note(source: Source) -> dict[str, object]:
    """Keep with the file how it was read: an auditor must be able to read it the same way again."""
    mapping = source.mapping
    return {
        "holds": str(mapping.table),
        "header_row": mapping.header_row,
        "decimal": str(mapping.decimal),
        "dates": str(mapping.order),
        "encoding": source.sheet.encoding,
        "delimiter": source.sheet.delimiter,
        "columns": [
            [c.heading, f"{c.field.table}.{c.field.key}" if c.field else "", c.unit, c.times] for c in mapping.columns
        ],
        "words": dict(mapping.words),
    }
