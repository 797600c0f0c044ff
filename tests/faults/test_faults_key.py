"""The key file is lost, unreadable or another one: nobody is kept from recording, and the operator is told."""

from __future__ import annotations

import json
import logging
import os
import signal
from pathlib import Path

import pytest
import sqlalchemy as sa

from models.commands.record_job import record_job
from models.ledger.keys import make_key
from models.settings import Settings
from models.store.engine import make_engine
from models.store.proofs import read_heads
from models.store.signing import held_key, signs
from models.values.story import Site
from tests.conftest import NOW, make_site
from tests.faults.test_faults_server import asked, served
from tests.recorder import job_of, machines
from tests.seeded import bring_in

LOST = "New heads of the book are kept without a signature. Put the right file back, or set another key: driftbook key --set"
BACK = "The key of the book is back: new heads are signed again."


def warned(caplog: pytest.LogCaptureFixture) -> list[str]:
    told = [
        one.getMessage() for one in caplog.records if one.name == "driftbook.book" and one.levelno == logging.WARNING
    ]
    caplog.clear()
    return told


def signed_heads(engine: sa.Engine) -> list[bool]:
    with engine.connect() as connection:
        return [head.signature is not None for head in reversed(read_heads(connection))]


def test_a_loss_is_told_once_and_so_is_the_return(
    settings: Settings, engine: sa.Engine, site: Site, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    sheet = tmp_path / "assets.csv"
    sheet.write_text(machines(6))
    assert bring_in(engine, site, sheet).written
    assert (warned(caplog), signs(engine)) == ([], True)
    aside = settings.key_path.rename(tmp_path / "aside")
    for number in (0, 1):
        record_job(engine, site, job_of(number, 0), by="tester", now=NOW, bolts_tight=True)
    (told,) = warned(caplog)
    assert told.startswith(f"The key file {settings.key_path.absolute()} is not there. {LOST}")
    make_key(settings.key_path)
    for number in (2, 3):
        record_job(engine, site, job_of(number, 0), by="tester", now=NOW, bolts_tight=True)
    (told,) = warned(caplog)
    assert f"The key file {settings.key_path.absolute()} is not the key that entry 3 names. {LOST}" in told
    settings.key_path.write_text("no key at all")
    assert signs(engine) is False
    (told,) = warned(caplog)
    assert "is no key of a book" in told
    aside.replace(settings.key_path)
    for number in (4, 5):
        record_job(engine, site, job_of(number, 0), by="tester", now=NOW, bolts_tight=True)
    back, over = warned(caplog)
    assert (back, signs(engine)) == (BACK, True)
    assert "signed again, over entries" in over, "told once too, with the entries that nobody vouched for meanwhile"
    assert signed_heads(engine) == [True, True, False, False, False, False, True, True]


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root can become somebody else")
def test_a_key_file_that_may_not_be_read_is_not_called_missing(sqlite_book: Settings) -> None:
    make_site(sqlite_book)
    engine = make_engine(sqlite_book)
    with engine.connect() as connection:
        here = held_key(connection)
        os.seteuid(65_534)
        try:
            there = held_key(connection)
        finally:
            os.seteuid(0)
    engine.dispose()
    assert here is not None
    assert there is not None
    assert (here.signer is None, there.signer is None) == (False, True)
    assert there.fault == f"The key file {sqlite_book.key_path} may not be read by this user."


def test_a_book_that_names_no_key_is_not_warned_about(sqlite_book: Settings, caplog: pytest.LogCaptureFixture) -> None:
    engine = make_engine(sqlite_book)
    assert signs(engine) is None
    assert warned(caplog) == []
    engine.dispose()


def test_a_server_tells_of_a_lost_key_at_its_start_in_its_log_and_to_a_monitor(
    sqlite_book: Settings, tmp_path: Path
) -> None:
    make_site(sqlite_book)
    aside = sqlite_book.key_path.rename(tmp_path / "aside")
    serving = ("-m", "dashboard.cli", "serve", "--book", sqlite_book.book, "--port", "0", "--log", "json")
    with served(*serving) as (process, address):
        assert "driftbook_book_signs 0" in asked(f"{address}/metrics")[1]
        status, told = asked(f"{address}/readyz")
        assert (status, json.loads(told)["ready"]) == (200, True), "it goes on recording"
        aside.replace(sqlite_book.key_path)
        assert "driftbook_book_signs 1" in asked(f"{address}/metrics")[1]
        process.send_signal(signal.SIGTERM)
        _, errors = process.communicate(timeout=30)
    told = [line["message"] for line in map(json.loads, errors.splitlines()) if line["logger"] == "driftbook.book"]
    assert len(told) == 2
    assert told[0].startswith(f"The key file {sqlite_book.key_path} is not there. {LOST}")
    assert told[1] == BACK
