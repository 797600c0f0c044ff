"""Whatever a database is set to: what is written into the book, read from it and compared is the same."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa

from models.commands.backup import back_up
from models.commands.record_job import record_job
from models.errors import BookReadOnlyError
from models.settings import Settings
from models.store.copying import one_state
from models.store.engine import make_engine
from models.store.verify import verify_book
from models.values.job import Misalignment
from tests.conftest import NOW, make_site
from tests.recorder import job_of, machines
from tests.seeded import bring_in, contents

pytestmark = pytest.mark.parametrize("settings", ["postgresql"], indirect=True)

ODD = {
    "extra_float_digits": "0", "client_encoding": "LATIN1", "standard_conforming_strings": "off", "quote_all_identifiers": "on",
    "default_transaction_isolation": "serializable", "bytea_output": "escape", "DateStyle": "German", "IntervalStyle": "sql_standard",
    "timezone": "Asia/Kathmandu", "transform_null_equals": "on", "array_nulls": "off",
}  # fmt: skip
"""What a database that is older than the book may be set to."""


def alter(settings: Settings, odd: dict[str, str]) -> None:
    engine = sa.create_engine(settings.url, isolation_level="AUTOCOMMIT", poolclass=sa.NullPool)
    with engine.connect() as connection:
        for name, value in odd.items():
            connection.exec_driver_sql(f"ALTER DATABASE {engine.url.database} SET {name} = '{value}'")
    engine.dispose()


def test_a_book_is_the_same_whatever_its_database_is_set_to(settings: Settings, tmp_path: Path) -> None:
    alter(settings, ODD)
    site = make_site(settings)
    engine = make_engine(settings)
    sheet = tmp_path / "assets.csv"  # by COPY: from fifty rows on
    sheet.write_text(machines(52).replace("M-1,made for a test", "M-1,N").replace("M-2,made", "M-2,Łódź \\N made"))
    assert bring_in(engine, site, sheet).written
    job = replace(job_of(0, 0), found=Misalignment(0.1 + 0.2, 1 / 3, 2 / 7, 1e-17))
    line = record_job(engine, site, job, by="Łucja", now=NOW + timedelta(hours=1), bolts_tight=True)
    with engine.connect() as connection:
        found = verify_book(connection)
        assert not found.tally.kept
        kept = connection.exec_driver_sql(
            f"SELECT found_offset_v, found_angle_v, found_offset_h, found_angle_h FROM job WHERE entry = {line.entry}"
        ).one()
        descriptions = {*connection.exec_driver_sql("SELECT description FROM asset_version").scalars()}
    assert tuple(kept) == (0.1 + 0.2, 1 / 3, 2 / 7, 1e-17)
    assert descriptions == {"made for a test", "N", "Łódź \\N made for a test"}
    with one_state(engine) as connection:
        assert (
            connection.exec_driver_sql("SELECT current_setting('transaction_isolation')").scalar() == "repeatable read"
        )
    with engine.connect() as connection:  # the same line of the pool
        assert (
            connection.exec_driver_sql("SELECT current_setting('transaction_isolation')").scalar() == "read committed"
        )
        assert connection.exec_driver_sql("SELECT current_setting('extra_float_digits')").scalar() == "3"
    made = back_up(settings, engine, tmp_path / "copy.db")
    copy = make_engine(Settings(book=str(made.path)))
    assert contents(copy) == contents(engine)
    copy.dispose()
    engine.dispose()


def test_what_the_address_sets_holds_beside_it_also_on_a_replica(settings: Settings) -> None:
    address = replace(settings, book=f"{settings.book}{'&' if '?' in settings.book else '?'}options=-cwork_mem%3D12345")
    for replica in (False, True):
        engine = make_engine(address, replica=replica)
        with engine.connect() as connection:
            assert connection.exec_driver_sql("SELECT current_setting('work_mem')").scalar() == "12345kB"
            if replica:
                with pytest.raises(BookReadOnlyError):
                    connection.exec_driver_sql("CREATE TABLE nothing ()")
        engine.dispose()
