"""Sign-offs: a second person, bound to what the entry says, once, and only for what counts now."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa

from models.commands.accounts import add_account, change_account
from models.commands.amend_job import amend_job
from models.commands.sign_off import sign_off
from models.errors import ConflictError, DriftbookError, InvalidValueError, UnknownNameError
from models.store.proofs import leaf_of
from models.store.reader import Reader
from models.store.signoffs import signed_entries, signoffs_of
from models.tables.proofs import SignoffRow
from models.values.kinds import Meaning
from models.values.roles import AtSite, Role
from models.values.story import JobLine, Site
from tests.conftest import NOW
from tests.seeded import contents, seed


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


@pytest.mark.parametrize(("old", "new"), [("Ana Wick", "Ana Ryn"), ("tester", "Tes Ter")])
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
