"""Many sites: files of columns are exact, and any number of workers gives the same numbers bit for bit."""

from __future__ import annotations

import errno
import itertools
import json
import os
from collections.abc import Callable
from dataclasses import fields, replace
from pathlib import Path
from shutil import rmtree
from typing import Any

import numpy as np
import pytest

from dashboard.cli import main
from dashboard.console import grouping
from dashboard.console.grouping import study_site, study_sites
from models.commands.amend_job import void_job
from models.errors import DriftbookError, NotWrittenError, UnreadableFileError
from models.history.columns import History
from models.history.conformal import LEVELS
from models.history.engine import study_of
from models.history.group import Group, group_of, summary_of
from models.settings import Settings
from models.store import column_files
from models.store.column_files import SITE_FILE, read_columns, sites_in, write_columns
from models.store.engine import make_engine
from tests.conftest import NOW
from tests.fleet import Plan, make_fleet
from tests.record_book import open_book

SITES = 10


def same(one: History, other: History) -> None:
    assert (one.head, one.zone, one.people, one.instruments) == (
        other.head,
        other.zone,
        other.people,
        other.instruments,
    )
    for part in ("jobs", "breaks", "assets"):
        mine, theirs = getattr(one, part), getattr(other, part)
        for field in fields(mine):
            a, b = getattr(mine, field.name), getattr(theirs, field.name)
            assert (a.dtype, a.shape) == (b.dtype, b.shape)
            if a.dtype == object:
                assert a.tolist() == b.tolist()
            else:
                np.testing.assert_array_equal(a, b)


@pytest.fixture(scope="module")
def histories() -> dict[str, History]:
    return {f"site-{n:02d}": make_fleet(100 + n, Plan(assets=100))[0] for n in range(SITES)}


