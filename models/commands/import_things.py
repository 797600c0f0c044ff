"""What every import knows and does, whatever its sheets hold; and its assets, breaks, people and instruments."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

from models.commands.judging import Judge
from models.commands.report import Refused, Report, SheetReport, Source
from models.intake.checking import Known, Seen, check_asset, check_break, check_instrument, check_person
from models.intake.fields import Table
from models.intake.problems import Code, Severity
from models.intake.reading import Cell
from models.intake.rows import Row, RowReader
from models.store import known as ask
from models.store.rows import asset_version_row, break_row, instrument_row, person_row
from models.store.unit import Unit
from models.tables.machines import AssetRow, AssetVersionRow, BreakRow
from models.tables.people import InstrumentRow, InstrumentVersionRow, PersonRow, PersonVersionRow
from models.values.asset import Asset
from models.values.kinds import Kind
from models.values.people import Instrument, Person
from models.values.story import Site

Progress = Callable[[int], None]


@dataclass(slots=True)
class File:
    """A file of this import: its entry is appended with its first row that is taken."""

    source: Source
    sheets: list[SheetReport] = field(default_factory=list)
    entry: int | None = None


class Things:
    """One import while it runs: what is known so far, and what becomes of each row that is no job."""

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
        self.files: dict[str, File] = {}
        self.judge = Judge(self.sets, self.known.zone)
        self.unjudged: set[str] = set()
        self.failed = False

    def knows_instrument(self, serial: str) -> bool:
        """Tell whether an instrument is in the book or was named by an earlier row."""
        return serial in self.instruments or serial in self.mentioned

    def _has_instrument(self, serial: str) -> bool:
        """Tell whether an instrument is known; the first row that names an unknown one is told, not each."""
        if self.knows_instrument(serial):
            return True
        self.mentioned.add(serial)
        return False

    def _settle(self, row: Row, cells: Sequence[Cell], sheet: SheetReport) -> None:
        """File the problems of a row, and keep the row itself if an error keeps it out."""
        self.report.problems.extend(row.problems)
        if not row.is_good:
            self.failed = True
            why = "; ".join(f"{p.column or 'row'}: {p.text}" for p in row.problems if p.severity is Severity.ERROR)
            sheet.refused.append(Refused(row.number, tuple(cells), why))

    def _batch(self, file: File) -> int:
        if file.entry is None:
            file.entry = self.unit.append(Kind.FILE_IMPORTED, late=True)  # what became of its rows is known at the end
        return file.entry

    @property
    def _writes(self) -> bool:
        """Whether anything is written; a run that has failed only goes on looking."""
        return not self.looking and (self.accept_good or not self.failed)

    def _flush(self) -> None:
        if self._writes:
            self.unit.flush()
        else:
            self.unit.forget()

    # -- assets, breaks, people, instruments ---------------------------------------------------------------------

    def _asset(self, reader: RowReader, row: Row, sheet: SheetReport, file: File, prefix: str = "") -> None:
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

    def _add_asset(self, asset: Asset, row: Row, file: File) -> None:
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

    def _break(self, reader: RowReader, row: Row, sheet: SheetReport, file: File) -> None:
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

    def _person(self, reader: RowReader, row: Row, sheet: SheetReport, file: File) -> None:
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

    def _instrument(self, reader: RowReader, row: Row, sheet: SheetReport, file: File) -> None:
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

    def _person_id(self, name: str, batch: int, line: str) -> int:
        held = self.people.get(name)
        return held[0] if held else self._add_person(Person(name), batch, line)

    def _instrument_id(self, serial: str, batch: int, line: str) -> int:
        held = self.instruments.get(serial)
        return held[0] if held else self._add_instrument(Instrument(serial), batch, line)
