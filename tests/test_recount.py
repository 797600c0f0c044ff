"""The figures on the pages equal a plain recount of the CSV files with pandas.

The recount shares nothing with the program: it reads the files, writes the
starter rule out again (this project's own rule) and counts.
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from dashboard.views import month_view, offenders_view
from models.history.columns import History
from models.history.runs import Runs, runs_of
from models.store.engine import make_engine
from models.store.reader import Reader
from models.units import Display
from models.values.story import Site
from tests.demo_book import demo_in
from tests.recounting import recounted_returns, sheet_of

ZONE = "Atlantic/Azores"
TODAY = date(2026, 11, 25)
TODAY_US = int(datetime(2026, 11, 25, 12, tzinfo=UTC).timestamp()) * 1_000_000


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Reader, Site]:
    folder = tmp_path_factory.mktemp("demo")
    settings = demo_in(folder, Display())
    reader = Reader(make_engine(settings))
    return folder, reader, reader.sites()[0]


@pytest.fixture(scope="module")
def history(demo: tuple[Path, Reader, Site]) -> tuple[History, Runs]:
    found = demo[1].history(demo[2].site_id)
    return found, runs_of(found.jobs, found.breaks)


@pytest.fixture(scope="module")
def sheet(demo: tuple[Path, Reader, Site]) -> pd.DataFrame:
    return sheet_of(demo[0])


@pytest.mark.parametrize("month", ["2026-10", "2025-07", "2023-02", "2020-12"])
def test_counts_by_speed_class_equal_a_recount(
    demo: tuple[Path, Reader, Site], history: tuple[History, Runs], sheet: pd.DataFrame, month: str
) -> None:
    _, reader, site = demo
    view = month_view.build(
        *history, date.fromisoformat(f"{month}-01"), TODAY,
        site=site, instruments=reader.instruments(site.site_id), limit_set=reader.limit_set(site.site_id), today_us=TODAY_US,
    )  # fmt: skip
    here = sheet[sheet["month"] == month]
    months = pd.period_range(end=pd.Period(month), periods=13, freq="M")[:-1].astype(str)
    before = sheet[sheet["month"].isin(months)]
    assert view.jobs == len(here)
    for line in view.classes:
        mine, earlier = here[here["class"] == line.index], before[before["class"] == line.index]
        assert line.jobs == len(mine)
        for share, rows, stage in (
            (line.found, mine, "found"), (line.left, mine, "left"),
            (line.found_before, earlier, "found"), (line.left_before, earlier, "left"),
        ):  # fmt: skip
            known = rows[f"{stage} ratio"].dropna()
            assert (share.count, share.n) == (int((known > 1).sum()), len(known)), (line.name, stage)
    known = here["found ratio"].dropna()
    assert (view.found.count, view.found.n) == (int((known > 1).sum()), len(known))


def test_returns_equal_a_recount(
    demo: tuple[Path, Reader, Site], history: tuple[History, Runs], sheet: pd.DataFrame
) -> None:
    folder, reader, site = demo
    view = offenders_view.build(*history, None, None, TODAY, site=site, limit_set=reader.limit_set(site.site_id))
    wanted = recounted_returns(sheet, pd.read_csv(folder / "breaks.csv"))
    assert view.looks == sum(looks for looks, _ in wanted.values())
    assert view.returns == sum(returns for _, returns in wanted.values())
    assert view.came_back == sum(returns > 0 for _, returns in wanted.values())
    assert view.lines
    for line in view.lines:
        assert (line.looks, line.returns) == wanted[line.tag]


def test_ratios_in_the_book_equal_the_recount(history: tuple[History, Runs], sheet: pd.DataFrame) -> None:
    jobs = history[0].jobs
    by_entry = np.argsort(jobs.entry)
    tags = history[0].assets.tag[jobs.asset[by_entry]]
    assert list(tags) == list(sheet["tag"]), "entries stand in the order of the file"
    np.testing.assert_allclose(jobs.found_ratio[by_entry], sheet["found ratio"], rtol=1e-9)
    np.testing.assert_allclose(jobs.left_ratio[by_entry], sheet["left ratio"], rtol=1e-9)
    assert (jobs.speed_class[by_entry] == sheet["class"]).all()
