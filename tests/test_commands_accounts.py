"""Accounts at several sites: changed at all or at none, and no two open ones of one name at a site."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import pytest
import sqlalchemy as sa

from models.commands.accounts import add_account, change_account, change_account_at
from models.errors import ConflictError, DriftbookError
from models.settings import Settings
from models.store.accounts import account_of, names_of
from models.store.engine import make_engine
from models.store.verify import verify_book
from models.values.roles import Account, AtSite, Role
from models.values.story import Site
from tests.conftest import NOW, make_site
from tests.seeded import contents

pytest_plugins = ["tests.plugin_auth"]

PASSWORD = "kite lamp stone river"  # noqa: S105 - of invented people


@dataclass
class Plants:
    """A book with two sites, and what is often done to its accounts."""

    engine: sa.Engine
    quay: Site
    mill: Site

    def add(self, login: str, person: str, *roles: Role, sites: tuple[Site, ...] = ()) -> Account:
        return add_account(
            self.engine, sites or (self.quay, self.mill), login, person=person, roles=roles or (Role.ENGINEER,),
            by="tester", now=NOW, password=PASSWORD,
        )  # fmt: skip

    def change(self, login: str, site: Site, **new: object) -> Account:
        at = self.held(login).sites[site.site_id]
        return change_account(self.engine, site, login, replace(at, **new), by="tester", now=NOW)  # type: ignore[arg-type]

    def held(self, login: str) -> Account:
        with self.engine.connect() as connection:
            found = account_of(connection, login)
        assert found is not None
        return found

    def names(self, name: str, site: Site | None = None) -> tuple[str, ...]:
        with self.engine.connect() as connection:
            return names_of(connection, (site or self.quay).site_id, name)


@pytest.fixture
def plants(settings: Settings) -> Iterator[Plants]:
    quay, mill = make_site(settings), make_site(settings, name="Mill")
    engine = make_engine(settings)
    yield Plants(engine, quay, mill)
    engine.dispose()


def test_an_account_is_changed_at_every_site_or_at_none(plants: Plants) -> None:
    root = plants.add("root", "Rut Oma", Role.ADMINISTRATOR)
    plants.add("other", "Oth Er", Role.ADMINISTRATOR, sites=(plants.quay,))
    before = contents(plants.engine)
    closed = [(site, replace(root.sites[site.site_id], active=False)) for site in (plants.quay, plants.mill)]
    with pytest.raises(ConflictError, match="last administrator of Mill") as refused:
        change_account_at(plants.engine, closed, "root", by="tester", now=NOW)
    assert "Nothing was changed" in refused.value.remedy
    assert contents(plants.engine) == before
    plants.add("third", "Thi Rd", Role.ADMINISTRATOR, sites=(plants.mill,))
    change_account_at(plants.engine, closed, "root", by="tester", now=NOW)
    assert not plants.held("root").active
    with plants.engine.connect() as connection:
        found = verify_book(connection)
    assert found.faults() == 0
    assert found.entries == found.intact


def test_every_site_that_would_be_without_an_administrator_is_named(plants: Plants) -> None:
    root = plants.add("root", "Rut Oma", Role.ADMINISTRATOR)
    changes = [(site, replace(root.sites[site.site_id], roles=())) for site in (plants.quay, plants.mill)]
    with pytest.raises(ConflictError, match="last administrator of Test Quay, Mill"):
        change_account_at(plants.engine, changes, "root", by="tester", now=NOW)


def test_what_stays_as_it_is_at_a_site_is_not_said_again_there(plants: Plants) -> None:
    held = plants.add("ana", "Ana Wick")
    at = held.sites[plants.quay.site_id]
    changes = [(plants.quay, at), (plants.mill, AtSite(plants.mill.site_id, " Ana  Ryn", roles=at.roles))]
    new = change_account_at(plants.engine, changes, "ana", by="tester", now=NOW)
    assert (new.person(plants.quay.site_id), new.person(plants.mill.site_id)) == ("Ana Wick", "Ana Ryn")
    with plants.engine.connect() as connection:
        rows = connection.execute(sa.text("SELECT site_id FROM account_version ORDER BY entry")).scalars().all()
    assert rows == [plants.quay.site_id, plants.mill.site_id, plants.mill.site_id]
    with pytest.raises(ConflictError, match="Nothing was changed"):
        change_account_at(plants.engine, [(plants.quay, replace(at, person="Ana  Wick "))], "ana", by="tester", now=NOW)


@pytest.mark.parametrize(
    "again", ["Mag Man", "mag man", "  MAG   Man ", "Mag\u00a0Man", "Mag\u200b Man", "Man, Mag", "M\u0430g Man"]
)
def test_a_second_open_account_of_a_name_is_refused_at_a_site(plants: Plants, again: str) -> None:
    plants.add("mag", "Mag Man", sites=(plants.mill,))
    plants.add("eve", "Eve Lind", sites=(plants.mill,))
    before = contents(plants.engine)
    with pytest.raises(ConflictError, match="'mag' writes under the name Mag Man at Mill") as refused:
        plants.add("mag2", again)  # at both sites: the second one refuses
    assert "tells them apart" in refused.value.remedy
    with pytest.raises(ConflictError, match="writes under the name Mag Man"):
        plants.change("eve", plants.mill, person=again)
    assert contents(plants.engine) == before
    plants.add("mag3", again, sites=(plants.quay,))  # nobody of that name writes there


def test_a_login_that_looks_like_another_is_refused(plants: Plants) -> None:
    plants.add("mag", "Mag Man")
    before = contents(plants.engine)
    for login in ("m\u200bag", "m\u202eag", "m\u0430g", "MAG", "ma\u0261"):
        with pytest.raises(DriftbookError, match=r"looks like 'mag'|cannot be a login|account 'mag'"):
            plants.add(login, "Eve Lind")
    assert contents(plants.engine) == before
    assert plants.add("eve", "Eve\u00ad \u202eLind").person(plants.quay.site_id) == "Eve Lind"


def test_the_name_of_a_closed_account_can_be_taken_and_then_it_is_not_opened_again_under_it(plants: Plants) -> None:
    plants.add("mag", "Mag Man")
    plants.change("mag", plants.quay, active=False)
    plants.add("new", "Mag Man", sites=(plants.quay,))
    with pytest.raises(ConflictError, match="'new' writes under the name"):
        plants.change("mag", plants.quay, active=True)
    assert plants.change("mag", plants.quay, active=True, person="Mag Man (turbines)").active


def test_accounts_that_share_a_name_already_can_be_changed(plants: Plants, monkeypatch: pytest.MonkeyPatch) -> None:
    plants.add("mag", "Mag Man")
    with monkeypatch.context() as older:  # as a version before this rule took them
        older.setattr("models.commands.accounts._check_name", lambda *_given: None)
        plants.add("eng3", "mag man")
    assert plants.change("eng3", plants.quay, roles=(Role.READER,)).sites[plants.quay.site_id].roles == (Role.READER,)
    assert plants.change("eng3", plants.quay, person="Mag Man").person(plants.quay.site_id) == "Mag Man"
    assert not plants.change("eng3", plants.mill, active=False).sites[plants.mill.site_id].active
    with pytest.raises(ConflictError, match="writes under the name"):
        plants.change("eng3", plants.mill, active=True)


def test_somebody_is_known_by_every_name_that_they_had_at_a_site(plants: Plants) -> None:
    plants.add("mag", "Mag Man")
    plants.add("bo", "Bo Tarn")
    plants.change("mag", plants.quay, person="Mag Wick")
    plants.change("mag", plants.mill, person="M. Wick")
    assert plants.names("mag  wick") == ("Mag Man", "Mag Wick")
    assert plants.names("Mag Man") == ("Mag Man", "Mag Wick")  # nobody else has it today
    assert plants.names("Mag Wick", plants.mill) == ()
    assert plants.names("Bo Tarn") == ("Bo Tarn",)
    plants.change("bo", plants.quay, person="Mag Man")
    assert plants.names("Mag Man") == ("Bo Tarn", "Mag Man")  # now it is somebody's
