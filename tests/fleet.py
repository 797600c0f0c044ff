"""Histories for tests: small ones written out by hand, and fleets whose truth is planted.

Everything here is invented.  A fleet is drawn in limit units, asset by asset
side by side, and turned into millimetres at the end, so that the truth of each
asset is known exactly.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from models.history.columns import REASONS, AssetColumns, BreakColumns, History, JobColumns, speed_class_of

DAY_US = 86_400_000_000
BASE_DAY = 16_436  # 2015-01-01
COMPONENTS = 4


def job_columns(asset: object, day: object, **given: object) -> JobColumns:
    """Columns for hand-written jobs: what is not given is zero, planned, and has limits of 0.1 and 1."""
    assets = np.asarray(asset, dtype=np.int64)
    n = len(assets)
    performed = np.round(np.asarray(day, dtype=np.float64) * DAY_US).astype(np.int64)
    months = (performed // DAY_US).astype("datetime64[D]").astype("datetime64[M]").astype(np.int64) + 1970 * 12
    nan = np.full(n, np.nan)
    columns: dict[str, object] = {
        "entry": np.arange(n), "job": np.arange(n), "asset": assets, "performed_us": performed, "month": months,
        "reason": np.full(n, REASONS.index("planned")), "found": np.zeros((n, 4)), "left": np.zeros((n, 4)),
        "target": np.zeros((n, 4)), "limits": np.tile([0.1, 1.0, np.nan, 0.05], (n, 1)), "each_axis": np.zeros(n, dtype=bool),
        "found_ratio": np.full(n, 0.5), "left_ratio": np.full(n, 0.2), "speed_rpm": np.full(n, 1480.0),
        "speed_class": np.ones(n, dtype=np.int64), "spacer": np.zeros(n, dtype=bool), "span_mm": nan, "soft_before": nan,
        "soft_after": nan, "hours_run": nan, "temp_stationary_c": nan, "temp_movable_c": nan, "temp_ambient_c": nan,
        "person": np.full(n, -1), "instrument": np.full(n, -1),
    }  # fmt: skip
    whole = {"entry", "job", "asset", "performed_us", "month", "reason", "speed_class", "person", "instrument"}
    for name, value in given.items():
        kind = np.int64 if name in whole else bool if name in {"each_axis", "spacer"} else np.float64
        columns[name] = np.asarray(value, dtype=kind)
    return JobColumns(**{name: np.array(value) for name, value in columns.items()})  # type: ignore[arg-type]


def no_breaks() -> BreakColumns:
    """No replacements."""
    return break_columns([], [])


def break_columns(asset: object, day: object) -> BreakColumns:
    """Replacements at the beginning of a day."""
    assets = np.asarray(asset, dtype=np.int64)
    at = np.round(np.asarray(day, dtype=np.float64) * DAY_US).astype(np.int64)
    return BreakColumns(np.arange(len(assets)), assets, at)


def asset_columns(n: int, **given: object) -> AssetColumns:
    """Assets that differ in nothing but their index."""

    def text(value: str) -> NDArray[np.object_]:
        return np.full(n, value, dtype=object)

    columns: dict[str, object] = {
        "asset": np.arange(n), "tag": np.array([f"P-{i:05d}" for i in range(n)], dtype=object), "description": text("pump"),
        "area": text("A"), "train": text(""), "driven": text("pump"), "driver": text("motor"), "criticality": text("B"),
        "spacer": np.zeros(n, dtype=bool), "span_mm": np.full(n, np.nan), "speed_rpm": np.full(n, 1480.0),
        "speed_class": np.ones(n, dtype=np.int64), "feet_movable_mm": np.tile([250.0, 750.0], (n, 1)),
        "retired": np.zeros(n, dtype=bool),
    }  # fmt: skip
    columns.update(given)
    return AssetColumns(**{name: np.asarray(value) for name, value in columns.items()})  # type: ignore[arg-type]


@dataclass(frozen=True)
class Truth:
    """What was planted: rate of each asset [limit/year], its scatter factor, how it was truly left, and its cause.

    ``cause`` is −1 for none, else an index into the causes of ``models.history.patterns``.
    """

    rate: NDArray[np.float64]
    scatter: NDArray[np.float64]
    left: NDArray[np.float64]
    cause: NDArray[np.int64]


@dataclass(frozen=True)
class Plan:
    """Settings of a fleet; lengths of time in years, sizes in limit units."""

    assets: int = 200
    jobs_low: int = 2
    jobs_high: int = 10
    rate_sd: float = 0.25
    settling_share: float = 1.0
    sigma_w: float = 0.25
    sigma_m: float = 0.08
    left_sd: float = 0.12
    heavy: bool = True
    scatter_df: float = 12.0
    dt_median: float = 0.75
    dt_sigma: float = 0.6
    reactive: float = 0.15
    break_share: float = 0.03
    spacer_share: float = 0.2
    hours_share: float = 0.0
    people: int = 8
    instruments: int = 4
    causes_each: int = 0
    biased_person_mm: float = 0.0
    drifters: int = 0
    drifter_rate: float = -0.7
    reading_mm: tuple[float, float] = (0.0, 0.0)
    step_size: float = 1.0


SETTLING, PIPE_STRAIN, THERMAL_TARGET, SOFT_FOOT, LOOSE_BOLTS = range(5)
STEP = {PIPE_STRAIN: (0.1, 0.0, 0.6, 0.4), THERMAL_TARGET: (0.6, 0.3, 0.1, 0.0)}


def make_fleet(seed: int, plan: Plan | None = None) -> tuple[History, Truth]:
    """Draw a fleet: rates differ between assets, visits are unequal in time, some are made because something was seen."""
    plan = Plan() if plan is None else plan
    rng = np.random.default_rng(seed)
    n, k = plan.assets, plan.jobs_high
    rate = rng.normal(0.0, plan.rate_sd, (n, 4)) * (rng.random(n) < plan.settling_share)[:, None]
    scatter = np.ones(n)
    if np.isfinite(plan.scatter_df):
        scatter = np.sqrt((plan.scatter_df - 2.0) / rng.chisquare(plan.scatter_df, n))  # mean square one
    counts = rng.integers(plan.jobs_low, plan.jobs_high + 1, n)
    rate[: plan.drifters, 0] = plan.drifter_rate
    cause = np.full(n, -1)
    planted = rng.permutation(n)[: 5 * plan.causes_each]
    cause[planted] = np.arange(len(planted)) % 5
    counts[planted] = np.maximum(counts[planted], min(8, plan.jobs_high))
    rate[cause == SETTLING] = np.array([-0.8, -0.4, 0.0, 0.0])
    scatter[cause == LOOSE_BOLTS] *= 4.0
    step = plan.step_size * np.array([STEP.get(c, (0.0, 0.0, 0.0, 0.0)) for c in cause.tolist()])
    when, found, left = np.zeros((n, k)), np.zeros((n, k, 4)), np.zeros((n, k, 4))
    truly = np.zeros((n, k, 4))
    noticed = np.zeros((n, k), dtype=bool)
    now, state = rng.uniform(0.0, 2.0, n), rng.normal(0.0, 0.8, (n, 4))
    reading = plan.sigma_m * np.where(cause == LOOSE_BOLTS, 1.0, scatter)[:, None]
    for visit in range(k):
        if visit:
            dt = np.clip(np.exp(rng.normal(np.log(plan.dt_median), plan.dt_sigma, n)), 0.05, 5.0)
            walk = _noise(rng, (n, 4), heavy=plan.heavy) * plan.sigma_w * scatter[:, None]
            severe = _ratio(state + step + rate * dt[:, None] + walk * np.sqrt(dt)[:, None]) > 1.3
            noticed[:, visit] = severe & (rng.random(n) < plan.reactive / 0.5)
            dt = np.where(noticed[:, visit], dt * rng.uniform(0.5, 1.0, n), dt)
            state = state + step + rate * dt[:, None] + walk * np.sqrt(dt)[:, None]
            now = now + dt
        when[:, visit] = now
        found[:, visit] = state + _noise(rng, (n, 4), heavy=plan.heavy) * reading
        state = rng.normal(0.0, plan.left_sd, (n, 4))
        truly[:, visit] = state
        left[:, visit] = state + _noise(rng, (n, 4), heavy=plan.heavy) * reading
    keep = np.arange(k)[None, :] < counts[:, None]
    drawn = _Drawn(when, np.stack([found, left]), noticed, keep, cause)
    return _history(rng, plan, drawn), Truth(rate, scatter, truly[np.arange(n), counts - 1], cause)


@dataclass(frozen=True)
class _Drawn:
    when: NDArray[np.float64]
    both: NDArray[np.float64]
    noticed: NDArray[np.bool_]
    keep: NDArray[np.bool_]
    cause: NDArray[np.int64]


def _noise(rng: np.random.Generator, shape: tuple[int, ...], *, heavy: bool) -> NDArray[np.float64]:
    return rng.standard_t(5, shape) / np.sqrt(5.0 / 3.0) if heavy else rng.standard_normal(shape)


def _ratio(z: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.maximum(np.hypot(z[..., 0], z[..., 2]), np.hypot(z[..., 1], z[..., 3]))


def _history(rng: np.random.Generator, plan: Plan, drawn: _Drawn) -> History:
    n = plan.assets
    speed = rng.choice([985.0, 1480.0, 1770.0, 2960.0, 3550.0], n, p=[0.15, 0.35, 0.15, 0.25, 0.1])
    spacer = rng.random(n) < plan.spacer_share
    span = np.where(spacer, rng.choice([140.0, 180.0, 250.0], n), np.nan)
    limits = np.full((n, 4), np.nan)
    limits[~spacer, 0] = 120.0 / np.maximum(speed[~spacer], 750.0)
    limits[~spacer, 1] = 1000.0 / np.maximum(speed[~spacer], 750.0)
    limits[spacer, 2], limits[:, 3] = 0.5, 0.05
    asset, visit = np.nonzero(drawn.keep)
    sizes = drawn.both[:, asset, visit]
    ratios = _ratio(sizes)
    measured = np.stack([_to_mm(size, limits[asset], span[asset]) for size in sizes])
    first = visit == 0
    measured[0][first] = np.nan
    ratios[0][first] = np.nan
    reason = np.where(first, REASONS.index("installation"), REASONS.index("planned"))
    reason = np.where(drawn.noticed[asset, visit], REASONS.index("condition"), reason)
    hours = np.where(rng.random(n)[asset] < plan.hours_share, drawn.when[asset, visit] * 365.25 * 24.0 * 0.6, np.nan)
    person = rng.integers(0, plan.people, len(asset))
    soft = np.abs(rng.normal(0.0, 0.02, len(asset)))
    soft = np.where((drawn.cause[asset] == SOFT_FOOT) & (rng.random(len(asset)) < 0.7), soft + 0.07, soft)
    if any(plan.reading_mm):
        measured = [side + rng.standard_normal(side.shape) * np.array(plan.reading_mm * 2) for side in measured]
    for side in measured:
        side[:, 0] += np.where(person == 0, plan.biased_person_mm, 0.0)
    jobs = job_columns(
        asset, BASE_DAY + drawn.when[asset, visit] * 365.25, found=measured[0], left=measured[1], found_ratio=ratios[0], left_ratio=ratios[1],
        limits=limits[asset], speed_rpm=speed[asset], speed_class=speed_class_of(speed)[asset], spacer=spacer[asset],
        span_mm=span[asset], reason=reason, hours_run=hours, person=person,
        instrument=rng.integers(0, plan.instruments, len(asset)),
        soft_before=soft, soft_after=np.abs(rng.normal(0.0, 0.01, len(asset))),
    )  # fmt: skip
    broke = np.flatnonzero(rng.random(n) < plan.break_share)
    breaks = break_columns(broke, BASE_DAY + np.floor(rng.uniform(1.0, 4.0, len(broke)) * 365.25))
    assets = asset_columns(
        n, speed_rpm=speed, speed_class=speed_class_of(speed), spacer=spacer, span_mm=span,
        area=rng.choice(np.array(["A", "B", "C"], dtype=object), n),
    )  # fmt: skip
    people = tuple(f"Person {i + 1}" for i in range(plan.people))
    return History(1, "UTC", jobs, breaks, assets, people, tuple(f"S-{i + 1}" for i in range(plan.instruments)))


def _to_mm(z: NDArray[np.float64], limits: NDArray[np.float64], span: NDArray[np.float64]) -> NDArray[np.float64]:
    short = z * limits[:, (0, 1, 0, 1)]
    alpha, beta = z[:, 0::2] * limits[:, 2:3], z[:, 1::2] * limits[:, 2:3]
    flex = np.empty_like(short)
    flex[:, 0::2] = (alpha - beta) / 2.0 * span[:, None] / 1000.0
    flex[:, 1::2] = alpha + beta
    return np.where(np.isnan(limits[:, 2:3]), short, flex)


def shuffled(history: History, seed: int) -> tuple[History, NDArray[np.int64]]:
    """The same fleet with its assets renumbered: gives the fleet, and the old index of each new asset."""
    order = np.random.default_rng(seed).permutation(len(history.assets))
    new = np.empty_like(order)
    new[order] = np.arange(len(order))
    jobs = replace(history.jobs, asset=new[history.jobs.asset])
    jobs = jobs.take(np.lexsort((jobs.entry, jobs.performed_us, jobs.asset)))
    breaks = replace(history.breaks, asset=new[history.breaks.asset])
    names = AssetColumns.__slots__
    assets = AssetColumns(**{name: getattr(history.assets, name)[order] for name in names})
    return replace(history, jobs=jobs, breaks=breaks, assets=replace(assets, asset=np.arange(len(order)))), order
