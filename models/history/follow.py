"""A study that follows a few new jobs: only the machines that they touch are worked out again.

What a study says of a machine rests on the machine's own jobs and on estimates
over all machines (``models.history.fleet``).  The estimates stay those of the
last whole study, and the study says up to which entry they go.  Everything else
is exact: the touched machines are worked out by the same code, the rows of the
others are carried over, and what compares all machines (the control of false
alarms, the share of soft foot among the others) is worked out over all again.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from models.history.columns import AssetColumns, BreakColumns, FloatArray, History, IntArray
from models.history.direction import Directions, verdicts_of
from models.history.engine import Study, study_with
from models.history.late import BOTH, DEEPEST, depth_of, maker_of, peek, places_in, same_column, settle
from models.history.multiplicity import adjusted_at, adjusted_in, largest_believed, reordered
from models.history.patterns import LOOSE_BOLTS, SOFT_FOOT, Patterns, adjusted_causes, not_one_way, rest_of, soft_p
from models.history.return_rates import ReturnRates
from models.history.splice import Splice, Spliced, followed, stretches

MOST = 200
"""More touched machines are not followed: the whole study is made."""


@dataclass(frozen=True, slots=True)
class Change:
    """Which machines an entry touched, and where their rows stand.

    ``touched`` are indices of assets, rising; ``part`` is the later history of these machines alone; ``jobs`` and
    ``assets`` say how the rows of the jobs and of the assets move.
    """

    touched: IntArray
    part: History
    jobs: Splice
    assets: Splice


def change_of(before: History, after: History, most: int = MOST) -> Change | None:
    """Find what a later history of the same site changed; ``None`` where it is more than can be followed.

    Parameters
    ----------
    before, after : History
        Histories of one site, the second with everything that the first one rests on and later entries. [unitless]
    most : int
        Machines that may be touched. [unitless]

    Notes
    -----
    New jobs, amended and void ones, replacements, new machines and new descriptions of machines are followed.  Another
    zone, numbers that stand for something else, and an earlier history are not.
    """
    if before.zone != after.zone or after.head < before.head or not _numbers_stay(before, after):
        return None
    touched = _touched(before, after)
    if touched is None or len(touched) > most:
        return None
    begins, ends = (places_in(after.jobs, "asset", touched, side) for side in BOTH)
    rows = np.concatenate(
        [np.zeros(0, np.int64), *(np.arange(a, b) for a, b in zip(begins.tolist(), ends.tolist(), strict=True))]
    )
    own = np.repeat(np.arange(len(touched)), ends - begins)
    broken = np.flatnonzero(np.isin(after.breaks.asset, touched))
    part = replace(
        after,
        jobs=replace(after.jobs.take(rows), asset=own),
        breaks=BreakColumns(
            entry=after.breaks.entry[broken],
            asset=np.searchsorted(touched, after.breaks.asset[broken]),
            at_us=after.breaks.at_us[broken],
        ),
        assets=AssetColumns(**{name: getattr(after.assets, name)[touched] for name in AssetColumns.__slots__}),
    )
    known = len(before.assets)
    places = np.minimum(touched, known)
    assets = Splice(tuple(places.tolist()), tuple(np.minimum(touched + 1, known).tolist()), (1,) * len(touched))
    return Change(touched, part, stretches(before.jobs, "asset", own, touched), assets)


def study_after(study: Study, before: History, after: History) -> Study | None:
    """Give the study of a history that grew by a few entries; ``None`` where the whole study has to be made.

    Parameters
    ----------
    study : Study
        The study of ``before``, with the speed classes of the machines: whole, or itself one that followed. [unitless]
    before : History
        The history that was studied. [unitless]
    after : History
        The same site's history up to a later entry. [unitless]

    Returns
    -------
    Study or None
        The same as :func:`models.history.engine.study_with` gives for the later history and the estimates of ``study``.
    """
    change = change_of(before, after)
    return None if change is None else follow(study, change, after.head).study


@dataclass(frozen=True, slots=True)
class Followed:
    """A study that followed a change, that of the touched machines alone, and how the rows of runs moved."""

    study: Study
    own: Study
    change: Change
    runs: Splice


def follow(study: Study, change: Change, until: int) -> Followed:
    """Give a study that follows a change; see :func:`study_after`.

    Parameters
    ----------
    study : Study
        The study of the history before. [unitless]
    change : Change
        What changed. [unitless]
    until : int
        Number of the last entry of the later history. [unitless]
    """
    if depth_of(study) >= DEEPEST:
        settle(study)
    own = study_with(change.part, study.fleet, study.choices)
    parts = _Following(study, own, change)
    made = parts.study(until)
    if study.whole and not len(change.touched):
        made = replace(made, fleet=replace(study.fleet, until=until))  # nothing that the estimates rest on has changed
    return Followed(made, own, change, parts.runs)


def _numbers_stay(before: History, after: History) -> bool:
    """Tell whether every index into assets, people and instruments still stands for the same."""
    known = before.assets.asset
    return (
        np.array_equal(after.assets.asset[: len(known)], known)
        and after.people[: len(before.people)] == before.people
        and after.instruments[: len(before.instruments)] == before.instruments
    )


def _touched(before: History, after: History) -> IntArray | None:
    """Give the assets whose jobs, replacements or description changed; ``None`` where the later history rests on others."""
    with_jobs = _with_jobs(before, after)
    if with_jobs is None:
        return None
    parts = [with_jobs, _described(before, after)]
    if before.breaks is not after.breaks:
        # A line of a replacement is told by its entry, its asset and its day.
        one, other = (set(zip(*(col.tolist() for col in _break_lines(of)), strict=True)) for of in (before, after))
        parts.append(np.array([line[1] for line in one ^ other], dtype=np.int64))
    return np.unique(np.concatenate(parts)).astype(np.int64)


def _with_jobs(before: History, after: History) -> IntArray | None:
    """Give the assets with other jobs than before; ``None`` where the later history rests on others."""
    if same_column(before.jobs, after.jobs, "entry"):
        return np.zeros(0, dtype=np.int64)
    # Whoever let the jobs grow by one step knows; else the entries are compared one by one.
    known = getattr(maker_of(after.jobs, "asset"), "touched", None)
    told: IntArray | None = None if known is None else known(before.jobs)
    if told is not None:
        return told
    fresh = after.jobs.entry > before.head
    kept = after.jobs.entry[~fresh]
    gone = np.zeros(0, dtype=np.int64)
    if len(kept) != len(before.jobs):
        gone = np.flatnonzero(~np.isin(before.jobs.entry, kept))
    # An entry never changes: rows of the same entries in the same order are the same rows.
    if not np.array_equal(np.delete(before.jobs.entry, gone) if len(gone) else before.jobs.entry, kept):
        return None
    return np.concatenate([after.jobs.asset[np.flatnonzero(fresh)], before.jobs.asset[gone]])


def _break_lines(history: History) -> tuple[IntArray, IntArray, IntArray]:
    return history.breaks.entry, history.breaks.asset, history.breaks.at_us


def _described(before: History, after: History) -> IntArray:
    """Give the assets that are new, or of which something else is said."""
    if before.assets is after.assets:
        return np.zeros(0, dtype=np.int64)
    known = len(before.assets)
    other = np.ones(len(after.assets), dtype=np.bool_)
    other[:known] = before.assets.unlike(after.assets)
    return np.flatnonzero(other)


class _Following:
    """The parts of a study that follows, one by one."""

    def __init__(self, study: Study, own: Study, change: Change) -> None:
        self.old, self.own, self.change = study, own, change
        touched = change.touched
        self.runs = stretches(study.runs, "asset", own.runs.asset, touched)
        self.known = stretches(study.material, "asset", own.material.asset, touched)
        self.series = stretches(study.material, "series_asset", own.material.series_asset, touched)
        self.job_rows, self.run_rows = change.jobs.rows(), self.runs.rows()
        self.series_rows = self.series.rows()

    def study(self, until: int) -> Study:
        old, own, series, assets = self.old, self.own, self.series, self.change.assets
        material, directions = self._material(), self._directions()
        feet = followed(
            old.feet,
            own.feet,
            series,
            given={"rates": followed(old.feet.rates, own.feet.rates, series, kept=("confidence",))},
        )
        return replace(
            old,
            runs=self._runs(),
            material=material,
            grouping=followed(old.grouping, own.grouping, series, kept=("label", "members")),
            sums=followed(old.sums, own.sums, series),
            rates=followed(old.rates, own.rates, series, kept=("confidence",)),
            directions=directions,
            shapes=followed(old.shapes, own.shapes, series),
            feet=feet,
            ratio_trend=followed(old.ratio_trend, own.ratio_trend, assets, kept=("confidence",)),
            speed_trend=followed(old.speed_trend, own.speed_trend, assets, kept=("confidence",)),
            predictions=old.fleet.predictions,
            standing=followed(old.standing, own.standing, assets),
            recheck=followed(old.recheck, own.recheck, assets, kept=("risk",)),
            return_counts=followed(old.return_counts, own.return_counts, assets, kept=("confidence",)),
            return_rates=follow_rates(old.return_rates, own.return_rates, assets),
            planned_rates=follow_rates(old.planned_rates, own.planned_rates, assets),
            recurrence=followed(old.recurrence, own.recurrence, assets),
            patterns=self._patterns(directions, lambda: material.series_now),
            until=until,
        )

    def _runs(self) -> Any:
        old, own, jobs, rows = self.old.runs, self.own.runs, self.change.jobs, self.job_rows
        return followed(
            old,
            own,
            self.runs,
            later={"asset": Spliced(self.runs, old, "asset", self.change.touched[own.asset])},
            points={"start_row": (jobs, rows[own.start_row]), "end_row": (jobs, rows[own.end_row])},
        )

    def _material(self) -> Any:
        old, own, change = self.old.material, self.own.material, self.change
        assets, jobs, rows = change.assets, change.jobs, self.job_rows

        def of_asset(name: str, to: Splice, places: IntArray) -> Callable[[], Any]:
            mine = getattr(own, name)
            # −1 is none and stays; anything else is a place among the rows of the touched machines.
            moved = np.where(mine >= 0, np.append(places, -1)[mine], -1)
            return Spliced(assets, old, name, moved, to)

        def plain(name: str) -> Callable[[], Any]:
            return Spliced(assets, old, name, getattr(own, name))

        def machine(to: Splice, name: str) -> Callable[[], Any]:
            return Spliced(to, old, name, change.touched[getattr(own, name)])

        return followed(
            old,
            own,
            self.known,
            points={"series": (self.series, self.series_rows[own.series]), "run": (self.runs, self.run_rows[own.run])},
            later={
                "asset": machine(self.known, "asset"),
                "series_asset": machine(self.series, "series_asset"),
                "series_now": of_asset("series_now", self.series, self.series_rows),
                "scale_row": of_asset("scale_row", jobs, rows),
                "at_row": of_asset("at_row", jobs, rows),
                "by_hours": plain("by_hours"),
                "duty": plain("duty"),
            },
        )

    def _directions(self) -> Directions:
        old, own = self.old.directions, self.own.directions

        def order() -> IntArray:
            # A series that is new in the middle moves those behind it; their order among one another stays.
            before = self.series.moved(peek(old, "order"))
            return reordered(before, made.p, self.series_rows)

        made: Directions = followed(
            old,
            own,
            self.series,
            kept=("rate",),
            later={
                "order": order,
                "q": _Adjusted(lambda: made.p, lambda: adjusted_in(made.p, made.order)),
                "verdict": lambda: verdicts_of(
                    made.statistic, np.where(made.p <= largest_believed(made.p, made.rate), 0.0, 1.0), made.rate
                ),
            },
        )
        return made

    def _patterns(self, directions: Directions, series_now: Callable[[], IntArray]) -> Patterns:
        old, own, assets = self.old.patterns, self.own.patterns, self.change.assets

        def rows() -> IntArray:
            """Give the assets that another p-value has been worked out for."""
            rest, before = (
                rest_of(made.soft_over, made.soft_looks),
                rest_of(peek(old, "soft_over"), peek(old, "soft_looks")),
            )
            other = np.ones(len(rest), dtype=np.bool_)
            other[: len(before)] = rest[: len(before)] != before
            other[self.change.touched] = True
            return np.flatnonzero(other)

        def p() -> FloatArray:
            column: FloatArray = assets.apply(peek(old, "p"), own.p)
            over, looks = made.soft_over, made.soft_looks
            rest, other = rest_of(over, looks), rows()
            column[other, SOFT_FOOT] = soft_p(over[other], looks[other], rest[other])
            return column

        def order() -> IntArray:
            columns, before = [], peek(old, "order")
            for cause in range(made.p.shape[1]):
                other = rows() if cause == SOFT_FOOT else self.change.touched
                columns.append(reordered(before[:, cause], made.p[:, cause], other))
            return np.stack(columns, axis=1)

        def fits() -> Any:
            column = assets.apply(peek(old, "fits"), own.fits)
            column[:, LOOSE_BOLTS] = not_one_way(directions.verdict, series_now())
            return column

        made: Patterns = followed(
            old,
            own,
            assets,
            kept=("rate",),
            later={
                "p": p,
                "fits": fits,
                "order": order,
                "q": _Adjusted(lambda: made.p, lambda: adjusted_causes(made.p, made.order)),
                "suggested": lambda: (
                    # Each cause in one piece: a column of a table is read at a third of the speed.
                    made.fits
                    & (
                        made.p
                        <= np.array([largest_believed(cause, made.rate) for cause in np.ascontiguousarray(made.p.T)])
                    )
                ),
            },
        )
        return made


@dataclass(frozen=True, slots=True)
class _Adjusted:
    """Adjusted p-values that are put together when somebody asks for all of them; a few are worked out without the others."""

    p: Callable[[], FloatArray]
    make: Callable[[], FloatArray]

    def __call__(self) -> Any:
        return self.make()

    def some(self, rows: IntArray) -> Any:
        p = self.p()
        if p.ndim == 1:
            return adjusted_at(p, rows)
        return np.stack([adjusted_at(column, rows) for column in p.T], axis=1)


def follow_rates(old: ReturnRates, own: ReturnRates, assets: Splice) -> ReturnRates:
    """Give return rates that follow a change, with the priors as they were.

    Parameters
    ----------
    old : ReturnRates
        Those of all machines before. [1/year]
    own : ReturnRates
        Those of the touched machines now, with the same priors. [1/year]
    assets : Splice
        Where the touched machines stand. [unitless]
    """
    return followed(
        old,
        own,
        assets,
        kept=("labels", "share_priors", "rate_priors"),
        given={"share": followed(old.share, own.share, assets), "rate": followed(old.rate, own.rate, assets)},
    )
