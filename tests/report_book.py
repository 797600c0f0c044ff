"""Stories for the papers: an invented machine with as many jobs as wanted, long names, amendments and sign-offs, without a book."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

from dashboard.desk import basis_on
from dashboard.reports.asset_around import Around
from dashboard.reports.asset_report import asset_paper
from dashboard.reports.field_sheet import Visit, sheet_paper
from dashboard.reports.identity import Identity
from dashboard.reports.press import Paper
from dashboard.views import asset_view
from models.ledger.checkpoint import Checkpoint, write_note
from models.units import Display
from models.values.asset import Asset, MachineBreak
from models.values.draft import Way
from models.values.entry import AdoptedLimits, Stated
from models.values.job import FeetValues, Job, Misalignment
from models.values.kinds import Coupling, Meaning, Method, Part, Reason
from models.values.limits import Judged, LimitRow, LimitSet, LimitsGiven
from models.values.people import Instrument, Person
from models.values.proof import BookProof
from models.values.story import AssetStory, AssetVersion, JobLine, Signoff, Site

MADE_AT = datetime(2026, 11, 25, 12, tzinfo=UTC)
SITE = Site(1, "quay", "Test Quay (invented)", "Europe/Lisbon", Display())
LONG = "Kühlwasserumwälzpumpenantriebsmotorwellenausrichtungsüberwachung"
LONG_TAG = "KW-P-102B-GEBLÄSESTATION-0815-SÜDFLÜGEL"
NASTY = '#panic() ] *x* _y_ $z$ `r` = h // c /* d \\ " <f> @r #read("main.typ") \n- next line'
"""What would be markup, if a text were ever read as markup."""

LIMITS = LimitSet(
    "ours", "made up for the tests", "the tests", date(2020, 1, 1),
    (LimitRow(Judged.OFFSET, value=0.12), LimitRow(Judged.ANGULARITY, value=1.0), LimitRow(Judged.SOFT_FOOT, value=0.05)),
)  # fmt: skip
ROOT = bytes(range(32))
PROOF = BookProof(
    "driftbook/test", 4700, MADE_AT, write_note(Checkpoint("driftbook/test", 4700, ROOT), None, None), None, 3, 1
)
IDENTITY = Identity(SITE, 4711, MADE_AT, PROOF)
EARLY = datetime(2020, 1, 2, tzinfo=UTC)
AROUND = Around(
    (Stated(4, EARLY, "desk", Person("Ana Wick", "millwright")), Stated(5, EARLY, "desk", Person("Bo Tarn"))),
    (
        Stated(6, EARLY, "desk", Instrument("D-1", "dial set", date(2019, 1, 1), date(2021, 1, 1))),
        Stated(7, EARLY, "desk", Instrument("D-1", "dial set", date(2024, 1, 1), date(2027, 1, 1))),
    ),
    (AdoptedLimits(2, datetime(2020, 1, 2, tzinfo=UTC), "desk", LIMITS),),
)  # fmt: skip


def asset(*, long: bool = False, rows: int = 2, spacer: bool = False) -> Asset:
    return Asset(
        tag=LONG_TAG if long else "P-7",
        description=f"{LONG} {LONG}" if long else "brine pump",
        area="Rückstandsverbrennungsanlage Süd" if long else "Hall 2",
        driver="motor", driven="pump", coupling=Coupling.SPACER if spacer else Coupling.SHORT, span_mm=1800.0 if spacer else None,
        speed_rpm=1485.0, power_kw=55.0, feet_movable_mm=tuple(300.0 * row for row in range(1, rows + 1)), feet_stationary_mm=(-210.0, -500.0),
    )  # fmt: skip


def job_line(number: int, *, long: bool = False, nasty: bool = False) -> JobLine:
    """Give one job; every number of it follows from its number, so that a test can say what must stand on paper."""
    found = Misalignment(0.001 * number, -0.01 * number, 0.06, 0.2)
    job = Job(
        ref=f"J{number:03d}", tag="P-7", performed_at=datetime(2012, 1, 2, 9, tzinfo=UTC) + timedelta(days=83 * number), zone="Europe/Lisbon",
        reason=Reason.PLANNED, people=("Ana Wick", "Maximiliane Wolkenstein-Rodenegg-Trostburg") if long else ("Ana Wick",), instrument="D-1",
        method=Method.REVERSE_INDICATOR, work_order=f"W{number}", found=found, left=Misalignment(0.01, 0.02, -0.03, 0.04),
        soft_before=FeetValues((0.01, 0.02, 0.09, 0.0)), moves_v=FeetValues((0.1, 0.1, -0.25, -0.25)), hours_run=100.0 * number,
        temp_ambient_c=21.0, checks=("guards back",), notes=NASTY if nasty else "", reviewer="Bo Tarn",
        typed={
            "found_offset_v": f"{number / 25.4:.3f} mil", "found_angle_v": f"{-0.01 * number:.2f} mm/m", "left_offset_v": "0,01 mm",
            "found dial.1.top": "0 mm", "found dial.1.bottom": "7.5 mil", "soft_before_1L": "0.4 mil", "stated reason: soft foot": "plates were worn",
        },
    )  # fmt: skip
    limits = LimitsGiven(0.12, 1.0, None, 0.05)
    ratio = max(abs(0.001 * number), 0.06) / 0.12
    return JobLine(
        100 + number, 100 + number, datetime(2026, 1, 5, 8, tzinfo=UTC), "desk", job, limits, "ours, version 1", ratio, 0.33, source="jobs.csv, row 7"
    )  # fmt: skip


def story(
    jobs: int, *, long: bool = False, nasty: bool = False, rows: int = 2, spacer: bool = False, amended: bool = False
) -> AssetStory:
    lines = [job_line(number, long=long, nasty=nasty) for number in range(1, jobs + 1)]
    signed: tuple[Signoff, ...] = ()
    if amended:
        old = lines[2]
        new = replace(
            old, entry=900, supersedes=old.entry, why_amended="typed with the wrong sign", author="Bo Tarn",
            job=replace(old.job, found=Misalignment(-0.5, 0.25, 0.06, 0.2)), found_ratio=4.2,
        )  # fmt: skip
        lines[2] = replace(old, superseded_by=900)
        lines.append(new)
        signed = (Signoff(901, 900, "Kaya Quay", MADE_AT, Meaning.APPROVED, "as discussed"),)
    described = asset(long=long, rows=rows, spacer=spacer)
    version = AssetVersion(3, datetime(2020, 1, 2, tzinfo=UTC), "desk", described)
    breaks = (MachineBreak(described.tag, date(2016, 5, 4), Part.COUPLING, "hub cracked"),) if jobs > 5 else ()
    return AssetStory(SITE, 1, described, (version,), breaks, tuple(lines), signed)


def history_paper(
    told: AssetStory,
    *,
    size: str = "a4",
    display: Display | None = None,
    identity: Identity = IDENTITY,
    around: Around = AROUND,
) -> Paper:
    return asset_paper(told, asset_view.build(told, display or Display()), around, identity, size=size)


def sheet_of(
    told: AssetStory, way: Way, *, size: str = "a4", address: str = "http://plant:8750/record?asset=P-7", fillable: bool = False,
    display: Display | None = None,
) -> Paper:  # fmt: skip
    visit = Visit(date(2026, 12, 1), way, address, fillable)
    return sheet_paper(told, basis_on(told, visit.on, LIMITS), visit, display or Display(), IDENTITY, size=size)
