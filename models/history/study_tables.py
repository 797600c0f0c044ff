"""The study as tables: every finding with its unit, its count and its interval, for paper, files and other programs."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np

from models.history import direction, drift, patterns, standing
from models.history.backtest import VERDICT_WORDS as HELD_WORDS
from models.history.columns import History, speed_class_names
from models.history.cumulative import mean_cumulative
from models.history.engine import Study
from models.history.evidence import evidence_for
from models.history.forecast import BASIS_WORDS, recheck_day
from models.history.months import local_days
from models.history.recurrence import look_ages
from models.history.repeatability import repeatability_of
from models.history.repeats import repeat_readings
from models.history.returns import present_looks
from models.history.runs import DAYS_PER_YEAR
from models.history.study_counts import Base, counts_table, months_table
from models.history.study_names import effects_table, holding_table
from models.history.study_table import COMPONENTS, StudyTable, Value, number
from models.history.whatif import judge_again
from models.values.limits import LimitSet

PLACES = ("place 1 V", "place 2 V", "place 1 H", "place 2 H")


def study_tables(
    history: History, study: Study, *, asset: int | None = None, other: LimitSet | None = None, base: Base | None = None
) -> tuple[StudyTable, ...]:
    """Write everything that a study says as tables.

    Parameters
    ----------
    history : History
        The columns that were studied. [unitless]
    study : Study
        What was found. [unitless]
    asset : int or None
        Index of the one asset that is asked for; the fleet if not given. [unitless]
    other : LimitSet or None
        Another limit set, to count the verdicts that would change. [unitless]
    base : Base or None
        Months from which the charts take their limits; from all months if not given. [month]

    Returns
    -------
    tuple of StudyTable
        No NaN in any cell: what is not known is ``None``, with the reason beside it.
    """
    rows = list(range(len(history.assets))) if asset is None else [asset]
    tables = [
        _drift(history, study, rows),
        _forecast(history, study, rows),
        _returns(history, study, rows),
        _patterns(history, study, rows),
    ]
    if asset is not None:
        return (*tables, _evidence(history, study, asset))
    tables += [
        counts_table(history),
        months_table(history, base),
        _backtest(study),
        _cumulative(history, study),
        _repeatability(history, study),
    ]
    tables += [
        effects_table(history, study, "instrument"),
        effects_table(history, study, "person"),
        holding_table(history, study),
    ]
    if other is not None:
        tables.append(_whatif(history, other))
    return tuple(tables)


def _day(number: int) -> str:
    return (date(1970, 1, 1) + timedelta(days=number)).isoformat()


def _drift(history: History, study: Study, rows: Sequence[int]) -> StudyTable:
    columns = ["tag", "runs", "time counted in"]
    for place in PLACES:
        columns += [f"{place} raw [limit/year]", f"{place} shrunk [limit/year]", f"{place} low", f"{place} high"]
    columns += ["direction", "q over the fleet", "ratio trend [1/year]", "its p", "why not"]
    lines = []
    series = study.material.series_now
    for row in rows:
        one = int(series[row])
        line: list[Value] = [str(history.assets.tag[row])]
        if one < 0:
            lines.append(
                (
                    *line,
                    0,
                    "",
                    *([None] * 16),
                    direction.VERDICT_WORDS[direction.TOO_FEW],
                    None,
                    None,
                    None,
                    drift.REASON_WORDS[1],
                )
            )
            continue
        rates, found = study.rates, study.directions
        line += [int(rates.n[one]), "hours run" if study.material.by_hours[row] else "calendar time"]
        for column in range(4):
            line += [number(x[one, column]) for x in (rates.raw, rates.shrunk, rates.low, rates.high)]
        line += [direction.VERDICT_WORDS[int(found.verdict[one])], number(found.q[one])]
        line += [
            number(study.ratio_trend.slope[row]),
            number(study.ratio_trend.p[row]),
            drift.REASON_WORDS[int(rates.reason[one])],
        ]
        lines.append(tuple(line))
    meaning = (
        f"Drift of the present series of each asset in units of its limits, with {study.rates.confidence:.0%} intervals; "
        "place 1 and 2 are offset and angularity, or the two flex planes of a spacer coupling."
    )
    return StudyTable("drift", meaning, tuple(columns), tuple(lines))


def _forecast(history: History, study: Study, rows: Sequence[int]) -> StudyTable:
    check, stands = study.recheck, study.standing.can
    left = local_days(np.where(stands, study.standing.left_us, 0), history.zone)
    again = recheck_day(left, check.days)
    lines = [
        (
            str(history.assets.tag[row]),
            int(study.standing.n[row]),
            _day(int(left[row])) if stands[row] else None,
            _day(int(again[row])) if stands[row] else None,
            number(check.days[row], 1),
            number(check.over[row], 4),
            number(check.over_left[row], 4),
            number(study.standing.step_chance[row], 4) if stands[row] else None,
            BASIS_WORDS[int(check.basis[row])],
            standing.REASON_WORDS[int(study.standing.reason[row])],
        )
        for row in rows
    ]
    columns = (
        "tag",
        "runs",
        "left on",
        "re-check on",
        "days after",
        "probability of over then",
        "probability left over",
        "probability of the same step after each visit",
        "set by",
        "why no forecast",
    )
    meaning = f"Re-check date for a risk of {study.choices.risk:.0%} of being found over limit."
    return StudyTable("forecast", meaning, columns, tuple(lines))


def _returns(history: History, study: Study, rows: Sequence[int]) -> StudyTable:
    rates = study.return_rates
    lines = [
        (
            str(history.assets.tag[row]),
            int(rates.looks[row]),
            int(rates.returns[row]),
            number(rates.years[row], 3),
            *(number(x[row], 4) for x in (rates.share.mean, rates.share.low, rates.share.high)),
            *(number(x[row], 4) for x in (rates.rate.mean, rates.rate.bound, rates.rate.low, rates.rate.high)),
            number(rates.worst_ratio[row], 3),
            number(study.recurrence.z[row], 3),
            number(study.recurrence.p[row]),
            "class figure: no look yet" if rates.class_based[row] else "",
        )
        for row in rows
    ]
    columns = (
        "tag", "looks", "returns", "years watched", "share after the class's prior", "share low", "share high",
        "rate [1/running year]", "rate lower 10 % bound", "rate low", "rate high", "worst ratio", "trend z", "trend p", "note",
    )  # fmt: skip
    return StudyTable(
        "returns",
        "Runs that began within limit and ended over it; intervals hold 90 %. Trend: returns faster of late (z above 0) or slower, "
        "each look held against a constant rate; of machines without a trend about one in twenty at most has p below 0.05.",
        columns,
        tuple(lines),
    )


def _patterns(history: History, study: Study, rows: Sequence[int]) -> StudyTable:
    found = study.patterns
    lines = [
        (
            str(history.assets.tag[row]),
            f"suggests {patterns.CAUSE_WORDS[cause]}",
            number(found.p[row, cause]),
            number(found.q[row, cause]),
            patterns.SETTLE_WORDS[cause],
        )
        for row in rows
        for cause in range(len(patterns.CAUSE_WORDS))
        if found.suggested[row, cause]
    ]
    meaning = f"What the drifts suggest, never a diagnosis; at most {found.rate:.0%} of these lines are expected to be chance."
    return StudyTable("patterns", meaning, ("tag", "suggests", "p", "q", "what would settle it"), tuple(lines))


def _evidence(history: History, study: Study, asset: int) -> StudyTable:
    lines = evidence_for(
        asset, history.jobs, study.runs, history.assets, study.material,
        patterns=study.patterns, directions=study.directions, shapes=study.shapes, feet=study.feet,
        step_chance=float(study.standing.step_chance[asset]),
    )  # fmt: skip
    rows = tuple(
        (x.cause, x.stance, x.text, number(x.weight, 2), " ".join(str(n) for n in x.entries), x.settles) for x in lines
    )
    columns = ("cause", "stance", "evidence", "log10 likelihood ratio", "entries", "what would settle it")
    return StudyTable("evidence", "For and against each usual cause.", columns, rows)


def _backtest(study: Study) -> StudyTable:
    names, tested = speed_class_names(), study.backtest
    rows = []
    for fit, label in enumerate(study.grouping.label):
        name = "fleet" if label < 0 else names[int(label)]
        line: list[Value] = [name, int(tested.intervals[fit]), int(tested.assets[fit])]
        for level in range(tested.coverage.shape[1]):
            line += [number(x[fit, level], 4) for x in (tested.coverage, tested.low, tested.high)]
        line += [number(x[fit], 5) for x in (tested.loss, tested.loss_zero, tested.loss_class)]
        rows.append((*line, HELD_WORDS[int(tested.verdict[fit])]))
    levels = [f"{level} % intervals {what}" for level in (50, 80, 90) for what in ("held", "low", "high")]
    columns = (
        "class",
        "intervals tested",
        "assets",
        *levels,
        "loss [limit]",
        "loss of no change",
        "loss of class mean",
        "verdict",
    )
    return StudyTable("backtest", "Forecasts made at earlier dates against what was found.", columns, tuple(rows))


def _cumulative(history: History, study: Study) -> StudyTable:
    rows: list[tuple[Value, ...]] = []
    looked = np.flatnonzero(present_looks(history.jobs, history.breaks, study.runs))
    years = study.runs.days[looked] / DAYS_PER_YEAR
    event, unit, end = look_ages(study.runs.asset[looked], years, study.runs.returned[looked], len(history.assets))
    for index, name in enumerate(speed_class_names()):
        members = history.assets.speed_class == index
        mine = members[unit]
        if not mine.any():
            continue
        curve = mean_cumulative(event[mine], (np.cumsum(members) - 1)[unit[mine]], end[members])
        shown = np.unique(np.linspace(0, max(len(curve.age) - 1, 0), min(6, len(curve.age))).astype(np.int64))
        rows += [
            (name, *(number(x[i], 4) for x in (curve.age, curve.mean, curve.low, curve.high)), int(curve.at_risk[i]))
            for i in shown
        ]
    columns = ("speed class", "years watched", "returns a machine", "low", "high", "machines at risk")
    return StudyTable(
        "cumulative", "Mean cumulative number of returns a machine, robust 95 % limits.", columns, tuple(rows)
    )


def _repeatability(history: History, study: Study) -> StudyTable:
    found = repeatability_of(*repeat_readings(history.jobs, study.runs))
    rows = tuple(
        (
            name,
            number(found.stated[i]),
            number(found.measured[i]),
            number(found.low[i]),
            number(found.high[i]),
            found.df,
            found.reason,
        )
        for i, name in enumerate(COMPONENTS)
    )
    columns = ("component", "standard deviation stated", "from repeats", "low", "high", "repeats", "note")
    return StudyTable(
        "repeatability", "One reading, from as-lefts that were read again within three days.", columns, rows
    )


def _whatif(history: History, other: LimitSet) -> StudyTable:
    jobs = history.jobs
    again = judge_again(jobs, other)
    rows: list[tuple[Value, ...]] = []
    for index, name in enumerate(speed_class_names()):
        here = jobs.speed_class == index
        turns = [
            int(((column == sign) & here).sum()) for column in (again.found_turns, again.left_turns) for sign in (1, -1)
        ]
        rows.append((name, int(here.sum()), *turns))
    columns = ("speed class", "jobs", "found: now over", "found: now within", "left: now over", "left: now within")
    return StudyTable(
        "whatif", f"Verdicts that would change under '{other.name}', version {other.version}.", columns, tuple(rows)
    )
