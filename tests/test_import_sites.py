"""A file goes into the book of the site that it was sent for, whatever becomes of the sender's roles meanwhile."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest

from models.commands.accounts import add_account, change_account
from models.settings import Settings
from models.store.reader import Reader
from models.values.roles import Account, AtSite, Role
from models.values.story import Site
from tests.auth_book import AuthBook, mark_of, open_book
from tests.conftest import NOW, make_site
from tests.import_page import BAD, do, secret_of, send_form, shown, was_of

MACHINE = "tag,description,coupling,running speed [rpm]\nX-7,brine pump,short flexible,1485\n"
UNKNOWN = "There is no site ‘far-bank’ here that you may read; if there was, your roles have changed since."
MANY = "&".join(f"tag=X-{n}" for n in range(300))
"""More choices than are read of a page's address, and a longer query."""

OUTSIDE = "https://door.example om"


@dataclass
class Two:
    """A book of two sites, and somebody who is an engineer of the second one only."""

    book: AuthBook
    far: Site
    account: Account
    kept: Path

    @property
    def near(self) -> Site:
        return self.book.site

    def give(self, site: Site, *roles: Role) -> None:
        """Change their roles at a site, as an administrator does while a page of theirs is open."""
        at = AtSite(site.site_id, "Om Fen", "", roles, active=True, outside=OUTSIDE)
        change_account(self.book.engine, site, "om", at, by="tester", now=NOW)

    def browser(self) -> Any:
        return self.book.browser(self.book.access.open(self.account, "127.0.0.1", "in"))

    def machines(self) -> tuple[bool, bool]:
        """Tell whether the machine of the file stands at the first site, and at the second."""
        reader = Reader(self.book.engine)
        near, far = (reader.story(site.site_id, "X-7") is not None for site in (self.near, self.far))
        return near, far

    def files(self) -> int:
        """Count the files that are kept."""
        return len(list((self.kept / "sent").glob("*/about.json")))


@pytest.fixture
def two(sqlite_book: Settings, tmp_path: Path) -> Iterator[Two]:
    settings = replace(sqlite_book, mappings=tmp_path / "mappings")
    made = open_book(settings, tmp_path)
    far = make_site(settings, units="mil", name="Far Bank")
    account = add_account(
        made.engine, [far], "om", person="Om Fen", roles=[Role.ENGINEER], by="tester", now=NOW, password=None, outside=OUTSIDE
    )  # fmt: skip
    yield Two(made, far, account, tmp_path / "mappings")
    made.engine.dispose()


def form_page(client: Any, where: str = "/import") -> str:
    answer = client.get(where)
    assert answer.status_code == 200, shown(answer)
    return str(answer.get_data(as_text=True))


def post(client: Any, page: str, content: str = MACHINE) -> Any:
    return send_form(client, page, (io.BytesIO(content.encode()), "reg.csv"))


def test_an_open_form_sends_to_the_site_that_it_was_made_for_when_a_role_at_an_earlier_one_is_given(two: Two) -> None:
    client = two.browser()
    page = form_page(client)
    assert "Import a file into Far Bank" in page
    two.give(two.near, Role.ENGINEER)
    where = post(client, page).headers["Location"]
    assert where.endswith("?site=far-bank")
    looked = shown(client.get(where))
    assert "Import reg.csv into Far Bank" in looked
    assert "Import 1 record into Far Bank" in looked
    assert do(client, where, "all").headers["Location"] == where
    assert two.machines() == (False, True)
    done = client.get(where)
    assert "Import reg.csv into Far Bank" in shown(done)
    links = re.findall(r'(?:href|action)="(/(?:import|book|\?)[^"]*)"', done.get_data(as_text=True))
    assert len(links) == 4
    assert all(link.endswith("site=far-bank") for link in links), links


def test_a_form_for_a_site_that_may_not_be_read_any_more_is_refused(two: Two) -> None:
    two.give(two.near, Role.ENGINEER)
    client = two.browser()
    page = form_page(client, f"/import?{MANY}&site=far-bank")
    assert "Import a file into Far Bank" in page, "as the gate reads it, however long"
    two.give(two.far)
    answer = post(client, page)
    assert answer.status_code == 404
    assert UNKNOWN in shown(answer)
    assert two.files() == 0
    assert client.get("/import/template.xlsx?site=far-bank").status_code == 404, "its units would be another site's"
    assert client.get("/import/template.xlsx").status_code == 200
    # An empty form is shown for the site that there is, and says so in its title.
    shown_instead = form_page(client, "/import?site=far-bank")
    assert "Import a file into Test Quay" in shown_instead
    assert post(client, shown_instead).headers["Location"].endswith("?site=test-quay")


