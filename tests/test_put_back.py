"""A form that stays open while an older state of the book is put back: its entry's number is another job's then, and it must not touch that."""

from __future__ import annotations

import html
import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from models.commands.amend_job import amend_job, take_back_job, void_job
from models.commands.record_job import record_job
from models.commands.sign_off import sign_off
from models.errors import OtherVersionError
from models.settings import Settings
from models.store.engine import make_engine
from models.store.reader import Reader
from models.tables.proofs import StatementRow
from models.values.kinds import Meaning
from models.values.story import JobLine, Site
from tests.auth_book import hidden_of
from tests.conftest import NOW
from tests.record_book import Opened, open_book
from tests.seeded import contents, seed
from tests.test_dashboard_pages_record import Form


@dataclass(frozen=True)
class PutBack:
    """A book of which an older state was put back: what a form was made from, and what stands under its number now."""

    meant: JobLine
    now: JobLine
    of: str
    fields: dict[str, str]
    hidden: dict[str, str]
    opened: Opened


def recorded(opened: Opened, tag: str, ref: str) -> JobLine:
    """Record a job like the last one of a machine."""
    job = replace(opened.story(tag).standing[-1].job, ref=ref, performed_at=NOW, notes=ref, typed={})
    reasons = {"same numbers": "x", "doubled": "x"}
    new = record_job(opened.reader.engine, opened.site, job, by="Bo Tarn", now=NOW, stated_reasons=reasons, bolts_tight=True)  # fmt: skip
    return next(line for line in opened.story(tag).jobs if line.entry == new.entry)


@pytest.fixture
def put_back(sqlite_book: Settings, tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[PutBack]:
    with open_book(sqlite_book, tmp_path) as before:
        file = str(before.reader.engine.url.database)
        with closing(sqlite3.connect(file)) as held, closing(sqlite3.connect(f"{file}.old")) as copy:
            held.backup(copy)
        meant = recorded(before, "P-2", "X-4")
        form = Form(before, f"?asset=P-2&amend={meant.entry}")
        of, fields = form.made(), form.fields()
        hidden = hidden_of(
            before.app.server.test_client().get(f"/{request.param}/{meant.entry}").get_data(as_text=True)
        )
    with closing(sqlite3.connect(f"{file}.old")) as copy, closing(sqlite3.connect(file)) as held:
        copy.backup(held)
    engine = make_engine(sqlite_book)
    now = Opened(sqlite_book, engine, before.site)
    other = recorded(now, "P-2" if request.param == "sign" else "F-1", "X-9")
    assert other.entry == meant.entry, "its number is given anew"
    yield PutBack(meant, other, of, fields, hidden, now)
    engine.dispose()


def unchanged(held: PutBack) -> None:
    """See that nothing came into the book after the other job."""
    assert held.opened.reader.head() == held.now.entry


@pytest.mark.parametrize(
    ("put_back", "undone", "button"),
    [("void", "Nothing was voided.", "Void this job"), ("sign", "Nothing was signed.", "Sign off")],
    indirect=["put_back"],
)
def test_a_plain_form_does_nothing_to_another_job_and_keeps_what_was_typed(
    put_back: PutBack, undone: str, button: str
) -> None:
    client, entry = put_back.opened.app.server.test_client(), put_back.meant.entry
    path = f"/{'void' if 'voided' in undone else 'sign'}/{entry}"
    fresh = hidden_of(client.get(path).get_data(as_text=True))
    assert fresh["leaf"] == put_back.now.leaf != put_back.meant.leaf == put_back.hidden["leaf"]
    typed = {"by": "Cy Vale", "why": "done on F-1", "meaning": "approved", "remark": "done on F-1"}
    for _ in range(2):
        refused = client.post(path, data=fresh | {"leaf": put_back.hidden["leaf"]} | typed)
        text = html.unescape(refused.get_data(as_text=True))
        assert refused.status_code == 409
        for said in (undone, f"Under the number {entry} the book holds something else", "X-9", 'value="done on F-1"'):
            assert said in text
        assert f'<a href="{path}">Look at entry {entry} as it stands now</a>' in text
        assert f'<button type="submit" class="main">{button}' not in text, "pressed again it does nothing either"
        assert hidden_of(text)["leaf"] == put_back.hidden["leaf"]
    none = client.post(path, data={"mark": fresh["mark"]} | typed)
    assert none.status_code == 409, "a form that does not say what it was made from"
    unchanged(put_back)
    assert client.post(path, data=fresh | typed).status_code == 303, "who looked at it anew may"


@pytest.mark.parametrize("put_back", ["void"], indirect=True)
@pytest.mark.parametrize("asset", ["&asset=P-2", ""])
def test_an_amendment_goes_to_no_other_job_nor_does_its_draft(put_back: PutBack, asset: str) -> None:
    entry = put_back.meant.entry
    form = Form(put_back.opened, f"?amend={entry}")
    of = put_back.of if asset else put_back.of.replace("asset=P-2&", "")
    fields = put_back.fields | {"of": of, "by": "Ana Wick", "why": "misread", "found.results.offset_v": "0.05 mm"}
    typed = form.look(fields)
    assert "Nothing was recorded: under the number" in json.dumps(typed["record-open"])
    assert not typed["record-result-found"]["children"], "what is typed is judged as no other job"
    said = json.dumps(form.send(fields), ensure_ascii=False)
    assert "Nothing was recorded: under the number" in said
    assert f'"/record?amend={entry}&site=' in said
    assert "leaf=" not in said.replace(of, ""), "looked at anew it is made from what stands there"
    unchanged(put_back)
    key = put_back.opened.site.code + "/{}/" + str(entry) + "-{}"
    assert form.made() != put_back.of
    assert key.format("F-1", put_back.now.leaf[:16]) in form.body()
    assert key.format("P-2", put_back.meant.leaf[:16]) not in form.body()


@pytest.mark.parametrize("put_back", ["void"], indirect=True)
def test_what_is_put_there_after_the_page_has_looked_is_kept_from_it_too(put_back: PutBack) -> None:
    """The commands look inside the transaction that writes."""
    engine, site, old, leaf = put_back.opened.reader.engine, put_back.opened.site, put_back.now, put_back.meant.leaf
    before = contents(engine)
    asked: dict[str, Any] = {"now": NOW, "made_from": leaf}
    for act in (
        lambda: amend_job(engine, site, old.entry, replace(old.job, notes="y"), by="Ana Wick", why="y", **asked),
        lambda: void_job(engine, site, old.entry, by="Ana Wick", why="y", **asked),
        lambda: take_back_job(engine, site, old.entry, by="Ana Wick", why="y", **asked),
        lambda: sign_off(engine, site, old.entry, meaning=Meaning.APPROVED, by="Cy Vale", **asked),
    ):
        with pytest.raises(
            OtherVersionError, match=f"under the number {old.entry} the book holds something else"
        ) as told:
            act()
        assert "look whether it is the job that you mean" in told.value.remedy
    assert contents(engine) == before


def test_a_version_is_known_by_its_leaf_on_both_engines(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    seed(engine, site, tmp_path)
    story = Reader(engine).story(site.site_id, "P-1")
    assert story is not None
    with engine.connect() as connection:
        sealed = connection.execute(sa.select(StatementRow.entry, StatementRow.leaf)).all()
    leaves = {entry: bytes(leaf).hex() for entry, leaf in sealed}
    assert [line.leaf for line in story.jobs] == [leaves[line.entry] for line in story.jobs]
    old = story.standing[-1]
    new = void_job(engine, site, old.entry, by="Cy Vale", now=NOW, why="x", made_from=old.leaf)
    assert new.supersedes == old.entry
