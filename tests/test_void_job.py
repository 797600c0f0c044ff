"""A void job: out of every figure, still readable as void, its number kept, and known to everything that proves or carries the book."""

from __future__ import annotations

import csv
import json
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from dashboard.cli import main
from dashboard.pictures import Pictures
from dashboard.proofs import package_of
from models.commands.amend_job import amend_job, take_back_job, void_job
from models.commands.change_asset import merge_assets
from models.commands.export_book import export_book
from models.commands.record_job import record_job
from models.commands.sign_off import sign_off
from models.errors import ConflictError, DriftbookError, InvalidValueError
from models.settings import Settings
from models.store.engine import make_engine
from models.store.reader import Reader
from models.store.signoffs import signoffs_of
from models.store.verify import Verified, verify_book
from models.values.kinds import Meaning
from models.values.roles import Role
from models.values.story import AssetStory, JobLine, Site
from tests.auth_book import AuthBook, hidden_of
from tests.auth_book import open_book as open_auth_book
from tests.conftest import NOW
from tests.fuzz.api_book import API, Program, token_of, tokened
from tests.record_book import Opened, open_book
from tests.seeded import JOBS, bring_in, contents, seed, write
from tests.test_auth_pages import fill
from tests.test_commands_record_job import JOB
from tests.test_dashboard_pages_record import Form

LATER = NOW + timedelta(hours=1)


def story_of(engine: sa.Engine, site: Site, tag: str = "P-1") -> AssetStory:
    found = Reader(engine).story(site.site_id, tag)
    assert found is not None
    return found


def void(engine: sa.Engine, site: Site, entry: int, why: str = "another machine") -> JobLine:
    return void_job(engine, site, entry, by="Bo Tarn", now=LATER, why=why)


def entry_of(engine: sa.Engine, site: Site, ref: str, tag: str = "P-1") -> int:
    return next(line.entry for line in story_of(engine, site, tag).standing if line.job.ref == ref)


def verified(engine: sa.Engine) -> Verified:
    with engine.connect() as connection:
        return verify_book(connection)


# -- in the book ---------------------------------------------------------------------------------------------------


def test_the_columns_are_those_of_a_book_that_never_had_it(engine: sa.Engine, site: Site, tmp_path: Path) -> None:
    """All figures stand on the columns: history, due, month, offenders, standing."""
    seed(engine, site, tmp_path)
    reader, held = Reader(engine), Pictures()
    before = reader.history(site.site_id)
    line = record_job(engine, site, JOB, by="Ana Wick", now=NOW)
    with_it = held.of(reader, site.site_id).history
    assert len(with_it.jobs) == len(before.jobs) + 1
    new = void(engine, site, line.entry)
    for history in (reader.history(site.site_id), held.of(reader, site.site_id).history, Reader(engine).history(1)):
        assert history.head == new.entry
        assert history.jobs.entry.tolist() == before.jobs.entry.tolist()
        assert history.jobs.left_ratio.tolist() == before.jobs.left_ratio.tolist()
    back = take_back_job(engine, site, new.entry, by="Bo Tarn", now=LATER, why="it was this one")
    assert back.job == line.job
    assert (back.found_ratio, back.left_ratio, back.limits) == (line.found_ratio, line.left_ratio, line.limits)
    for history in (reader.history(site.site_id), held.of(reader, site.site_id).history, Reader(engine).history(1)):
        assert sorted(history.jobs.entry.tolist()) == sorted([*before.jobs.entry.tolist(), back.entry])


def test_what_is_void_is_neither_amended_nor_signed_nor_voided_again(
    engine: sa.Engine, site: Site, tmp_path: Path
) -> None:
    seed(engine, site, tmp_path)
    first = entry_of(engine, site, "J2")
    job = story_of(engine, site).standing[-1].job
    new = void(engine, site, first)
    before = contents(engine)
    for entry, said in ((new.entry, "Job 'J2' is void"), (first, f"is void, by entry {new.entry} of Bo Tarn")):
        with pytest.raises(ConflictError, match=said):
            amend_job(engine, site, entry, replace(job, notes="x"), by="Ana Wick", now=LATER, why="y")
        with pytest.raises(ConflictError, match="is void"):
            void(engine, site, entry)
    with pytest.raises(ConflictError, match="no work to sign for"):
        sign_off(engine, site, new.entry, meaning=Meaning.REVIEWED, by="Cleo Marsh", now=LATER)
    with pytest.raises(ConflictError, match="was amended by entry"):
        sign_off(engine, site, first, meaning=Meaning.REVIEWED, by="Cleo Marsh", now=LATER)
    with pytest.raises(InvalidValueError, match="needs a reason"):
        take_back_job(engine, site, new.entry, by="Bo Tarn", now=LATER, why=" ")
    assert contents(engine) == before
    back = take_back_job(engine, site, new.entry, by="Bo Tarn", now=LATER, why="it was this one")
    with pytest.raises(ConflictError, match="is not void"):
        take_back_job(engine, site, back.entry, by="Bo Tarn", now=LATER, why="again")
    assert sign_off(engine, site, back.entry, meaning=Meaning.REVIEWED, by="Cleo Marsh", now=LATER) > back.entry


