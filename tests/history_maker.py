"""An invented little plant for the tests of the reader: stories, and the same as columns.

Nothing in it is taken from a real plant.  It goes no way of its own through
the book: it is made straight in memory, so that a view can be tested without one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import TypeVar
from zoneinfo import ZoneInfo

import numpy as np

from models.history.columns import REASONS, AssetColumns, BreakColumns, History, JobColumns, speed_class_of
from models.ledger.findings import Finding
from models.maths.judged import limits_for
from models.maths.limits import limit_ratio
from models.units import Display
from models.values.asset import Asset, MachineBreak
from models.values.decision import DecisionRule
from models.values.entry import AdoptedLimits, EntryFilter, EntryPage, EntryStory, Stated
from models.values.job import FeetValues, Job, Misalignment
from models.values.kinds import Coupling, Method, Part, Reason
from models.values.limits import Judged, LimitRow, LimitSet, LimitsGiven
from models.values.looked_at import LookedAt
from models.values.people import Instrument, Person
from models.values.proof import BookProof, Misfit
from models.values.story import AssetStory, AssetVersion, JobLine, Site
from tests import made_entries

T = TypeVar("T")
ZONE = "Europe/Lisbon"
NOW = datetime(2026, 11, 18, 9, 30, tzinfo=UTC)
"""The day on which the tests look at the plant."""

STARTER = LimitSet(
    "starter",
    "this project's own rule, no standard",
    "nobody yet",
    date(2020, 1, 1),
    (
        LimitRow(Judged.OFFSET, per_rpm=120.0, floor_rpm=750.0),
        LimitRow(Judged.ANGULARITY, per_rpm=1000.0, floor_rpm=750.0),
        LimitRow(Judged.FLEX_ANGLE, Coupling.SPACER, value=0.5),
        LimitRow(Judged.SOFT_FOOT, value=0.05),
    ),
    starter=True,
)

PEOPLE = ("R. Almeida (invented)", "T. Brandt (invented)", "S. Okoro (invented)")
SPEEDS = (735.0, 985.0, 1480.0, 1780.0, 2960.0, 3560.0, 4200.0)
NAN = float("nan")


def site(display: Display | None = None, site_id: int = 1, code: str = "SAL") -> Site:
    return Site(site_id, code, f"Saltmarsh works {code} (invented)", ZONE, display or Display())


def ratio_of(
    job_values: Misalignment | None, target: Misalignment, given: LimitsGiven, span_mm: float | None
) -> float | None:
    if job_values is None:
        return None
    deviation = np.array([job_values.as_tuple()]) - np.array([target.as_tuple()])
    given_row = (given.offset_mm, given.angle_mm_m, given.flex_mm_m, given.soft_foot_mm)
    limits = np.array([[NAN if limit is None else limit for limit in given_row]])
    value = float(limit_ratio(deviation, limits, np.array([given.each_axis]), np.array([span_mm or NAN]))[0])
    return None if np.isnan(value) else value


def line(job: Job, asset: Asset, entry: int, **changes: object) -> JobLine:
    """Judge a job under the starter set and number it."""
    given = limits_for(STARTER, asset.coupling, asset.limit_speed_rpm)
    return JobLine(
        entry=entry,
        job_id=entry,
        recorded_at=job.performed_at + timedelta(hours=3),
        author="desk",
        job=job,
        limits=given,
        limit_set="starter, version 1",
        found_ratio=ratio_of(job.found, job.target, given, asset.span_mm),
        left_ratio=ratio_of(job.left, job.target, given, asset.span_mm),
        **changes,  # type: ignore[arg-type]
    )


def at(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(ZONE)).astimezone(UTC)


def job(tag: str, when: str, found: Misalignment | None, left: Misalignment | None, **changes: object) -> Job:
    values: dict[str, object] = {
        "ref": f"{tag}/{when}",
        "reason": Reason.PLANNED if found is not None else Reason.INSTALLATION,
        "people": (PEOPLE[0],),
        "instrument": "LX-01",
        "method": Method.LASER,
    }
    values.update(changes)
    return Job(tag=tag, performed_at=at(when), zone=ZONE, found=found, left=left, **values)  # type: ignore[arg-type]


def story_of(
    asset: Asset, jobs: list[JobLine], breaks: tuple[MachineBreak, ...] = (), asset_id: int = 1, of: Site | None = None
) -> AssetStory:
    first = AssetVersion(1, at("2020-01-02T08:00"), "desk", asset)
    return AssetStory(of or site(), asset_id, asset, (first,), breaks, tuple(jobs))


def stated(said: T) -> Stated[T]:
    """Give what the desk said when the book began."""
    return Stated(1, at("2020-01-02T08:00"), "desk", said)


@dataclass
class MadeBook:
    """A book in memory that answers what the pages ask."""

    stories: list[AssetStory] = field(default_factory=list)
    at_site: Site = field(default_factory=site)
    instrument_list: tuple[Instrument, ...] = ()
    limits: LimitSet | None = STARTER
    more_sites: tuple[Site, ...] = ()
    no_site: bool = False
    proven: BookProof | None = None
    held: dict[int, tuple[tuple[AssetStory, ...], History]] = field(default_factory=dict)

    def sites(self) -> tuple[Site, ...]:
        return () if self.no_site else (self.at_site, *self.more_sites)

    def proof(self, site_id: int) -> BookProof | None:
        return self.proven if site_id == self.at_site.site_id else None

    def differences(self, _site_id: int, _number: int) -> list[Finding]:
        return []

    def misfit(self, _site_id: int, _story: AssetStory, _upto: int) -> Misfit | None:
        return None

    def head(self) -> int:
        return 1 + max((line.entry for story in self.stories for line in story.jobs), default=0)

    def history(self, site_id: int) -> History:
        """Give the very same columns as long as the stories are the same, as the reader of a real book does."""
        stories = tuple(self.stories) if site_id == self.at_site.site_id else ()
        kept = self.held.get(site_id)
        if (
            kept is None
            or len(kept[0]) != len(stories)
            or any(a is not b for a, b in zip(kept[0], stories, strict=True))
        ):
            kept = self.held[site_id] = (stories, columns_of(list(stories), self.at_site.zone, self.head()))
        return kept[1]

    def story(self, site_id: int, tag: str) -> AssetStory | None:
        if site_id != self.at_site.site_id:
            return None
        return next((story for story in self.stories if story.asset.tag == tag), None)

    def instruments(self, site_id: int) -> tuple[Instrument, ...]:
        return self.instrument_list if site_id == self.at_site.site_id else ()

    def limit_set(self, site_id: int) -> LimitSet | None:
        return self.limits if site_id == self.at_site.site_id else None

    def entries(
        self, site_id: int, asked: EntryFilter, *, before: int | None = None, after: int | None = None, most: int = 50
    ) -> EntryPage:
        assert site_id == self.at_site.site_id
        return made_entries.page_of(self, asked, before, after, most)

    def entry(self, site_id: int, number: int) -> EntryStory | None:
        assert site_id == self.at_site.site_id
        return next((story for story in made_entries.stories_of(self) if story.line.number == number), None)

    def limit_sets(self, site_id: int) -> tuple[AdoptedLimits, ...]:
        return made_entries.limits_of(self) if site_id == self.at_site.site_id else ()

    def people(self, site_id: int) -> tuple[Person, ...]:
        names = {name for story in self.stories for line in story.jobs for name in line.job.people}
        return tuple(Person(name) for name in sorted(names)) if site_id == self.at_site.site_id else ()

    def instrument_versions(self, site_id: int) -> tuple[Instrument, ...]:
        return self.instruments(site_id)

    def stated_people(self, site_id: int) -> tuple[Stated[Person], ...]:
        return tuple(stated(one) for one in self.people(site_id))

    def stated_instruments(self, site_id: int) -> tuple[Stated[Instrument], ...]:
        return tuple(stated(one) for one in self.instrument_versions(site_id))

    def stated_rules(self, site_id: int) -> tuple[Stated[DecisionRule], ...]:
        rule = self.at_site.rule if site_id == self.at_site.site_id else None
        return () if rule is None else (stated(rule),)

    def signed(self, site_id: int) -> frozenset[int]:
        del site_id
        return frozenset(one.signed_entry for story in self.stories for one in story.signoffs)

    def looked_at(self, site_id: int, entries: Sequence[int]) -> LookedAt:
        assert site_id == self.at_site.site_id
        lines = [line for story in self.stories for line in story.jobs if line.entry in entries]
        signed = [one for story in self.stories for one in story.signoffs if one.signed_entry in entries]
        return LookedAt(
            {line.entry: line.job.reviewer for line in lines if line.job.reviewer},
            {one.signed_entry: one.by for one in signed},
        )


def made_book(assets: int = 40, years: int = 5, seed: int = 11, display: Display | None = None) -> MadeBook:
    """Make a plant in which every fourth base settles and the others scatter."""
    rng = np.random.default_rng(seed)
    where = site(display)
    stories = []
    entry = 10
    for number in range(assets):
        speed = SPEEDS[number % len(SPEEDS)]
        spacer = number % 5 == 3
        asset = Asset(
            tag=f"P-{101 + number}",
            description=f"{('Brine', 'Wash water', 'Product', 'Return')[number % 4]} pump {number + 1}",
            area=("Intake", "Evaporation", "Packing")[number % 3],
            train=f"T{1 + number // 2:02d}",
            driven=("pump", "fan")[number % 2],
            driver="motor",
            coupling=Coupling.SPACER if spacer else Coupling.SHORT,
            span_mm=140.0 if spacer else None,
            speed_rpm=speed,
            power_kw=float(11 + 15 * (number % 9)),
            feet_movable_mm=(350.0, 900.0) if number % 7 else (),
            feet_stationary_mm=(-300.0, -700.0),
            commissioned=date(2018, 3, 1),
        )
        lines: list[JobLine] = []
        settling = number % 4 == 1
        when = datetime(2026 - years, 1, 10, 9, 0, tzinfo=UTC) + timedelta(days=float(rng.uniform(0, 200)))
        left: Misalignment | None = None
        size = 120.0 / max(speed, 750.0)
        while when < NOW:
            found = None
            if left is not None and rng.random() > 0.04:
                drift = rng.normal(0, 0.30, 4) * np.array([size, 8 * size, size, 8 * size])
                drift[0] -= 0.8 * size if settling else 0.0
                found = Misalignment(*(np.array(left.as_tuple()) + drift).round(3).tolist())
            small = rng.normal(0, 0.22 if rng.random() > 0.05 else 0.9, 4) * np.array([size, 8 * size, size, 8 * size])
            left = Misalignment(*small.round(3).tolist())
            reason = Reason.INSTALLATION if not lines else Reason.PLANNED if rng.random() < 0.7 else Reason.CONDITION
            this = Job(
                ref=f"J{entry}",
                tag=asset.tag,
                performed_at=when,
                zone=ZONE,
                reason=reason,
                people=(PEOPLE[int(rng.integers(3))],),
                instrument=("LX-01", "LX-02", "D-07")[int(rng.integers(3))],
                method=Method.LASER,
                work_order=f"WO{70000 + entry}",
                found=None if reason is Reason.INSTALLATION else found,
                left=left,
                target=Misalignment(offset_v=-0.1 if number % 6 == 2 else 0.0),
                soft_before=FeetValues(tuple(rng.uniform(0.0, 0.09, 4).round(3).tolist())),
                soft_after=FeetValues(tuple(rng.uniform(0.0, 0.05, 4).round(3).tolist())),
                hours_run=float(len(lines) * 4000 + 100),
                notes="Invented note: grout looks sound." if entry % 9 == 0 else "",
                typed={"found_offset_v": "2,5 mil", "left_offset_v": "0.02"} if entry % 2 else {},
            )
            lines.append(line(this, asset, entry))
            entry += 1
            when += timedelta(days=float(rng.uniform(150, 420)))
        breaks = (MachineBreak(asset.tag, date(2024, 5, 6), Part.BASE, "base was grouted anew"),) if number == 5 else ()
        stories.append(story_of(asset, lines, breaks, number + 1, where))
    instruments = (
        Instrument("LX-01", "laser set", date(2025, 12, 1), date(2026, 12, 1)),
        Instrument("LX-02", "laser set", date(2025, 3, 1), date(2026, 3, 1)),
        Instrument("D-07", "dial indicator"),
    )
    return MadeBook(stories, where, instruments)


def columns_of(stories: list[AssetStory], zone: str = ZONE, head: int = 1) -> History:
    """Lay the stories out as columns, one job after the other, by the plain road."""
    people: dict[str, int] = {}
    instruments: dict[str, int] = {}
    rows: list[dict[str, object]] = []
    broken: list[tuple[int, int, int]] = []
    for index, story in enumerate(stories):
        rows.extend(_row(index, story.asset, one, zone, people, instruments) for one in story.standing)
        for a_break in story.breaks:
            midnight = datetime(a_break.on.year, a_break.on.month, a_break.on.day, tzinfo=ZoneInfo(zone))
            broken.append((1, index, int(midnight.timestamp() * 1e6)))

    def column(name: str, dtype: type, width: int = 0) -> np.ndarray:  # type: ignore[type-arg]
        shape = (len(rows), width) if width else (len(rows),)
        return np.array([row[name] for row in rows], dtype=dtype).reshape(shape)

    floats = ("found_ratio", "left_ratio", "speed_rpm", "span_mm", "soft_before", "soft_after", "hours_run")
    temps = ("temp_stationary_c", "temp_movable_c", "temp_ambient_c")
    speed = column("speed_rpm", float)
    jobs = JobColumns(
        **{
            name: column(name, np.int64)
            for name in ("entry", "job", "asset", "performed_us", "month", "reason", "person", "instrument")
        },
        **{name: column(name, float, 4) for name in ("found", "left", "target", "limits")},
        **{name: column(name, float) for name in (*floats, *temps)},
        each_axis=column("each_axis", bool),
        spacer=column("spacer", bool),
        speed_class=speed_class_of(speed),
    )
    assets = [story.asset for story in stories]
    asset_speed = np.array([asset.limit_speed_rpm or NAN for asset in assets], dtype=float)
    return History(
        head=head,
        zone=zone,
        jobs=jobs,
        breaks=BreakColumns(
            *(np.array(column, dtype=np.int64) for column in (zip(*broken, strict=True) if broken else ([], [], [])))
        ),
        assets=AssetColumns(
            asset=np.array([story.asset_id for story in stories], dtype=np.int64),
            **{
                name: np.array([getattr(asset, name) for asset in assets], dtype=object)
                for name in ("tag", "description", "area", "train", "driven", "driver", "criticality")
            },
            spacer=np.array([asset.coupling is Coupling.SPACER for asset in assets], dtype=bool),
            span_mm=np.array([asset.span_mm or NAN for asset in assets], dtype=float),
            speed_rpm=asset_speed,
            speed_class=speed_class_of(asset_speed),
            feet_movable_mm=np.array(
                [
                    [asset.feet_movable_mm[0], asset.feet_movable_mm[-1]] if asset.feet_movable_mm else [NAN, NAN]
                    for asset in assets
                ],
                dtype=float,
            ).reshape(len(assets), 2),
            retired=np.array([asset.retired is not None for asset in assets], dtype=bool),
        ),
        people=tuple(people),
        instruments=tuple(instruments),
    )


def _row(
    index: int, asset: Asset, standing: JobLine, zone: str, people: dict[str, int], instruments: dict[str, int]
) -> dict[str, object]:
    done = standing.job
    local = done.performed_at.astimezone(ZoneInfo(zone))

    def four(values: Misalignment | None) -> tuple[float, ...]:
        return values.as_tuple() if values else (NAN,) * 4

    def excess(feet: FeetValues) -> float:
        known = sorted(x for x in feet.values if x is not None)
        return known[-1] - known[0] if len(known) > 1 else NAN

    given = standing.limits
    return {
        "entry": standing.entry,
        "job": standing.job_id,
        "asset": index,
        "performed_us": round(done.performed_at.timestamp() * 1e6),
        "month": local.year * 12 + local.month - 1,
        "reason": REASONS.index(done.reason),
        "found": four(done.found),
        "left": four(done.left),
        "target": four(done.target),
        "limits": tuple(
            NAN if x is None else x for x in (given.offset_mm, given.angle_mm_m, given.flex_mm_m, given.soft_foot_mm)
        ),
        "each_axis": given.each_axis,
        "found_ratio": NAN if standing.found_ratio is None else standing.found_ratio,
        "left_ratio": NAN if standing.left_ratio is None else standing.left_ratio,
        "speed_rpm": asset.limit_speed_rpm or NAN,
        "spacer": asset.coupling is Coupling.SPACER,
        "span_mm": asset.span_mm or NAN,
        "soft_before": excess(done.soft_before),
        "soft_after": excess(done.soft_after),
        "hours_run": NAN if done.hours_run is None else done.hours_run,
        "temp_stationary_c": NAN,
        "temp_movable_c": NAN,
        "temp_ambient_c": NAN,
        "person": people.setdefault(done.people[0], len(people)) if done.people else -1,
        "instrument": instruments.setdefault(done.instrument, len(instruments)) if done.instrument else -1,
    }