@pytest.mark.parametrize("made_for", ["far-bank", "nosuch", None])
def test_a_form_that_was_made_for_another_site_than_its_address_means_is_refused(
    two: Two, made_for: str | None
) -> None:
    client = two.browser()
    mark = mark_of(form_page(client))
    two.give(two.near, Role.ENGINEER)
    data = {"mark": mark, "file": (io.BytesIO(MACHINE.encode()), "reg.csv")} | ({"site": made_for} if made_for else {})
    answer = client.post("/import", data=data)
    assert answer.status_code == 409
    assert "the file was not kept. What you send from here goes to Test Quay." in shown(answer)
    assert two.files() == 0


@pytest.mark.parametrize("role", [Role.ENGINEER, Role.READER])
def test_a_file_is_of_its_own_site_whichever_its_address_names(two: Two, role: Role) -> None:
    """Whether who sent it may import at the other site too, or only read there."""
    client = two.browser()
    bare = post(client, form_page(client)).headers["Location"].partition("?")[0]
    two.give(two.near, role)
    for query in ("", "?site=test-quay", "?site=Far-Bank"):
        answer = client.get(bare + query)
        assert answer.status_code == 200
        assert "Import 1 record into Far Bank" in shown(answer)
        assert f'action="{bare}?site=far-bank"' in answer.get_data(as_text=True)
    answer = client.get(f"{bare}?site=nosuch")
    assert (answer.status_code, "There is no site ‘nosuch’" in shown(answer)) == (404, True)
    page = client.get(bare).get_data(as_text=True)
    typed = {"mark": mark_of(page), "was": was_of(page), "does": "all"}
    assert client.post(f"{bare}?site=nosuch", data=typed).status_code == 404
    assert two.machines() == (False, False)
    assert client.post(bare, data=typed).headers["Location"] == f"{bare}?site=far-bank"
    assert two.machines() == (False, True)


def test_rows_that_come_back_are_given_whichever_site_the_address_names(two: Two) -> None:
    client = two.browser()
    where = post(client, form_page(client), BAD).headers["Location"]
    assert do(client, where, "mend").status_code == 303
    two.give(two.near, Role.READER)
    bare = where.partition("?")[0] + "/reg.to-mend.csv"
    with client.get(bare) as given:
        assert (given.status_code, "five" in given.get_data(as_text=True)) == (200, True)
    two.give(two.near, Role.ENGINEER)
    two.give(two.far, Role.READER)
    assert client.get(bare).status_code == 403


@pytest.mark.parametrize(
    ("left", "named", "status", "told"),
    [
        ((Role.READER,), "", 403, "reg.csv was sent for a site for which you may not import files any more"),
        ((Role.READER,), "?site=far-bank", 403, "reg.csv was sent for a site for which you may not import files"),
        ((), "", 403, "reg.csv was sent for a site for which you may not import files any more"),
        ((), "?site=far-bank", 404, UNKNOWN),
    ],
)
def test_a_file_for_a_site_where_its_sender_may_not_import_any_more_is_refused_in_words(
    two: Two, left: tuple[Role, ...], named: str, status: int, told: str
) -> None:
    two.give(two.near, Role.ENGINEER)
    client = two.browser()
    where = post(client, form_page(client, "/import?site=far-bank")).headers["Location"]
    page = client.get(where).get_data(as_text=True)
    two.give(two.far, *left)
    bare = f"/import/{secret_of(where)}"
    for does in ("", "all", "correct", "drop"):
        typed = {"mark": mark_of(page), "was": was_of(page), "does": does}
        answer = client.post(bare + named, data=typed) if does else client.get(bare + named)
        assert answer.status_code == status, does
        assert told in shown(answer)
        assert "Far Bank" not in shown(answer)
    assert two.machines() == (False, False)
    assert two.files() == 1
