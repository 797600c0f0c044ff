"""A small book with one row in every history table, written through the commands."""

from __future__ import annotations

from pathlib import Path

import sqlalchemy as sa

from models.commands.import_files import import_files
from models.commands.report import Report, SameVisit, Source
from models.commands.set_site import set_site
from models.commands.sign_off import sign_off
from models.intake.mapping import propose
from models.intake.problems import Problem, Severity
from models.intake.reading import read_sheets
from models.store.unit import writing
from models.tables.accounts import AccountRow, AccountVersionRow
from models.tables.jobs import JobRow
from models.values.decision import DecisionRule, Rule
from models.values.kinds import Kind, Meaning
from models.values.story import Site
from tests.conftest import NOW

ASSETS = """tag,description,coupling,spacer span [mm],running speed [rpm],movable foot row 1 [mm],movable foot row 2 [mm]
P-1,cooling water pump,short flexible,,1485,200,600
P-2,brine pump,spacer,180,2970,250,700
"""
JOBS = """job,tag,performed at,reason,people,instrument,found offset V [mm],found angle V [mm/m],found offset H [mm],found angle H [mm/m],left offset V [mm],left angle V [mm/m],left offset H [mm],left angle H [mm/m],soft foot before 1L [mm],soft foot before 1R [mm],soft foot before 2L [mm],soft foot before 2R [mm],notes
J1,P-1,2024-03-04 09:30,installation,Ana Wick,D-1,,,,,0.01,0.1,-0.02,0.05,,,,,first
J2,P-1,2025-03-04 09:30,planned,Ana Wick; Bo Tarn,D-1,0.12,0.3,-0.05,0.2,0.02,0.1,0.01,-0.05,0.02,0.01,0.09,0.01,
J3,P-2,2025-05-04,condition,Bo Tarn,D-1,0.05,0.8,0.0,0.1,0.01,0.1,0.0,0.0,,,,,
"""
BREAKS = """tag,date,replaced,reason
P-2,2025-01-10,coupling,worn
"""
INSTRUMENTS = """serial,description,calibrated,calibration due
D-1,dial set,2024-01-01,2027-01-01
"""
PEOPLE = """name,qualification
Ana Wick,millwright
"""
FILES = {"assets": ASSETS, "breaks": BREAKS, "instruments": INSTRUMENTS, "people": PEOPLE, "jobs": JOBS}


def write(folder: Path, **files: str) -> list[Path]:
    paths = []
    for name, text in files.items():
        path = folder / f"{name}.csv"
        path.write_text(text, encoding="utf-8")
        paths.append(path)
    return paths


def sources_of(site: Site, *paths: Path) -> list[Source]:
    found = []
    for path in paths:
        sheets = {sheet.name: sheet for sheet in read_sheets(path)}
        found += [Source(sheets[m.sheet], m) for m in propose(list(sheets.values()), site.display).sheets]
    return found


def bring_in(
    engine: sa.Engine, site: Site, *paths: Path, accept_good: bool = False, dry_run: bool = False, by: str = "tester",
    same_visit: SameVisit = SameVisit.TAKE,
) -> Report:  # fmt: skip
    return import_files(
        engine, site, sources_of(site, *paths), by=by, now=NOW, accept_good=accept_good, dry_run=dry_run,
        same_visit=same_visit,
    )  # fmt: skip


def loud(report: Report) -> list[Problem]:
    """Give what is told of an import but for notes: how good rows are taken is no fault of theirs."""
    return [problem for problem in report.problems if problem.severity is not Severity.NOTE]


def seed(engine: sa.Engine, site: Site, folder: Path) -> Report:
    report = bring_in(engine, site, *write(folder, **FILES))
    assert report.written, report.problems
    return report


def seed_every_table(engine: sa.Engine, site: Site, folder: Path) -> None:
    """Put a row into every history table."""
    set_site(engine, site, by="Ana Wick", now=NOW, rule=DecisionRule(Rule.GUARDED), why="the customer asks for it")
    seed_old_tables(engine, site, folder)


def seed_old_tables(engine: sa.Engine, site: Site, folder: Path) -> None:
    """Put a row into every history table that was there before decision rules: for a book that goes back behind them."""
    seed(engine, site, folder)
    vouch(engine, site)


def vouch(engine: sa.Engine, site: Site) -> None:
    """Sign a job off, and give somebody an account."""
    with engine.connect() as connection:
        entry = connection.execute(sa.select(sa.func.min(JobRow.entry)).where(JobRow.site_id == site.site_id)).scalar()
    assert entry is not None
    sign_off(engine, site, entry, meaning=Meaning.REVIEWED, by="Cleo Marsh", now=NOW)
    with writing(engine, site.site_id, "tester", NOW) as unit:
        account = unit.append(Kind.ACCOUNT_ADDED)
        unit.add(AccountRow, (account, site.site_id, "cleo"))
        unit.add(AccountVersionRow, (account, site.site_id, account, "Cleo Marsh", "", '["auditor"]', True, None))


NEWER = frozenset({"decision_rule", "decision"})
"""Tables that the last revision brought."""


def contents(engine: sa.Engine, *, without: frozenset[str] = frozenset()) -> dict[str, list[tuple[object, ...]]]:
    """Give every row of every table, for comparison."""
    from models.tables.every import MAPPED

    with engine.connect() as connection:
        return {
            row.__tablename__: sorted((tuple(r) for r in connection.execute(sa.select(row.__table__))), key=repr)  # type: ignore[arg-type]
            for row in MAPPED
            if row.__tablename__ not in without
        }