def test_its_number_is_given_to_no_other_job_and_the_file_brings_it_in_no_more(
    engine: sa.Engine, site: Site, tmp_path: Path
) -> None:
    seed(engine, site, tmp_path)
    new = void(engine, site, entry_of(engine, site, "J2"))
    before = contents(engine)
    for job in (JOB, replace(JOB, tag="P-2"), new.job):
        with pytest.raises(ConflictError, match=f"belongs to a job that is void, by entry {new.entry}") as told:
            record_job(engine, site, replace(job, ref="J2"), by="Ana Wick", now=LATER)
        assert f"driftbook void {new.entry} --take-back" in told.value.remedy
    report = bring_in(engine, site, *write(tmp_path, again=JOBS))
    assert (report.written, sum(sheet.unchanged for sheet in report.sheets)) == (False, 3)
    report = bring_in(engine, site, *write(tmp_path, other=JOBS.replace("J2,P-1", "J2,P-2")))
    assert [problem.row for problem in report.problems] == [3], "it comes back, and says why"
    assert contents(engine) == before
    line = record_job(engine, site, replace(JOB, ref="J2-B", tag="P-2"), by="Ana Wick", now=LATER, stated_reasons=dict.fromkeys(
        ("wrong unit", "signs swapped", "doubled", "before the last job"), "as the sheet has it"))  # fmt: skip
    assert line.job.tag == "P-2"


def test_a_version_that_was_brought_to_another_machine_says_what_took_its_place(
    engine: sa.Engine, site: Site, tmp_path: Path
) -> None:
    seed(engine, site, tmp_path)
    old = entry_of(engine, site, "J3", "P-2")
    merge_assets(engine, site, "P-2", "P-1", by="desk", now=LATER, why="one pump")
    moved = entry_of(engine, site, "J3")
    with pytest.raises(ConflictError, match=f"was amended already, by entry {moved} of desk"):
        void(engine, site, old)
    assert void(engine, site, moved).job.tag == "P-1"
    assert not story_of(engine, site, "P-2").standing


