"""Chunks of a CSV hold the very rows that are read one by one, whatever stands in the file and wherever a chunk ends."""

from __future__ import annotations

import csv
import io
from itertools import chain
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from models.errors import UnreadableFileError
from models.intake.beyond import Beyond
from models.intake.blocks import Lines, chunks
from models.intake.reading import CutRow, Sheet, read_sheets

HEAD = "job,tag,notes\n"
FILES = {
    "plain": HEAD + "".join(f"J{n},P-{n % 3},n{n}\n" for n in range(40)),
    "CRLF": (HEAD + "".join(f"J{n},P-1,x\n" for n in range(20))).replace("\n", "\r\n"),
    "CR only": (HEAD + "".join(f"J{n},P-1,x\n" for n in range(20))).replace("\n", "\r"),
    "a quotation late": HEAD + "".join(f"J{n},P-1,x\n" for n in range(23)) + 'J,"P, 1","two\nlines"\n' + "K,L,M\n" * 9,
    "an apostrophe late": HEAD + "J,P,x\n" * 23 + "J,P,'=1+1\n" + "J,P,'tis\n" * 9,
    "a blank line": HEAD + "J,P,x\n" * 13 + "\n" + "J,P,x\n" * 9,
    "another width": HEAD + "J,P,x\n" * 13 + "J,P\n" + "J,P,x,y\n" * 9,
    "no end of line": HEAD + "J,P,x\n" * 13 + "J,P,x",
    "cut": HEAD + "J,P,x\n" * 13 + "J,P",
    "cut in a quotation": HEAD + "J,P,x\n" * 13 + 'J,P,"x',
    "cut after the head": HEAD + "J,P",
    "one row": HEAD + "J,P,x\n",
    "head only": HEAD,
    "a head of two lines": 'job,tag,"no\ntes"\n' + "J,P,x\n" * 13,
    "a title before the head": "Register\n\n" + HEAD + "J,P,x\n" * 13,
    "odd characters": HEAD + "J\u2028,P\x0b,\u0085x\x1c\n" * 13 + "ü,µ,−\n" * 4,
    "NUL": HEAD + "J,P,x\x00\n" * 13,
}


def told(rows: object) -> list[tuple[int, type, list[object]]]:
    return [(number, CutRow if isinstance(cells, CutRow) else list, list(cells)) for number, cells in rows]  # type: ignore[attr-defined]


def sheet_of(folder: Path, text: str) -> Sheet:
    path = folder / "rows.csv"
    path.write_bytes(text.encode())
    return Sheet(path, "", encoding="utf-8", delimiter=",")


@pytest.mark.parametrize("name", FILES)
def test_chunks_hold_the_rows(name: str, tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, FILES[name])
    for after in (0, 1, 2, 3):
        wanted = told((number, cells) for number, cells in sheet.rows() if number > after)
        for size in (1, 2, 3, 7, 100):
            found = list(chunks(sheet, after, size))
            assert told(chain.from_iterable(map(chunk.numbered, range(len(chunk))) for chunk in found)) == wanted


def test_plain_lines_are_cut_in_columns_up_to_the_end_of_the_file(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, FILES["plain"])
    found = list(chunks(sheet, 1, 10))
    assert sum(len(chunk) for chunk in found if isinstance(chunk, Lines)) == 38


@hypothesis_settings(max_examples=150, deadline=None)
@given(
    rows=st.lists(st.lists(st.sampled_from(["", "a", "b c", 'q"t', "'", "'=x", "l\nb", "0,5", "\r", "é"]), min_size=3, max_size=3)),
    end=st.sampled_from(["\n", "\r\n"]),
    cut=st.integers(0, 6),
    size=st.integers(1, 6),
)  # fmt: skip
def test_any_rows_come_back(
    rows: list[list[str]], end: str, cut: int, size: int, tmp_path_factory: pytest.TempPathFactory
) -> None:
    text = io.StringIO()
    csv.writer(text, lineterminator=end).writerows([["x", "y", "z"], *rows])
    sheet = sheet_of(tmp_path_factory.mktemp("rows"), text.getvalue()[: len(text.getvalue()) - cut])
    wanted = told((number, cells) for number, cells in sheet.rows() if number > 1)
    for chunk in chunks(sheet, 1, size):
        for at in range(len(chunk)):
            assert told([chunk.numbered(at)])[0] == wanted.pop(0)
        whole, columns = chunk.columns(3, Beyond(["x", "y", "z"], ()))
        for at, cells in zip(
            [at for at, is_whole in enumerate(whole) if is_whole], zip(*columns, strict=False), strict=True
        ):
            assert list(cells)[:3] == list(chunk.numbered(at)[1])[:3]
    assert not wanted


@pytest.mark.parametrize("encoding", ["utf-16", "cp1252"])
def test_other_encodings_are_read(encoding: str, tmp_path: Path) -> None:
    path = tmp_path / "rows.csv"
    path.write_text(HEAD + "".join(f"Ü{n},P-{n},°\n" for n in range(30)), encoding=encoding)
    sheet = read_sheets(path, encoding=encoding)[0]
    wanted = told((number, cells) for number, cells in sheet.rows() if number > 1)
    assert told(chain.from_iterable(map(c.numbered, range(len(c))) for c in chunks(sheet, 1, 7))) == wanted


@pytest.mark.parametrize("line", ["J," + "x" * (1 << 20) + "x,y\n", 'J,P,"' + "x" * (1 << 20) + '\n"\n'])
def test_a_cell_that_is_too_long_is_told_with_its_line(line: str, tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, HEAD + "J,P,x\n" * 30 + line + "J,P,x\n" * 5)
    with pytest.raises(UnreadableFileError) as one_by_one:
        list(sheet.rows())
    with pytest.raises(UnreadableFileError) as in_chunks:
        list(chunks(sheet, 1, 7))
    assert str(in_chunks.value) == str(one_by_one.value)
