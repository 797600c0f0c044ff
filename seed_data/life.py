"""Six years in the life of one invented machine: who came when, what they found, what they left."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from models.values.job import FeetValues, Job
from models.values.kinds import Part, Reason
from seed_data.heat import Heat, heat_on, hot_shift, target_of
from seed_data.motion import SHAPE, Call, next_call, pulled_by_pipes, walk
from seed_data.plant import HISTORY_BEGINS, Scenario, Station, own_generator
from seed_data.rules import yardstick
from seed_data.sheet import Life, crew, fill_sheet, pick
from seed_data.visit import Alignment, SoftFoot, align, as_misalignment, per_foot, soft_feet

FRIDAY = 4
"""Weekday of the last working day of a week."""

FOOT_SHIFT = np.array([1.0, 0.6, 0.3, 0.2])
"""How a foot that is not down lets the machine give way, relative to the vertical offset: less to the side."""


def jobs_of(station: Station, plan: Scenario, seed: int, until: date) -> Iterator[Job]:
    """Tell the jobs of one machine in order of time.

    Parameters
    ----------
    station : Station
        The machine. [unitless]
    plan : Scenario
        The plant in which it stands. [unitless]
    seed : int
        Seed of the whole plant. [unitless]
    until : date
        The last day on which a job can be. [unitless]

    Yields
    ------
    Job
        Jobs without a number of their own yet: ``ref`` is a question mark.
    """
    rng = own_generator(seed, station.tag, "life")
    first = station.versions[0]
    last = min(until, first.retired or until)
    life = _beginning(station, rng)
    if first.commissioned is not None and first.commissioned >= HISTORY_BEGINS:
        if first.commissioned > last:
            return
        yield _installed(station, plan, life, rng)
    while True:
        call = _travel(station, life, rng, early=life.day == first.commissioned)
        if call.day > last:
            return
        job = _visit(station, plan, life, call, rng)
        if call.day < HISTORY_BEGINS:
            continue  # the book does not reach back so far
        yield job
        # No second reading where a planted step might fall between the two.
        steps = any(station.cause(name) for name in ("pipe strain", "loose bolts"))
        again = rng.random() < 0.02 and not steps
        if again and _working_day(call.day + timedelta(days=1)) <= last:
            yield _read_again(station, plan, life, job.instrument, rng)


def _beginning(station: Station, rng: np.random.Generator) -> Life:
    asset = station.versions[0]
    stick = yardstick(asset)
    target = target_of(station, HISTORY_BEGINS)
    pose = target + 0.35 * stick.scale * SHAPE * rng.standard_normal(4)
    hours = round(float(rng.integers(4000, 60000)))
    if asset.commissioned is not None and asset.commissioned >= HISTORY_BEGINS:
        return Life(asset.commissioned, pose, 0.0)
    ago = int(rng.integers(1, int(station.interval_months * 30)))
    return Life(HISTORY_BEGINS - timedelta(days=ago), pose, float(hours))


def _travel(station: Station, life: Life, rng: np.random.Generator, *, early: bool) -> Call:
    """Move on to the next visit: the machine drifts, and its counter runs."""
    asset = station.asset_on(life.day)
    stick = yardstick(asset)
    # New machinery is looked at again after one to three months of running (Piotrowski, as quoted in the trade reference, 6.5).
    # Any other visit is brought forward or put off, as the shift and the tides let it.
    slip = float(np.clip(np.exp(0.45 * rng.standard_normal()), 0.35, 2.2))
    months = 2.0 * rng.uniform(0.7, 1.4) if early else station.interval_months * slip
    days = max(20, round(months * 30.4))
    replaced = next(
        (b for b in station.breaks if life.day < b.on <= _working_day(life.day + timedelta(days=days))), None
    )
    if station.corrected_on is not None and life.day < station.corrected_on <= life.day + timedelta(days=days):
        days = (station.corrected_on - life.day).days
    life.pose = life.pose + life.shift
    path = walk(station, stick, life.pose, life.day, days, rng)
    running = path - target_of(station, life.day) + hot_shift(station, life.day)
    call = next_call(stick.ratios(running), life.day, rng)
    if replaced is not None and replaced.on <= _working_day(call.day):
        call = Call(replaced.on, Reason.FAILURE if rng.random() < 0.3 else Reason.REPAIR)
    elif call.reason is not Reason.FAILURE:
        call = Call(_working_day(call.day), call.reason)
    gone = (call.day - life.day).days
    life.pose = path[min(gone, days) - 1]
    life.counter_h += 24.0 * gone * station.duty * rng.uniform(0.95, 1.05)
    life.day, life.shift = call.day, np.zeros(4)
    return call


def _visit(station: Station, plan: Scenario, life: Life, call: Call, rng: np.random.Generator) -> Job:
    day = call.day
    asset = station.asset_on(day)
    stick, target = yardstick(asset), target_of(station, day)
    hands, people = crew(plan, day, rng)
    heat = heat_on(station, day, rng)
    replaced = next((b for b in station.breaks if b.on == day), None)
    fresh = replaced is not None and replaced.part is not Part.COUPLING
    if fresh:  # a new machine on old shims: nothing was read before it came
        life.pose = target + 4.0 * stick.scale * SHAPE * rng.standard_normal(4)
    warm = life.pose - np.array([heat.grown_mm, 0.0, 0.0, 0.0])
    seen = hands.read(warm, rng)
    unread = fresh or rng.random() < 0.035
    found = None if unread else as_misalignment(seen)
    ratio = stick.ratio(seen - target)
    job = fill_sheet(station, plan, life, call, people, hands, heat, found, rng)
    no_stop = ratio > 1.0 and call.reason is Reason.PLANNED and rng.random() < 0.04
    if not unread and heat.grown_mm == 0.0 and (no_stop or (ratio <= 0.6 and rng.random() < 0.14)):
        notes = pick(plan.notes["no_stop" if no_stop else "looked"], rng)
        checks = tuple(check for check in job.checks if check != "soft foot read")
        return replace(job, left=found, target=as_misalignment(target), checks=checks, notes=notes)
    # A warm machine is read as found, and read once more when it is cold before shims are chosen.
    start = hands.read(life.pose, rng) if heat.grown_mm else seen
    done = align(asset, stick, life.pose, start, target, hands, rng)
    life.pose = done.pose
    soft = soft_feet(2 * len(asset.feet_movable_mm), hands, station.cause("soft foot"), rng)
    life.shift = pulled_by_pipes(station, stick.scale, day, rng)
    if soft.left_free is not None:  # the foot gives way as soon as the machine runs
        life.shift = life.shift + soft.left_free.size["kick"] * FOOT_SHIFT * stick.scale * rng.standard_normal(4)
    if stick.ratio(done.read - target) > 1.0:
        job = replace(job, notes=pick(plan.notes["over"], rng))
    # A foot that stood free when it was last looked at is looked at again.
    read_soft = rng.random() < (0.95 if life.foot_free else 0.6)
    if read_soft:
        life.foot_free = soft.stood_free
    return _with_work(replace(job, target=as_misalignment(target)), done, soft, read_soft=read_soft)


def _with_work(job: Job, done: Alignment, soft: SoftFoot, *, read_soft: bool) -> Job:
    return replace(
        job,
        left=as_misalignment(done.read),
        soft_before=soft.before if read_soft else FeetValues(),
        soft_after=soft.after if read_soft else FeetValues(),
        moves_v=per_foot(done.shims_mm, soft.extra if read_soft else ()),
        moves_h=per_foot(done.sides_mm),
        checks=tuple(check for check in job.checks if read_soft or check != "soft foot read"),
    )


def _installed(station: Station, plan: Scenario, life: Life, rng: np.random.Generator) -> Job:
    """Align a new machine for the first time: nothing stood there before, so there is no as-found."""
    asset, day = station.versions[0], life.day
    stick, target = yardstick(asset), target_of(station, day)
    hands, people = crew(plan, day, rng)
    life.pose = target + 3.0 * stick.scale * SHAPE * rng.standard_normal(4)
    call = Call(day, Reason.INSTALLATION)
    job = fill_sheet(station, plan, life, call, people, hands, heat_on(station, day, rng), None, rng)
    done = align(asset, stick, life.pose, hands.read(life.pose, rng), target, hands, rng)
    life.pose = done.pose
    soft = soft_feet(2 * len(asset.feet_movable_mm), hands, None, rng)
    return _with_work(
        replace(job, target=as_misalignment(target), notes="New machine, first alignment."), done, soft, read_soft=True
    )


def _read_again(station: Station, plan: Scenario, life: Life, before: str, rng: np.random.Generator) -> Job:
    """Read a machine once more on the next working day, with another instrument; nothing is moved."""
    day = _working_day(life.day + timedelta(days=1))
    gone = (day - life.day).days
    life.counter_h += 24.0 * gone * station.duty
    life.day = day
    hands, people = crew(plan, day, rng, without=before)
    seen = as_misalignment(hands.read(life.pose, rng))
    heat = heat_on(station, day, rng)
    heat = Heat(heat.ambient, heat.ambient + 2.0, heat.movable, 0.0)  # it has stood for a night
    job = fill_sheet(station, plan, life, Call(day, Reason.OTHER), people, hands, heat, seen, rng)
    notes = "Read again with another instrument, nothing moved."
    return replace(job, left=seen, target=as_misalignment(target_of(station, day)), notes=notes)


def _working_day(day: date) -> date:
    """Give that day, or the Monday after it."""
    return day + timedelta(days=max(0, 7 - day.weekday())) if day.weekday() > FRIDAY else day
