"""Sign-offs: a second person, bound to what the entry says, once, and only for what counts now."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa

from dashboard.components.signoffs import signoffs_part
from dashboard.console.proving import _as_json, _tell
from dashboard.place import Place
from models.commands.accounts import add_account, change_account
from models.commands.amend_job import amend_job, take_back_job, void_job
from models.commands.change_asset import merge_assets
from models.commands.on_server import NO_ACCOUNT, NO_PASSWORD, OnServer
from models.commands.record_job import record_job
from models.commands.sign_off import sign_off, why_not
from models.errors import ConflictError, DriftbookError, InvalidValueError, UnknownNameError
from models.maths.plausible import Doubt
from models.store.proofs import leaf_of
from models.store.reader import Reader
from models.store.signoffs import looked_at, signed_entries, signoffs_of
from models.store.verify import verify_book
from models.store.verify_names import NoRight, OwnWork
from models.tables.proofs import SignoffRow
from models.values.kinds import Meaning
from models.values.own_work import own_work
from models.values.roles import AtSite, Role
from models.values.story import JobLine, Site
from tests.conftest import NOW
from tests.seeded import contents, seed
from tests.shown_numbers import text_of


@pytest.fixture
def job(engine: sa.Engine, site: Site, tmp_path: Path) -> JobLine:
    seed(engine, site, tmp_path)
    story = Reader(engine).story(site.site_id, "P-1")
    assert story is not None
    return next(line for line in story.jobs if line.job.ref == "J2")


def test_a_signature_names_who_when_and_what_it_means_and_is_bound_to_the_entry(
    engine: sa.Engine, site: Site, job: JobLine
) -> None:
    entry = sign_off(
        engine, site, job.entry, meaning=Meaning.APPROVED, by=" Cleo  Marsh ", now=NOW, remark="as the plan"
    )
    with engine.connect() as connection:
        (signed,) = signoffs_of(connection, [job.entry])
        bound = connection.execute(sa.select(SignoffRow.signed_leaf)).scalar_one()
        assert bytes(bound) == leaf_of(connection, job.entry)
        assert signed_entries(connection, site.site_id) == {job.entry}
    assert (signed.entry, signed.by, signed.at, signed.meaning, signed.remark) == (
        entry, "Cleo Marsh", NOW, Meaning.APPROVED, "as the plan",
    )  # fmt: skip


def test_who_looked_at_many_jobs_is_asked_at_once(
    engine: sa.Engine, site: Site, job: JobLine, monkeypatch: pytest.MonkeyPatch
) -> None:
    for by in ("Cleo Marsh", "Dan Roe"):
        sign_off(engine, site, job.entry, meaning=Meaning.REVIEWED, by=by, now=NOW)
    story = Reader(engine).story(site.site_id, "P-1")
    assert story is not None
    first = next(line for line in story.standing if line.job.ref == "J1")
    later = amend_job(engine, site, first.entry, replace(first.job, reviewer="Eve Sund"), by="desk", now=NOW, why="x")
    monkeypatch.setattr("models.store.signoffs.AT_ONCE", 2)
    with engine.connect() as connection:
        found = looked_at(connection, site.site_id, [1, job.entry, 2, later.entry])
        assert looked_at(connection, site.site_id + 1, [later.entry]).reviewers == {}
    assert found.signers == {job.entry: "Cleo Marsh; Dan Roe"}
    assert found.reviewers == {later.entry: "Eve Sund"}


@pytest.mark.parametrize(
    ("by", "why"),
    [("Ana Wick", "did its work"), ("bo tarn", "did its work"), ("tester", "did its work")],
)
def test_who_did_the_work_or_wrote_it_down_does_not_sign(
    engine: sa.Engine, site: Site, job: JobLine, by: str, why: str
) -> None:
    before = contents(engine)
    with pytest.raises(ConflictError, match=why):
        sign_off(engine, site, job.entry, meaning=Meaning.REVIEWED, by=by, now=NOW)
    assert contents(engine) == before


@pytest.mark.parametrize(("old", "new"), [("Ana Wick", "Ana Ryn"), ("tester", "Mona Ter")])
def test_a_change_of_name_lets_nobody_sign_their_own_work(
    engine: sa.Engine, site: Site, job: JobLine, old: str, new: str
) -> None:
    held = account_at(engine, site, old)
    change_account(engine, site, "who", replace(held, person=new), by="t", now=NOW)
    before = contents(engine)
    with pytest.raises(ConflictError, match=f"{new}, then {old}, recorded this job or did its work"):
        sign_off(engine, site, job.entry, meaning=Meaning.REVIEWED, by=new, now=NOW)
    with pytest.raises(ConflictError, match="cannot sign it off"):
        sign_off(engine, site, job.entry, meaning=Meaning.REVIEWED, by=old, now=NOW)
    assert contents(engine) == before
    sign_off(engine, site, job.entry, meaning=Meaning.REVIEWED, by="Cleo Marsh", now=NOW)


@pytest.mark.parametrize("written", ["Cle\u043e M\u0430rsh", "\u202ehsraM oelC", "Marsh, Cleo"])
def test_a_name_that_only_looks_like_another_signs_no_own_work(
    engine: sa.Engine, site: Site, job: JobLine, written: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as before_the_rule:  # what is not seen was kept, and stays in such books
        before_the_rule.setattr("models.commands.amend_job.with_seen_names", lambda job: job)
        old = replace(job.job, people=(written,))
        amended = amend_job(engine, site, job.entry, old, by="desk", now=NOW, why="another did it")
    assert amended.job.people == (written,)
    with pytest.raises(ConflictError, match="did its work: the same name as Cleo Marsh, or so near") as refused:
        sign_off(engine, site, amended.entry, meaning=Meaning.REVIEWED, by="Cleo Marsh", now=NOW)
    assert "(turbines)" in refused.value.remedy
    story = Reader(engine).story(site.site_id, job.job.tag)
    assert story is not None
    assert amended.entry in own_work(story.jobs, "Cleo Marsh")
    sign_off(engine, site, amended.entry, meaning=Meaning.REVIEWED, by="Cleo Marsh (turbines)", now=NOW)


def test_what_nobody_sees_in_a_name_is_not_kept(engine: sa.Engine, site: Site, job: JobLine) -> None:
    said = replace(job.job, people=("\u202eCleo\u200b  Marsh", "\u2060"), reviewer="Eve\u00ad Sund")
    line = amend_job(engine, site, job.entry, said, by="de\u200bsk", now=NOW, why="another did it")
    assert (line.author, line.job.people, line.job.reviewer) == ("desk", ("Cleo Marsh",), "Eve Sund")
    again = record_job(
        engine, site, replace(said, ref="J9", performed_at=NOW - timedelta(hours=9)), by="desk", now=NOW,
        stated_reasons=dict.fromkeys(map(str, Doubt), "so it was"), bolts_tight=True,
    )  # fmt: skip
    assert (again.job.people, again.job.reviewer) == (("Cleo Marsh",), "Eve Sund")


def test_verification_tells_a_sign_off_of_own_work_that_is_in_a_book_already(
    engine: sa.Engine, site: Site, job: JobLine, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    held = account_at(engine, site, "Ana Wick")
    sign_off(engine, site, job.entry, meaning=Meaning.REVIEWED, by="Cleo Marsh", now=NOW)
    change_account(engine, site, "who", replace(held, person="Ana Ryn"), by="t", now=NOW)
    with engine.connect() as connection:
        assert verify_book(connection).own_work == []
    with monkeypatch.context() as before_the_rule:
        before_the_rule.setattr("models.commands.sign_off.names_of", lambda *_: ())
        entry = sign_off(engine, site, job.entry, meaning=Meaning.REVIEWED, by="Ana Ryn", now=NOW)
    change_account(engine, site, "who", replace(held, person="Ana Marsh"), by="t", now=NOW)
    with engine.connect() as connection:
        found = verify_book(connection)
    assert found.own_work == [OwnWork(entry, job.entry, "Ana Ryn", "Ana Wick")]
    assert found.faults(strict=True) == 0, "it is no fault of the seal"
    assert _as_json(found, strict=False)["own_work"][0]["signed_entry"] == job.entry
    _tell(found, strict=False, key=False)
    told = " ".join(capsys.readouterr().out.split())
    assert "1 sign-off stands under work" in told
    assert f"entry {entry}: Ana Ryn signed off entry {job.entry}, where Ana Wick stands" in told


def test_a_change_of_name_gives_no_second_signature_of_one_meaning(engine: sa.Engine, site: Site, job: JobLine) -> None:
    held = account_at(engine, site, "Cleo Marsh")
    sign_off(engine, site, job.entry, meaning=Meaning.REVIEWED, by="Cleo Marsh", now=NOW)
    change_account(engine, site, "who", replace(held, person="Cleo Ryn"), by="t", now=NOW)
    with pytest.raises(ConflictError, match="already"):
        sign_off(engine, site, job.entry, meaning=Meaning.REVIEWED, by="Cleo Ryn", now=NOW)
    sign_off(engine, site, job.entry, meaning=Meaning.APPROVED, by="Cleo Ryn", now=NOW)


def account_at(engine: sa.Engine, site: Site, name: str) -> AtSite:
    """Add an account of a name, and give what it is at the site."""
    made = add_account(
        engine, [site], "who", person=name, roles=[Role.ENGINEER], by="t", now=NOW, password=None,
        outside="https://door.example who",
    )  # fmt: skip
    return made.sites[site.site_id]


def test_the_same_signature_is_given_once(engine: sa.Engine, site: Site, job: JobLine) -> None:
    sign_off(engine, site, job.entry, meaning=Meaning.REVIEWED, by="Cleo Marsh", now=NOW)
    sign_off(engine, site, job.entry, meaning=Meaning.APPROVED, by="Cleo Marsh", now=NOW)
    with pytest.raises(ConflictError, match="already"):
        sign_off(engine, site, job.entry, meaning=Meaning.REVIEWED, by="Cleo Marsh", now=NOW)


def test_an_amendment_takes_its_own_signature(engine: sa.Engine, site: Site, job: JobLine) -> None:
    amended = amend_job(
        engine, site, job.entry, replace(job.job, work_order="W-7"), by="Ana Wick", now=NOW + timedelta(days=1), why="was left out"
    )  # fmt: skip
    with pytest.raises(ConflictError, match=f"amended by entry {amended.entry}"):
        sign_off(engine, site, job.entry, meaning=Meaning.REVIEWED, by="Cleo Marsh", now=NOW)
    sign_off(engine, site, amended.entry, meaning=Meaning.REVIEWED, by="Cleo Marsh", now=NOW)


@pytest.mark.parametrize(
    ("by", "why"),
    [
        ("tester", "tester recorded entry {entry}, an earlier version of this job"),
        ("ana wick", "ana wick recorded entry {entry}, an earlier version of this job, or did the work"),
        ("Bo Tarn", "Bo Tarn recorded this job or did its work"),
        ("Dee Ray", "Dee Ray recorded this job or did its work"),
        ("Ana Ryn", "Ana Ryn, then Ana Wick, recorded entry {entry}, an earlier version"),
    ],
)
def test_nobody_signs_an_amendment_of_somebody_else_over_their_own_work(
    engine: sa.Engine, site: Site, job: JobLine, by: str, why: str
) -> None:
    held = account_at(engine, site, "Ana Wick")
    if by == "Ana Ryn":
        change_account(engine, site, "who", replace(held, person=by), by="t", now=NOW)
    # Who did the work is written otherwise, and then something else: the first version stays the work of whom it names.
    first = amend_job(
        engine, site, job.entry, replace(job.job, people=("Bo Tarn",)), by="Dee Ray", now=NOW, why="another did it"
    )
    last = amend_job(
        engine, site, first.entry, replace(first.job, work_order="W-7"), by="Dee Ray", now=NOW, why="was left out"
    )
    refused = why_not(engine, site, last.entry, by)
    assert refused is not None
    assert refused.message.startswith(why.format(entry=job.entry))
    story = Reader(engine).story(site.site_id, job.job.tag)
    assert story is not None
    # What pages offer is worked out of what they hold; a name of before is looked up before anything is signed.
    assert (last.entry in own_work(story.jobs, by)) == (by != "Ana Ryn")
    assert own_work(story.jobs, "Cleo Marsh") == own_work(story.jobs, "") == frozenset()
    offered = [
        text_of(signoffs_part(story.standing, (), Place("/"), site.zone, may_sign=True, own=own_work(story.jobs, one)))
        for one in (by, "Cleo Marsh")
    ]
    assert ["your own work" in text for text in offered] == [by != "Ana Ryn", False]
    assert "who neither did the work nor recorded any version" in refused.remedy
    before = contents(engine)
    with pytest.raises(ConflictError, match="cannot sign"):
        sign_off(engine, site, last.entry, meaning=Meaning.REVIEWED, by=by, now=NOW)
    assert contents(engine) == before
    assert why_not(engine, site, last.entry, "Cleo Marsh") is None
    sign_off(engine, site, last.entry, meaning=Meaning.REVIEWED, by="Cleo Marsh", now=NOW)


@pytest.mark.parametrize("entry", [1, 999])
def test_what_is_no_job_is_not_signed(engine: sa.Engine, site: Site, job: JobLine, entry: int) -> None:
    del job
    with pytest.raises(UnknownNameError, match="no job"):
        sign_off(engine, site, entry, meaning=Meaning.REVIEWED, by="Cleo Marsh", now=NOW)


def test_a_signature_needs_a_name(engine: sa.Engine, site: Site, job: JobLine) -> None:
    with pytest.raises(InvalidValueError, match="name") as refused:
        sign_off(engine, site, job.entry, meaning=Meaning.REVIEWED, by="  ", now=NOW)
    assert isinstance(refused.value, DriftbookError)
    assert refused.value.remedy


def test_where_people_sign_in_a_command_needs_an_account_that_may_or_the_entry_says_that_there_was_none(
    engine: sa.Engine, site: Site, job: JobLine, capsys: pytest.CaptureFixture[str]
) -> None:
    anyhow = OnServer(without_account=True)
    meant = {"meaning": Meaning.REVIEWED, "now": NOW, "command": OnServer()}
    first = sign_off(engine, site, job.entry, by="Old Hand", **meant)  # nobody signs in yet: as before
    for login, name, role in (("cle", "Cleo Marsh", Role.ENGINEER), ("ine", "Ines Audit", Role.AUDITOR)):
        add_account(
            engine,
            [site],
            login,
            person=name,
            roles=[role],
            by="desk",
            now=NOW,
            password=None,
            must_change=False,
            outside=f"https://x.example {login}",
        )
    for name in ("Nobody Known", "Ines Audit", "cleo marsh"):
        with pytest.raises(
            ConflictError, match=f"Nobody named '{name}' has an open account that may sign off at Test Quay"
        ):
            sign_off(engine, site, job.entry, by=name, **meant)
    with pytest.raises(ConflictError, match="that may amend jobs"):
        void_job(engine, site, job.entry, by="Ines Audit", now=NOW, why="twice", command=OnServer())
    sworn = sign_off(engine, site, job.entry, by="Cleo  Marsh", remark="seen", **meant)
    change_account(
        engine, site, "cle", AtSite(site.site_id, "Cleo Marsh", "", (Role.ENGINEER,), False), by="desk", now=NOW, why=""
    )
    late = {"meaning": Meaning.APPROVED, "by": "Cleo Marsh", "now": NOW}
    with pytest.raises(ConflictError, match="--without-account"):
        sign_off(engine, site, job.entry, **late, command=OnServer())
    alone = sign_off(engine, site, job.entry, **late, command=anyhow)
    with engine.connect() as connection:
        given = {one.entry: one.remark for one in signoffs_of(connection, [job.entry])}
        found = verify_book(connection)
    assert given == {first: "", sworn: f"seen {NO_PASSWORD}", alone: NO_ACCOUNT}
    assert found.no_right == [NoRight(alone, job.entry, "Cleo Marsh")]
    assert found.faults(strict=False) == 0
    assert _as_json(found, strict=False)["no_right"][0]["name"] == "Cleo Marsh"
    _tell(found, strict=False, key=False)
    assert f"entry {alone}: Cleo Marsh signed off entry {job.entry}" in " ".join(capsys.readouterr().out.split())
    with pytest.raises(ConflictError, match="that may amend jobs"):
        merge_assets(engine, site, "P-2", "P-1", by="root", now=NOW, why="one machine", command=OnServer())
    gone = void_job(engine, site, job.entry, by="root", now=NOW, why="twice", command=anyhow)
    take_back_job(engine, site, gone.entry, by="root", now=NOW, why="once", command=anyhow)
    story = Reader(engine).story(site.site_id, "P-1")
    assert story is not None
    why = [line.why_amended for line in story.jobs if line.job_id == job.job_id]
    assert why == ["", f"twice {NO_ACCOUNT}", f"once {NO_ACCOUNT}"]
