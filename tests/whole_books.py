"""A slice of the invented plant as a whole book with every kind of row, and what two books are compared by."""

from __future__ import annotations

import atexit
import csv
import os
import shutil
import tempfile
from datetime import timedelta
from functools import cache
from pathlib import Path

import sqlalchemy as sa

from dashboard.console.book import starter_limits
from models.commands.init_book import init_book
from models.commands.record_job import record_job
from models.commands.set_site import set_site
from models.maths.plausible import Doubt
from models.settings import Settings
from models.store.copying import MOVED, Values, rows_of
from models.store.engine import make_engine
from models.tables.every import MAPPED
from models.units import Display
from models.values.decision import Covariances, DecisionRule, Rule, independent
from models.values.job import Job, Misalignment
from models.values.kinds import Reason
from models.values.story import Site
from seed_data.generate import generate, write
from tests.conftest import NOW, database_url
from tests.seeded import bring_in, vouch

MACHINES = 24


@cache
def slice_of_the_demo() -> Settings:
    """Give the book, made once for all tests that only read it."""
    folder = Path(tempfile.mkdtemp(prefix="driftbook-slice-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return _made(folder)


def _made(folder: Path) -> Settings:
    """Import the first machines of the invented plant, sign a job off, give an account, a password, a token, an address."""
    plant = generate()
    paths = write(folder, plant)
    kept: set[str] = set()
    for path in paths:
        with path.open(encoding="utf-8-sig", newline="") as stream:
            heading, *rows = csv.reader(stream)
        if path.stem == "assets":
            kept = {row[heading.index("tag")] for row in rows[:MACHINES]}
        if "tag" in heading:
            rows = [row for row in rows if row[heading.index("tag")] in kept]
        with path.open("w", encoding="utf-8", newline="") as stream:
            csv.writer(stream).writerows([heading, *rows])
    settings = Settings(book=str(folder / "plant.db"))
    site = init_book(
        settings, name=plant.name, zone=plant.zone, display=Display(), limit_set=starter_limits("tester"), by="tester", now=NOW
    )  # fmt: skip
    engine = make_engine(settings)
    report = bring_in(engine, site, *paths)
    assert report.written, report.problems[:3]
    decide(engine, site)
    vouch(engine, site)
    put_state(engine, site)
    engine.dispose()
    return settings


def decide(engine: sa.Engine, site: Site) -> None:
    """Let the site choose a guarded rule, and record a job that is decided by it."""
    set_site(engine, site, by="tester", now=NOW, rule=DecisionRule(Rule.GUARDED))
    with engine.connect() as connection:
        tag = connection.exec_driver_sql("SELECT tag FROM asset ORDER BY id LIMIT 1").scalar_one()
    job = Job(
        "decided", tag, NOW - timedelta(hours=1), site.zone, Reason.PLANNED, found=Misalignment(0.4, 1.0), left=Misalignment(0.01),
    )  # fmt: skip
    known = Covariances(None, independent((0.004, 0.02, 0.004, 0.02)))
    stated = {str(doubt): "as it was" for doubt in Doubt}
    record_job(engine, site, job, by="tester", now=NOW, stated_reasons=stated, bolts_tight=True, covariances=known)


LEFT_BEHIND = "a-hash-that-must-never-be-exported"


def put_state(engine: sa.Engine, site: Site) -> None:
    """Write what is no history, straight: a password, a session, a token, an address, a sign-in, an answered request."""
    with engine.connect().execution_options(write=True) as connection, connection.begin():
        account = connection.exec_driver_sql("SELECT id FROM account").scalar_one()
        for text in (
            f"INSERT INTO credential VALUES ({account}, '{LEFT_BEHIND}-1', 5, FALSE)",
            f"INSERT INTO login_session VALUES ('{LEFT_BEHIND}-2', {account}, 1, 2, 3, '127.0.0.1')",
            f"INSERT INTO api_token VALUES (7, {account}, {site.site_id}, 'test', '{LEFT_BEHIND}-3', '[]', 1, NULL)",
            f"INSERT INTO calendar_address VALUES (9, {account}, {site.site_id}, 'Cleo Marsh', '{LEFT_BEHIND}-4', 1, NULL)",
            "INSERT INTO sign_in VALUES (3, 1, 'cleo', '127.0.0.1', 'in')",
        ):
            connection.exec_driver_sql(text)


def stored(engine: sa.Engine, *, state: bool = False) -> dict[str, list[Values]]:
    """Give every row of every table of the history as stored; of the state too where asked."""
    with engine.connect() as connection:
        return {mapped.__tablename__: list(rows_of(connection, mapped)) for mapped in (MOVED if state else MAPPED)}


def fresh_postgres(url: str, template: str | None, name: str) -> Settings:
    """Make an empty database: migrated where a template is named, bare where none is."""
    full = f"{name}_{os.getpid()}"
    admin = sa.create_engine(url, isolation_level="AUTOCOMMIT", poolclass=sa.NullPool)
    with admin.connect() as connection:
        connection.exec_driver_sql(f"DROP DATABASE IF EXISTS {full} WITH (FORCE)")
        connection.exec_driver_sql(f"CREATE DATABASE {full}" + (f" TEMPLATE {template}" if template else ""))
    return Settings(book=database_url(url, full))
