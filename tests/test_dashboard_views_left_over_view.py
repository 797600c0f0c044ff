"""What people left over limit, in words and as a table: the counts of plain SQL and pandas, and a caution beside each difference."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import sqlalchemy as sa

from dashboard.app import create_app
from dashboard.files.csv_file import csv_bytes
from dashboard.files.tables import make_table
from dashboard.views.left_over_view import build, few, left_over_for
from models.history.intervals import shares
from models.history.left_over import LeftOver
from models.settings import Settings
from models.store.engine import make_engine
from models.store.reader import Reader
from models.units import Display
from tests.demo_book import demo_in
from tests.history_maker import made_book
from tests.recounting import sheet_of

NAMES = ("zed", "Abe", "mid", "nobody")


def found(q: float) -> LeftOver:
    n = np.array([34, 112, 8, 0])
    known = np.array([1.0, 1.0, np.nan, np.nan])
    return LeftOver(
        shares(np.array([13, 4, 1, 0]), n), known * [0.9, 3.4, 1, 1], known * q, known * np.array([q, 1.0, 1.0, 1.0])
    )


def test_who_leaves_more_over_is_told_with_the_counts_and_the_caution() -> None:
    view = build(found(0.001), NAMES)
    assert [line.name for line in view.lines] == ["Abe", "mid", "zed"]
    assert view.sentence.startswith(
        "zed left 13 of 34 jobs over limit, where 0.9 would be expected from what others left"
    )
    assert "a hint, not a judgement of a person" in view.sentence
    assert "Abe" not in view.sentence
    assert few(view.lines) == "Fewer than 10 jobs of theirs, or of others, so nothing is said: mid."


def test_where_chance_explains_all_that_is_said() -> None:
    assert "within what chance explains" in build(found(0.3), NAMES).sentence
    alone = LeftOver(shares(np.array([1]), np.array([30])), *(np.full(1, np.nan) for _ in range(3)))
    assert build(alone, ("Abe",)).state == "too_few"


def test_it_is_made_once_for_a_history() -> None:
    history = made_book(assets=12).history(1)
    assert left_over_for(history) is left_over_for(history)


SQL = """
SELECT (SELECT v.name FROM person_version v WHERE v.person_id = j.person_id ORDER BY v.entry DESC LIMIT 1) AS name,
       COUNT(*), SUM(j.left_ratio > 1)
FROM job j
WHERE j.void = 0 AND NOT EXISTS (SELECT 1 FROM job n WHERE n.supersedes = j.entry)
  AND j.left_ratio IS NOT NULL AND j.person_id IS NOT NULL
  AND NOT (j.found_offset_v IS j.left_offset_v AND j.found_angle_v IS j.left_angle_v
       AND j.found_offset_h IS j.left_offset_h AND j.found_angle_h IS j.left_angle_h)
GROUP BY j.person_id
"""


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    folder = tmp_path_factory.mktemp("demo")
    return folder, demo_in(folder, Display()).book


def test_the_counts_are_those_of_plain_sql_and_of_the_files(demo: tuple[Path, str]) -> None:
    """SQL on the book's own tables, and pandas on the demo's CSV with the starter rule written out again."""
    folder, path = demo
    settings = Settings(book=path)
    engine = make_engine(settings)
    reader = Reader(engine)
    server = create_app(settings, reader).server
    with server.test_request_context():
        table = pd.read_csv(io.BytesIO(csv_bytes(make_table("people-left", "")))).set_index("person")
    with engine.connect() as connection:
        rows = connection.execute(sa.text(SQL)).all()
    assert len(rows) == len(table) > 3
    for name, n, over in rows:
        assert (table.loc[name, "left judged"], table.loc[name, "left over"]) == (n, over), name
    sheet = sheet_of(folder)
    parts = [f"{part} {axis} [{unit}]" for part, unit in (("offset", "mm"), ("angle", "mm/m")) for axis in "VH"]
    same = np.all([sheet[f"found {part}"] == sheet[f"left {part}"] for part in parts], axis=0)
    sheet = sheet[sheet["left ratio"].notna() & ~same]
    first = sheet["people"].str.split(r"[;,]").str[0].str.strip()
    counted = sheet.groupby(first)["left ratio"].agg(["size", lambda ratio: (ratio > 1).sum()])
    assert {str(name): tuple(row) for name, row in zip(counted.index, counted.to_numpy().tolist(), strict=True)} == {
        str(name): (n, over) for name, n, over in rows
    }
    engine.dispose()
