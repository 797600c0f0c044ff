"""CSV and XLSX opened by LibreOffice itself, without a warning and with the right types.

LibreOffice is not a part of the project: ``python -m tests`` gets Debian's
package where it can, and without it this file is skipped and says so.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import xml.etree.ElementTree as ET
from datetime import date, datetime, time
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from dashboard.files.csv_file import csv_bytes, on_clock
from dashboard.files.table_out import Form, TableOut, Value
from dashboard.files.xlsx_file import xlsx_bytes
from models.intake.plain_text import guarded
from tests.taken_tables import asking, nasty_table

OFFICE = shutil.which("soffice") or shutil.which("libreoffice")

pytestmark = pytest.mark.skipif(OFFICE is None, reason="LibreOffice (soffice) is not installed")

NAMES = "{urn:oasis:names:tc:opendocument:xmlns:%s:1.0}"
OFFICE_NS, TABLE_NS, TEXT_NS = (NAMES % name for name in ("office", "table", "text"))

Cell = tuple[str, str]
"""Type and value, as an OpenDocument file has them."""


def tables() -> list[TableOut]:
    from dashboard.files.tables import make_table

    with asking():
        return [make_table("asset-jobs", "asset=P-102"), make_table("due", ""), make_table("month-classes", "")]


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[TableOut, list[list[Cell]], str]]:
    """Open every file in one run of LibreOffice and give back what it made of each."""
    folder = tmp_path_factory.mktemp("office")
    made = {}
    for table in (*tables(), nasty_table()):
        for form, body in (("csv", csv_bytes(table)), ("xlsx", xlsx_bytes(table))):
            (folder / f"{table.name}-{form}.{form}").write_bytes(body)
            made[f"{table.name}-{form}"] = table
    said = []
    # Where a person opens a CSV, the program sees the mark and proposes UTF-8; on the command line it has to be told.
    for form, told in (("csv", ["--infilter=CSV:44,34,UTF8"]), ("xlsx", [])):
        done = subprocess.run(
            [str(OFFICE), f"-env:UserInstallation=file://{folder}/profile", "--headless", *told, "--convert-to", "fods",
             "--outdir", str(folder), *map(str, sorted(folder.glob(f"*.{form}")))],
            capture_output=True, text=True, check=True, timeout=240,
        )  # fmt: skip
        # Its own remark that there is no Java has nothing to do with the files.
        said += [line for line in (done.stdout + done.stderr).splitlines() if "javaldx" not in line and line.strip()]
    assert [line for line in said if not line.startswith("convert ")] == []
    assert len(said) == len(made)
    return {name: (table, *read(folder / f"{name}.fods")) for name, table in made.items()}


def read(path: Path) -> tuple[list[list[Cell]], str]:
    """Read the first sheet of a flat OpenDocument file: type and value of each cell, repetitions written out."""
    text = path.read_text(encoding="utf-8")
    sheet = next(iter(ET.fromstring(text).iter(f"{TABLE_NS}table")))  # noqa: S314 - written a moment ago by our own run
    rows = []
    for row in sheet.iter(f"{TABLE_NS}table-row"):
        cells: list[Cell] = []
        for cell in row:
            kind = cell.get(f"{OFFICE_NS}value-type", "")
            shown = "\n".join(paragraph(p) for p in cell.iter(f"{TEXT_NS}p"))
            value = cell.get(f"{OFFICE_NS}value") or cell.get(f"{OFFICE_NS}date-value") or cell.get(f"{OFFICE_NS}boolean-value") or shown  # fmt: skip
            count = min(int(cell.get(f"{TABLE_NS}number-columns-repeated", "1")), 200)
            cells += [(kind, value)] * count
        rows.append(cells)
    return rows, text


def paragraph(element: ET.Element) -> str:
    """Give the text of a paragraph, its runs of blanks and its tabs written out."""
    said = element.text or ""
    for part in element:
        if part.tag == f"{TEXT_NS}s":
            said += " " * int(part.get(f"{TEXT_NS}c", "1"))
        elif part.tag == f"{TEXT_NS}tab":
            said += "\t"
        else:
            said += paragraph(part)
        said += part.tail or ""
    return said


KINDS = {Form.NUMBER: "float", Form.COUNT: "float", Form.DAY: "date", Form.MOMENT: "date", Form.YES: "boolean"}


@pytest.mark.parametrize("form", ["csv", "xlsx"])
@pytest.mark.parametrize("name", ["asset-jobs", "due", "month-classes", "nasty"])
def test_it_opens_without_a_warning_and_every_cell_is_what_its_column_says(
    opened: dict[str, tuple[TableOut, list[list[Cell]], str]], name: str, form: str
) -> None:
    table, rows, text = opened[f"{name}-{form}"]
    # A truth of a workbook is held by this program as its own TRUE(); nothing else is evaluated.
    assert set(re.findall('table:formula="([^"]*)"', text)) <= (
        {"of:=TRUE()", "of:=FALSE()"} if form == "xlsx" else set()
    )
    assert "xlink:href" not in text, "nothing is a link"
    assert [value for _, value in rows[0]][: len(table.columns)] == [
        guarded(c.heading) if form == "csv" else c.heading for c in table.columns
    ]
    checked = dict.fromkeys(Form, 0)
    for cells, values in zip(rows[1:], table.rows(), strict=False):
        padded = [*cells, *([("", "")] * len(values))]
        for (kind, shown), value, column in zip(padded, values, table.columns, strict=False):
            if value is None or value == "":
                assert kind in {"", "string"}, (column.heading, kind, shown)
                continue
            checked[column.form] += 1
            if column.form is Form.TEXT:
                said = guarded(str(value)) if form == "csv" else str(value)
                if kind == "string":
                    assert plain(shown) == plain(said), column.heading
                else:  # a CSV has no types: a text that is a number or a truth through and through becomes one
                    assert form == "csv"
                    assert said in {"-5", "007", "TRUE"}
                continue
            if form == "csv" and kind == "string" and ambiguous(value, table.zone):
                continue  # the hour that comes twice says its offset, which no sheet has a type for
            if form == "xlsx" and kind == "string" and column.comes_back and no_cell(value, table.zone):
                continue  # nor for midnight, which a reader takes for a day alone, nor for millionths of a second
            if form == "xlsx" and column.form is Form.YES:
                assert (kind, shown) == ("float", "1" if value else "0")
                continue
            assert kind == KINDS[column.form], (column.heading, kind, shown)
            assert same(shown, value, table.zone), (column.heading, shown, value)
    assert sum(checked.values()) > 20


def plain(text: str) -> str:
    """Leave out what an OpenDocument paragraph writes in other ways: line breaks and carriage returns."""
    return text.replace("\r", "").replace("\n", "").replace("_x000D_", "")


def ambiguous(value: Value, zone: str) -> bool:
    return isinstance(value, datetime) and on_clock(value, ZoneInfo(zone))[-6] in "+-"


def no_cell(value: Value, zone: str) -> bool:
    """Tell whether a moment would be another one when a cell that holds a date is read."""
    if not isinstance(value, datetime):
        return False
    at_midnight = value.astimezone(ZoneInfo(zone)).time() == time()
    return at_midnight or value.microsecond % 1000 > 0 or ambiguous(value, zone)


def same(shown: str, value: Value, zone: str) -> bool:
    if isinstance(value, bool):
        return shown == str(value).lower()
    if isinstance(value, datetime):
        local = value.astimezone(ZoneInfo(zone)).replace(tzinfo=None)
        return abs((datetime.fromisoformat(shown) - local).total_seconds()) < 0.01
    if isinstance(value, date):
        return date.fromisoformat(shown[:10]) == value
    assert isinstance(value, int | float)
    return abs(float(shown) - value) <= 1e-12 * max(1.0, abs(value))
