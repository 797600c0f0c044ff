"""Jobs of an import, row by row: read, judged in batches, written."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date

from models.commands.described import Descriptions, describes
from models.commands.doubtful_moves import told_of
from models.commands.import_things import File, Things
from models.commands.judging import ratios_of
from models.commands.one_machine import says_one_of
from models.commands.pending import Clash, Judged, Pending, moment_of, numbers_of, refs_of
from models.commands.plain_jobs import PlainJob, plain_row
from models.commands.report import SameVisit, SheetReport, Source
from models.commands.same_visit import ImportVisits, alike, eight, told, told_twice
from models.commands.taken_jobs import told_taken, told_twice_here
from models.intake.checking_jobs import check_job, made_ref
from models.intake.problems import Code, Severity
from models.intake.reading import Cell
from models.intake.rows import Row, RowReader
from models.ledger.content import job_content
from models.store import known as ask
from models.store.held_jobs import held_jobs as ask_held
from models.store.rows import decision_rows, job_row
from models.store.visits import Visit
from models.tables.base import to_microseconds
from models.tables.decisions import DecisionRow
from models.tables.jobs import JobRow
from models.values.asset import Asset
from models.values.decision import Decision, Decisions, Verdict
from models.values.description import place_on, version_on
from models.values.job import Job
from models.values.kinds import Kind
from models.values.limits import LimitsGiven


class JobRows(Things):
    """The jobs of an import, one row after the other."""

    described: Descriptions
    came: ImportVisits
    told_visits: set[int]
    """Rows of a batch of which it is told already that the book may hold their visit."""

    def look_ahead(self, sources: Sequence[Source]) -> None:
        """Gather what sheets say of machines that are not there yet, before the first of their jobs is judged.

        Parameters
        ----------
        sources : sequence of Source
            All sheets of jobs of this import. [unitless]
        """
        self.described = Descriptions()
        self.came, self.told_visits = ImportVisits(), set()

        def tag_of(text: str) -> str | None:
            tag = self._tag_of(text)
            return None if not tag or tag in self.versions else tag

        for source in sources:
            if describes(source.mapping):
                reader = RowReader(source.mapping, source.path.name, self.known.zone)
                self.described.gather(source.sheet, reader, tag_of)

    def _job(self, reader: RowReader, row: Row, cells: Sequence[Cell]) -> Pending | None:
        tag = self._read_tag(reader, row)
        asset, typed = self._from_job(reader, row, tag) if tag and tag not in self.versions else (None, None)
        job = check_job(reader, row, self.known)
        if job is None:
            return None
        if asset is None and job.tag not in self.versions:
            expected = f"a machine that is known; {self.promised[job.tag]}, which describes it, is refused: mend that row first"
            row.problems.append(reader.problem(row, "tag", Code.UNKNOWN_ASSET, Severity.ERROR, job.tag, expected))
            return None
        performed_us = to_microseconds(job.performed_at)
        content = job_content(job, performed_us)
        tags = (job.tag,) if asset is not None else self.one_machine.tags(job.tag)
        others = (
            () if row.values.get("ref") else tuple(made_ref(t, job.performed_at, self.known.zone) for t in tags[1:])
        )
        if self._stands_twice(reader, row, cells, job, content, tags, others):
            return None
        self.seen.keep((job.ref,), (row.number,), (content,))
        moment = hash((job.tag, performed_us))
        if moment in self.seen.moments:
            # Noon stands for a day without a time.
            when = f"{job.performed_at.astimezone(self.known.zone):%Y-%m-%d %H:%M}".removesuffix(" 12:00")
            row.problems.append(
                reader.problem(
                    row,
                    "performed",
                    Code.SAME_MOMENT,
                    Severity.WARNING,
                    reader.shown("performed", cells),
                    f"one job of an asset at one time ({when}); two of one moment make no run and no return. If both are one visit, void one of them",
                )
            )
        self.seen.moments.add(moment)
        if asset is not None:
            self._add_asset(reader, asset, row, self._file(), typed)
        versions = self.versions[job.tag]
        every, day = [version for _, _, version in versions], self.judge.day(job)
        described = version_on(every, day)
        self.described.tell(reader, row, job.tag, described, version_on(every, self.today))
        return Pending(row.number, row, tuple(cells), job, day, content, versions[0][0], described, others)

    def _from_job(self, reader: RowReader, row: Row, tag: str) -> tuple[Asset | None, dict[str, str] | None]:
        """Give the machine that comes into being by a row of its jobs, with its numbers as typed; ``None`` where it cannot."""
        if not self.described.has(tag, row):
            return None, None
        # The true error is told; 'unknown asset' on top of it would mislead.
        self.promised.setdefault(tag, f"row {row.number} of {reader.file}")
        return self.described.asset(reader, row, tag) if row.is_good else (None, None)

    def _file(self) -> File:
        """Give the file that is being read."""
        return self.files[str(next(s.source.path for s in reversed(self.report.sheets)))]

    def _stands_twice(
        self, reader: RowReader, row: Row, cells: Sequence[Cell], job: Job, content: bytes, tags: Sequence[str],
        others: Sequence[str],
    ) -> bool:  # fmt: skip
        """Say of a job that it stands in this import already, under any tag of its machine."""
        for ref in (job.ref, *others):
            earlier = self.seen.earlier(ref)
            if earlier is None:
                continue
            number, same = earlier
            where = self._row_of(bisect_right(self.starts, self.seen.place(ref)) - 1, number)
            is_same = same == content or says_one_of(job, ref, tags, (same,))
            self.report.sheets[-1].left_out += is_same
            row.problems.append(told_twice_here(reader, row, cells, job, where, is_same=is_same))
            return True
        return False

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

    def _write(self, reader: RowReader, waiting: list[Pending], sheet: SheetReport, file: File) -> None:
        """Judge a batch and write it."""
        taken = self._taken(refs_of(waiting))
        clashes: list[Clash] = []
        fresh = [p for p in waiting if self._is_fresh(reader, p, taken, sheet, clashes)]
        self._tell_taken(reader, clashes)
        fresh = self._held_against_rows(reader, self._held_against_visits(reader, fresh, sheet), sheet)
        for pending, judged in zip(fresh, self._judged(fresh), strict=True):
            self._write_one(reader, pending, judged, sheet, file)
        for pending in waiting:
            if pending.row is not None:
                self._settle(pending.row, pending.cells, sheet)
        self._flush()

    def _taken(self, refs: list[str]) -> dict[str, set[bytes]]:
        """Give what the book says under each of the job numbers that it holds."""
        return ask.taken_refs(self.unit.connection, self.site.site_id, refs) if self.had_jobs and refs else {}

    def _is_fresh(
        self,
        reader: RowReader,
        pending: Pending,
        taken: dict[str, set[bytes]],
        sheet: SheetReport,
        clashes: list[Clash],
    ) -> bool:
        """Tell whether the book does not know a job yet; count it, or put it among those that clash, otherwise."""
        for ref in (pending.job.ref, *pending.other_refs):
            held = taken.get(ref)
            if held is None:
                continue
            if pending.content in held or self._is_said(pending.job, ref, held):
                sheet.unchanged += 1
            else:
                clashes.append(Clash(pending.speak(), pending.cells, ref, pending.job.tag, moment_of(pending.job)))
            return False
        self._tell_out_of_service(reader, pending)
        return True

    def _held_against_visits(self, reader: RowReader, fresh: list[Pending], sheet: SheetReport) -> list[Pending]:
        """Say of each new job that may be a visit that the book holds; give those that are taken."""
        if not self.had_jobs or not fresh:
            return fresh
        keys = [(pending.asset_id, pending.day.toordinal()) for pending in fresh]
        held = self.visits.on(set(keys))
        kept = []
        for pending, key in zip(fresh, keys, strict=True):
            job, at = pending.job, moment_of(pending.job)
            known = (
                alike(held[key], at, numbers_of(job.found), numbers_of(job.left), pending.typed)
                if key in held
                else None
            )
            if known is None or self._tell_visit(reader, pending.speak(), pending.cells, known, sheet):
                kept.append(pending)
        return kept

    def _tell_visit(
        self, reader: RowReader, row: Row, cells: Sequence[Cell], known: tuple[Visit, bool], sheet: SheetReport
    ) -> bool:
        """Say of a row that it may be a visit that the book holds; tell whether it is taken."""
        visit, by_readings = known
        if by_readings:
            self.told_visits.add(row.number)
        row.problems.append(told(reader, row, cells, visit, self.same_visit, by_readings=by_readings))
        sheet.doubled += by_readings
        return not by_readings or self.same_visit is not SameVisit.LEAVE

    def _held_against_rows(self, reader: RowReader, fresh: list[Pending], sheet: SheetReport) -> list[Pending]:
        """Say of each new job that may be the visit of an earlier row; give those that are taken, which later rows are held against."""
        if not fresh:
            return fresh
        kept = [pending for pending in fresh if self._comes_once(reader, pending, sheet)]
        self.told_visits.clear()
        return kept

    def _comes_once(self, reader: RowReader, pending: Pending, sheet: SheetReport) -> bool:
        """Say of a job that may be the visit of an earlier row; take it among those that came, and tell so, unless it is left out."""
        found, left = numbers_of(pending.job.found), numbers_of(pending.job.left)
        key = self.visit_key(pending.asset_id, pending.day)
        earlier = self.came.alike(key, found, left, pending.typed) if pending.number not in self.told_visits else None
        if earlier is not None and not self.tell_twice(reader, pending.speak(), pending.cells, earlier, pending.day, sheet):  # fmt: skip
            return False
        self.came.add([key], len(self.report.sheets) - 1, [pending.number], eight(found, left))
        return True

    def visit_key(self, asset_id: int, day: date) -> int:
        """Give the key of a visit; all records of one machine have the same."""
        together = self.one_machine.together() if self.had_jobs else {}
        return self.came.key(min(together.get(asset_id, (asset_id,))), day.toordinal())

    def tell_twice(
        self, reader: RowReader, row: Row, cells: Sequence[Cell], earlier: tuple[int, int], day: date, sheet: SheetReport
    ) -> bool:  # fmt: skip
        """Say of a row that an earlier one may be the same visit; tell whether it is taken."""
        # That both are of one moment says no more.
        row.problems = [one for one in row.problems if one.code is not Code.SAME_MOMENT or one.is_sentence]
        row.problems.append(told_twice(reader, row, cells, self._row_of(*earlier), day, self.same_visit))
        sheet.doubled += 1
        return self.same_visit is not SameVisit.LEAVE

    def _tell_out_of_service(self, reader: RowReader, pending: Pending) -> None:
        """Say of a new job that its machine is out of service on its day, or that its record was given up for another."""
        if pending.row is None:
            return  # a plain row: its machine was never out of service
        tag = pending.job.tag
        versions = self.versions[tag]
        place = place_on([version.valid_from for _, _, version in versions], self.today)
        held = versions[place][2]
        if held.retired is None and pending.asset.retired is None:
            return
        # Loaded here only: most files name no such machine, and what checks jobs needs the library of arrays.
        from models.maths.plausible_job import out_of_service

        for check in out_of_service(pending.asset, pending.day, *self.given_up(tag)):
            row = pending.speak()
            problem = reader.problem(row, "tag", Code.OUT_OF_SERVICE, Severity.WARNING, tag, str(check.sentence))
            row.problems.append(replace(problem, is_sentence=True))

    def _is_said(self, job: Job | PlainJob, ref: str, held: set[bytes]) -> bool:
        """Tell whether the book says this of a job already, under another tag of its machine."""
        tags = self.one_machine.tags(job.tag)
        return says_one_of(job, ref, tags[1:] if ref == job.ref else tags, held)

    def _tell_taken(self, reader: RowReader, clashes: Sequence[Clash]) -> None:
        """Say of rows whose job numbers the book has with other content in what they differ."""
        held = ask_held(self.unit.connection, self.site.site_id, {clash.ref for clash in clashes}) if clashes else {}
        for clash in clashes:
            known, elsewhere = held.get(clash.ref), ""
            if known is not None:
                one = {number for tag in self.one_machine.tags(clash.tag) for number, _, _ in self.versions[tag]}
                if known.asset_id not in one:
                    every = (
                        version.tag for kept in self.versions.values() for n, _, version in kept if n == known.asset_id
                    )
                    elsewhere = next(every, "")
            clash.row.problems.append(
                told_taken(
                    reader,
                    clash.row,
                    clash.cells,
                    clash.performed_us,
                    known,
                    elsewhere=elsewhere,
                    display=self.site.display,
                )
            )

    def _judged(self, fresh: list[Pending]) -> Iterator[Judged]:
        """Judge jobs."""
        if not fresh:
            return
        judged = [self.judge.limits_on(p.day, p.asset) for p in fresh]
        found, left = ratios_of(
            [numbers_of(p.job.found) for p in fresh],
            [numbers_of(p.job.left) for p in fresh],
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
        if self.rule is not None:
            # A list brings no uncertainty: by a guarded rule nothing can be decided.
            sides = (Decision(self.rule, Verdict.UNDECIDED) if ratio is not None else None for ratio in judged.ratios)
            brought = decision_rows(entry, self.site.site_id, Decisions(*sides))
            sheet.noticed.undecided += bool(brought)
            for one in brought:
                self.unit.add(DecisionRow, one)
        sheet.taken += 1
        sheet.saw(pending.day, pending.day)
        self._notice(pending, limits, sheet)

    def _notice(self, pending: Pending, limits: LimitsGiven, sheet: SheetReport) -> None:
        """Count what is noticed of a job that is new."""
        job, number = pending.job, pending.number
        if pending.left_as_found:
            sheet.noticed.left_as_found(1, [number])
        if job.instrument in self.serials.odd:
            sheet.noticed.instrument(job.instrument, 1, [number])
        for name in job.people:
            if name in self.names.odd:
                sheet.noticed.person(name, 1, [number])
        if moved := told_of(job, pending.asset, limits, self.site.display):
            sheet.noticed.moved(number, moved)

    def _tell_unjudged(self, reader: RowReader, row: Row, tag: str) -> None:
        """Say once for a machine that its jobs have no verdict."""
        self.unjudged.add(tag)
        expected = "a speed for this asset; without one its jobs have no limit and no verdict"
        row.problems.append(reader.problem(row, "tag", Code.NOT_JUDGED, Severity.WARNING, tag, expected))
