"""What the pages worked out of a history, carried over to the same history a few entries later.

A result that has a row a machine or a job is worked out for the touched machines
alone, by the code that makes the whole of it, and put among the others.  What
rests on all machines together (groups that move alike, effects of persons and
instruments, the priors of a ranking) stays as it was, like the estimates of the
study, until the whole study is made anew.  Nothing is made before it is asked for.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Hashable
from dataclasses import fields, replace
from datetime import date
from functools import cached_property, partial
from typing import Any

import numpy as np

from dashboard.kept import Carried, carry, known, pin
from dashboard.prepared import due_for
from dashboard.views.offenders_before_view import last_replaced
from dashboard.views.offenders_limits_view import LOOKS_BY, Again, judged_anew
from dashboard.views.offenders_view import Ranked, rank
from dashboard.views.plan_view import HOUR_US, Ground, ground_with
from models.history.calibration import next_with_another
from models.history.columns import History
from models.history.due import Due, due_by_rule
from models.history.effects import Effects
from models.history.engine import Study
from models.history.follow import Followed, follow_rates
from models.history.forecast import Recheck, rechecks_of
from models.history.index import Index, index_after
from models.history.late import DEEPEST, peek
from models.history.looks import Looks, looks_of
from models.history.months import local_days
from models.history.splice import Spliced, followed, stretches

DEPTH = "carried over"
"""Key of how many times results were carried over one after the other."""

RECHECK = "recheck "
"""How the keys of re-check dates begin; the accepted risk follows."""


def carry_over(before: History, study: Study, after: History, made: Followed) -> None:
    """Put a study that followed on the shelf of its history, with a way to everything that was worked out before.

    Parameters
    ----------
    before : History
        The history before. [unitless]
    study : Study
        Its study. [unitless]
    after : History
        The history that grew. [unitless]
    made : Followed
        The study that followed. [unitless]
    """
    ways = known(before)
    over = _Over(before, study, after, made, ways.keys())
    pin(after, "study", made.study)
    pin(after, "runs", made.study.runs)
    depth = ways[DEPTH]() + 1 if DEPTH in ways else 1
    if depth > DEEPEST:
        # Nobody asked for some of it for long: it is worked out now, or each would rest on all that came before.
        for give in ways.values():
            give()
        depth = 1
    pin(after, DEPTH, depth)
    for key, given in ways.items():
        found = over.way(key, given)
        if found is not None:
            carry(after, found[0], found[1])


class _Over:
    """The ways from results of a history to those of the history that grew."""

    def __init__(
        self, before: History, study: Study, after: History, made: Followed, keys: Collection[Hashable]
    ) -> None:
        self.before, self.study, self.after, self.made = before, study, after, made
        self.rechecks = [key for key in keys if isinstance(key, str) and key.startswith(RECHECK)]

    def way(self, key: Hashable, given: Carried) -> tuple[Hashable, Carried] | None:
        """Give the key of a result in the later history, and what makes it; ``None`` for one that is made anew."""
        now, make = key, self._by_name(key) if isinstance(key, str) else None
        match key:
            case "groups":
                return key, given
            case ("effects", str() as who):
                make = partial(self._effects, who=who)
            case ("due", date() as today, int() as months):
                make = partial(self._due, today=today, months=months)
            case ("ground", study_id, date() as today, int() as hour, int() as months) if study_id == id(self.study):
                now = ("ground", id(self.made.study), today, hour, months)
                make = partial(self._ground, now_us=hour * HOUR_US, months=months)
            case (str(name), int(), tuple()) if name == LOOKS_BY:
                make = self._looks_by
            case ("ranked", *asked):
                make = partial(self._ranked, asked=asked)
        return None if make is None else (now, _if_known(given, make))

    def _by_name(self, key: str) -> Callable[[Any], Any] | None:
        if key.startswith(RECHECK):
            return partial(self._recheck, key=key)
        ways: dict[str, Callable[[Any], Any]] = {
            "index": self._index,
            "job days": self._days,
            "next with another": self._next,
            "looks": self._looks,
            "earlier looks": partial(self._looks, present=False),
            "last replaced": self._replaced,
        }
        return ways.get(key)

    def _index(self, old: Index) -> Index | None:
        return index_after(old, self.before.jobs, self.made)

    def _days(self, old: Any) -> Any:
        part = self.made.change.part
        return self.made.change.jobs.apply(old, local_days(part.jobs.performed_us, part.zone))

    def _replaced(self, old: Any) -> Any:
        return self.made.change.assets.apply(old, last_replaced(self.made.change.part, self.made.own.runs))

    def _own_looks(self, *, present: bool = True) -> Looks:
        part = self.made.change.part
        return looks_of(part.jobs, part.breaks, self.made.own.runs, len(part.assets), present=present)

    def _looks(self, old: Looks, *, present: bool = True) -> Looks:
        return self._with_looks(old, self._own_looks(present=present))

    def _looks_by(self, old: Again) -> Again:
        own = judged_anew(self.made.change.part, self.made.own.runs, self._own_looks(), old.sets, old.place)
        moves = stretches(old.book, "asset", own.book.asset, self.made.change.touched)
        return replace(
            old,
            by_set=self._with_looks(old.by_set, own.by_set),
            book=self._with_looks(old.book, own.book),
            alike=moves.apply(old.alike, own.alike),
        )

    def _with_looks(self, old: Looks, own: Looks) -> Looks:
        """Put the looks of the touched machines among those of all others."""
        made, change = self.made, self.made.change
        moves = stretches(old, "asset", own.asset, change.touched)

        def begins() -> Any:
            each = change.assets.apply(np.diff(peek(old, "begins")), np.diff(own.begins))
            return np.append(0, np.cumsum(each)).astype(np.int64)

        return followed(
            old,
            own,
            moves,
            points={"run": (made.runs, made.runs.rows()[own.run])},
            later={"asset": Spliced(moves, old, "asset", change.touched[own.asset]), "begins": begins},
        )

    def _next(self, old: Any) -> Any:
        change = self.made.change
        own = next_with_another(change.part.jobs)
        rows = np.where(own >= 0, np.append(change.jobs.rows(), -1)[own], -1)
        return change.jobs.apply(old, rows, change.jobs)

    def _effects(self, old: Effects, who: str) -> Effects:
        names = self.after.instruments if who == "instrument" else self.after.people
        more = len(names) - len(old.jobs)
        if not more:
            return old
        # Nothing is known yet of who is new: fewer jobs than an effect needs.
        blank = {"jobs": np.zeros(more, dtype=np.int64), "apart": np.zeros(more, dtype=np.bool_)}
        return Effects(
            **{
                one.name: np.concatenate([getattr(old, one.name), blank.get(one.name, np.full((more, 4), np.nan))])
                for one in fields(Effects)
            }
        )

    def _due(self, old: Due, today: date, months: int) -> Due:
        change = self.made.change
        part = change.part
        own = due_by_rule(
            part.jobs,
            part.breaks,
            part.assets,
            today=today,
            zone=part.zone,
            interval_months=months,
        )
        rows = np.where(own.last_row >= 0, np.append(change.jobs.rows(), -1)[own.last_row], -1)
        return followed(old, own, change.assets, points={"last_row": (change.jobs, rows)})

    def _ground(self, old: Ground, now_us: int, months: int) -> Ground:
        part, assets = self.made.change.part, self.made.change.assets
        rule = due_by_rule(part.jobs, part.breaks, part.assets, today=old.today, zone=part.zone, interval_months=months)
        own = ground_with(part, self.made.own, rule, old.today, now_us)
        return replace(
            old,
            history=self.after,
            study=self.made.study,
            rule=due_for(self.after, old.today, months),
            left_day=assets.apply(old.left_day, own.left_day),
            over_now=assets.apply(old.over_now, own.over_now),
            own=assets.apply(old.own, own.own),
        )

    def _ranked(self, old: Ranked, asked: list[Any]) -> Ranked | None:
        counts, rates, _ = old
        change = self.made.change
        own_counts, own_rates, _ = rank(change.part, self.made.own.runs, *asked, priors=rates.priors)
        if np.isnan(own_rates.rate.bound[own_rates.returns > 0]).any():
            return None  # the first return of its class: there is no prior yet
        now = follow_rates(rates, own_rates, change.assets)
        return followed(counts, own_counts, change.assets, kept=("confidence",)), now, now.ranking()

    def _recheck(self, old: Recheck, key: str) -> Recheck:
        return followed(old, self._own_rechecks[key], self.made.change.assets, kept=("risk",))

    @cached_property
    def _own_rechecks(self) -> dict[str, Recheck]:
        """Give the re-check dates of the touched machines for every risk that was asked for: whoever wants one wants the others too."""
        risks = [float(key.removeprefix(RECHECK)) for key in self.rechecks]
        return dict(
            zip(self.rechecks, rechecks_of(self.made.own.standing, risks, self.study.choices.site_months), strict=True)
        )


def _if_known(given: Carried, make: Callable[[Any], Any]) -> Carried:
    def made() -> Any:
        old = given()
        return None if old is None else make(old)

    return made
