"""What rows of jobs say of their machines, where a register keeps machine and job in one row.

Such a register states speed, coupling and so on in many rows, and not in all of
them.  The rows are looked through before the first job is judged: a machine that
comes into being by them takes, for each description, the first value that any of
its rows gives.  What is kept goes by machines and descriptions, not by rows.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, Final

from models.intake.checking import check_asset
from models.intake.fields import Table
from models.intake.mapping import SheetMapping
from models.intake.merged import rows_below
from models.intake.problems import Code, Problem, Severity, column_name
from models.intake.reading import Cell, CutRow, Sheet
from models.intake.rows import Row, RowReader
from models.units import STORED_UNIT
from models.values.asset import Asset

_OF_MACHINE: Final = f"{Table.ASSETS}."
_ATTRIBUTES: Final = {
    "span": "span_mm", "speed": "speed_rpm", "speed_max": "speed_max_rpm", "power": "power_kw",
}  # fmt: skip
_WHERE_TO: Final = "Descriptions of machines go into the register of machines, a change with its 'valid from' date"


@dataclass(frozen=True, slots=True)
class Said:
    """A description of a machine as a row gives it, and which row of which sheet that is."""

    value: Any
    shown: str
    typed: str | None
    file: str
    sheet: str
    row: int

    def where(self, reader: RowReader) -> str:
        """Name the row, for somebody who looks at the sheet of a reader."""
        if self.file != reader.file:
            return f"row {self.row} of {self.file}"
        return f"row {self.row}" if self.sheet == reader.mapping.sheet else f"row {self.row} of sheet '{self.sheet}'"


def describes(mapping: SheetMapping) -> bool:
    """Tell whether a sheet of jobs says anything of the machines themselves."""
    return mapping.table is Table.JOBS and any(c.field and c.field.table is Table.ASSETS for c in mapping.columns)


class Descriptions:
    """What the rows of jobs of one import say of machines that the book does not hold."""

    def __init__(self) -> None:
        self._said: dict[str, dict[str, Said]] = {}
        self._told: set[tuple[str, str]] = set()

    def gather(self, sheet: Sheet, reader: RowReader, tag_of: Callable[[str], str | None]) -> None:
        """Look through a sheet before its rows are taken in.

        Only a row that says something new of its machine is read whole, and a row
        that cannot be read says nothing: its cells may stand in the wrong columns.

        Parameters
        ----------
        sheet : Sheet
            The sheet. [as typed]
        reader : RowReader
            Reader of its rows. [unitless]
        tag_of : callable
            Gives the tag that a text means; ``None`` for a machine that is known. [unitless]
        """
        columns = [(index, key) for index, key, *_ in reader.steps if key.startswith(_OF_MACHINE)]
        steps = [step for step in reader.steps if step[1] == "tag"]
        if not columns or not steps:
            return
        at, _, column, chosen, convert = steps[0]
        for number, cells in rows_below(sheet, reader.mapping):
            if isinstance(cells, CutRow) or len(cells) <= at:
                continue
            cell = cells[at]
            if _is_blank(cell) or (tag := tag_of(convert(cell, column, chosen))) is None:
                continue
            said = self._said.get(tag, {})
            new = [
                key for index, key in columns if key not in said and index < len(cells) and not _is_blank(cells[index])
            ]
            if new and (row := reader.read(number, cells)) is not None and row.is_good and not row.is_total:
                self._keep(reader, row, tag, new)

    def _keep(self, reader: RowReader, row: Row, tag: str, keys: list[str]) -> None:
        for key in keys:
            value = row.values.get(key)
            if value in (None, "") or not _can_be(reader, key, value, row.typed.get(key)):
                continue
            typed = row.typed.get(key)
            said = Said(value, _shown(row, key), typed, reader.file, reader.mapping.sheet, row.number)
            self._said.setdefault(tag, {})[key] = said

    def has(self, tag: str, row: Row) -> bool:
        """Tell whether a machine is described, by a row itself or by another one."""
        return tag in self._said or any(key.startswith(_OF_MACHINE) for key in row.values)

    def asset(self, reader: RowReader, row: Row, tag: str) -> tuple[Asset | None, dict[str, str]]:
        """Give a machine by all that is said of it, with its numbers as typed; ``None``, with problems in the row, where it cannot be.

        Parameters
        ----------
        reader : RowReader
            Reader of the sheet. [unitless]
        row : Row
            The row that brings the machine into being. [as typed]
        tag : str
            Its tag. [unitless]
        """
        whole = Row(row.number, values=dict(_own(row)), typed=dict(row.typed))
        whole.values["tag"] = tag
        elsewhere: dict[str, Said] = {}
        for key, said in self._said.get(tag, {}).items():
            whole.values[key] = said.value
            whole.typed.pop(key, None)
            if said.typed is not None:
                whole.typed[key] = said.typed
            if (said.file, said.sheet, said.row) != (reader.file, reader.mapping.sheet, row.number):
                elsewhere[_place(reader, key)] = said
        asset = check_asset(reader, whole, _OF_MACHINE)
        row.problems.extend(_with_source(problem, elsewhere.get(problem.column), reader) for problem in whole.problems)
        return asset, whole.typed

    def tell(self, reader: RowReader, row: Row, tag: str, described: Asset, latest: Asset) -> None:
        """Say, once for a machine and a description, that a row says another thing than what counts.

        Parameters
        ----------
        reader : RowReader
            Reader of the sheet. [unitless]
        row : Row
            A row of a machine that is known by now. [as typed]
        tag : str
            Tag of the machine. [unitless]
        described, latest : Asset
            The machine as it was on the day of the job, and as it is today. [as stored]
        """
        for key, value in _own(row):
            if (tag, key) in self._told or _agrees(described, key, value) or _agrees(latest, key, value):
                continue
            self._told.add((tag, key))
            said = self._said.get(tag, {}).get(key)
            if said is not None:
                counts = f"{said.shown}, which {said.where(reader)} says of {tag}; that counts for all its jobs"
            else:
                there = _stored(reader, described, key)
                counts = (
                    f"{there or 'nothing'}, as {tag} is described already; that stays, and its jobs are judged by it"
                )
            row.problems.append(
                reader.problem(
                    row, key, Code.MACHINE_DIFFERS, Severity.WARNING, _shown(row, key), f"{counts}. {_WHERE_TO}"
                )
            )


def _is_blank(cell: Cell) -> bool:
    return cell is None or (isinstance(cell, str) and not cell.strip())


def _own(row: Row) -> Iterator[tuple[str, Any]]:
    """Give what a row says of its machine."""
    return ((k, v) for k, v in row.values.items() if k.startswith(_OF_MACHINE) and v is not None and v != "")


def _shown(row: Row, key: str) -> str:
    """Give a description as it stands in its row."""
    return row.typed.get(key) or row.raw.get(key) or str(row.values[key])


def _place(reader: RowReader, key: str) -> str:
    column = reader.columns.get(key)
    return "" if column is None else column_name(column.index, column.heading)


def _with_source(problem: Problem, said: Said | None, reader: RowReader) -> Problem:
    """Say where the value stands that a problem is about, if it is in another row."""
    if said is None:
        return problem
    return replace(problem, expected=f"{problem.expected} ({said.where(reader)} says so of this machine)")


def _can_be(reader: RowReader, key: str, value: Any, typed: str | None) -> bool:
    """Tell whether a description can be true by itself: a speed of 0 stands for one that nobody knew."""
    if key == f"{_OF_MACHINE}coupling":
        return True  # a spacer needs its span, which another row may give
    alone = Row(0, values={"tag": "-", key: value}, typed={} if typed is None else {key: typed})
    return check_asset(reader, alone, _OF_MACHINE) is not None


def _value_of(asset: Asset, key: str) -> Any:
    """Give what an asset says in a field; of the distances of feet, all of that side, for blanks between them are not kept."""
    name = key.removeprefix(_OF_MACHINE)
    if name.startswith("feet_"):
        return asset.feet_movable_mm if "movable" in name else asset.feet_stationary_mm
    return getattr(asset, _ATTRIBUTES.get(name, name))


def _agrees(asset: Asset, key: str, value: Any) -> bool:
    """Tell whether a row and an asset say the same; units may differ, and capitals do not count."""
    held = _value_of(asset, key)
    if isinstance(held, tuple):
        return any(math.isclose(abs(x), abs(value), rel_tol=1e-9) for x in held)
    if isinstance(value, float):
        return held is not None and math.isclose(held, value, rel_tol=1e-9)
    return str(held or "").casefold() == str(value).casefold()


def _stored(reader: RowReader, asset: Asset, key: str) -> str:
    """Give what an asset says in a field, for a person; empty where it says nothing."""
    held = _value_of(asset, key)
    if held in (None, (), ""):
        return ""
    if isinstance(held, date | str):
        return str(held)
    quantity = reader.columns[key].field
    assert quantity is not None  # noqa: S101 - only columns with a field are read
    unit = STORED_UNIT[quantity.quantity] if quantity.quantity else ""
    numbers = held if isinstance(held, tuple) else (held,)
    return f"{', '.join(f'{abs(x):.6g}' for x in numbers)} {unit}".strip()
