"""What the book says about one machine: the values behind its page and its papers."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime

from models.units import Display
from models.values.asset import Asset, MachineBreak
from models.values.decision import NO_DECISIONS, DecisionRule, Decisions
from models.values.description import upcoming
from models.values.job import Job
from models.values.kinds import Coupling, Meaning
from models.values.limits import LimitsGiven


@dataclass(frozen=True, slots=True)
class Site:
    """A site as it is set today; ``interval_months`` is its rule for the next check.

    ``code`` was made from its first name and never changes: addresses, roles, tokens and files go by it or by the number.
    ``former`` holds the names that it had before, the first one first.  ``rule`` is its decision rule; ``None`` where it never
    chose one, which is simple acceptance.
    """

    site_id: int
    code: str
    name: str
    zone: str
    display: Display
    interval_months: int = 12
    former: tuple[str, ...] = ()
    rule: DecisionRule | None = None

    @property
    def guarded(self) -> DecisionRule | None:
        """Give the decision rule where it is a guarded one: only then is anything decided beside the limit ratio."""
        return self.rule if self.rule is not None and self.rule.guarded else None

    @property
    def names(self) -> tuple[str, ...]:
        """Give every name that the site ever had, today's first."""
        return (self.name, *self.former)


@dataclass(frozen=True, slots=True)
class SiteSetting:
    """How a site was set by an entry: everything that was set from then on, by whom and why.

    ``site`` has no former names here.  ``leaf`` is the leaf hash of the entry in hex, by which a form knows what it was
    made from; empty where the entry has no seal.
    """

    entry: int
    recorded_at: datetime
    author: str
    why: str
    site: Site
    leaf: str = field(default="", compare=False)


@dataclass(frozen=True, slots=True)
class JudgedAs:
    """What of its machine a job was judged by, as it was known when the job was recorded; speed in rpm, span in mm."""

    coupling: Coupling
    speed_rpm: float | None
    span_mm: float | None
    limit_entry: int | None = None


@dataclass(frozen=True, slots=True)
class JobLine:
    """One version of a job as it stands in the book, with the verdict that was stored with it.

    ``found_ratio`` and ``left_ratio`` are ``None`` where nothing was measured or nothing could be judged.
    ``superseded_by`` is the number of the entry that amended this one; ``judged_as`` is not known of a line
    that does not come from the book.  ``leaf`` is the leaf hash of its entry in hex, by which a form knows what it was
    made from: numbers are given anew where an older state of the book is put back.  It is empty where the entry has no
    seal, or the line was not read from the book.  ``decisions`` are what the site's decision
    rule said when it was recorded.
    """

    entry: int
    job_id: int
    recorded_at: datetime
    author: str
    job: Job
    limits: LimitsGiven
    limit_set: str
    found_ratio: float | None
    left_ratio: float | None
    supersedes: int | None = None
    superseded_by: int | None = None
    why_amended: str = ""
    void: bool = False
    source: str = ""
    judged_as: JudgedAs | None = None
    leaf: str = field(default="", compare=False)
    decisions: Decisions = NO_DECISIONS


@dataclass(frozen=True, slots=True)
class AssetVersion:
    """The description of an asset from a day on, and the entry that says so."""

    entry: int
    recorded_at: datetime
    author: str
    asset: Asset


@dataclass(frozen=True, slots=True)
class Signoff:
    """A signature under an entry: who, when, and what it means."""

    entry: int
    signed_entry: int
    by: str
    at: datetime
    meaning: Meaning
    remark: str = ""


@dataclass(frozen=True, slots=True)
class AssetStory:
    """Everything about one asset, oldest first; ``jobs`` and ``signoffs`` hold those of superseded versions too.

    ``asset`` is the description that holds on the day for which it was read.  ``merged_into`` is today's tag of the machine into which this record was merged; empty where it was not.
    """

    site: Site
    asset_id: int
    asset: Asset
    versions: tuple[AssetVersion, ...]
    breaks: tuple[MachineBreak, ...]
    jobs: tuple[JobLine, ...]
    signoffs: tuple[Signoff, ...] = ()
    merged_into: str = ""

    @property
    def upcoming(self) -> tuple[Asset, ...]:
        """Give the descriptions that begin later than the one that holds, in the order in which they come to hold."""
        return upcoming([version.asset for version in self.versions], self.asset.valid_from or date.min)

    @property
    def standing(self) -> tuple[JobLine, ...]:
        """Give the jobs that count: not amended since, not void; in order of time."""
        lines = (line for line in self.jobs if line.superseded_by is None and not line.void)
        return tuple(sorted(lines, key=lambda line: (line.job.performed_at, line.entry)))

    def since(self, entry: int | None) -> tuple[JobLine, ...]:
        """Give the jobs that count and went in after an entry, in order of time; none where it is not said after which.

        A new version of a job that was there is none of them.
        """
        return () if entry is None else tuple(line for line in self.standing if line.job_id > entry)
