"""The sheet of one visit: who came with what, when, why, and what they wrote besides the numbers."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, time

import numpy as np

from models.maths.limits import FloatArray
from models.values.job import Job, Misalignment
from models.values.kinds import Reason
from seed_data.heat import Heat
from seed_data.motion import Call
from seed_data.plant import Scenario, Station
from seed_data.visit import Hands, as_misalignment, in_force, rounded, takes

CHECKS = (
    "isolation verified",
    "soft foot read",
    "coupling runout read",
    "bolts tightened crosswise",
    "pipe strain read",
    "guard refitted",
)
"""Checks that the sheets of this plant name."""

_NOTES = {Reason.FAILURE: "failed", Reason.CONDITION: "called", Reason.REPAIR: "repaired"}


@dataclass(slots=True)
class Life:
    """What is true of a machine at the moment, while its history is told.

    ``shift`` is how far it moves as soon as it runs again after the work;
    ``foot_free`` whether the last look at its feet found one that stood free.
    """

    day: date
    pose: FloatArray
    counter_h: float
    shift: FloatArray = field(default_factory=lambda: np.zeros(4))
    foot_free: bool = False


def fill_sheet(
    station: Station,
    plan: Scenario,
    life: Life,
    call: Call,
    people: tuple[str, ...],
    hands: Hands,
    heat: Heat,
    found: Misalignment | None,
    rng: np.random.Generator,
) -> Job:
    """Fill in the head of the sheet; what was left comes later.

    Parameters
    ----------
    station : Station
        The machine. [unitless]
    plan : Scenario
        The plant. [unitless]
    life : Life
        What is true of the machine now. [unitless]
    call : Call
        Day and reason of the visit. [unitless]
    people : tuple of str
        Who came. [unitless]
    hands : Hands
        Who reads with what. [unitless]
    heat : Heat
        Temperatures. [°C]
    found : Misalignment or None
        As found. [mm, mm/m]
    rng : numpy.random.Generator
        Random numbers. [unitless]

    Returns
    -------
    Job
        A job whose as-left is still to be replaced, without target, soft foot and moves.
    """
    earliest, latest = (5, 20) if call.reason is Reason.FAILURE else (7, 16)
    moment = time(int(rng.integers(earliest, latest)), 5 * int(rng.integers(0, 12)))
    number = f"{call.day:%y}{int(rng.integers(10000, 99999))}"
    temperatures = bool(heat.grown_mm) or rng.random() < 0.7
    some = rng.random(len(CHECKS)) < 0.8
    checks = tuple(check for check, done in zip(CHECKS, some, strict=True) if done or check in {CHECKS[0], CHECKS[-1]})
    placeholder = as_misalignment(rounded(life.pose))
    return Job(
        ref="?",
        tag=station.tag,
        performed_at=datetime.combine(call.day, moment, plan.timezone),
        zone=plan.zone,
        reason=call.reason,
        people=people,
        instrument=hands.reader.instrument.serial,
        method=hands.reader.method,
        work_order=number if rng.random() < 0.85 else "",
        found=found,
        left=placeholder,
        temp_stationary_c=heat.stationary if temperatures else None,
        temp_movable_c=heat.movable if temperatures else None,
        temp_ambient_c=heat.ambient if temperatures else None,
        hours_run=float(round(life.counter_h)) if station.counter and rng.random() < 0.96 else None,
        checks=checks if rng.random() < 0.9 else (),
        notes=_note(station, plan, life, call, found, heat, rng),
        reviewer=plan.reviewers[int(rng.integers(len(plan.reviewers)))] if rng.random() < 0.85 else "",
    )


_PLANTED_NOTES = {
    "pipe strain": "Flanges at the suction side do not meet freely; drawn together after the work.",
    "loose bolts": "Stands over to one side on its base; there are no dowels.",
}


def _planted_note(station: Station, day: date, rng: np.random.Generator) -> str:
    for name, text in _PLANTED_NOTES.items():
        cause = station.cause(name)
        if cause is not None and day >= cause.since and rng.random() < 0.4:
            return text
    return ""


def _note(
    station: Station,
    plan: Scenario,
    life: Life,
    call: Call,
    found: Misalignment | None,
    heat: Heat,
    rng: np.random.Generator,
) -> str:
    """Say what the crew might say; what the pipes and the missing dowels do is named on some sheets."""
    replaced = next((b for b in station.breaks if b.on == life.day), None)
    if replaced is not None:
        return f"{replaced.reason[0].upper()}{replaced.reason[1:]}."
    certain = _planted_note(station, life.day, rng)
    if not certain and life.day == station.corrected_on:
        certain = "Target set from the casing temperatures in service; from now on read cold."
    if not certain and heat.grown_mm:
        certain = "As found read warm, soon after the stop; as left read cold on the next morning."
    if certain:
        return certain
    if found is None:
        return pick(plan.notes["no_found"], rng)
    told = _NOTES.get(call.reason)
    if told is not None:
        return pick(plan.notes[told], rng)
    return pick(plan.notes["ordinary"], rng) if rng.random() < 0.22 else ""


def pick(texts: tuple[str, ...], rng: np.random.Generator) -> str:
    """Pick one of several texts.

    Parameters
    ----------
    texts : tuple of str
        At least one. [unitless]
    rng : numpy.random.Generator
        Random numbers. [unitless]
    """
    return texts[int(rng.integers(len(texts)))]


def crew(plan: Scenario, day: date, rng: np.random.Generator, *, without: str = "") -> tuple[Hands, tuple[str, ...]]:
    """Pick who comes and which instrument is taken, independently of the machine and of one another.

    Parameters
    ----------
    plan : Scenario
        The plant. [unitless]
    day : date
        The day of the visit. [unitless]
    rng : numpy.random.Generator
        Random numbers. [unitless]
    without : str
        Serial of an instrument that is not to be taken. [unitless]

    Returns
    -------
    tuple of Hands and tuple of str
        Who reads with what, and everybody who came, that person first.
    """
    aligners = [p.name for p in plan.people if p.name not in plan.reviewers]
    lead, mate = (aligners[int(i)] for i in rng.choice(len(aligners), 2, replace=False))
    reader = takes(tuple(r for r in plan.readers if r.instrument.serial != without), rng)
    hands = Hands(
        lead,
        reader,
        careless=in_force(plan.cause("instrument"), reader.instrument.serial, day),
        leaves_soft_foot=in_force(plan.cause("person"), lead, day),
    )
    return hands, (lead, mate) if rng.random() < 0.45 else (lead,)
