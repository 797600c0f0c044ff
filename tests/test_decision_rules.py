"""A site's decision rule, and what is decided by it: stored with the job, kept or decided anew by a new version, never by others."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from dashboard.files.tables_asset import _decisions
from dashboard.views import entry_view
from dashboard.views.decision_words import rests_of
from dashboard.writing import decided, decisions_told, judged_by, rule_text
from models.commands.amend_job import amend_job, take_back_job, void_job
from models.commands.change_asset import merge_assets
from models.commands.record_job import record_job
from models.commands.set_site import set_site
from models.errors import ConflictError, InvalidValueError
from models.intake.problems import Code
from models.maths.conformance import conformance
from models.maths.geometry import deviation
from models.settings import Settings
from models.store.engine import make_engine
from models.store.known import sites
from models.store.reader import Reader
from models.store.revision import downgrade, upgrade
from models.store.verify import verify_book
from models.units import Display
from models.values.decision import (
    NO_DECISIONS,
    Covariances,
    Decision,
    DecisionRule,
    Decisions,
    Rule,
    Verdict,
    covariance_of,
    independent,
)
from models.values.entry import EntryFilter
from models.values.job import Misalignment
from models.values.kinds import Kind
from models.values.people import Instrument, Person
from models.values.story import JobLine, Site
from tests.conftest import NOW
from tests.kept_book import change, rows_of
from tests.seeded import NEWER, contents, seed, seed_old_tables
from tests.test_commands_record_job import JOB

LATER = NOW + timedelta(hours=1)
GUARDED = DecisionRule(Rule.GUARDED)
SURE = independent((0.002, 0.01, 0.002, 0.01))
UNSURE = independent((0.03, 0.2, 0.03, 0.2))
MEASURED = replace(JOB, found=Misalignment(0.2, 0.9, 0.05, 0.1), left=Misalignment(0.02, 0.1, 0.01, -0.05))


@pytest.fixture
def book(engine: sa.Engine, site: Site, tmp_path: Path) -> sa.Engine:
    seed(engine, site, tmp_path)
    return engine


@pytest.fixture
def guarded(book: sa.Engine, site: Site) -> Site:
    return set_site(book, site, by="Ana Wick", now=NOW, rule=GUARDED, why="the customer asks for it")


def lines(book: sa.Engine, site: Site) -> dict[int, JobLine]:
    story = Reader(book).story(site.site_id, "P-1")
    assert story is not None
    return {line.entry: line for line in story.jobs}


def count(book: sa.Engine, table: str = "decision") -> int:
    with book.connect() as connection:
        return int(connection.exec_driver_sql(f"SELECT count(*) FROM {table}").scalar_one())


def record(book: sa.Engine, site: Site, known: Covariances | None = None, **more: Any) -> JobLine:
    return record_job(
        book, site, replace(MEASURED, **more), by="Ana Wick", now=NOW, covariances=known, bolts_tight=True
    )


def test_a_rule_is_chosen_by_an_entry_with_who_when_and_why(book: sa.Engine, site: Site, guarded: Site) -> None:
    with book.connect() as connection:
        assert sites(connection) == (guarded,)
    assert (guarded.rule, guarded.guarded) == (GUARDED, GUARDED)
    (line,) = Reader(book).entries(site.site_id, EntryFilter(), most=1).lines
    assert (str(line.kind), line.author, line.why, line.at) == ("site set", "Ana Wick", "the customer asks for it", NOW)
    told = Reader(book).entry(site.site_id, line.number)
    assert told is not None
    assert isinstance(told.now, Site)
    assert isinstance(told.before, Site)
    assert (told.before.rule, told.now.rule) == (None, GUARDED)
    named = set_site(book, guarded, by="Ana Wick", now=LATER, name="South Quay")
    assert (named.rule, count(book, "decision_rule")) == (GUARDED, 1)
    back = set_site(book, named, by="Ana Wick", now=LATER, rule=DecisionRule())
    assert (back.rule, back.guarded, count(book, "decision_rule")) == (DecisionRule(), None, 2)
    assert record(book, back, Covariances(SURE, SURE)).decisions == NO_DECISIONS


def test_a_site_that_never_chose_stores_nothing(book: sa.Engine, site: Site) -> None:
    assert set_site(book, site, by="Ana Wick", now=NOW, rule=DecisionRule()) == site
    line = record(book, site, Covariances(SURE, SURE))
    assert line.decisions == NO_DECISIONS
    assert (count(book), count(book, "decision_rule")) == (0, 0)
    with book.connect() as connection:
        said = connection.exec_driver_sql(f"SELECT said FROM statement WHERE entry = {line.entry}").scalar_one()
    assert "decision" not in said


@pytest.mark.parametrize("confidence", [0.5, 1.0, 95.0, float("nan")])
def test_a_confidence_that_is_none_is_refused(confidence: float) -> None:
    with pytest.raises(InvalidValueError, match="above 50 % and below 100 %"):
        DecisionRule(Rule.GUARDED, confidence)


def test_what_is_decided_is_stored_with_the_job_and_can_be_redone(book: sa.Engine, site: Site, guarded: Site) -> None:
    line = record(book, guarded, Covariances(SURE, UNSURE))
    assert line == lines(book, site)[line.entry]
    found, left = line.decisions.found, line.decisions.left
    assert found is not None
    assert left is not None
    assert (found.verdict, left.verdict) == (Verdict.OVER, Verdict.UNDECIDED)
    assert line.left_ratio is not None
    assert line.left_ratio < 1
    with book.connect() as connection:
        rows = {row["side"]: row for row in rows_of(connection, "decision")}
        assert verify_book(connection).faults() == 0
    for side, one, known in (("found", found, SURE), ("left", left, UNSURE)):
        row, measured = rows[side], getattr(MEASURED, side)
        assert (row["entry"], row["site_id"], row["rule"], row["confidence"]) == (
            line.entry,
            site.site_id,
            "guarded",
            0.95,
        )
        assert row["verdict"] == one.verdict
        assert one.covariance == known
        again = conformance(deviation(measured, MEASURED.target), known, line.limits)  # type: ignore[arg-type]
        assert one.probability == row["probability"] == pytest.approx(again.probability, abs=1e-9)
    with book.connect() as connection:
        said = connection.exec_driver_sql(f"SELECT said FROM statement WHERE entry = {line.entry}").scalar_one()
    assert said.count('"verdict":"undecided"') == said.count('"verdict":"over"') == 1
    (rule,) = Reader(book).stated_rules(site.site_id)
    assert (rule.said, rule.author, rule.recorded_at, rule.why) == (
        GUARDED,
        "Ana Wick",
        NOW,
        "the customer asks for it",
    )


def test_what_a_decision_rests_on_stands_on_the_page_of_its_entry_and_in_the_table(
    book: sa.Engine, site: Site, guarded: Site
) -> None:
    line = record(book, guarded, Covariances(None, UNSURE))
    told = Reader(book).entry(site.site_id, line.entry)
    assert told is not None
    assert line.decisions.left is not None
    chance = f"{line.decisions.left.probability:.6f}"
    assert entry_view.build(told, guarded, Display()).verdict[3] == (
        "As left the decision rests on measured − target: offset V 0.03 mm, angle V 0.1 mm/m, offset H 0.01 mm, angle H −0.05 mm/m; "
        "standard uncertainty: offset V 0.03 mm, angle V 0.2 mm/m, offset H 0.03 mm, angle H 0.2 mm/m; no correlations; "
        f"probability of being within limit {chance}."
    )
    made = {one.name: one.values for one in _decisions([line])}
    assert made["found covariance"] == (None,)
    assert covariance_of(json.loads(str(made["left covariance"][0]))) == UNSURE
    sure = Decision(GUARDED, Verdict.WITHIN, SURE, 1 - 1e-15)
    (rests,) = rests_of(replace(line, decisions=Decisions(left=sure)))
    assert rests.probability == "above 0.999999"


def test_people_and_instruments_are_given_with_the_entries_that_say_them(book: sa.Engine, site: Site) -> None:
    (person,), (tool,) = Reader(book).stated_people(site.site_id)[:1], Reader(book).stated_instruments(site.site_id)
    assert (person.said, person.author, person.recorded_at) == (Person("Ana Wick", "millwright"), "tester", NOW)
    assert (tool.said, tool.author) == (Instrument("D-1", "dial set", date(2024, 1, 1), date(2027, 1, 1)), "tester")
    for one, kind in ((person, Kind.PERSON_ADDED), (tool, Kind.INSTRUMENT_ADDED)):
        told = Reader(book).entry(site.site_id, one.entry)
        assert told is not None
        assert (told.line.kind, told.now) == (kind, one.said)


def test_without_an_uncertainty_nothing_is_decided(book: sa.Engine, site: Site, guarded: Site) -> None:
    line = record(book, guarded)
    assert line.decisions == Decisions(*[Decision(GUARDED, Verdict.UNDECIDED)] * 2)
    assert lines(book, site)[line.entry] == line
    installed = record(
        book,
        guarded,
        Covariances(None, SURE),
        ref="N2",
        found=None,
        performed_at=MEASURED.performed_at + timedelta(days=1),
    )
    assert installed.decisions == Decisions(None, installed.decisions.left)
    assert installed.decisions.left is not None
    assert installed.decisions.left.verdict is Verdict.WITHIN


def test_an_amendment_decides_anew_and_voiding_does_not(book: sa.Engine, site: Site, guarded: Site) -> None:
    first = record(book, guarded, Covariances(SURE, UNSURE))
    said = {"by": "Bo Tarn", "now": LATER, "why": "see the sheet"}
    noted = amend_job(book, site, first.entry, replace(first.job, notes="read again"), **said)  # type: ignore[arg-type]
    assert noted.decisions == first.decisions, "a measurement that stays keeps its uncertainty"
    misread = replace(noted.job, found=Misalignment(0.3, 0.9, 0.05, 0.1))
    kept = amend_job(book, site, noted.entry, misread, **said)  # type: ignore[arg-type]
    assert kept.decisions == Decisions(Decision(GUARDED, Verdict.UNDECIDED), first.decisions.left), (
        "one that is another has none"
    )
    noted = amend_job(book, site, kept.entry, noted.job, covariances=Covariances(SURE, says=("found",)), **said)  # type: ignore[arg-type]
    assert noted.decisions == first.decisions, "of the other one nothing was said"
    moved = replace(noted.job, left=Misalignment(0.03, 0.1, 0.01, -0.05))
    other = amend_job(book, site, noted.entry, moved, **said)  # type: ignore[arg-type]
    assert other.decisions == Decisions(first.decisions.found, Decision(GUARDED, Verdict.UNDECIDED))
    sharper = amend_job(
        book,
        site,
        other.entry,
        replace(moved, notes="the maker's sheet came"),
        covariances=Covariances(SURE, SURE),
        **said,
    )  # type: ignore[arg-type]
    assert sharper.decisions.left is not None
    assert sharper.decisions.left.verdict is Verdict.WITHIN
    looser = set_site(book, guarded, by="Ana Wick", now=LATER, rule=DecisionRule(Rule.GUARDED, 0.9))
    void = void_job(book, site, sharper.entry, **said)  # type: ignore[arg-type]
    back = take_back_job(book, site, void.entry, **said)  # type: ignore[arg-type]
    assert void.decisions == back.decisions == sharper.decisions
    last = amend_job(book, looser, back.entry, replace(back.job, notes="once more"), **said)  # type: ignore[arg-type]
    assert last.decisions.left is not None
    assert last.decisions.left.rule.confidence == 0.9
    held = lines(book, site)
    assert [held[one.entry].decisions for one in (first, noted, other, sharper, void, back, last)] == [
        one.decisions for one in (first, noted, other, sharper, void, back, last)
    ]
    with book.connect() as connection:
        assert verify_book(connection).faults() == 0


def test_an_uncertainty_alone_is_an_amendment_where_something_is_decided_by_it(
    book: sa.Engine, site: Site, guarded: Site
) -> None:
    """Of every row of a list nothing is known: what becomes known later decided nothing, for the job itself says the same."""
    first = record(book, guarded)
    said: Any = {"by": "Bo Tarn", "now": LATER, "why": "the maker's sheet came"}
    for nothing in (None, Covariances(), Covariances(says=()), Covariances(says=("left",))):
        with pytest.raises(ConflictError, match=r"says the same already[.]\n"):
            amend_job(book, site, first.entry, first.job, covariances=nothing, **said)
    left = amend_job(book, site, first.entry, first.job, covariances=Covariances(left=SURE, says=("left",)), **said)
    assert left.decisions.found == first.decisions.found
    assert left.decisions.left is not None
    assert (left.decisions.left.verdict, left.decisions.left.covariance) == (Verdict.WITHIN, SURE)
    assert left == lines(book, site)[left.entry]
    assert (left.supersedes, left.why_amended) == (first.entry, "the maker's sheet came")
    with pytest.raises(ConflictError, match=r"says the same already[.]\n"):
        amend_job(book, site, left.entry, left.job, covariances=Covariances(left=SURE, says=("left",)), **said)
    gone = amend_job(book, site, left.entry, left.job, covariances=Covariances(says=("left",)), **said)
    assert gone.decisions == first.decisions, "said that it is not known after all"
    only = amend_job(book, site, gone.entry, replace(gone.job, left=None), **said)
    with pytest.raises(InvalidValueError, match="but the job has no as-left"):
        amend_job(book, site, only.entry, only.job, covariances=Covariances(left=SURE, says=("left",)), **said)
    gone = amend_job(book, site, only.entry, gone.job, **said)
    set_site(book, guarded, by="Ana Wick", now=LATER, rule=DecisionRule())
    with pytest.raises(ConflictError, match="for which no uncertainty is kept"):
        amend_job(book, site, gone.entry, gone.job, covariances=Covariances(SURE, SURE), **said)
    with book.connect() as connection:
        assert verify_book(connection).faults() == 0


def test_a_job_of_a_double_is_decided_as_one_of_the_machine_that_it_comes_to(
    book: sa.Engine, site: Site, guarded: Site
) -> None:
    del site
    first = record(book, guarded, Covariances(SURE, UNSURE))
    merged = merge_assets(book, guarded, "P-1", "P-2", by="Bo Tarn", now=LATER, why="one machine, two lists")
    (came,) = (one for one in merged.moved if one.job_id == first.job_id)
    assert came.limits != first.limits
    for side in ("found", "left"):
        old, new = getattr(first.decisions, side), getattr(came.decisions, side)
        assert new.covariance == old.covariance
    assert came.decisions.left is not None
    assert first.decisions.left is not None
    assert came.decisions.left.probability != first.decisions.left.probability
    with book.connect() as connection:
        assert verify_book(connection).faults() == 0


@pytest.mark.parametrize("large", [False, True])
def test_rows_of_a_list_bring_no_uncertainty(
    engine: sa.Engine, site: Site, tmp_path: Path, large: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    from tests.test_commands_plain_jobs import take_way

    set_site(engine, site, by="Ana Wick", now=NOW, rule=GUARDED)
    with monkeypatch.context() as patch:
        take_way(patch, "columns" if large else "rows")
        report = seed(engine, site, tmp_path)
    told = [problem.text for problem in report.problems if problem.code is Code.UNDECIDED]
    assert told == ["3 jobs are undecided by the site's decision rule: a list brings no uncertainty"]
    with engine.connect() as connection:
        rows = rows_of(connection, "decision")
        assert verify_book(connection).faults() == 0
    assert [(row["side"], row["verdict"], row["probability"], row["covariance"]) for row in rows] == [
        (side, "undecided", None, None) for side in ("left", "found", "left", "found", "left")
    ]
    monkeypatch.setattr("models.store.decisions.AT_ONCE", 2)  # what is asked for at once is not all
    entries = sorted({row["entry"] for row in rows})
    assert Reader(engine).undecided(site.site_id, [1, 2, *entries]) == 3


def test_who_edits_a_stored_decision_is_found(book: sa.Engine, site: Site, guarded: Site) -> None:
    del site
    line = record(book, guarded, Covariances(SURE, UNSURE))
    with book.connect() as connection, connection.begin() as transaction:
        row = next(one for one in rows_of(connection, "decision") if one["side"] == "left")
        change(connection, "decision", row, verdict="within", probability=0.99)
        found = {(one.table, one.column, one.entry) for one in verify_book(connection).tally.kept}
        transaction.rollback()
    assert found == {("decision", "verdict", line.entry), ("decision", "probability", line.entry)}


def test_an_older_book_is_brought_up_with_equal_heads(
    settings: Settings, engine: sa.Engine, site: Site, tmp_path: Path
) -> None:
    seed_old_tables(engine, site, tmp_path)
    engine.dispose()
    downgrade(settings, "0004_references_by_set")
    older = make_engine(settings)
    before = contents(older, without=NEWER)
    older.dispose()
    upgrade(settings)
    newer = make_engine(settings)
    after = contents(newer)
    with newer.connect() as connection:
        assert verify_book(connection).faults() == 0
    newer.dispose()
    assert before["tree_head"]
    assert after == before | {table: [] for table in NEWER}


def test_the_words_say_verdict_probability_and_rule() -> None:
    one = Decision(GUARDED, Verdict.UNDECIDED, None, 0.9496)
    assert decided(one) == ("undecided", "Probability 94.96 %, rule guarded, 95 %.".replace(" %", "\u202f%"))
    assert judged_by(0.91, one) == "0.91 within; by the rule undecided"
    assert judged_by(0.91, None) == "0.91 within"
    assert rule_text(DecisionRule()) == "simple acceptance"
    for chance, text in (
        (0.2, "20"),
        (0.0501, "5.01"),
        (0.05, "5"),
        (0.95, "95"),
        (0.997, "99.7"),
        (1.0, "above 99.9"),
        (1e-9, "below 0.1"),
    ):
        assert decided(replace(one, probability=chance))[1] == f"Probability {text}\u202f%, rule guarded, 95\u202f%."
    told = decisions_told(Decisions(None, Decision(GUARDED, Verdict.UNDECIDED)))
    assert told == ("As left, by the decision rule: undecided. No uncertainty is known, rule guarded, 95\u202f%.",)
    assert decisions_told(NO_DECISIONS) == ()


def test_a_covariance_comes_back_as_it_was_kept() -> None:
    assert covariance_of([list(row) for row in SURE]) == SURE
    assert covariance_of(None) is None
