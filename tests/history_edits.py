"""Small changes to a history, as entries of a book would make them: new jobs, amendments, replacements, new machines."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, is_dataclass, replace
from typing import Any

import numpy as np

from models.history.columns import REASONS, AssetColumns, BreakColumns, History, JobColumns
from tests.fleet import DAY_US, Plan, make_fleet


def numbered(seed: int, plan: Plan) -> History:
    """Give a fleet whose entries are numbered in order of time, as a book that was kept from the start has them."""
    history, _ = make_fleet(seed, plan)
    jobs, breaks = history.jobs, history.breaks
    order = np.lexsort((jobs.asset, jobs.performed_us))
    entry = np.empty(len(jobs), dtype=np.int64)
    entry[order] = np.arange(len(jobs)) + 1000
    return replace(
        history,
        head=1000 + len(jobs),
        jobs=replace(jobs, entry=entry),
        breaks=replace(breaks, entry=np.arange(len(breaks.asset)) + 10),
    )


def until(history: History, head: int) -> History:
    """Give the history as it was at an entry."""
    jobs, breaks = history.jobs, history.breaks
    here = breaks.entry <= head
    return replace(
        history,
        head=head,
        jobs=jobs.take(np.flatnonzero(jobs.entry <= head)),
        breaks=BreakColumns(breaks.entry[here], breaks.asset[here], breaks.at_us[here]),
    )


def with_job(history: History, asset: int, day_after_last: int, rng: np.random.Generator, **changes: Any) -> History:
    """Add a job of a machine, so many days after its last one (before it where negative), much like one of the fleet's."""
    jobs = history.jobs
    like = int(rng.integers(len(jobs)))
    mine = np.flatnonzero(jobs.asset == asset)
    at = int(jobs.performed_us[mine[-1]] if len(mine) else jobs.performed_us.max()) + day_after_last * DAY_US
    entry = history.head + 1
    row = {name: getattr(jobs, name)[[like]] for name in JobColumns.__slots__}
    month = np.array([at // DAY_US]).astype("datetime64[D]").astype("datetime64[M]").astype(np.int64) + 1970 * 12
    row |= {"entry": np.array([entry]), "job": np.array([entry]), "asset": np.array([asset])}
    row |= {"performed_us": np.array([at]), "month": month}
    row |= {name: np.array([value], dtype=getattr(jobs, name).dtype) for name, value in changes.items()}
    return replace(history, head=entry, jobs=_sorted(jobs, row))


def _sorted(jobs: JobColumns, row: dict[str, Any]) -> JobColumns:
    columns = {name: np.concatenate([getattr(jobs, name), row[name]]) for name in JobColumns.__slots__}
    order = np.lexsort((columns["entry"], columns["performed_us"], columns["asset"]))
    return JobColumns(**{name: column[order] for name, column in columns.items()})


def amended(history: History, row: int, rng: np.random.Generator) -> History:
    """Let a job give way to one that says something else of the same visit."""
    jobs, entry = history.jobs, history.head + 1
    new = {name: getattr(jobs, name)[[row]] for name in JobColumns.__slots__}
    new["entry"] = np.array([entry])
    new["found"] = new["found"] + rng.normal(0.0, 0.02, (1, 4))
    new["found_ratio"] = new["found_ratio"] * 1.5
    return replace(history, head=entry, jobs=_sorted(jobs.take(np.delete(np.arange(len(jobs)), row)), new))


def voided(history: History, row: int) -> History:
    """Let a job no longer stand."""
    rows = np.delete(np.arange(len(history.jobs)), row)
    return replace(history, head=history.head + 1, jobs=history.jobs.take(rows))


def broken(history: History, asset: int, at_us: int) -> History:
    """Add a replacement."""
    old, entry = history.breaks, history.head + 1
    columns = (np.append(old.entry, entry), np.append(old.asset, asset), np.append(old.at_us, at_us))
    order = np.lexsort((columns[0], columns[2], columns[1]))
    return replace(history, head=entry, breaks=BreakColumns(*(column[order] for column in columns)))


def described(history: History, asset: int, **changes: Any) -> History:
    """Say something else of a machine."""
    columns = {name: getattr(history.assets, name).copy() for name in AssetColumns.__slots__}
    for name, value in changes.items():
        columns[name][asset] = value
    return replace(history, head=history.head + 1, assets=AssetColumns(**columns))


def with_asset(history: History) -> History:
    """Add a machine much like the first one."""
    old = history.assets
    columns = {name: np.concatenate([getattr(old, name), getattr(old, name)[:1]]) for name in AssetColumns.__slots__}
    columns["asset"][-1] = old.asset.max() + 1
    columns["tag"][-1] = f"N-{len(old)}"
    return replace(history, head=history.head + 1, assets=AssetColumns(**columns))


def drawn(history: History, rng: np.random.Generator) -> History:
    """Change a history in one of these ways, by chance."""
    assets, jobs = len(history.assets), history.jobs
    asset, row = int(rng.integers(assets)), int(rng.integers(len(jobs)))
    new = {"speed_class": int(rng.integers(6)), "retired": bool(rng.integers(2)), "feet_movable_mm": (90.0, 700.0)}
    fresh = {"reason": REASONS.index("installation"), "found": [np.nan] * 4, "found_ratio": np.nan}
    ways: tuple[Callable[[], History], ...] = (
        lambda: amended(history, row, rng),
        lambda: voided(history, row),
        lambda: broken(history, asset, int(jobs.performed_us[row])),
        lambda: described(history, asset, **new),
        lambda: with_job(with_asset(history), assets, 3, rng),
        lambda: with_job(history, asset, 40, rng, **fresh),
        lambda: with_job(history, asset, -int(rng.integers(2000)), rng),
        lambda: with_job(history, asset, int(rng.integers(1, 900)), rng),
        lambda: with_job(history, asset, int(rng.integers(1, 900)), rng),
    )
    return ways[int(rng.integers(len(ways)))]()


def unlike(one: Any, other: Any, *, within: float = 1e-12, at: str = "") -> list[str]:
    """Name the parts in which two values differ by more than so much of their size."""
    if is_dataclass(one):
        # The order of equal p-values is nobody's; what is made of it is compared.
        names = [field.name for field in fields(one) if not (field.name == "order" and hasattr(one, "q"))]
        pairs = [(f".{name}", getattr(one, name), getattr(other, name)) for name in names]
    elif isinstance(one, tuple) and len(one) == len(other):
        pairs = [(f"[{place}]", *both) for place, both in enumerate(zip(one, other, strict=True))]
    else:
        return [] if _alike(one, other, within) else [at]
    return [text for name, a, b in pairs for text in unlike(a, b, within=within, at=at + name)]


def _alike(one: Any, other: Any, within: float) -> bool:
    if isinstance(one, float):
        return bool(np.isclose(one, other, rtol=within, atol=within, equal_nan=True))
    if not isinstance(one, np.ndarray):
        return bool(one == other)
    if one.shape != other.shape or one.dtype != other.dtype:
        return False
    if one.dtype.kind == "f":
        return np.allclose(one, other, rtol=within, atol=within, equal_nan=True)
    return np.array_equal(one, other)
