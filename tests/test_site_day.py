"""A machine goes out of service on a day of its own site's calendar."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import pytest

from models.commands.init_book import init_book
from models.settings import Settings
from models.store.engine import make_engine
from models.store.reader import Reader
from models.units import Display
from models.values.site_day import day_at, day_number_at
from tests.conftest import NOW, starter_limits
from tests.seeded import bring_in, write

EAST: Final = "Pacific/Kiritimati"
"""UTC+14; with UTC-12 it shares no day at any moment (IANA time zone database)."""

WEST: Final = "Etc/GMT+12"


@pytest.fixture
def settings(sqlite_book: Settings) -> Settings:
    """The day is told by the site, whatever keeps its book."""
    return sqlite_book


def test_out_of_service_goes_by_the_day_of_the_site(settings: Settings, tmp_path: Path) -> None:
    assert day_number_at(EAST) - day_number_at(WEST) in {1, 2}
    gone = day_at(EAST).isoformat()  # today there, tomorrow at the earliest here
    sites = [
        init_book(
            settings, name=name, zone=zone, display=Display("mm"), limit_set=starter_limits("tester"), by="tester", now=NOW
        )
        for name, zone in (("East", EAST), ("West", WEST))
    ]  # fmt: skip
    engine = make_engine(settings)
    (register,) = write(tmp_path, register=f"tag,description,retired\nP-1,pump,{gone}\n")
    for site in sites:
        assert bring_in(engine, site, register).written
    reader = Reader(engine)
    assert [reader.history(site.site_id).assets.retired.tolist() for site in sites] == [[True], [False]]
    engine.dispose()
