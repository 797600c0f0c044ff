"""What is carried over to a history that grew is what would be made of it anew, with the same estimates over all machines."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest

from dashboard import carrying
from dashboard.carrying import DEPTH, carry_over
from dashboard.fetch import recheck_for, study_for
from dashboard.kept import holds, keep, known, pin
from dashboard.picture import Picture
from dashboard.prepared import due_for, index_for, runs_for
from dashboard.views.effects_view import effects_for
from dashboard.views.groups_view import groups_of
from dashboard.views.offender_filters import Filters
from dashboard.views.offenders_view import EVERYTHING, looks_for, rank, ranked_for
from dashboard.views.people_view import job_days, next_with_another_for
from dashboard.views.plan_view import ground_of
from models.history.columns import History
from models.history.counts import count_over
from models.history.engine import Study, study_of
from models.history.follow import change_of, follow
from models.history.forecast import recheck_of
from models.history.index import index_of
from models.history.late import DEEPEST
from models.history.returns import present_looks, returns_of
from models.history.runs import runs_of
from tests.fleet import DAY_US, Plan
from tests.history_edits import amended, broken, described, numbered, unlike, voided, with_asset, with_job

RISK, MONTHS, WINDOW = 0.05, 12, 36
ZONE, NEW_DAY_US = "Asia/Kolkata", -(5 * 60 + 20) * 60_000_000
"""A zone whose days begin within an hour of UTC, and ten minutes after midnight there. [µs]"""


def asked(history: History, today: date, now_us: int) -> dict[str, Any]:
    """Ask for everything that is carried over."""
    study = study_for(history)
    ground = ground_of(history, study, today, now_us, MONTHS)
    return {
        "index": index_for(history),
        "looks": looks_for(history, runs_for(history)),
        "days": job_days(history),
        "next": next_with_another_for(history),
        "due": due_for(history, today, MONTHS),
        "ground": (ground.left_day, ground.over_now, ground.own, ground.rule),
        "recheck": recheck_for(history, RISK),
        "groups": keep(history, "groups", lambda: groups_of(history, study)),
        "person": effects_for(history, runs_for(history), "person"),
        **{str(of): ranked_for(history, runs_for(history), *of, today) for of in ((WINDOW, None), (None, 3))},
        "area": ranked_for(history, runs_for(history), None, None, today, Filters(area="A")),
    }


def anew(history: History, study: Study, today: date, now_us: int) -> dict[str, Any]:
    """Make the same without the shelf of the history."""
    apart = History(
        **{name: getattr(history, name) for name in History.__slots__}
        | {"jobs": history.jobs.take(np.arange(len(history.jobs)))}
    )
    pin(apart, "study", study)
    return asked(apart, today, now_us)


def grown(seed: int) -> list[tuple[History, Study, History]]:
    """Give histories that grew, in every way."""
    history = replace(numbered(seed, Plan(assets=60)), zone=ZONE)
    rng = np.random.default_rng(seed)
    study = study_of(history)
    last = int(np.flatnonzero(history.jobs.month == history.jobs.month.max())[0])
    return [
        (history, study, after)
        for after in (
            with_job(history, 7, 30, rng),
            with_job(history, 7, -1500, rng),
            with_job(history, 9, 4000, rng),  # later than any month so far
            with_job(with_job(history, 50, 3, rng), 2, 3, rng),
            amended(history, 100, rng),
            voided(history, last),
            broken(history, 4, int(history.jobs.performed_us[-1])),
            described(history, 5, speed_class=4, retired=True),
            with_job(with_asset(history), 60, 3, rng),
            replace(with_job(history, 7, 30, rng, person=8), people=(*history.people, "Person 9")),
        )
    ]


@pytest.mark.parametrize("case", range(10))
def test_what_is_carried_over_is_what_is_made_anew(case: int) -> None:
    before, study, after = grown(11)[case]
    picture = Picture(before, study, before)  # as long as it is shown, what its pages worked out is there
    days = int(after.jobs.performed_us.max()) // DAY_US + 400
    today, now_us = date(1970, 1, 1) + timedelta(days=days), days * DAY_US + NEW_DAY_US
    pin(before, "study", study)
    pin(before, "runs", study.runs)
    old = asked(before, today, now_us)
    change = change_of(before, after)
    assert change is not None
    made = follow(study, change, after.head)
    carry_over(before, study, after, made)
    got, expected = asked(after, today, now_us), anew(after, made.study, today, now_us)
    for name in ("index", "looks", "days", "next", "due", "ground", "recheck"):
        assert unlike(got[name], expected[name]) == [], name
    del picture
    # What rests on all machines together stays as it was until the whole study is made.
    assert got["groups"] is old["groups"]
    assert unlike(got["person"].raw[: len(old["person"].raw)], old["person"].raw) == []
    assert (len(got["person"].apart), got["person"].apart.any()) == (len(after.people), False)
    runs = runs_of(after.jobs, after.breaks)
    for name, of in ((str((WINDOW, None)), (WINDOW, None)), (str((None, 3)), (None, 3)), ("area", (None, None))):
        filters = Filters(area="A") if name == "area" else EVERYTHING
        counts, rates, ranking = got[name]
        same_priors = rank(after, runs, *of, today, filters, priors=old[name][1].priors)
        assert unlike((counts, rates, ranking), same_priors) == [], name
        assert unlike(counts, expected[name][0]) == [], "counts rest on no estimate"


def test_index_after_a_change_is_the_index_of_all_jobs_and_counts_are_those_of_a_walk() -> None:
    for before, study, after in grown(12):
        pin(before, "study", study)
        index_for(before)
        change = change_of(before, after)
        assert change is not None
        carry_over(before, study, after, follow(study, change, after.head))
        got, expected = index_for(after), index_of(after.jobs, runs_of(after.jobs, after.breaks))
        months = range(expected.first - 2, expected.first + len(expected.counts.months) + 2)
        spans = [(month, month) for month in months] + [(months[3], months[9]), (months[9], months[3])]
        rows = [got.rows(*span).tolist() for span in spans]
        assert rows == [expected.rows(*span).tolist() for span in spans], "without putting all of them together"
        assert unlike(got, expected, within=0.0) == []
        assert unlike(got.counts, count_over(after.jobs), within=0.0) == []
        month = int(after.jobs.month[len(after.jobs) // 2])
        assert got.rows(month, month).tolist() == np.flatnonzero(after.jobs.month == month).tolist()


def test_a_new_person_has_no_effect_yet() -> None:
    before, study, after = grown(13)[0]
    pin(before, "study", study)
    old = effects_for(before, study.runs, "person")
    change = change_of(before, after)
    assert change is not None
    more = History(**{name: getattr(after, name) for name in History.__slots__} | {"people": (*after.people, "New")})
    carry_over(before, study, more, follow(study, change, more.head))
    got = effects_for(more, runs_for(more), "person")
    assert len(got.jobs) == len(old.jobs) + 1
    assert np.isnan(got.raw[-1]).all()
    assert got.jobs[-1] == 0


def test_nothing_is_made_before_it_is_asked_for_and_chains_end(monkeypatch: pytest.MonkeyPatch) -> None:
    calls = []
    making = carrying.rechecks_of

    def counted(*given: Any, **named: Any) -> Any:
        calls.append(1)
        return making(*given, **named)

    monkeypatch.setattr(carrying, "rechecks_of", counted)
    history, study, _ = grown(14)[0]
    rng = np.random.default_rng(1)
    pin(history, "study", study)
    recheck_for(history, RISK)
    for step in range(2 * DEEPEST + 3):
        after = with_job(history, int(rng.integers(60)), 2, rng)
        change = change_of(history, after)
        assert change is not None
        made = follow(study, change, after.head)
        carry_over(history, study, after, made)
        history, study = after, made.study
        if step == DEEPEST - 2:
            assert not calls
    assert known(history)[DEPTH]() <= DEEPEST
    assert holds(history, "study")
    runs = runs_of(history.jobs, history.breaks)
    now = present_looks(history.jobs, history.breaks, runs)
    counts = returns_of(history.jobs, runs, len(history.assets), keep=now)
    assert unlike(study.return_counts, counts) == []
    assert unlike(recheck_for(history, RISK), recheck_of(study.standing, RISK, study.choices.site_months)) == []
