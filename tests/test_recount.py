"""The figures on the pages equal a plain recount of the CSV files with pandas.

The recount shares nothing with the program: it reads the files, writes the
starter rule out again (this project's own rule) and counts.
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from dashboard.console.demo import make_demo
from dashboard.views import month_view, offenders_view
from models.history.columns import History
from models.history.runs import Runs, runs_of
from models.store.engine import make_engine
from models.store.reader import Reader
from models.units import Display
from models.values.story import Site

ZONE = "Atlantic/Azores"
TODAY = date(2026, 11, 25)
TODAY_US = int(datetime(2026, 11, 25, 12, tzinfo=UTC).timestamp()) * 1_000_000
BOUNDS = [0, 1000, 1500, 1800, 3000, 3600, np.inf]


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Reader, Site]:
    folder = tmp_path_factory.mktemp("demo")
    settings = make_demo(folder, Display())
    reader = Reader(make_engine(settings))
    return folder, reader, reader.sites()[0]


@pytest.fixture(scope="module")
def history(demo: tuple[Path, Reader, Site]) -> tuple[History, Runs]:
    found = demo[1].history(demo[2].site_id)
    return found, runs_of(found.jobs, found.breaks)


@pytest.fixture(scope="module")
def sheet(demo: tuple[Path, Reader, Site]) -> pd.DataFrame:
    """Give the jobs of the CSV with speed of the day, speed class, month, and both ratios by the starter rule."""
    folder = demo[0]
    jobs = pd.read_csv(folder / "jobs.csv")
    assets = pd.read_csv(folder / "assets.csv")
    when = pd.to_datetime(jobs["performed at"])
    jobs["when"] = when
    jobs["month"] = when.dt.strftime("%Y-%m")
    assets["from"] = pd.to_datetime(assets["valid from"]).fillna(pd.Timestamp("1900-01-01"))
    assets["limit speed"] = assets["highest speed [rpm]"].fillna(assets["running speed [rpm]"])
    described = pd.merge_asof(
        jobs.assign(day=when.dt.normalize()).sort_values("day", kind="stable").reset_index(),
        assets[["tag", "from", "coupling", "spacer span [mm]", "limit speed"]].sort_values("from"),
        left_on="day", right_on="from", by="tag",
    ).set_index("index").sort_index()  # fmt: skip
    for name in ("coupling", "spacer span [mm]", "limit speed"):
        jobs[name] = described[name]
    jobs["class"] = pd.cut(jobs["limit speed"], BOUNDS, labels=False)
    for stage in ("found", "left"):
        jobs[f"{stage} ratio"] = jobs.apply(lambda row, stage=stage: ratio_of(row, stage), axis=1)
    return jobs


def ratio_of(row: pd.Series, stage: str) -> float:
    deviation = {}
    for part, unit in (("offset", "mm"), ("angle", "mm/m")):
        for axis in "VH":
            target = row[f"target {part} {axis} [{unit}]"]
            deviation[part + axis] = row[f"{stage} {part} {axis} [{unit}]"] - (0.0 if np.isnan(target) else target)
    if row["coupling"] == "spacer":
        span = row["spacer span [mm]"]
        stationary = [(deviation["offset" + a] + deviation["angle" + a] * span / 2000) / span * 1000 for a in "VH"]
        movable = [(deviation["offset" + a] - deviation["angle" + a] * span / 2000) / span * 1000 for a in "VH"]
        return float(max(np.sqrt(np.sum(np.square(stationary))), np.sqrt(np.sum(np.square(movable)))) / 0.5)
    speed = max(row["limit speed"], 750.0)
    offset = np.sqrt(deviation["offsetV"] ** 2 + deviation["offsetH"] ** 2) / (120.0 / speed)
    angle = np.sqrt(deviation["angleV"] ** 2 + deviation["angleH"] ** 2) / (1000.0 / speed)
    return float(max(offset, angle))


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


def recounted_returns(sheet: pd.DataFrame, breaks: pd.DataFrame) -> dict[str, tuple[int, int]]:
    """Count by plain loops: looks (runs that began within and were judged at their end) and returns."""
    counted = {}
    for tag, jobs in sheet.sort_values(["tag", "when"], kind="stable").groupby("tag"):
        days = pd.to_datetime(breaks.loc[breaks["tag"] == tag, "date"])
        looks = returns = 0
        rows = list(jobs.to_dict("records"))
        for first, second in pairwise(rows):
            replaced = any(first["when"] < day <= second["when"] for day in days) or second["reason"] == "installation"
            if replaced or np.isnan(first["left ratio"]) or np.isnan(second["found ratio"]) or first["left ratio"] > 1:
                continue
            looks += 1
            returns += second["found ratio"] > 1
        counted[str(tag)] = (looks, returns)
    return counted


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
