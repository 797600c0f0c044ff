"""Headings that are not understood: the sheet that comes nearest is named, with the names that would be."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import openpyxl
import pytest

from models.commands.choose_mapping import Chooser
from models.errors import UnreadableFileError
from models.intake.nearest import nearest_of
from models.intake.reading import read_sheets
from models.units import Display
from models.values.story import Site
from tests.seeded import write

SITE = Site(1, "quay", "Quay", "Europe/Berlin", Display("mm"), 12)


class Deaf:
    """Hears nothing."""

    def says(self, text: str) -> None: ...
    def begins(self, name: str, text: str) -> None: ...
    def shows(self, mapping: object) -> None: ...
    def waits(self, place: Path, asked: Sequence[str]) -> None: ...


def chosen(path: Path, folder: Path) -> list[str]:
    choice = Chooser(folder / "mappings", SITE, Deaf()).choose(path, read_sheets(path))
    return [problem.text for problem in choice.told]


def test_the_missing_heading_is_named_with_names_that_would_be_understood(tmp_path: Path) -> None:
    (path,) = write(
        tmp_path, jobs="Pumpe,Date,As found offset V [mm],As found angle V [mm/m]\nP-1,2024-02-01,0.1,0.2\n"
    )
    with pytest.raises(UnreadableFileError) as refused:
        chosen(path, tmp_path)
    assert refused.value.remedy.startswith(
        "Row 1 comes nearest, as headings of jobs: 3 of them are understood, but none is 'tag' (or 'asset', 'machine'"
    )


def test_a_sheet_of_jobs_without_a_measured_value_says_that(tmp_path: Path) -> None:
    (path,) = write(tmp_path, jobs="Made by hand\n\ntag,date,people\nP-1,2024-02-01,Ada Reed\n")
    (sheet,) = read_sheets(path)
    nearest = nearest_of(sheet)
    assert nearest is not None
    assert (nearest.row, nearest.missing) == (3, ())
    assert nearest.told().endswith("but none is any as-found or as-left value, such as 'as found offset V'")


def test_text_that_is_no_table_comes_near_nothing(tmp_path: Path) -> None:
    (path,) = write(tmp_path, letter="Dear all,\nthe pump is aligned.\n")
    with pytest.raises(UnreadableFileError) as refused:
        chosen(path, tmp_path)
    assert refused.value.remedy.startswith("Headings are English words")


def test_a_sheet_of_limits_is_led_to_the_command_that_adopts_them(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    machines, limits, other = book.active, book.create_sheet("Limits"), book.create_sheet("Visits")
    assert machines is not None
    for line in (("tag", "running speed [rpm]"), ("P-1", 1480)):
        machines.append(line)
    limits.append(("speed up to", "offset", "angle"))
    other.append(("Pumpe", "date", "as found offset V [mm]"))
    book.save(path := tmp_path / "plant.xlsx")
    (tmp_path / "mappings").mkdir()
    told = chosen(path, tmp_path)
    assert any("driftbook limits FILE --from DATE" in text for text in told)
    assert any("row 1 of sheet 'Visits' comes nearest, as headings of jobs" in text for text in told)