def test_verification_the_data_package_and_the_auditors_package_know_it(sqlite_book: Settings, tmp_path: Path) -> None:
    from models.commands.take_in import take_in
    from tests.conftest import make_site
    from tests.whole_books import stored

    settings = replace(sqlite_book, key=tmp_path / "book.key")
    site = make_site(settings)
    engine = make_engine(settings)
    seed(engine, site, tmp_path)
    new = void(engine, site, entry_of(engine, site, "J2"))
    assert verified(engine).faults(strict=True) == 0
    assert export_book(engine, tmp_path / "whole.zip", version="test", now=LATER).path.exists()
    there = Settings(book=str(tmp_path / "there.db"))
    take_in(there, tmp_path / "whole.zip")
    other = make_engine(there)
    assert stored(other) == stored(engine)
    assert not {new.entry, new.supersedes} & set(Reader(other).history(site.site_id).jobs.entry.tolist())
    assert story_of(other, site) == story_of(engine, site)
    folder = tmp_path / "out"
    folder.mkdir()
    (folder / "package.zip").write_bytes(package_of(Reader(engine), site, "P-1", LATER, pdf=True))
    with zipfile.ZipFile(folder / "package.zip") as archive:
        archive.extractall(folder)
    run = subprocess.run(
        [sys.executable, "-I", "-S", "verify.py", "package.zip"],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 0, run.stdout + run.stderr
    rows = {row["entry"]: row for row in csv.DictReader((folder / "jobs.csv").read_text("utf-8-sig").splitlines())}
    assert rows[str(new.entry)]["void"] == "true", rows[str(new.entry)]
    assert rows[str(new.supersedes)]["void"] == "false"
    with engine.begin() as connection:
        names = connection.execute(
            sa.text("SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'job'")
        )
        for (name,) in names.all():
            connection.execute(sa.text(f'DROP TRIGGER "{name}"'))
        connection.execute(sa.text("UPDATE job SET void = 0 WHERE entry = :entry"), {"entry": new.entry})
    assert [(f.table, f.column, f.entry) for f in verified(engine).tally.kept if f.column] == [
        ("job", "void", new.entry)
    ]
    other.dispose()
    engine.dispose()


def test_the_command_voids_and_takes_back(
    sqlite_book: Settings, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with open_book(sqlite_book, tmp_path) as opened:
        old = opened.story().standing[-1].entry
        book = ["--book", str(sqlite_book.path), "--by", "Bo Tarn"]
        assert main(["void", str(old), *book]) == 2
        assert "Voiding a job needs a reason" in capsys.readouterr().err
        assert main(["void", str(old), "--why", "done on F-1", *book]) == 0
        said = " ".join(capsys.readouterr().out.split())
        new = opened.story().jobs[-1]
        assert f"Job J4 on P-2 is void, by entry {new.entry}" in said
        assert (new.void, new.author, new.why_amended) == (True, "Bo Tarn", "done on F-1")
        assert main(["void", str(old), "--why", "done on F-1", *book]) == 2
        assert f"is void, by entry {new.entry}" in " ".join(capsys.readouterr().err.split())
        assert main(["void", str(new.entry), "--take-back", "--why", "it was P-2", *book]) == 0
        assert "counts again" in capsys.readouterr().out
        stands = opened.story().standing[-1]
        assert stands.job.ref == "J4"
        assert main(["sign", str(stands.entry), "--meaning", "reviewed", *book[:2], "--by", "Cy Vale"]) == 0
        assert f"Entry {stands.entry}, job J4 on P-2, is signed by Cy Vale" in " ".join(capsys.readouterr().out.split())


# -- through the interface -----------------------------------------------------------------------------------------


@pytest.fixture
def program(sqlite_book: Settings, tmp_path: Path) -> Iterator[Program]:
    with tokened(sqlite_book, tmp_path, Role.RECORDER) as (opened, secret):
        yield Program(opened, secret)


def test_the_interface_voids_once_and_tells_conflicts(program: Program) -> None:
    old = program.opened.story().standing[-1].entry
    body = {"why": "done on F-1"}
    with ThreadPoolExecutor(6) as pool:
        answers = list(pool.map(lambda _: program.post(f"/jobs/{old}/void", body, key="v-1"), range(6)))
    assert {one.status_code for one in answers} == {201}
    assert sum("Idempotency-Replayed" not in one.headers for one in answers) == 1
    told = answers[0].get_json()
    assert (told["void"], told["supersedes"], told["why"], told["author"]) == (True, old, "done on F-1", "Ana Wick")
    assert told["typed"]["through"] == "JSON interface, token 'maintenance'"
    assert answers[0].headers["Location"] == f"{API}/jobs/{told['entry']}"
    assert program.get(f"/jobs/{told['entry']}") == told
    again = program.post(f"/jobs/{old}/void", body, key="v-2")
    assert (again.status_code, again.get_json()["code"]) == (409, "conflict")
    assert f"by entry {told['entry']}" in again.get_json()["detail"]
    amended = program.post(f"/jobs/{told['entry']}/amendment", {"why": "x", "changes": {"notes": "x"}})
    assert amended.status_code == 409
    assert "take it back first" in amended.get_json()["remedy"]
    assert program.get("/assets/P-2")["last_left"]["job"] != old
    assert [one["entry"] for one in program.get("/assets/P-2/jobs")["items"] if one["void"]] == [told["entry"]]
    back = program.post(f"/jobs/{told['entry']}/void", {"why": "it was P-2", "take_back": True})
    assert (back.status_code, back.get_json()["void"]) == (201, False)
    assert program.get("/assets/P-2")["last_left"]["job"] == back.get_json()["entry"]


@pytest.mark.parametrize("body", [{}, {"why": ""}, {"why": "  "}, {"why": "x", "take_back": "yes"}, {"why": "x", "changes": {}}, []])  # fmt: skip
def test_a_voiding_that_is_none_is_refused(program: Program, body: Any) -> None:
    old = program.opened.story().standing[-1].entry
    assert program.post(f"/jobs/{old}/void", body).status_code == 422
    assert program.post("/jobs/3/void", {"why": "x"}).status_code == 404
    assert program.opened.story().standing[-1].entry == old


def test_a_reader_s_token_voids_nothing(sqlite_book: Settings, tmp_path: Path) -> None:
    with tokened(sqlite_book, tmp_path, Role.READER) as (opened, secret):
        reader = Program(opened, secret)
        old = opened.story().standing[-1].entry
        assert reader.post(f"/jobs/{old}/void", {"why": "x"}).status_code == 403
        assert opened.story().standing[-1].entry == old
        assert (
            Program(opened, token_of(opened, Role.RECORDER, name="other"))
            .post(f"/jobs/{old}/void", {"why": "x"})
            .status_code
            == 201
        )


# -- on the pages --------------------------------------------------------------------------------------------------


@pytest.fixture
def book(sqlite_book: Settings, tmp_path: Path) -> Iterator[Opened]:
    with open_book(sqlite_book, tmp_path) as opened:
        yield opened


@pytest.fixture
def signed(sqlite_book: Settings, tmp_path: Path) -> Iterator[AuthBook]:
    made = open_auth_book(sqlite_book, tmp_path)
    yield made
    made.engine.dispose()


def sent(client: Any, entry: int, **typed: str) -> Any:
    hidden = hidden_of(client.get(f"/void/{entry}").get_data(as_text=True))
    return client.post(f"/void/{entry}", data=hidden | typed)


def test_the_form_says_what_job_it_is_and_voids_once_however_often_it_is_tapped(book: Opened) -> None:
    client, old = book.app.server.test_client(), book.story().standing[-1]
    page = client.get(f"/void/{old.entry}").get_data(as_text=True)
    for text in ("P-2 · brine pump", "J4", "Bo Tarn", "the name is believed", "Void this job"):
        assert text in page
    data = hidden_of(page) | {"by": "Cy Vale", "why": "  done on  F-1 "}
    first, second = (client.post(f"/void/{old.entry}", data=data) for _ in range(2))
    new = book.story().jobs[-1]
    assert (new.void, new.supersedes, new.author, new.why_amended) == (True, old.entry, "Cy Vale", "done on F-1")
    assert first.headers["Location"] == second.headers["Location"] == f"/void/{new.entry}"
    assert sum(line.void for line in book.story().jobs) == 1
    shown = client.get(f"/void/{new.entry}").get_data(as_text=True)
    assert "J4 on P-2 is void, by Cy Vale" in shown
    assert "done on F-1" in shown
    assert 'href="/record"' in shown
    assert sent(client, new.entry, by="Cy Vale", why="it was P-2", back="1").headers["Location"] == "/asset/P-2"
    assert book.story().standing[-1].job.ref == "J4"


def test_who_amended_meanwhile_is_told_and_nothing_is_voided(book: Opened) -> None:
    client, old = book.app.server.test_client(), book.story().standing[-1]
    data = hidden_of(client.get(f"/void/{old.entry}").get_data(as_text=True)) | {"by": "Cy Vale", "why": "done on F-1"}
    later = amend_job(
        book.reader.engine, book.site, old.entry, replace(old.job, notes="x"), by="Ana Wick", now=NOW, why="y"
    )
    answer = client.post(f"/void/{old.entry}", data=data)
    assert answer.status_code == 409
    text = answer.get_data(as_text=True)
    assert f"was amended by entry {later.entry} of Ana Wick" in text
    assert f'href="/void/{later.entry}"' in text
    assert book.story().standing[-1].entry == later.entry
    data |= hidden_of(client.get(f"/void/{later.entry}").get_data(as_text=True))
    void(book.reader.engine, book.site, later.entry, "twice")
    again = client.post(f"/void/{later.entry}", data=data)
    assert again.status_code == 409, "somebody else voided it, for another reason"
    assert "is void already" in again.get_data(as_text=True)


def test_the_form_needs_its_mark_a_reason_a_name_and_a_job(book: Opened) -> None:
    client, old = book.app.server.test_client(), book.story().standing[-1].entry
    assert client.post(f"/void/{old}", data={"by": "Cy Vale", "why": "x"}).status_code == 400
    assert sent(client, old, by="Cy Vale", why=" ").status_code == 409
    refused = sent(client, old, by=" ", why="a very good reason")
    assert refused.status_code == 409
    assert 'value="a very good reason"' in refused.get_data(as_text=True)
    for number in (1, 999_999, 10**18, 10**30):
        assert client.get(f"/void/{number}").status_code == 404
    assert book.story().standing[-1].entry == old


@pytest.mark.parametrize("role", list(Role))
def test_voiding_is_for_who_may_amend_and_in_their_own_name(signed: AuthBook, role: Role) -> None:
    entry = entry_of(signed.engine, signed.site, "J2")
    client = signed.signed_in(role)
    asset = fill(client, signed, "asset-rest-body.children", "/asset/P-1")
    if role not in {Role.RECORDER, Role.ENGINEER}:
        assert "/void/" not in asset
        assert client.get(f"/void/{entry}").status_code == 403
        assert client.post(f"/void/{entry}", data={"why": "x"}).status_code == 403
        assert entry_of(signed.engine, signed.site, "J2") == entry
        return
    assert f"/void/{entry}" in asset
    assert "You void it as" in client.get(f"/void/{entry}").get_data(as_text=True)
    assert sent(client, entry, why="another machine", by="Somebody Else").status_code == 303
    new = story_of(signed.engine, signed.site).jobs[-1]
    assert (new.void, new.author) == (True, {Role.RECORDER: "Rec Orr", Role.ENGINEER: "Eng Lund"}[role])
    asset = fill(client, signed, "asset-rest-body.children", "/asset/P-1")
    assert "It says that the job is void." in asset
    assert f"/void/{new.entry}" not in asset
    shown = fill(client, signed, "book-body.children", f"/book/{new.entry}")
    assert "It says that the job is void" in shown
    assert "Voided by mistake? Take it back" in shown
    assert "/sign/" not in shown
    if role is Role.ENGINEER:
        refused = client.get(f"/sign/{new.entry}")
        assert (refused.status_code, "no work to sign for" in refused.get_data(as_text=True)) == (409, True)
        with signed.engine.connect() as connection:
            assert not signoffs_of(connection, [new.entry])


def test_last_time_is_the_job_before_and_a_void_one_is_not_amended_on_the_page(book: Opened) -> None:
    assert "4 Nov 2025" in Form(book, "?asset=P-2").body()
    old = book.story().standing[-1]
    amending = Form(book, f"?amend={old.entry}")
    fields = amending.fields() | {"of": amending.made(), "by": "Ana Wick", "why": "x", "notes": "y"}
    assert f"/void/{old.entry}" in amending.body()
    new = void(book.reader.engine, book.site, old.entry)
    text = Form(book, "?asset=P-2").body()
    assert "4 Nov 2025" not in text
    assert "4 May 2025" in text
    assert book.story().standing[-1].job.ref == "J3"
    for entry in (old.entry, new.entry):
        shown = Form(book, f"?amend={entry}").body()
        assert "There is nothing to amend" in shown
        assert f"/void/{new.entry}" in shown
    assert "is void" in json.dumps(amending.send(fields))
    assert book.story().jobs[-1].entry == new.entry, "nothing was written"


def test_a_machine_whose_jobs_are_all_void_says_so(book: Opened) -> None:
    (only,) = book.story("F-1").standing
    new = void(book.reader.engine, book.site, only.entry, "never done")
    from tests.test_dashboard_pages_asset import Ids, ask

    client = book.app.server.test_client()
    rest = ask(client, Ids.REST, "/asset/F-1")
    assert f"Entry {new.entry}, by Bo Tarn" in rest
    assert "never done" in rest
    assert "It says that the job is void." in rest


def test_two_who_void_at_once_are_told_of_one_another(book: Opened) -> None:
    old = book.story().standing[-1].entry

    def once(name: str) -> str:
        try:
            return str(void_job(book.reader.engine, book.site, old, by=name, now=LATER, why="x").entry)
        except DriftbookError as fault:
            return fault.message

    with ThreadPoolExecutor(4) as pool:
        told = list(pool.map(once, ("Ana", "Bo", "Cy", "Di")))
    new = book.story().jobs[-1]
    assert told.count(str(new.entry)) == 1
    assert sum(f"is void, by entry {new.entry} of {new.author}" in one for one in told) == 3
