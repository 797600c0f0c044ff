"""The tool's own template: a workbook with one sheet a table and one that explains every column; or CSV files."""

from __future__ import annotations

import csv
import io

from models.intake.fields import FIELDS, Form, Table, fields_of
from models.intake.reading import Sheet
from models.sentences.signs import ANGULARITY
from models.units import Display, Quantity, units_for

_READ_ME = (
    "Template of driftbook. Fill the sheets that you need; leave the others empty. Then: driftbook import FILE",
    "A heading carries its unit in brackets: write another unit there (mil, thou, mm, µm; mil/in, mm/m, mm/100 mm) and the",
    "column is read in it. A unit written in a cell comes first: 2.5 mil, 0,06 mm.",
    "Signs: x runs along the stationary shaft towards the movable machine. Vertical + : the movable centreline stands above",
    "the stationary one. Horizontal + : to the right for someone at the movable machine who looks towards the stationary one.",
    "Angularity is the slope of the movable centreline against the stationary one.",
    f"Angularity + : {ANGULARITY}.",
    "Feet are named row by row from the coupling: 1L, 1R, 2L, 2R … left and right seen in the same direction.",
    "Before you measure: isolate, lock out and tag the machine. Guards go back on. The maker's limits and local codes come first.",
)


READ_ME = "read me"
"""Name of the sheet that explains the others."""


def is_read_me(sheet: Sheet) -> bool:
    """Tell whether a sheet is the one that explains the template."""
    return sheet.name == READ_ME and bool(sheet.head) and sheet.head[0][:1] == _READ_ME[:1]


def workbook(display: Display) -> bytes:
    """Make the template as XLSX.

    Parameters
    ----------
    display : Display
        The site's units, for the headings. [unitless]
    """
    import xlsxwriter

    held = io.BytesIO()
    book = xlsxwriter.Workbook(held, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False})
    bold = book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"})
    needed = book.add_format({"bold": True, "bottom": 2, "text_wrap": True, "valign": "top"})
    wrap = book.add_format({"text_wrap": True, "valign": "top"})
    for table in Table:
        sheet = book.add_worksheet(str(table))
        shown = [field for field in fields_of(table) if field.in_template]
        for column, field in enumerate(shown):
            sheet.write_string(0, column, field.heading_with_unit(display), needed if field.required else bold)
            sheet.set_column(column, column, 22 if field.form in {Form.TEXT, Form.MOMENT} else 13)
            if field.choices:
                sheet.data_validation(1, column, 2000, column, {"validate": "list", "source": list(field.choices)})
        sheet.set_row(0, 32)
        sheet.freeze_panes(1, 2)
    notes = book.add_worksheet(READ_ME)
    notes.set_column(0, 0, 14)
    notes.set_column(1, 1, 30)
    notes.set_column(2, 2, 90)
    notes.set_column(3, 3, 44)
    for row, line in enumerate(_READ_ME):
        notes.write_string(row, 0, line)
    start = len(_READ_ME) + 1
    for column, heading in enumerate(("sheet", "column", "meaning", "what may stand there")):
        notes.write_string(start, column, heading, bold)
    for row, field in enumerate(FIELDS, start=start + 1):
        notes.write_string(row, 0, str(field.table), wrap)
        notes.write_string(row, 1, field.heading_with_unit(display), wrap)
        notes.write_string(row, 2, field.meaning + (" Needed." if field.required else ""), wrap)
        notes.write_string(row, 3, _may_stand(field.form, field.choices, field.quantity), wrap)
    book.close()
    return held.getvalue()


def _may_stand(form: Form, choices: tuple[str, ...], quantity: Quantity | None) -> str:
    if choices:
        return " | ".join(choices)
    if form is Form.NUMBER:
        return "a number" if quantity is None else "a number; units: " + ", ".join(units_for(quantity))
    return {
        Form.TEXT: "text",
        Form.DATE: "2026-11-25",
        Form.MOMENT: "2026-11-25 14:30",
        Form.NAMES: "one or several, separated by ';'",
    }.get(form, "")


def csv_files(display: Display) -> dict[str, bytes]:
    """Make the template as one CSV a table, headings only; gives what each holds by its name."""
    made = {}
    for table in Table:
        text = io.StringIO(newline="")
        csv.writer(text).writerow([f.heading_with_unit(display) for f in fields_of(table) if f.in_template])
        made[f"{table}.csv"] = text.getvalue().encode("utf-8-sig")
    return made
