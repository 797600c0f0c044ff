"""How a site is set: a new name is told with who and why, everything that goes by the site goes on, and no two are taken for one."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa

from dashboard.app import create_app
from dashboard.cli import main
from dashboard.views.entry_view import build
from models.commands.set_site import set_site
from models.commands.zones import near_zones
from models.errors import BookExistsError, InvalidValueError, UnknownNameError
from models.settings import Settings
from models.store.engine import make_engine
from models.store.known import site_of, sites
from models.store.reader import Reader
from models.store.verify import verify_book
from models.units import Display
from models.values.entry import EntryFilter
from models.values.kinds import Kind
from models.values.story import Site
from tests.conftest import NOW, make_site
from tests.seeded import ASSETS

LATER = NOW + timedelta(hours=1)


def test_a_new_name_is_an_entry_and_the_code_and_every_earlier_name_find_the_site(
    engine: sa.Engine, site: Site
) -> None:
    named = set_site(engine, site, name="  South   Quay ", by="Ana Wick", now=LATER, why="it was the wrong bank")
    again = set_site(engine, named, name="West Quay", by="Ana Wick", now=LATER)
    with engine.connect() as connection:
        assert sites(connection) == (again,)
        assert (again.code, again.name, again.former) == (site.code, "West Quay", ("Test Quay", "South Quay"))
        for asked in (None, site.code, "west quay", "South Quay", "TEST QUAY"):
            assert site_of(connection, asked) == again
        with pytest.raises(UnknownNameError):
            site_of(connection, "North Quay")
        assert verify_book(connection).faults() == 0
    reader = Reader(engine)
    lines = reader.entries(site.site_id, EntryFilter(), before=None, most=9).lines
    told = [(line.name, line.author, line.why) for line in lines if str(line.kind) == "site set"]
    assert told == [
        ("West Quay", "Ana Wick", ""),
        ("South Quay", "Ana Wick", "it was the wrong bank"),
        ("Test Quay", "tester", ""),
    ]
    # Back under its first name it is the same site, and nothing is written where nothing changes.
    back = set_site(engine, again, name="Test Quay", by="Ana Wick", now=LATER)
    assert (back.name, back.former) == ("Test Quay", ("South Quay", "West Quay"))
    head = reader.head()
    assert set_site(engine, back, name="Test Quay ", by="Ana Wick", now=LATER) == back
    assert reader.head() == head


def test_what_somebody_else_has_just_changed_stays(sqlite_book: Settings) -> None:
    site = make_site(sqlite_book)
    engine = make_engine(sqlite_book)
    set_site(engine, site, display=Display("mil"), by="Bo Tarn", now=LATER)
    set_site(engine, site, name="South Quay", by="Ana Wick", now=LATER)  # asked before the units were changed
    (held,) = Reader(engine).sites()
    engine.dispose()
    assert (held.name, held.display) == ("South Quay", Display("mil"))


@pytest.mark.parametrize("name", ["Other Works", "other-works", "OTHER  works!", "Third Works"])
def test_no_two_sites_can_be_meant_by_one_name(sqlite_book: Settings, name: str) -> None:
    site, other = make_site(sqlite_book), make_site(sqlite_book, name="Other Works")
    engine = make_engine(sqlite_book)
    set_site(engine, other, name="Third Works", by="tester", now=LATER)
    head = Reader(engine).head()
    with pytest.raises(BookExistsError, match="which the name"):
        set_site(engine, site, name=name, by="tester", now=LATER)
    with pytest.raises(BookExistsError, match=r"'Third Works' \(other-works\)"):
        make_site(sqlite_book, name=name)
    assert Reader(engine).head() == head
    engine.dispose()


@pytest.mark.parametrize(("name", "told"), [("", "needs a name"), ("--", "needs a name"), ("x" * 121, "at most 120")])
def test_what_is_no_name_is_refused(sqlite_book: Settings, name: str, told: str) -> None:
    site = make_site(sqlite_book)
    engine = make_engine(sqlite_book)
    with pytest.raises(InvalidValueError, match=told):
        set_site(engine, site, name=name, by="tester", now=LATER)
    engine.dispose()


def test_pages_papers_and_kept_mappings_go_on_under_the_new_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "400")
    assert main(["init", "--site", "Ash Works", "--zone", "Europe/Lisbon", "--units", "mil", "--by", "A"]) == 0
    Path("assets.csv").write_text(ASSETS, encoding="utf-8")
    rows = "Job no,Machine,Date,Why,Found V offset,Found V angle,Found horiz offset,Found horiz angle\n{}\n"
    Path("a.csv").write_text(rows.format("A1,P-1,2019-01-01,planned,4,0.2,2,0.1"), encoding="utf-8")
    Path("b.csv").write_text(rows.format("B1,P-1,2020-01-01,planned,4,0.2,2,0.1"), encoding="utf-8")
    assert main(["import", "assets.csv", "--by", "A"]) == 0
    assert main(["import", "a.csv", "--confirm", "--by", "A"]) == 0  # in mil, which no heading says: it is the site's
    engine = make_engine(Settings())
    client = create_app(Settings(), Reader(engine), clock=lambda: NOW).server.test_client()
    address = "/table/machines.csv?site=ash-works"
    assert client.get(address).status_code == 200
    capsys.readouterr()
    assert main(["site", "--rename", "Birch Works", "--why", "sold", "--by", "A"]) == 0
    said = capsys.readouterr().out
    assert "'Ash Works' is called 'Birch Works' from now on" in said
    assert "Birch Works (ash-works)" in said
    # The same mapping reads the next file, without asking.
    assert main(["import", "b.csv", "--site", "Ash Works", "--by", "A"]) == 0
    capsys.readouterr()
    assert client.get(address).status_code == 200
    (told,) = client.get("/api/v1/sites").get_json()["items"]
    assert (told["code"], told["name"]) == ("ash-works", "Birch Works")
    (now,) = Reader(engine).sites()
    last = Reader(engine).entries(now.site_id, EntryFilter(kind=Kind.SITE_SET), before=None, most=1).lines[0]
    story = Reader(engine).entry(now.site_id, last.number)
    assert story is not None
    changed = [(one.old, one.new) for one in build(story, now, now.display).changes if one.differs]
    assert changed == [("Ash Works", "Birch Works")]
    engine.dispose()
    assert main(["site", "--rename", "Birch Works", "--by", "A"]) == 0
    assert "Nothing was changed" in capsys.readouterr().out
    assert main(["site", "--why", "for nothing"]) == 2
    assert "A reason alone" in capsys.readouterr().err


# -- zones ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "first"),
    [
        ("Europe/Berln", "Europe/Berlin"), ("berlin", "Europe/Berlin"), ("europe/lisbon", "Europe/Lisbon"),
        ("new york", "America/New_York"), ("Lisboa", "Europe/Lisbon"),
    ],
)  # fmt: skip
def test_near_zones_are_offered(typed: str, first: str) -> None:
    near = near_zones(typed)
    assert near[0] == first
    assert len(near) <= 3


def test_what_is_near_to_nothing_is_offered_nothing(sqlite_book: Settings) -> None:
    assert near_zones("xyzzy") == near_zones("") == ()
    site = make_site(sqlite_book)
    engine = make_engine(sqlite_book)
    for zone, told in (
        ("Europe/Berln", "Near to it: Europe/Berlin, Europe/Dublin or Europe/Belfast."),
        ("CET+1", "named by a place, not by hours"),
        ("UTC +01:00", "named by a place, not by hours"),
        ("xyzzy", "Give its IANA name, such as"),
    ):
        with pytest.raises(InvalidValueError, match="is not a time zone") as caught:
            set_site(engine, site, zone=zone, by="tester", now=LATER)
        assert told in str(caught.value.remedy)
    engine.dispose()
