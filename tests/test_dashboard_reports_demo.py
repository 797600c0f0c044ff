"""The numbers on paper equal those of the page and a recount of the demo's CSV files.

The recount shares nothing with the program (``tests.recounting``); the text is taken out of the PDF by other code.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import pandas as pd
import pytest

from dashboard.reports import makers
from dashboard.reports.press import print_pdf
from dashboard.views.shares import Share
from dashboard.writing import day, interval, judged, percent, speed_class
from models.history.columns import SPEED_BOUNDS_RPM
from models.store.engine import make_engine
from models.store.reader import Reader
from models.units import Display
from tests.demo_book import demo_in
from tests.papers import codes_of, pages_of, plain, text_of
from tests.recounting import recounted_returns, sheet_of

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
MONTHS = ("2026-10", "2025-07", "2020-12")


@dataclass
class Demo:
    """The demo, opened: its folder, who asks for papers, and the recount of its files."""

    folder: Path
    asking: makers.Asking
    sheet: pd.DataFrame


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Demo]:
    folder = tmp_path_factory.mktemp("demo")
    engine = make_engine(demo_in(folder, Display()))
    reader = Reader(engine)
    yield Demo(
        folder,
        makers.Asking(reader, reader.sites()[0], Display(), NOW, base="http://plant-server:8750"),
        sheet_of(folder),
    )
    engine.dispose()


@pytest.fixture(scope="module")
def reviews(demo: Demo) -> dict[str, list[str]]:
    return {
        month: pages_of(print_pdf(makers.month_review(demo.asking, datetime.fromisoformat(f"{month}-01").date())))
        for month in MONTHS
    }


def counted(rows: pd.DataFrame, stage: str) -> tuple[int, int]:
    known = rows[f"{stage} ratio"].dropna()
    return int((known > 1).sum()), len(known)


def of(over: int, n: int) -> str:
    return f"{over} of {n}" if n else "–"


@pytest.mark.parametrize("month", MONTHS)
def test_the_table_by_speed_class_equals_a_recount_and_the_page(
    demo: Demo, reviews: dict[str, list[str]], month: str
) -> None:
    told, sheet = reviews[month][0], demo.sheet
    view = makers.month_view(demo.asking, datetime.fromisoformat(f"{month}-01").date())
    months = pd.period_range(end=pd.Period(month), periods=13, freq="M")[:-1].astype(str)
    here, before = sheet[sheet["month"] == month], sheet[sheet["month"].isin(months)]
    for line in view.classes:
        mine, earlier = (rows[rows["class"] == line.index] for rows in (here, before))
        found, left = counted(mine, "found"), counted(mine, "left")
        row = [
            speed_class(line.index, SPEED_BOUNDS_RPM), str(len(mine)), of(*found), percent(line.found.share), between(line.found),
            of(*counted(earlier, "found")), of(*left), between(line.left), of(*counted(earlier, "left")),
        ]  # fmt: skip
        assert plain(" ".join(row)) in told, line.name
    total = f"all speeds {len(here)} {of(*counted(here, 'found'))}"
    assert total in told


def between(share: Share) -> str:
    return interval(share.low, share.high) if share.known else "–"


@pytest.mark.parametrize("month", MONTHS)
def test_the_first_line_is_the_sentence_of_the_page_and_its_counts_those_of_the_files(
    demo: Demo, reviews: dict[str, list[str]], month: str
) -> None:
    told, rows = reviews[month][0], demo.sheet[demo.sheet["month"] == month]
    view = makers.month_view(demo.asking, datetime.fromisoformat(f"{month}-01").date())
    assert plain(view.sentence) in told
    over, n = counted(rows, "found")
    assert f"{len(rows)} jobs on {rows['tag'].nunique()} machines. Over limit: {over} of {n}" in told
    assert len(reviews[month]) <= 2


def test_the_chart_counts_what_the_files_count(demo: Demo, reviews: dict[str, list[str]]) -> None:
    told = reviews["2026-10"][0]
    months = pd.period_range(end=pd.Period("2026-10"), periods=24, freq="M").astype(str)
    pairs = [counted(demo.sheet[demo.sheet["month"] == month], "found") for month in months]
    assert " ".join(f"{over} {n}" for over, n in pairs) in told, "the two rows of counts, pair by pair"


def test_what_came_back_is_what_came_back_in_the_files(demo: Demo, reviews: dict[str, list[str]]) -> None:
    told = reviews["2026-10"][0]
    visited = demo.sheet.loc[demo.sheet["month"] == "2026-10", "tag"]
    sheet = demo.sheet[demo.sheet["tag"].isin(visited)]  # a machine that nobody visited cannot have come back
    breaks = pd.read_csv(demo.folder / "breaks.csv")
    before = sheet[sheet["when"] < pd.Timestamp("2026-10-01")]
    upto = sheet[sheet["when"] < pd.Timestamp("2026-11-01")]
    now, then = recounted_returns(upto, breaks), recounted_returns(before, breaks)
    came_back = {tag: value[1] - then.get(tag, (0, 0))[1] for tag, value in now.items()}
    tags = {tag for tag, times in came_back.items() if times}
    assert sum(came_back.values()) > 3
    title = f"Came back over limit in October 2026: {sum(came_back.values())}"
    assert title in told
    listed = set(re.findall(r"\b[A-Z]{2}-[A-Z]-\d{3}[A-Z]?\b", told[told.index(title) :]))
    assert listed == tags


def test_the_page_of_work_is_that_of_the_page(demo: Demo, reviews: dict[str, list[str]]) -> None:
    view = makers.month_view(demo.asking, datetime(2026, 10, 1, tzinfo=UTC).date())
    told = reviews["2026-10"][1]
    assert f"the date has come for {view.due.now} machines of {view.due.in_service} in service" in told
    assert view.by_risk is not None
    assert re.search(r"The \d+ machines likeliest to be over limit today", told)
    for line in (*view.due.lines[:8], *view.by_risk.lines[:5]):
        assert f"{line.tag} {line.description}" in told
        assert plain(f"{day(line.due)}") in told
    for visit in view.left_over[:3]:
        assert f"{visit.tag} {visit.description}" in told
        assert judged(visit.left_ratio) in told


def test_a_history_holds_the_numbers_of_the_files_as_they_stand_there(demo: Demo) -> None:
    sheet = demo.sheet
    tag = sheet["tag"].value_counts().index[0]
    mine = sheet[sheet["tag"] == tag].sort_values("when")
    told = text_of(print_pdf(makers.asset_history(demo.asking, tag)))
    assert f"Job by job: {len(mine)} jobs" in told
    for _, row in mine.iterrows():
        here = told[told.index(f"job {row['job']} · entry") :]
        here = here[: here.index("source: jobs.csv, row")]
        found, left = row["found ratio"], row["left ratio"]
        assert (
            f"As found {judged(None if pd.isna(found) else found)}; as left {judged(None if pd.isna(left) else left)}"
            in here
        )
        for stage in ("found", "left"):
            value = row[f"{stage} offset V [mm]"]
            if not pd.isna(value):
                assert (
                    f"{value:.3f} mm {value:+.3f}".replace(
                        f" {value:+.3f}", f" {value:+.3f}".replace("-", "−") if value else " 0.000"
                    )
                    in here
                )
    view = demo.asking.book.story(demo.asking.site.site_id, tag)
    assert view is not None
    assert f"{len(view.standing)} jobs that stand" in told


def test_the_sheet_gives_the_last_numbers_of_the_files(demo: Demo) -> None:
    sheet = demo.sheet
    tag = sheet.dropna(subset=["left offset V [mm]"]).sort_values("when")["tag"].iloc[-1]
    last = sheet[sheet["tag"] == tag].sort_values("when").iloc[-1]
    pdf = print_pdf(makers.field_sheet(demo.asking, tag))
    told = text_of(pdf)
    value = last["left offset V [mm]"]
    row = told[told.index("Offset, vertical [mm]") :][:60].split()
    assert row[4] == (f"{value:+.3f}".replace("-", "−") if value else "0.000")
    assert codes_of(pdf) == [f"http://plant-server:8750/record?asset={tag}"]


def test_labels_of_an_area_are_those_of_the_register(demo: Demo) -> None:
    assets = pd.read_csv(demo.folder / "assets.csv")
    wanted = set(assets.loc[(assets["area"] == "Sea intake") & assets["retired"].isna(), "tag"])
    pdf = print_pdf(makers.labels(demo.asking, area="sea intake"))
    assert {address.rpartition("/")[2] for address in codes_of(pdf)} == wanted
