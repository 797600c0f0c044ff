"""What every import knows and does, whatever its sheets hold; and its assets, breaks, people and instruments."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from zoneinfo import ZoneInfo

from models.commands.carry_on import carried_reason, carry_on, only_a_tag
from models.commands.judging import Judge
from models.commands.later_row import keep_instrument, keep_machine, keep_person, said_of
from models.commands.noticed import Names, spelt_once
from models.commands.one_machine import OneMachine
from models.commands.redescribed import Redescribed
from models.commands.report import Refused, Report, SameVisit, SheetReport, Source
from models.commands.same_visit import BookVisits
from models.intake.checking import Known, check_asset, check_break, check_instrument, check_person
from models.intake.fields import Table
from models.intake.problems import Code, Severity
from models.intake.reading import Cell
from models.intake.rows import Row, RowReader
from models.intake.seen import Seen
from models.store import known as ask
from models.store.decisions import rule_of
from models.store.described import why_and_typed
from models.store.merged import merged_into
from models.store.rows import asset_version_row, break_row, instrument_row, person_row
from models.store.unit import Unit
from models.tables.machines import AssetRow, AssetVersionRow, BreakRow
from models.tables.people import InstrumentRow, InstrumentVersionRow, PersonRow, PersonVersionRow
from models.values.asset import Asset
from models.values.calibration import calibrated_on, says_nothing_new
from models.values.description import place_on, version_on
from models.values.kinds import Kind
from models.values.merging import kept_of
from models.values.people import Instrument, Person
from models.values.spelling import Near, spellings
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
        self, unit: Unit, site: Site, report: Report, *, accept_good: bool, looking: bool, same_visit: SameVisit,
        progress: Progress,
    ) -> None:  # fmt: skip
        self.unit, self.site, self.report = unit, site, report
        self.accept_good, self.looking, self.progress = accept_good, looking, progress
        connection = unit.connection
        self.versions = ask.asset_versions(connection, site.site_id)
        self.people = ask.people(connection, site.site_id)
        self.instruments = ask.instruments(connection, site.site_id)
        self.breaks = ask.breaks(connection, site.site_id)
        self.sets = ask.limit_sets(connection, site.site_id)
        self.had_jobs = ask.has_jobs(connection, site.site_id)
        self.same_visit = same_visit
        self.one_machine = OneMachine(
            self.versions, lambda: ask.brought_together(connection, site.site_id) if self.had_jobs else []
        )
        self.visits = BookVisits(connection, site.site_id, ZoneInfo(site.zone), unit.next_number, self.one_machine)
        self.promised: dict[str, str] = {}
        self.tags = Names(self.versions)
        self.serials, self.names = Names(self.instruments), Names(self.people, several=True)
        self.redescribed: dict[int, Redescribed] = {}
        self.before = unit.next_number
        self.said: dict[int, tuple[str, Mapping[str, str]]] = {}
        self.merged: dict[int, tuple[str, date | None]] = {}
        self.mentioned: set[str] = set()
        self.known = Known(
            ZoneInfo(site.zone),
            unit.clock,
            lambda tag: tag in self.versions or tag in self.promised,
            self._has_instrument,
            Near(self.versions).to,
        )
        self.today = unit.clock.astimezone(self.known.zone).date()
        self.seen = Seen()
        self.in_this_import: dict[tuple[Table, str], tuple[int, int]] = {}
        self.starts: list[int] = []
        self.files: dict[str, File] = {}
        self.judge = Judge(self.sets, self.known.zone)
        held = rule_of(connection, site.site_id)
        self.rule = held if held is not None and held.guarded else None
        self.unjudged: set[str] = set()
        self.failed = False

    def in_service(self, tag: str) -> bool:
        """Tell whether a machine is known, and nothing has to be said of its being out of service."""
        versions = self.versions.get(tag)
        return versions is not None and all(version.retired is None for _, _, version in versions)

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

    def _here(self, row: Row) -> tuple[int, int]:
        """Give the place of a row: which of the sheets that were read, and its number in it."""
        return len(self.report.sheets) - 1, row.number

    def _row_of(self, sheet: int, number: int) -> str:
        """Name an earlier row: by its number alone where it stands in the sheet that is being read."""
        here = sheet == len(self.report.sheets) - 1
        return f"row {number}" if here else f"row {number} of {self.report.sheets[sheet].source.name}"

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

    def _tag_of(self, text: str) -> str:
        """Give the tag that a text means: what nobody sees in a cell is no part of it, unless the book has it so."""
        if text in self.versions:
            return text
        several = spellings(text)
        return next((tag for tag in several if tag in self.versions), several[0])

    def _read_tag(self, reader: RowReader, row: Row) -> str | None:
        """Give the tag of a row, and put it right there; ``None`` where there is none."""
        text = row.values.get("tag")
        if not text:
            return None
        tag = row.values["tag"] = self._tag_of(text)
        if not tag:
            expected = "a tag; the cell holds only characters that nobody sees"
            row.problems.append(reader.problem(row, "tag", Code.MISSING_VALUE, Severity.ERROR, "", expected))
        return tag or None

    def _asset(self, reader: RowReader, row: Row, sheet: SheetReport, file: File) -> None:
        tag = self._read_tag(reader, row)
        held = self.versions.get(tag, []) if tag else []
        versions = [version for _, _, version in held]
        typed = said_of(row)
        gone = keep_machine(row, versions) if versions else None
        asset = check_asset(reader, row)
        if asset is None:
            return
        if versions:  # a row gives no machine another tag: under any of them it is of the one that is borne by then
            asset = replace(asset, tag=version_on(versions, asset.valid_from or date.min).tag)
        key = (Table.ASSETS, f"{held[0][0] if held else ''} {asset.valid_from}")
        if self._is_known(held, asset, typed):
            self._same(reader, row, sheet, key)
            return
        if versions and (asset.valid_from is None or self._is_described(held, asset.valid_from)):
            earlier = self.in_this_import.get(key)
            code = Code.KEY_IN_BOOK if earlier is None else Code.KEY_CONFLICT
            where = "the book" if earlier is None else self._row_of(*earlier)
            expected = f"what {where} says of this tag, or a 'valid from' date for a change"
            row.problems.append(reader.problem(row, "tag", code, Severity.ERROR, tag or "", expected))
            return
        if gone is not None:
            self._tell_back(reader, row, gone)
        if versions:
            self._tell_merged(reader, row, tag or "")
        asset_id = self._add_asset(reader, asset, row, file, None if asset.valid_from is None else typed)
        self.in_this_import[Table.ASSETS, f"{asset_id} {asset.valid_from}"] = self._here(row)
        sheet.taken += 1

    def _is_known(self, held: Sequence[tuple[int, int, Asset]], asset: Asset, typed: Mapping[str, str]) -> bool:
        """Tell whether the last description of a day is the same, but for a merge that took a row of it out of service."""
        of_day = [(self._said_for(entry)[0], one) for _, entry, one in held if one.valid_from == asset.valid_from]
        if not of_day:
            return False
        last = replace(of_day[-1][1], tag=asset.tag)
        if last == asset:
            return True
        if last.commissioned != asset.commissioned or replace(asset, retired=last.retired) != last:
            return False
        # A blank was filled with the day out of service that held when the row came; by now that is the one of the merge.
        days = {one.retired for why, one in of_day if not why}
        said = "retired" in typed
        return any(kept_of(why, one.tag) for why, one in of_day) and (
            asset.retired in days or (not said and days != {last.retired})
        )

    def _is_described(self, held: Sequence[tuple[int, int, Asset]], day: date) -> bool:
        """Tell whether a machine is described from a day on already, so that a row of that day says something else.

        A new tag alone is no description.
        """
        versions = [version for _, _, version in held]
        return any(version.valid_from == day for version in versions) and not only_a_tag(
            versions, day, lambda place: self._said_for(held[place][1])[1]
        )

    def _said_for(self, entry: int) -> tuple[str, Mapping[str, str]]:
        """Give the reason of a description, and what a list said for it."""
        if entry not in self.said:
            self.said[entry] = why_and_typed(self.unit.connection, entry) if entry < self.before else ("", {})
        return self.said[entry]

    def _add_asset(
        self, reader: RowReader, asset: Asset, row: Row, file: File, typed: Mapping[str, str] | None = None
    ) -> int:
        held = self.versions.get(asset.tag, [])
        batch, line, texts = self._batch(file), str(row.number), typed or row.typed
        if held:
            asset_id = held[0][0]
            self._redescribed().came(asset_id, asset)
            entry = self.unit.append(Kind.ASSET_CHANGED, asset_id, batch=batch, line=line)
        else:
            self._tell_alike(reader, row, asset.tag)
            entry = asset_id = self.unit.append(Kind.ASSET_ADDED, batch=batch, line=line)
            self.unit.add(AssetRow, (asset_id, self.site.site_id, asset.tag))
        self.unit.add(AssetVersionRow, asset_version_row(entry, self.site.site_id, asset_id, asset, texts))
        if asset.valid_from is not None:
            self.said[entry] = ("", texts)
        here = (asset_id, entry, asset)
        if not held:
            self.versions.setdefault(asset.tag, []).append(here)
            return entry
        carried = list(self._carried(held, asset, batch, line))
        held += [here, *carried]
        return asset_id

    def _carried(
        self, held: Sequence[tuple[int, int, Asset]], new: Asset, batch: int, line: str
    ) -> Iterator[tuple[int, int, Asset]]:
        """Write the later descriptions of a machine again, with what a row changes and they do not set anew."""
        versions = [version for _, _, version in held]
        for one in carry_on(versions, new, lambda place: self._said_for(held[place][1])[1]):
            asset_id, entry, later = held[one.place]
            if any(number < self.before and version.valid_from == later.valid_from for _, number, version in held):
                self._redescribed().met(asset_id, later, one)
            if one.asset is None:
                continue
            why, texts = self._said_for(entry)
            reason = carried_reason(why, new.valid_from, one.on)
            number = self.unit.append(Kind.ASSET_CHANGED, asset_id, why=reason, batch=batch, line=line)
            self.unit.add(AssetVersionRow, asset_version_row(number, self.site.site_id, asset_id, one.asset, texts))
            self.said[number] = (reason, texts)
            self._redescribed().came(asset_id, one.asset, again=True)
            yield asset_id, number, one.asset

    def _redescribed(self) -> Redescribed:
        return self.redescribed.setdefault(len(self.report.sheets) - 1, Redescribed())

    def given_up(self, tag: str) -> tuple[str, date | None]:
        """Give the tag of the machine into which a record was merged, and since when it is out of service; empty where it was not.

        Parameters
        ----------
        tag : str
            Any tag of the machine; it is known. [unitless]
        """
        held = self.versions[tag]
        asset_id, entry, asset = held[place_on([version.valid_from for _, _, version in held], self.today)]
        if asset_id not in self.merged and entry < self.before:  # of a later entry the reason is not written yet
            into = merged_into(self.unit.connection, self.site.site_id, asset_id, entry, asset)
            self.merged[asset_id] = into, asset.retired if into else None
        return self.merged.get(asset_id, ("", None))

    def _tell_merged(self, reader: RowReader, row: Row, tag: str) -> None:
        """Say of a row of a record that was given up for another one that it reaches nothing."""
        kept, since = self.given_up(tag)
        if kept:
            sentence = (
                f"{tag} was merged into {kept} and is out of service since {since}: what this row says of it reaches no history "
                f"that is looked at. Describe {kept}."
            )
            problem = reader.problem(row, "tag", Code.OUT_OF_SERVICE, Severity.WARNING, tag, sentence)
            row.problems.append(replace(problem, is_sentence=True))

    def _tell_alike(self, reader: RowReader, row: Row, tag: str) -> None:
        """Say of a new tag that there is one that looks the same: two histories of one machine would begin here."""
        other = self.tags.other(tag)
        if other is not None:
            expected = (
                f"one spelling for one machine; '{other}' differs only by capitals, blanks, dashes or characters that nobody "
                f"sees. If both are one machine, mend the tag, or bring them together once they are in the book: "
                f'driftbook asset merge "{tag}" "{other}" --why "…"'
            )
            row.problems.append(reader.problem(row, "tag", Code.TAG_LOOKS_ALIKE, Severity.WARNING, tag, expected))

    def _tell_back(self, reader: RowReader, row: Row, gone: date) -> None:
        """Say of a machine that was out of service that this row describes it from a later day on."""
        expected = f"a day in the column 'retired' if it is still out of service: it is since {gone}, and this row puts it back"
        row.problems.append(
            reader.problem(
                row, "valid_from", Code.BACK_IN_SERVICE, Severity.WARNING, row.values["valid_from"], expected
            )
        )

    def _same(self, reader: RowReader, row: Row, sheet: SheetReport, key: tuple[Table, str]) -> None:
        """Count a row that says what is known: from the book it is no news, one of this file stands twice and is left out."""
        earlier = self.in_this_import.get(key)
        if earlier is None:
            sheet.unchanged += 1
            return
        sheet.left_out += 1
        found = f"the same as {self._row_of(*earlier)}"
        expected = "each record once; this one is left out"
        row.problems.append(reader.problem(row, "", Code.DUPLICATE, Severity.WARNING, found, expected))

    def _break(self, reader: RowReader, row: Row, sheet: SheetReport, file: File) -> None:
        self._read_tag(reader, row)
        broken = check_break(reader, row, self.known)
        if broken is None:
            return
        asset_id = self.versions[broken.tag][0][0]
        key = (asset_id, broken.on, str(broken.part))
        if key in self.breaks:
            self._same(reader, row, sheet, (Table.BREAKS, str(key)))
            return
        self.breaks[key] = broken
        entry = self.unit.append(
            Kind.BREAK_RECORDED, asset_id, why=broken.reason, batch=self._batch(file), line=str(row.number)
        )
        self.unit.add(BreakRow, break_row(entry, self.site.site_id, asset_id, broken))
        self.in_this_import[Table.BREAKS, str(key)] = self._here(row)
        sheet.taken += 1

    def _person(self, reader: RowReader, row: Row, sheet: SheetReport, file: File) -> None:
        if (held := self.people.get(row.values.get("name") or "")) is not None:
            keep_person(row, held[1])
        person = check_person(row)
        if person is None:
            return
        if person.name in self.people and self.people[person.name][1] == person:
            self._same(reader, row, sheet, (Table.PEOPLE, person.name))
            return
        if person.name not in self.people and (other := self.names.other(person.name)) is not None:
            self._tell_name(reader, row, "name", person.name, spelt_once("person", other))
        self._add_person(person, self._batch(file), str(row.number))
        self.in_this_import[Table.PEOPLE, person.name] = self._here(row)
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
        if (known := self.instruments.get(row.values.get("serial") or "")) is not None:
            keep_instrument(row, calibrated_on(known[1], self.today))
        instrument = check_instrument(reader, row)
        if instrument is None:
            return
        serial = instrument.serial
        place = (Table.INSTRUMENTS, f"{serial} {instrument.calibrated} {instrument.due}")
        if known is not None and says_nothing_new(known[1], instrument):
            self._same(reader, row, sheet, place)
            return
        if serial not in self.instruments and (other := self.serials.other(serial)) is not None:
            self._tell_name(reader, row, "serial", serial, spelt_once("instrument", other))
        self._add_instrument(instrument, self._batch(file), str(row.number))
        self.in_this_import[place] = self._here(row)
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
        self.instruments.setdefault(instrument.serial, (instrument_id, []))[1].append(instrument)
        return instrument_id

    def _tell_name(self, reader: RowReader, row: Row, key: str, name: str, expected: str) -> None:
        row.problems.append(reader.problem(row, key, Code.NAME_LOOKS_ALIKE, Severity.WARNING, name, expected))

    def _person_id(self, name: str, batch: int, line: str) -> int:
        if (held := self.people.get(name)) is not None:
            return held[0]
        self.names.came(name)
        return self._add_person(Person(name), batch, line)

    def _instrument_id(self, serial: str, batch: int, line: str) -> int:
        if (held := self.instruments.get(serial)) is not None:
            return held[0]
        self.serials.came(serial)
        return self._add_instrument(Instrument(serial), batch, line)
