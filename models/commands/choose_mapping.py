"""How each sheet of a file is read: by the template, by a kept mapping, or as it is proposed and confirmed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from models.commands.choice import Choice, Reading
from models.commands.choosing import Listener, some, told_answered, told_hidden, whose
from models.errors import UnreadableFileError
from models.intake.answered import Confirmed, as_answered
from models.intake.fitting import (
    changed_by_hand,
    columns_left_out,
    contradict,
    differences,
    fitting,
    for_site,
    is_blank,
    left_to_site,
    suiting,
    with_samples,
    without_asking,
)
from models.intake.mapping import FileMapping, SheetMapping, fingerprint, outline, told_by_rows, with_confirmation
from models.intake.mapping_file import confirm, free_path, read_mapping, to_toml, units_mark, write_mapping
from models.intake.nearest import LIMITS_ELSEWHERE, looks_like_limits, nearest_of, not_understood
from models.intake.other_lists import lists_above
from models.intake.reading import Sheet
from models.intake.said import Said, told_anew, told_of_file
from models.intake.template import is_read_me
from models.intake.units_below import names_above
from models.values.story import Site

_NO_HEADINGS = "a row of headings of machines, jobs, people, instruments or replacements; the sheet was not read"
_LEFT_OUT = "the sheet was not read: its mapping leaves it out"


class Chooser:
    """Chooses how the sheets of a file are read.

    Parameters
    ----------
    folder : pathlib.Path
        Where mappings are kept. [unitless]
    site : Site
        For which site files are read. [unitless]
    listener : Listener
        Who is told. [unitless]
    named : str
        A mapping that was asked for; empty for those that are kept. [path]
    confirm : bool
        Confirm what is proposed. [unitless]
    looking : bool
        Keep nothing of what is confirmed: it reads the files of this call only. [unitless]
    """

    def __init__(
        self,
        folder: Path,
        site: Site,
        listener: Listener,
        *,
        named: str = "",
        confirm: bool = False,
        looking: bool = False,
    ) -> None:
        self._folder, self._site = folder, site
        self._listener, self._named, self._confirm, self._looking = listener, named, confirm, looking
        self._said: Mapping[str, SheetMapping] = {}

    def choose(self, path: Path, sheets: Sequence[Sheet], said: Mapping[str, Said] | None = None) -> Choice:
        """Choose for all sheets of a file; ``said`` is what a person says of sheets, by their names, that no mapping reads so.

        Raises
        ------
        UnreadableFileError
            If there is nothing to read, or a mapping does not fit that was meant to.
        """
        display = self._site.display
        choice = Choice(path, {s.name: s for s in sheets if not is_read_me(s) and not (s.name and is_blank(s))})
        self._said = {
            name: one.of(choice.left[name], display) for name, one in (said or {}).items() if name in choice.left
        }
        outlines = {
            name: found
            for name, s in choice.left.items()
            if (found := self._said.get(name) or outline(s, display)) is not None
        }
        templates = {name: found for name, found in outlines.items() if found.is_template}
        kept: list[FileMapping] = []
        if self._named or len(templates) < len(choice.left):
            marks = {_mark(outlines.values()), *(_mark([found]) for found in outlines.values())}
            kept = self._kept(path, sheets, marks)
            self._by_kept(choice, kept)
        for name, found in templates.items():
            if name in choice.left:
                choice.take(found)
        # What was confirmed for another site is asked anew also where no heading is understood.
        others = [one for name, one in choice.left.items() if name not in outlines]
        outlines |= {one.sheet: one for m in kept if m.confirmed for one in fitting(m, others)}
        asked = [choice.left[name] for name in outlines if name in choice.left]
        if asked:
            marks = {_mark(outlines.values()), _mark(outlines[sheet.name] for sheet in asked)}
            self._refuse_changed(choice, kept, marks, asked)
            self._propose(choice, kept, asked, outlines)
        elif not choice.sources:
            raise not_understood(path.name, choice.left.values())
        for name, sheet in list(choice.left.items()):
            if looks_like_limits(sheet):
                choice.leave(name, LIMITS_ELSEWHERE, is_sentence=True)
            else:
                nearest = nearest_of(sheet)
                choice.leave(name, _NO_HEADINGS + (f"; {nearest.told()}" if nearest else ""))
        choice.told += [lost for one in choice.sources if (lost := lists_above(one.sheet, one.mapping)) is not None]
        choice.told += [told_hidden(path, source.sheet) for source in choice.sources if source.sheet.hidden]
        # What was confirmed was looked at; of what is only proposed it is told which columns are passed over.
        asked_of = {one.sheet for reading in choice.readings if not reading.mapping.confirmed for one in reading.read}
        read = [s for s in choice.sources if s.mapping.sheet in asked_of and not s.mapping.missing]
        choice.told += [note for source in read if (note := columns_left_out(source.sheet, source.mapping))]
        places = {sheet.name: place for place, sheet in enumerate(sheets)}
        choice.sources.sort(key=lambda source: places[source.sheet.name])
        return choice

    def _kept(self, path: Path, sheets: Sequence[Sheet], marks: set[str]) -> list[FileMapping]:
        """Give the mappings that may read a file: the one that was named if it is this site's, else those that are kept."""
        kept = []
        for place in sorted(self._folder.glob("*.toml")):
            try:
                kept.append(read_mapping(place))
            except UnreadableFileError as fault:
                # One that was made for other files must not stop this one; its own file says that it is damaged.
                if any(mark in place.name for mark in marks):
                    raise
                self._listener.says(f"{fault.message} It is passed over.")
        if not self._named:
            return kept
        chosen = Path(self._named)
        if not chosen.is_file():
            raise UnreadableFileError(
                f"There is no mapping {chosen}.", remedy="Leave --mapping out: a new one is proposed."
            )
        named = read_mapping(chosen)
        read = {m.sheet for m in fitting(named, sheets)}
        other = [(m, s) for m in named.sheets for s in sheets if m.sheet == s.name and s.name not in read]
        if other or not read:
            told = "; ".join(differences(m, s) for m, s in other) or "none of its sheets is in the file"
            raise UnreadableFileError(
                f"The mapping {chosen} was made for other headings than those of {path.name} ({told}).",
                remedy="Leave --mapping out: a new one is proposed.",
            )
        if self._is_ours(named):
            return [named]
        return [named, *(other for other in kept if other.path is None or not other.path.samefile(chosen))]

    def _is_ours(self, mapping: FileMapping) -> bool:
        """Tell whether a mapping is this site's; one that names none waits to be confirmed for any."""
        if mapping.site:
            return mapping.site in self._site.names and mapping.units == units_mark(self._site.display)
        return not mapping.confirmed

    def _by_kept(self, choice: Choice, kept: Sequence[FileMapping]) -> None:
        """Let kept mappings read what they can, the one that reads most sheets first, confirmed ones before others."""
        left, answered = list(kept), self._answered(kept)
        while choice.left:
            found = [(mapping, fitting(mapping, tuple(choice.left.values()))) for mapping in left]
            found = [(mapping, tuple(filter(self._is_as_said, read))) for mapping, read in found]
            found = [(mapping, read) for mapping, read in found if read]
            ours = [(mapping, read) for mapping, read in found if self._is_ours(mapping)]
            free = [
                (m, made)
                for m, read in found
                if m.confirmed and not self._is_ours(m) and (made := self._free(choice, read, answered))
            ]
            if not (ours or free):
                return
            mapping, read = max(
                ours or free, key=lambda pair: (len(pair[1]), len(pair[1]) == len(pair[0].sheets), pair[0].confirmed)
            )
            if ours and mapping.confirmed:
                self._refuse_contradicting(choice, mapping, read, ours)
            left.remove(mapping)
            self._read_by(choice, mapping, read, ours=bool(ours))

    def _is_as_said(self, one: SheetMapping) -> bool:
        said = self._said.get(one.sheet, one)
        return (one.table, one.header_row) == (said.table, said.header_row)

    def _refuse_contradicting(
        self,
        choice: Choice,
        mapping: FileMapping,
        read: Sequence[SheetMapping],
        ours: Sequence[tuple[FileMapping, Sequence[SheetMapping]]],
    ) -> None:
        """Refuse a sheet that two confirmed mappings read in two ways: whichever is taken may be the wrong one."""
        for other, same in ours:
            for one, another in ((one, two) for one in read for two in same if one.sheet == two.sheet):
                if other is not mapping and other.confirmed and contradict(one, another):
                    name = f"the sheet '{one.sheet}' of {choice.path.name}" if one.sheet else choice.path.name
                    raise UnreadableFileError(
                        f"Two confirmed mappings read {name} in different ways: {mapping.path} and {other.path}.",
                        remedy="Move the one away that is wrong, or name the right one: --mapping FILE.",
                    )

    def _free(
        self, choice: Choice, read: Sequence[SheetMapping], answered: Sequence[Confirmed]
    ) -> tuple[SheetMapping, ...]:
        """Give those sheets of another site's mapping that may be read without asking.

        All units are stated, no heading leaves anything open, and this site has confirmed none of them otherwise.
        """
        display = self._site.display
        return tuple(
            without_asking(m, choice.left[m.sheet], display)
            for m in read
            if not left_to_site(m, choice.left[m.sheet])
            and not any(column.as_in for column in as_answered(_unanswered(m), answered, display).columns)
        )

    def _read_by(self, choice: Choice, mapping: FileMapping, read: Sequence[SheetMapping], *, ours: bool) -> None:
        if ours:
            mapping, read = self._asked(choice, mapping, read)
        if not ours:
            said = f", which was confirmed for {whose(mapping)}: every unit stands in a heading or in the cells"
            self._listener.says(f"{choice.path.name} is read by the mapping {mapping.path}{said}.")
        elif mapping.confirmed:
            self._listener.says(f"{choice.path.name} is read by the confirmed mapping {mapping.path}.")
        else:
            self._show_and_wait(choice, mapping, read)
        choice.readings.append(Reading(mapping, tuple(read), ours))
        for one in read:
            choice.take(one)
        for name in mapping.left_out if ours else ():
            if name in choice.left:
                choice.leave(name, _LEFT_OUT, is_sentence=True)

    def _asked(
        self, choice: Choice, mapping: FileMapping, read: Sequence[SheetMapping]
    ) -> tuple[FileMapping, Sequence[SheetMapping]]:
        """Hold columns of which somebody wrote what they are against what the sheet says of them; what is asked then is kept."""
        told = {one.sheet: told_of_file(choice.left[one.sheet], one) for one in read}
        if all(told[one.sheet] is one for one in read):
            return mapping, read
        told = {name: with_samples(one, choice.left[name]) for name, one in told.items()}
        made = replace(mapping, sheets=tuple(told.get(one.sheet, one) for one in mapping.sheets))
        made = replace(made, confirmed=made.confirmed and not made.is_open)
        if made.path is not None and (made.is_open or not self._looking):
            write_mapping(made.path, to_toml(made, choice.path.name))
        return made, tuple(told.values())

    def _refuse_changed(
        self, choice: Choice, kept: Sequence[FileMapping], marks: set[str], asked: Sequence[Sheet]
    ) -> None:
        """Refuse a file whose mapping a person has changed so that it fits no longer: it is neither used nor written over."""
        for mapping in kept:
            told = changed_by_hand(mapping, marks, asked) if self._is_ours(mapping) else ""
            if told:
                raise UnreadableFileError(
                    f"The mapping {mapping.path} was made for {choice.path.name}, but was changed and fits no longer: {told}.",
                    remedy='Give each column its block again, with its heading as in the file; field = "" leaves a column out, and'
                    ' left_out = ["NAME"] a sheet. Or move the mapping away for a new proposal.',
                )

    def _propose(
        self,
        choice: Choice,
        kept: Sequence[FileMapping],
        asked: Sequence[Sheet],
        outlines: Mapping[str, SheetMapping],
    ) -> None:
        """Propose how sheets are read that nothing reads yet, from what another site has confirmed where there is that."""
        display, path = self._site.display, choice.path
        basis = [(m, one) for m in kept if m.confirmed for one in fitting(m, asked) if self._is_as_said(one)]
        answered = self._answered(kept)
        made: list[SheetMapping] = []
        lines: list[str] = []
        for sheet in asked:
            found = next(((m, one) for m, one in basis if one.sheet == sheet.name), None)
            if found is None:
                made.append(self._anew(sheet, outlines[sheet.name], answered))
            else:
                mapping, one = found
                new = for_site(one, sheet, display, mapping.units)
                lines.append(self._asked_anew(mapping, one, new, sheet))
                made.append(as_answered(new, answered, display, suiting(sheet, new)))
            if told := told_answered(made[-1]):
                lines.append(told)
        proposed = FileMapping(tuple(made), site=self._site.name, units=units_mark(display))
        place = free_path(self._folder, proposed, path, self._site.code)
        if proposed.is_open or not (self._confirm and self._looking):
            self._folder.mkdir(parents=True, exist_ok=True)
            write_mapping(place, to_toml(proposed, path.name))
        whole = len(choice.sources) == 0
        names = ", ".join(f"'{sheet.name}'" for sheet in asked)
        said = (
            "is not the template, so this is how it would be read"
            if whole
            else f"has sheets that no mapping reads ({names})"
        )
        self._listener.begins(path.name, said)
        for line in lines:
            self._listener.says(line)
        proposed = replace(proposed, path=place)
        self._show_and_wait(choice, proposed, proposed.sheets)
        choice.readings.append(Reading(proposed, proposed.sheets))
        for one in proposed.sheets:
            choice.take(one)

    def said(self, sheet: Sheet, said: Said) -> SheetMapping:
        """Propose how a sheet is read by what a person says of it, from what was confirmed for the same headings.

        Raises
        ------
        UnreadableFileError
            If its headings cannot stand there.
        """
        display = self._site.display
        return self._anew(sheet, said.of(sheet, display), self._answered(self._kept(sheet.path, [sheet], set())))

    def _anew(self, sheet: Sheet, found: SheetMapping, answered: Sequence[Confirmed]) -> SheetMapping:
        new, display = told_by_rows(sheet, found), self._site.display
        above = names_above(sheet, new.header_row, new.table)
        made = as_answered(new, answered, display, suiting(sheet, new), above)
        # What was confirmed for the same headings did not see what stands above this list.
        told = told_anew(sheet, new, made) if new.unasked else made
        return with_samples(replace(told, unasked=True), sheet)

    def _answered(self, kept: Sequence[FileMapping]) -> list[Confirmed]:
        """Give what was confirmed for this site, also when it read other units."""
        ours = [m for m in kept if m.confirmed and m.site in self._site.names and m.path]
        return [Confirmed(m.path.name if m.path else "", sheet) for m in ours for sheet in m.sheets]

    def _asked_anew(self, mapping: FileMapping, there: SheetMapping, here: SheetMapping, sheet: Sheet) -> str:
        """Say why a sheet is asked for although there is a mapping, and which units are not those of it."""
        leans = left_to_site(there, sheet)
        names = some([f"'{column.heading}'" for column in leans])
        why = (
            f"what {names} mean, or a unit or a factor of theirs, rests on the site"
            if leans
            else "here some of its headings were confirmed otherwise"
        )
        units = [
            f"'{new.heading}' in {new.unit} (there {old.unit})"
            for old, new in zip(there.columns, here.columns, strict=True)
            if old.unit != new.unit
        ]
        return (
            f"The mapping {mapping.path} was confirmed for {whose(mapping)}, and {why}:"
            f" for {self._site.name} it is asked anew." + (f" Here it reads {some(units)}." if units else "")
        )

    def _show_and_wait(self, choice: Choice, mapping: FileMapping, read: Sequence[SheetMapping]) -> None:
        """Show how sheets would be read; confirm it if that was asked for."""
        assert mapping.path is not None  # noqa: S101 - what is shown is kept in a file
        self._listener.shows(replace(mapping, sheets=tuple(with_samples(m, choice.left[m.sheet]) for m in read)))
        if self._confirm and self._looking and not mapping.is_open:
            self._listener.says("It is read so this once; a dry run keeps no mapping.")
            return
        if self._confirm and not mapping.is_open:
            confirm_for(self._site, mapping)
            self._listener.says(
                f"Confirmed; kept in {mapping.path} for every later file of {self._site.name} with these headings."
            )
            return
        choice.ready = False
        if not mapping.site:
            self._listener.says(
                f"It says for no site that it is confirmed; --confirm confirms it for {self._site.name}."
            )
        self._listener.waits(mapping.path, mapping.questions)


def confirm_for(site: Site, mapping: FileMapping) -> None:
    """Confirm a mapping in its file, for a site where it names none.

    Parameters
    ----------
    site : Site
        The site. [unitless]
    mapping : FileMapping
        The mapping, which is kept in a file. [unitless]
    """
    assert mapping.path is not None  # noqa: S101 - only kept mappings are confirmed
    named = mapping if mapping.site else replace(mapping, site=site.name, units=units_mark(site.display))
    confirm(mapping.path, with_confirmation(named))


def _unanswered(mapping: SheetMapping) -> SheetMapping:
    """Give a mapping without where its columns were answered, which may have been for another site."""
    return replace(mapping, columns=tuple(replace(column, as_in="") for column in mapping.columns))


def _mark(found: Iterable[SheetMapping]) -> str:
    return fingerprint((m.sheet, m.headings) for m in found)
