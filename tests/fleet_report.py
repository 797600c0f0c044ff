"""The figures that the engine answers for, on fleets whose truth is planted; printed as one table.

Run from the project's folder::

    python -m tests.fleet_report              # about half a minute
    python -m tests.fleet_report --full       # 50,000 assets and 1,000,000 jobs as well, two minutes

Every fleet is invented; seeds are fixed, so the table is the same each time on
one kind of machine, apart from the seconds.
"""

from __future__ import annotations

import argparse
import resource
import time
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from models.history.columns import History
from models.history.engine import Study, study_of
from models.history.forecast import forecast_at, reading_interval
from models.history.intervals import wilson
from models.history.multiplicity import believed
from models.history.patterns import CAUSE_WORDS
from models.history.return_rates import return_rates
from models.history.trend import trends_of
from tests.fleet import LOOSE_BOLTS, STEP, Plan, Truth, make_fleet

Row = tuple[str, str, str]
DEPTHS = (1, 2, 4, 8)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--full", action="store_true", help="also 50,000 assets with 1,000,000 jobs")
    parser.add_argument("--repeats", type=int, default=10, help="fleets drawn for each share")
    given = parser.parse_args()
    print("| what | asked | found |\n| --- | --- | --- |")
    for what, asked, found in rows(given.repeats, full=given.full):
        print(f"| {what} | {asked} | {found} |", flush=True)


def rows(repeats: int, *, full: bool) -> Iterator[Row]:
    """Give the rows of the table one after another."""
    yield from null_rows(repeats)
    yield from ranking_rows(repeats)
    yield from small_fleet_rows(3 * repeats)
    yield from forecast_rows(assets=50_000 if full else 30_000)
    yield from step_rows(repeats)
    yield from cause_rows(repeats)
    yield from speed_rows(50_000 if full else 2_000, jobs=(10, 30) if full else (2, 15))


def null_fleet(seed: int, assets: int = 200) -> tuple[History, Truth]:
    """A fleet in which nothing moves one way: heavy tails, unequal time, scatter that differs between assets."""
    return make_fleet(seed, Plan(assets=assets, jobs_low=2, jobs_high=15, rate_sd=0.0))


def null_rows(repeats: int) -> Iterator[Row]:
    """False flags where nothing was planted."""
    lists, single, tested, trend, flagged = 0, 0, 0, 0, 0
    for seed in range(repeats):
        study = study_of(null_fleet(1000 + seed)[0])
        p = study.directions.p[~np.isnan(study.directions.p)]
        lists += bool((study.directions.q <= 0.10).any())
        single, tested = single + int((p <= 0.05).sum()), tested + len(p)
        ratio = study.ratio_trend.p[~np.isnan(study.ratio_trend.p)]
        trend += int((ratio <= 0.05).sum())
        flagged += len(ratio)
    yield ("null fleets of 200 with any one-way verdict", "at most 10 %", _share(lists, repeats))
    yield ("null assets with direction p ≤ 0.05", "at most 5 %", _share(single, tested))
    yield ("null assets with ratio-trend p ≤ 0.05", "at most 5 %", _share(trend, flagged))


def ranking_fleet(
    seed: int, assets: int = 5000
) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.bool_], NDArray[np.float64]]:
    """Looks of a fleet whose rates of return differ: asset, years and outcome of each, and the true rate of each asset."""
    rng = np.random.default_rng(seed)
    rate = rng.gamma(0.9, 0.25, assets)
    asset = np.repeat(np.arange(assets), rng.integers(1, 16, assets))
    years = np.clip(np.exp(rng.normal(np.log(0.75), 0.6, len(asset))), 0.05, 5.0)
    return asset, years, rng.random(len(asset)) < -np.expm1(-rate[asset] * years), rate


def ranking_rows(repeats: int) -> Iterator[Row]:
    """How many of the first fifty are truly among the worst twentieth."""
    hits = dict.fromkeys(("raw share", "raw count", "Wilson bound", "driftbook", "oracle"), 0)
    for seed in range(repeats):
        for name, count in ranking_hits(2000 + seed).items():
            hits[name] += count
    for name, count in hits.items():
        best = max(hits[other] for other in ("raw share", "raw count", "Wilson bound"))
        asked = f"≥ {best / repeats / 50:.3f} and ≥ 0.95 × oracle" if name == "driftbook" else ""
        yield (f"true offenders in the first 50 by {name}", asked, f"{count / repeats / 50:.3f}")


