"""A plain recount of the demo's CSV files with pandas, which shares nothing with the program.

It reads the files, writes the starter rule out again (this project's own
rule), and counts.
"""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd

BOUNDS = [0, 1000, 1500, 1800, 3000, 3600, np.inf]


def sheet_of(folder: Path) -> pd.DataFrame:
    """Give the jobs with the speed of the day, speed class, month, and both ratios by the starter rule."""
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


def recounted_returns(sheet: pd.DataFrame, breaks: pd.DataFrame) -> dict[str, tuple[int, int]]:
    """Count by plain loops: looks (runs that began within and were judged at their end) and returns, since the last replacement."""
    counted = {}
    for tag, jobs in sheet.sort_values(["tag", "when"], kind="stable").groupby("tag"):
        days = pd.to_datetime(breaks.loc[breaks["tag"] == tag, "date"])
        looks = returns = 0
        rows = list(jobs.to_dict("records"))
        installed = [row["when"] for row in rows if row["reason"] == "installation"]
        for first, second in pairwise(rows):
            replaced = any(first["when"] < day for day in (*days, *installed))
            replaced = replaced or first["when"] == second["when"]  # no time in between: no run
            if replaced or np.isnan(first["left ratio"]) or np.isnan(second["found ratio"]) or first["left ratio"] > 1:
                continue
            looks += 1
            returns += second["found ratio"] > 1
        counted[str(tag)] = (looks, returns)
    return counted
