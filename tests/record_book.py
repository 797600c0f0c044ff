"""An invented little book for the tests of the Record page, written through the commands, and a reader of it.

P-2 has a spacer coupling and has always been found a little off; F-1 a short one and a target.
D-9 is an instrument whose calibration has run out.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

import dash
import sqlalchemy as sa

from dashboard.app import create_app
from dashboard.desk import BookDesk
from models.settings import Settings
from models.store.engine import make_engine
from models.store.reader import Reader
from models.values.story import AssetStory, Site
from tests.conftest import NOW, make_site
from tests.seeded import bring_in, write

ASSETS = """tag,description,coupling,spacer span [mm],running speed [rpm],movable foot row 1 [mm],movable foot row 2 [mm],stationary foot row 1 [mm],stationary foot row 2 [mm]
P-2,brine pump,spacer,180,2970,250,700,-260,-620
F-1,kiln fan,short flexible,,1485,200,600,-210,-500
"""
_HEAD = "job,tag,performed at,reason,people,instrument,found offset V [mm],found angle V [mm/m],found offset H [mm],found angle H [mm/m],left offset V [mm],left angle V [mm/m],left offset H [mm],left angle H [mm/m],target offset V [mm],target angle V [mm/m],hours run\n"
JOBS = (
    _HEAD
    + """J1,P-2,2023-05-04 09:00,installation,Ana Wick,D-1,,,,,0.010,0.10,-0.010,0.05,,,100
J2,P-2,2024-05-04 09:00,planned,Ana Wick,D-1,0.050,0.30,0.020,0.20,0.010,0.10,-0.010,0.05,,,4000
J3,P-2,2025-05-04 09:00,planned,Bo Tarn,D-1,0.060,0.28,0.015,0.22,0.012,0.12,-0.008,0.06,,,8000
J4,P-2,2025-11-04 09:00,planned,Bo Tarn,D-1,0.055,0.33,0.022,0.18,0.040,0.30,-0.030,0.25,,,12000
J5,F-1,2025-06-04 09:00,planned,Ana Wick,D-1,0.10,0.30,-0.04,0.20,-0.07,0.02,0.01,-0.05,-0.08,0.00,
"""
)
INSTRUMENTS = """serial,description,calibrated,calibration due
D-1,dial set,2024-01-01,2027-01-01
D-9,old dial set,2024-01-01,2026-01-01
"""
FILES = {"assets": ASSETS, "instruments": INSTRUMENTS, "jobs": JOBS}


class Opened:
    """A book that is open, with the reader of it as an application."""

    def __init__(self, settings: Settings, engine: sa.Engine, site: Site) -> None:
        self.site = site
        self.reader = Reader(engine)
        self.desk = BookDesk(engine)
        self.now = NOW
        self.app: dash.Dash = create_app(settings, self.reader, clock=self.clock, desk=self.desk)

    def clock(self) -> datetime:
        return self.now

    def story(self, tag: str = "P-2") -> AssetStory:
        found = self.reader.story(self.site.site_id, tag)
        assert found is not None
        return found


@contextmanager
def open_book(settings: Settings, folder: Path, *, units: str = "mm") -> Iterator[Opened]:
    """Fill a migrated book and open it."""
    site = make_site(settings, units=units)
    engine = make_engine(settings)
    report = bring_in(engine, site, *write(folder, **FILES))
    assert report.written, report.problems
    yield Opened(settings, engine, site)
    engine.dispose()