@pytest.fixture(scope="module")
def folder(histories: dict[str, History], tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("columns")
    for code, history in histories.items():
        write_columns(history, code, place)
    return place


@pytest.fixture(scope="module")
def alone(folder: Path) -> Group:
    return study_sites(sites_in(folder))


def test_columns_come_back_bit_for_bit(histories: dict[str, History], folder: Path) -> None:
    assert [place.name for place in sites_in(folder)] == sorted(histories)
    for place in sites_in(folder):
        code, history = read_columns(place)
        same(history, histories[code])


def test_two_worker_processes_give_the_numbers_of_one(
    histories: dict[str, History], folder: Path, alone: Group
) -> None:
    first = next(iter(histories))
    assert repr(summary_of(first, histories[first], study_of(histories[first]))) == repr(alone.sites[0])
    by_two = study_sites(sites_in(folder), workers=2)
    assert repr(by_two) == repr(alone)
    # Sites in another order say the same together.
    assert repr(group_of(list(reversed(alone.sites)))) == repr(alone)


def test_the_group_is_the_sum_of_its_sites(histories: dict[str, History], alone: Group) -> None:
    """Recounted over all jobs as if they were one plant's; the mean rate by the formula of DerSimonian and Laird."""
    group = alone
    ratio = np.concatenate([history.jobs.found_ratio for history in histories.values()])
    assert sum(one.judged for one in group.classes) == int(np.sum(~np.isnan(ratio)))
    assert sum(one.over for one in group.classes) == int(np.sum(ratio > 1.0))
    assert group.jobs == sum(len(history.jobs) for history in histories.values())
    machines = np.concatenate([history.assets.speed_class for history in histories.values()])
    assert [one.machines for one in group.classes] == np.bincount(machines, minlength=len(group.classes)).tolist()
    studies = [study_of(history) for history in histories.values()]
    assert group.years == pytest.approx(sum(one.return_counts.years.sum() for one in studies), rel=1e-12)
    assert 0 < group.returned < group.looked
    # At the end of everything, of the intervals of 80 % alone.
    eighty = [(one.backtest.coverage[-1, LEVELS.index(0.8)], one.backtest.intervals[-1]) for one in studies]
    assert group.held == pytest.approx(sum(share * n for share, n in eighty if n), rel=1e-12)
    assert group.tested == sum(n for _, n in eighty)
    place = max(range(len(group.classes)), key=lambda n: len(group.classes[n].rate) and group.classes[n].machines)
    known = [site.classes[place] for site in group.sites if site.classes[place].rate]
    assert len(known) > 1, "the made sites must have a class that several of them know"
    y, v = np.array([[one.rate[0], one.rate_variance[0]] for one in known]).T
    w = 1 / v
    q = float((w * (y - (w * y).sum() / w.sum()) ** 2).sum())
    tau2 = max(0.0, (q - (len(y) - 1)) / (w.sum() - (w**2).sum() / w.sum()))
    w = 1 / (v + tau2)
    assert group.classes[place].rate[0] == pytest.approx((w * y).sum() / w.sum(), rel=1e-12)
    assert group.classes[place].rate_se[0] == pytest.approx(w.sum() ** -0.5, rel=1e-12)


def test_a_half_written_site_is_not_read_and_not_left_out(histories: dict[str, History], tmp_path: Path) -> None:
    place = write_columns(histories["site-00"], "site-00", tmp_path)
    jobs = next(place.glob("jobs-*.parquet"))
    jobs.write_bytes(jobs.read_bytes()[:200])
    with pytest.raises(UnreadableFileError, match="no whole export"):
        study_site(place)
    write_columns(histories["site-01"], "site-01", tmp_path)
    (tmp_path / "notes").mkdir()
    (place / SITE_FILE).rename(place / "site.part")
    for jobs_too in (True, False):
        with pytest.raises(UnreadableFileError, match="site-00: no whole export") as told:
            sites_in(tmp_path)
        assert "site-01" not in told.value.message
        if jobs_too:
            for path in place.glob("*.parquet"):
                path.unlink()
    assert main(["group", str(tmp_path)]) == 2


def test_a_site_of_another_book_or_of_a_later_state_keeps_its_place(
    histories: dict[str, History], tmp_path: Path
) -> None:
    first, second = histories["site-00"], histories["site-01"]
    place = write_columns(first, "quay", tmp_path, book="aa")
    with pytest.raises(NotWrittenError, match="a site of another book"):
        write_columns(second, "quay", tmp_path, book="bb")
    same(read_columns(place)[1], first)
    with pytest.raises(NotWrittenError, match=f"up to {first.head}, and this copy of it ends at {first.head - 1}"):
        write_columns(replace(first, head=first.head - 1), "quay", tmp_path, book="aa")
    write_columns(replace(first, head=first.head + 1), "quay", tmp_path, book="aa")
    assert read_columns(place)[1].head == first.head + 1


def test_a_copy_of_the_book_that_went_another_way_does_not_take_the_place(
    sqlite_book: Settings, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other, folder = tmp_path / "other.db", tmp_path / "columns"
    with open_book(sqlite_book, tmp_path) as book:
        engine, entry = book.reader.engine, book.story().standing[0].entry
        assert main(["backup", str(other), "--book", sqlite_book.book]) == 0
        void_job(engine, book.site, entry, by="Ana Wick", now=NOW, why="never done")
        assert main(["columns", str(folder), "--book", sqlite_book.book]) == 0
        (place,) = sites_in(folder)
        true = read_columns(place)[1]
        copy = make_engine(Settings(book=str(other)))
        for one in (entry, entry + 1):  # as far as the book, with another last entry, and further
            void_job(copy, book.site, one, by="Bo Tarn", now=NOW, why="to practise")
            assert main(["columns", str(folder), "--book", str(other)]) == 2
            assert "of a copy of this book that went another way" in " ".join(capsys.readouterr().err.split())
            same(read_columns(place)[1], true)
        copy.dispose()
        void_job(engine, book.site, entry + 1, by="Ana Wick", now=NOW, why="never done")
        assert main(["columns", str(folder), "--book", sqlite_book.book]) == 0
        assert read_columns(place)[1].head == true.head + 1


def test_a_site_counts_once_and_books_with_one_code_lie_beside_each_other(
    histories: dict[str, History], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    one, other = histories["site-00"], histories["site-01"]
    write_columns(one, "quay", tmp_path / "north", book="aa")
    write_columns(other, "quay", tmp_path / "south", book="bb")
    both = study_sites(sites_in(tmp_path))
    assert (len(both.sites), both.jobs) == (2, len(one.jobs) + len(other.jobs))
    for book in ("aa", None):  # of the same book, and of one that cannot be known
        write_columns(one, "quay", tmp_path / "kept", book=book)
        assert main(["group", str(tmp_path)]) == 2
        assert "are exports of one site, quay: it would count twice" in " ".join(capsys.readouterr().err.split())
        rmtree(tmp_path / "kept")


class KilledError(BaseException):
    """The end of the process: nothing after it is done, no tidying either."""


def test_whenever_writing_is_killed_the_old_export_is_there_or_the_new_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    old, new = (make_fleet(seed, Plan(assets=seed))[0] for seed in (2, 3))
    monkeypatch.setattr(
        column_files.os, "fsync", lambda _handle: None
    )  # hundreds of them, of which the disk takes its time
    done, seen = False, set()
    for steps in itertools.count():
        place = write_columns(old, f"site-{steps}", tmp_path)
        with monkeypatch.context() as patched:
            left = [steps]
            for owner, name in (
                (column_files, "_write"), (column_files, "_settle"), (column_files, "settle_names"), (Path, "write_text"), (Path, "replace"),
                (Path, "unlink"),
            ):  # fmt: skip
                patched.setattr(owner, name, _until_killed(getattr(owner, name), left))
            try:
                write_columns(new, place.name, tmp_path)
                done = True
            except KilledError:
                pass
        found = read_columns(place)[1]
        seen.add(len(found.jobs))
        same(found, new if len(found.jobs) == len(new.jobs) else old)
        if done:
            break
    assert steps > 14
    assert seen == {len(old.jobs), len(new.jobs)}
    whole = 5  # three tables, their description, and the file by which one writes at a time
    assert len(list(place.iterdir())) == whole
    assert len(sites_in(tmp_path)) == steps + 1
    write_columns(old, "site-5", tmp_path)  # what lay about of the killed one goes
    assert len(list((tmp_path / "site-5").iterdir())) == whole


def test_one_writes_at_a_time_and_what_is_read_is_what_the_names_say(
    histories: dict[str, History], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A lock belongs to an opened file, so that a second one within this process is kept out as one of another is."""
    first, second = histories["site-00"], histories["site-01"]
    refused: list[str] = []

    def meanwhile(path: Path) -> None:
        monkeypatch.undo()
        with pytest.raises(NotWrittenError) as told:
            write_columns(second, "both", tmp_path)
        refused.append(told.value.message)
        assert path.exists()

    monkeypatch.setattr(column_files, "_settle", meanwhile)
    place = write_columns(first, "both", tmp_path)
    assert refused == [f"{place} is being written by another process just now."]
    same(read_columns(place)[1], first)
    assert len(list(write_columns(second, "both", tmp_path).iterdir())) == 5
    same(read_columns(place)[1], second)

    # A disk that knows no locks: parts have names of their own, and a table under the name of another is not read.
    monkeypatch.setattr("models.whole_files._lock", _knows_no_locks)
    parts: list[str] = []
    monkeypatch.setattr(column_files, "_settle", lambda path: parts.append(path.name))
    other = write_columns(first, "other", tmp_path)
    write_columns(first, "other", tmp_path)
    assert len(set(parts)) == len(parts) == 8
    next(other.glob("jobs-*.parquet")).replace(next(place.glob("jobs-*.parquet")))
    with pytest.raises(UnreadableFileError, match=r"jobs-[0-9a-f]+\.parquet does not hold what its name says"):
        read_columns(place)


def _knows_no_locks(_handle: int) -> None:
    raise OSError(errno.ENOLCK, os.strerror(errno.ENOLCK))


def test_what_the_description_names_stays_whatever_the_disk_says_then(
    histories: dict[str, History], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = write_columns(histories["site-00"], "one", tmp_path)
    asked: list[Path] = []

    def settle_names(folder: Path) -> None:
        asked.append(folder)
        if len(asked) == 2:
            raise OSError(errno.EIO, os.strerror(errno.EIO))

    monkeypatch.setattr(column_files, "settle_names", settle_names)
    with pytest.raises(OSError, match=os.strerror(errno.EIO)):
        write_columns(histories["site-01"], "one", tmp_path)
    same(read_columns(place)[1], histories["site-01"])


def _until_killed(does: Callable[..., Any], left: list[int]) -> Callable[..., Any]:
    def step(*given: Any, **named: Any) -> Any:
        if left[0] <= 0:
            raise KilledError
        left[0] -= 1
        return does(*given, **named)

    return step


def test_an_export_of_another_version_is_refused_and_names_are_held_against_what_they_may_be(
    histories: dict[str, History], tmp_path: Path
) -> None:
    place = write_columns(histories["site-00"], "site-00", tmp_path)
    said = json.loads((place / SITE_FILE).read_text(encoding="utf-8"))
    (place / SITE_FILE).write_text(json.dumps(said | {"format": 2}), encoding="utf-8")
    with pytest.raises(
        UnreadableFileError, match="form 2 by another version"
    ) as refused:  # its soft foot is another number
        read_columns(place)
    assert "driftbook columns" in refused.value.remedy
    said["files"] = {"jobs": "../jobs.parquet", "assets": "assets.parquet", "breaks": "breaks.parquet"}
    (place / SITE_FILE).write_text(json.dumps(said), encoding="utf-8")
    with pytest.raises(UnreadableFileError, match="none of ours"):
        read_columns(place)


def test_a_scheduler_that_does_not_answer_is_told(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(grouping, "WAIT", "1s")
    with pytest.raises(DriftbookError, match="No scheduler answers"):
        study_sites(sites_in(folder)[:1], scheduler="tcp://127.0.0.1:1")


def test_the_commands_say_it(
    alone: Group, folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(grouping, "study_sites", lambda *_places, **_how: alone)
    assert main(["group", str(folder), "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert len(said["sites"]) == SITES
    assert main(["group", str(folder)]) == 0
    assert "10 sites, 1,000 machines" in " ".join(capsys.readouterr().out.split())
    assert main(["group", str(tmp_path)]) == 2
    assert "driftbook columns" in capsys.readouterr().err