def ranking_hits(seed: int) -> dict[str, int]:
    """Hits in the first fifty by each way of ranking, on one fleet."""
    asset, years, returned, rate = ranking_fleet(seed)
    assets = len(rate)
    worst = set(np.argsort(-rate)[: assets // 20].tolist())
    ours = return_rates(asset, years, returned, np.zeros(assets, dtype=np.int64))
    looks, returns = ours.looks, ours.returns
    low, _ = wilson(returns, looks, 0.90)
    lists = {
        "raw share": np.argsort(-returns / np.maximum(looks, 1), kind="stable"),
        "raw count": np.argsort(-returns, kind="stable"),
        "Wilson bound": np.argsort(-low, kind="stable"),
        "driftbook": ours.ranking(),
        "oracle": np.argsort(-_oracle(asset, years, returned, rate), kind="stable"),
    }
    return {name: len(worst & set(order[:50].tolist())) for name, order in lists.items()}


def _oracle(
    asset: NDArray[np.int64], years: NDArray[np.float64], returned: NDArray[np.bool_], rate: NDArray[np.float64]
) -> NDArray[np.float64]:
    """The probability of being among the worst twentieth for one who knows how the rates were drawn."""
    grid = np.exp(np.linspace(np.log(1e-4), np.log(20.0), 400))
    log = np.zeros((len(rate), len(grid))) + 0.9 * np.log(grid) - grid / 0.25
    seen = np.log(-np.expm1(-years[returned, None] * grid))
    np.add.at(log, asset[returned], seen)
    log -= np.bincount(asset[~returned], years[~returned], len(rate))[:, None] * grid
    weight = np.exp(log - log.max(axis=1, keepdims=True))
    return (weight @ (grid >= np.sort(rate)[-len(rate) // 20])) / weight.sum(axis=1)


def forecast_rows(assets: int, seed: int = 3000) -> Iterator[Row]:
    """Coverage of the next reading, and the risk at the re-check day, by number of completed runs."""
    plan = Plan(assets=assets, jobs_low=2, jobs_high=9, break_share=0.0)
    history, truth = make_fleet(seed, plan)
    study = study_of(history)
    level = {0.8: coverage(study, truth, plan, 0.8), 0.9: coverage(study, truth, plan, 0.9)}
    met, asked = recheck_outcome(study, truth, plan)
    for depth in DEPTHS:
        rows_here = study.standing.n == depth
        for confidence, held in level.items():
            inside = held[rows_here & study.standing.can]
            share = _share(int(inside.sum()), inside.size)
            yield (
                f"{confidence:.0%} intervals that held, runs completed: {depth}",
                f"{confidence:.0%} ± 2 points",
                share,
            )
        here = rows_here & asked
        yield (
            f"over limit at the re-check day for 10 %, runs completed: {depth}",
            "10 % ± 2 points",
            _share(int(met[here].sum()), int(here.sum())),
        )
    test = study.backtest
    for k, confidence in enumerate((0.5, 0.8, 0.9)):
        low, high = test.low[-1, k], test.high[-1, k]
        yield (
            f"back-test on its own past, {confidence:.0%}",
            f"{confidence:.0%}",
            f"{test.coverage[-1, k]:.1%} ({low:.1%}–{high:.1%})",
        )
    yield (
        "pinball loss against 'no change' and 'class mean'",
        "below 1",
        f"{test.loss[-1] / test.loss_zero[-1]:.2f}, {test.loss[-1] / test.loss_class[-1]:.2f}",
    )


def small_fleet_rows(repeats: int) -> Iterator[Row]:
    """The same for fleets of 200, all of them together: what one plant may expect."""
    plan = Plan(assets=200, jobs_low=2, jobs_high=9, break_share=0.0)
    held = {(level, depth): [0, 0] for level in (0.8, 0.9) for depth in DEPTHS}
    risk = {depth: [0, 0] for depth in DEPTHS}
    for seed in range(repeats):
        history, truth = make_fleet(3500 + seed, plan)
        study = study_of(history)
        over, asked = recheck_outcome(study, truth, plan, seed)
        for depth in DEPTHS:
            here = (study.standing.n == depth) & study.standing.can
            for level in (0.8, 0.9):
                inside = coverage(study, truth, plan, level, seed)[here]
                held[level, depth][0] += int(inside.sum())
                held[level, depth][1] += inside.size
            risk[depth][0] += int(over[here & asked].sum())
            risk[depth][1] += int((here & asked).sum())
    for depth in DEPTHS:
        for level in (0.8, 0.9):
            words = f"{level:.0%} intervals that held, runs completed: {depth}, fleets of 200"
            yield (words, f"{level:.0%} ± 2 points", _share(*held[level, depth]))
        words = f"over limit at the re-check day for 10 %, runs completed: {depth}, fleets of 200"
        yield (words, "10 % ± 2 points", _share(*risk[depth]))


def coverage(study: Study, truth: Truth, plan: Plan, level: float, seed: int = 1) -> NDArray[np.bool_]:
    """Whether the next reading, drawn from the truth, fell into its interval: (assets, 4)."""
    rng = np.random.default_rng(seed)
    n = plan.assets
    years = np.clip(np.exp(rng.normal(np.log(plan.dt_median), plan.dt_sigma, n)), 0.05, 5.0)
    place = _future(rng, truth, plan, years)
    heavy = rng.standard_t(5, (n, 4)) / np.sqrt(5.0 / 3.0) if plan.heavy else rng.standard_normal((n, 4))
    read = place + heavy * plan.sigma_m * truth.scatter[:, None]
    low, high = reading_interval(study.standing, years * 365.25, level)
    return (read >= low) & (read <= high)


def recheck_outcome(
    study: Study, truth: Truth, plan: Plan, seed: int = 2
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Whether each asset was truly over limit on its re-check day, and which days were set by the risk."""
    rng = np.random.default_rng(seed)
    days = np.nan_to_num(study.recheck.days)
    over = over_limit(_future(rng, truth, plan, days / 365.25))
    return over, (study.recheck.basis == 0) & (days > 0.0)


def over_limit(place: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether a position in limits (n, 4) is over them."""
    return np.asarray(np.maximum(np.hypot(place[:, 0], place[:, 2]), np.hypot(place[:, 1], place[:, 3])) > 1.0)


Claims = tuple[NDArray[np.float64], NDArray[np.float64]]
"""Claimed and true probability of being over limit of some machines."""

STEPS_AFTER = {"a month": 1.0 / 12.0, "a year": 1.0}


def step_claims(seed: int, assets: int, share: int) -> dict[tuple[str, str], Claims]:
    """Claimed and true probability of being over some time after the last as-left, by kind of machine and time.

    ``share`` machines of each planted cause stand among ``assets``; the others, and those that settle, move with time alone.
    """
    plan = Plan(
        assets=assets, jobs_low=6, jobs_high=10, rate_sd=0.1, break_share=0.0, sigma_w=0.15, causes_each=share, step_size=1.6
    )  # fmt: skip
    history, truth = make_fleet(seed, plan)
    standing, rng = study_of(history).standing, np.random.default_rng(seed)
    step = plan.step_size * np.array([STEP.get(cause, (0.0,) * 4) for cause in truth.cause.tolist()])
    kinds = {"steps": step.any(axis=1), "grows": ~step.any(axis=1) & (truth.cause != LOOSE_BOLTS)}
    found = {}
    for when, after in STEPS_AFTER.items():
        years = np.full(assets, after)
        claimed = forecast_at(standing, years * 365.25).over
        over = np.mean([over_limit(step + _future(rng, truth, plan, years)) for _ in range(100)], axis=0)
        for kind, rows in kinds.items():
            found[kind, when] = (claimed[rows & standing.can], over[rows & standing.can])
    return found


def step_rows(repeats: int) -> Iterator[Row]:
    """Machines that take the same step after each visit, among machines that do not."""
    for share, words in ((15, "one machine in eight steps"), (0, "none steps")):
        found = [step_claims(6500 + seed, 240, share) for seed in range(repeats)]
        for kind, when in found[0]:
            claimed, over = (np.concatenate([one[kind, when][part] for one in found]) for part in (0, 1))
            if len(claimed):
                what = f"over limit {when} after the last as-left, {kind}, {words}"
                yield (what, f"{np.mean(claimed):.1%}", f"{np.mean(over):.1%} of {len(over):,}")


def _future(rng: np.random.Generator, truth: Truth, plan: Plan, years: NDArray[np.float64]) -> NDArray[np.float64]:
    shape = truth.rate.shape
    noise = rng.standard_t(5, shape) / np.sqrt(5.0 / 3.0) if plan.heavy else rng.standard_normal(shape)
    walk = noise * plan.sigma_w * truth.scatter[:, None] * np.sqrt(years)[:, None]
    return truth.left + truth.rate * years[:, None] + walk


def cause_rows(repeats: int) -> Iterator[Row]:
    """Planted causes that were found, and what was claimed where nothing of the kind was planted."""
    found, planted, false, claimed, null_false = (np.zeros(5, dtype=np.int64) for _ in range(5))
    plan = Plan(assets=300, jobs_low=3, jobs_high=12, rate_sd=0.02, causes_each=10)
    for seed in range(repeats):
        history, truth = make_fleet(4000 + seed, plan)
        suggested = study_of(history).patterns.suggested
        for cause in range(5):
            here = truth.cause == cause
            found[cause] += suggested[here, cause].sum()
            planted[cause] += here.sum()
            false[cause] += suggested[~here, cause].sum()
            claimed[cause] += suggested[:, cause].sum()
        null_false += study_of(
            make_fleet(5000 + seed, replace(plan, causes_each=0, rate_sd=0.0))[0]
        ).patterns.suggested.any(axis=0)
    for cause, words in enumerate(CAUSE_WORDS):
        yield (f"planted {words}: found", "", _share(int(found[cause]), int(planted[cause])))
        yield (
            f"suggested {words}: not planted",
            "at most 10 %",
            _share(int(false[cause]), int(max(claimed[cause], 1))),
        )
        yield (
            f"fleets with nothing planted in which {words} is suggested",
            "at most 10 %",
            _share(int(null_false[cause]), repeats),
        )


def speed_rows(assets: int, jobs: tuple[int, int]) -> Iterator[Row]:
    """Seconds and memory of one pass, and the trends against a groupby loop over assets with scipy and pymannkendall.

    The slope on true dates is scipy's, for pymannkendall takes the visits as evenly spaced; S, z and the normal p,
    which go by the order alone, are pymannkendall's.
    """
    from pymannkendall import original_test
    from scipy.stats import theilslopes

    history, _ = make_fleet(6000, Plan(assets=assets, jobs_low=jobs[0], jobs_high=jobs[1]))
    begin = time.perf_counter()
    study = study_of(history)
    whole = time.perf_counter() - begin
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0**2
    yield (f"whole engine, {assets:,} assets, {len(history.jobs):,} jobs", "", f"{whole:.1f} s, peak {peak:.2f} GiB")
    runs = study.runs
    known = ~np.isnan(runs.end_ratio)
    value, at, asset = (
        runs.end_ratio[known],
        history.jobs.performed_us[runs.end_row[known]] / 31_557_600e6,
        runs.asset[known],
    )
    fast = np.inf
    for _ in range(3):
        begin = time.process_time()  # of the processor: a busy machine must not flatter either side
        ours = trends_of(value, at, asset, assets, exact=False)
        fast = min(fast, time.process_time() - begin)
    some = np.unique(asset)[:1000]
    inside = np.isin(asset, some)
    frame = pd.DataFrame({"asset": asset[inside], "at": at[inside], "value": value[inside]})

    names = ("slope", "tau", "s", "z", "p")

    def one(group: pd.DataFrame) -> pd.Series:
        if len(group) < 5:
            return pd.Series(dict.fromkeys(names, np.nan))
        value = group["value"].to_numpy()
        kendall = original_test(value)
        slope = theilslopes(value, group["at"].to_numpy())[0]
        return pd.Series(dict(zip(names, (slope, kendall.Tau, kendall.s, kendall.z, kendall.p), strict=True)))

    begin = time.process_time()
    theirs = frame.groupby("asset")[["at", "value"]].apply(one)
    slow = (time.process_time() - begin) / len(some) * assets
    compared = int(theirs["slope"].notna().sum())
    yield (
        "trends for all, against a groupby loop with scipy and pymannkendall (from 1,000 assets)",
        "≥ 150 times",
        f"{slow / fast:.0f} times ({fast:.3f} s of the processor against {slow:.1f} s)",
    )
    for words, columns in (("slope and tau", names[:2]), ("S, z and normal p", names[2:])):
        gap = np.abs(np.stack([getattr(ours, name)[some] - theirs[name] for name in columns]))
        yield (f"largest difference of {words} in {compared} assets", "rounding only", f"{np.nanmax(gap):.1e}")
    p_believed = int(np.count_nonzero(believed(study.ratio_trend.p)))
    yield ("assets whose ratio trend is believed at 10 % false", "", f"{p_believed}")


def _share(count: int, n: int) -> str:
    low, high = wilson(np.array([count]), np.array([n]))
    return f"{count / n:.1%} ({low[0]:.1%}–{high[0]:.1%}) of {n:,}" if n else "nothing to count"


if __name__ == "__main__":
    main()
