"""The subcommands verify, head, history and key, as they are typed."""

from __future__ import annotations

import hashlib
import json
import shutil
import socketserver
import stat
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from dashboard import cli
from dashboard.console.proving_package import tell_package
from dashboard.proofs import fault_words
from dashboard.words import WORDS, say
from models.commands.record_job import record_job
from models.commands.set_key import set_key
from models.ledger.checkpoint import Checkpoint, Note, read_note, read_notes, write_note
from models.ledger.findings import Fault, Finding
from models.ledger.keys import make_key, read_signer
from models.ledger.tree import Frontier
from models.settings import Settings
from models.store.engine import make_engine
from models.store.hand_over import Beside, beside, signed_since
from models.store.proofs import last_head, read_heads, read_keys
from models.store.verify import verify_book
from models.store.verify_package import Named, PackageSeen
from models.tables.every import STATE
from models.tables.proofs import StatementRow
from models.values.story import Site
from tests import seeded
from tests.conftest import NOW, make_site
from tests.kept_book import change, rows_of
from tests.recorder import job_of


@pytest.fixture
def written(settings: Settings, site: Site, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Settings:
    engine = make_engine(settings)
    seeded.seed(engine, site, tmp_path)
    engine.dispose()
    monkeypatch.setenv("DRIFTBOOK_KEY", str(settings.key_path.resolve()))
    monkeypatch.setenv("DRIFTBOOK_BOOK", settings.book)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("DRIFTBOOK_DEBUG", "1")
    return settings


def alter(settings: Settings) -> int:
    engine = make_engine(settings)
    with engine.connect().execution_options(write=True) as connection, connection.begin():
        job = rows_of(connection, "job")[1]
        change(connection, "job", job, found_offset_v=0.01)
    engine.dispose()
    return int(job["entry"])


def test_verify_says_what_is_intact_and_what_is_not(written: Settings, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["verify", "--strict"]) == 0
    assert "Nothing was changed since it was written" in capsys.readouterr().out
    assert cli.main(["head", "-o", "kept.txt"]) == 0
    assert cli.main(["head", "-o", "kept.txt"]) == 0
    assert "stands in kept.txt already" in capsys.readouterr().err
    assert len(read_notes(Path("kept.txt").read_text(encoding="utf-8"))) == 1
    assert cli.main(["key", "--set", "--why", "a year old"]) == 0
    assert "signs already" in capsys.readouterr().out
    entry = alter(written)
    assert cli.main(["verify", "--against", "kept.txt"]) == 1
    told = capsys.readouterr().out
    assert f"entry {entry}, job.found_offset_v: the row says ‘0.01’, the statement ‘0.12’" in told
    assert "The book still begins" in told
    assert cli.main(["verify", "--json", "--one-process"]) == 1
    found = json.loads(capsys.readouterr().out)
    assert found["findings"][0] | {"said": None} == {
        "fault": "value", "entry": entry, "table": "job", "column": "found_offset_v", "found": "0.01", "said": None, "upto": None,
    }  # fmt: skip
    assert (found["fits"], found["entries"] - found["intact"]) == (False, 1)


def test_a_head_is_taken_in_every_form_and_from_the_input(
    written: Settings, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    import io

    assert cli.main(["head"]) == 0
    note = capsys.readouterr().out
    assert cli.main(["head", "--line"]) == 0
    line = capsys.readouterr().out
    assert line.count("\n") == 1
    for text in (note, line, note.replace("\n", "\r\n")):
        monkeypatch.setattr(sys, "stdin", io.StringIO(text))
        assert cli.main(["verify", "--against", "-"]) == 0
    assert "as the head of" in capsys.readouterr().out
    monkeypatch.setattr(sys, "stdin", io.StringIO(note + "— witness.example/w AAAAAAAA\n"))
    assert cli.main(["verify", "--against", "-"]) == 0
    assert "still begins" in capsys.readouterr().out
    origin = note.splitlines()[0]
    monkeypatch.setattr(sys, "stdin", io.StringIO(f"{note}— {origin} AAAAAAAA\n"))
    assert cli.main(["verify", "--against", "-"]) == 1
    told = capsys.readouterr().out
    assert "signature under that head is not that of its key" in told
    assert "does NOT begin" not in told
    Path("odd.txt").write_text("no head\n", encoding="utf-8")
    for words, told in ((["--against", "odd.txt"], "holds no head"), (["--against", "none.txt"], "cannot be read"),
                        (["--public-key", "12"], "no public key")):  # fmt: skip
        assert cli.main(["verify", *words]) == 2
        assert told in capsys.readouterr().err
    assert cli.main(["verify", "--public-key", "00" * 32]) == 1
    del written


def test_a_file_takes_the_heads_of_one_book_only(
    sqlite_book: Settings, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    make_site(sqlite_book)
    heads = tmp_path / "heads.txt"
    heads.write_text(write_note(Checkpoint("driftbook/another", 7, bytes(32)), None, None), encoding="utf-8")
    before = heads.read_bytes()
    assert cli.main(["head", "-o", str(heads), "--book", sqlite_book.book]) == 2
    told = capsys.readouterr().err
    assert f"{heads} holds heads of another book (driftbook/another); this is driftbook/" in told
    assert heads.read_bytes() == before
    new = tmp_path / "elsewhere" / "heads.txt"  # a scheduler names it before anybody has made the folder
    assert cli.main(["head", "-o", str(new), "--book", sqlite_book.book]) == 0
    assert new.read_text(encoding="utf-8") == capsys.readouterr().out


def test_keys_are_shown_and_set(
    written: Settings, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DRIFTBOOK_KEY", "other.key")
    assert cli.main(["key", "--set"]) == 2
    assert "needs a reason" in capsys.readouterr().err
    assert cli.main(["key", "--why", "the old one was lost"]) == 2, "who gives a reason believes that a key is set"
    assert 'driftbook key --set --why "…"' in capsys.readouterr().err
    assert cli.main(["key", "--old-key", "book.key"]) == 2, "who names an old key believes that a key is set"
    assert cli.main(["head", "-o", "before.txt"]) == 0
    Path("heads.txt").write_bytes(Path("before.txt").read_bytes())
    capsys.readouterr()
    assert cli.main(["key", "--set", "--why", "the old one was lost", "--by", "Ana Wick"]) == 0
    told = capsys.readouterr().out
    assert (told.count("Key since entry"), "driftbook head -o FILE" in told) == (2, True)
    assert (told.count("NOT handed over"), "by another way" in told) == (1, True)
    assert cli.main(["key"]) == 0
    told = capsys.readouterr().out
    assert (told.count("Key since entry"), "driftbook head -o FILE" in told) == (2, False)
    assert cli.main(["verify", "--strict"]) == 0
    # Nobody vouches for it, beside a head of before: whoever can change the database could have done this.
    capsys.readouterr()
    assert cli.main(["verify", "--against", "before.txt", "--json"]) == 1
    found = json.loads(capsys.readouterr().out)
    assert found["counts"] == {"key not vouched for": 1}
    second = found["keys"][-1]
    assert (second["handed_over"], second["entry"]) == (False, found["findings"][0]["entry"])
    assert cli.main(["verify", "--against", "before.txt", "--public-key", second["public_key"]]) == 0
    assert cli.main(["head", "-o", "heads.txt"]) == 0
    assert "ANOTHER KEY" in capsys.readouterr().err
    assert cli.main(["verify", "--against", "heads.txt"]) == 0
    # A key that is at hand hands over, and only the one that signs so far can.
    monkeypatch.setenv("DRIFTBOOK_KEY", "third.key")
    for old in (written.key_path.name, "none.key", "heads.txt"):
        assert cli.main(["key", "--set", "--why", "a copy was made", "--old-key", old]) == 2, old
        told = capsys.readouterr().err
        assert ("nothing was written" in told, "--old-key FILE" in told, "or set another key" in told) == (
            True,
            True,
            False,
        )
    with monkeypatch.context() as unmoved:
        unmoved.setenv("DRIFTBOOK_KEY", "other.key")
        assert cli.main(["key", "--set", "--why", "leaked", "--old-key", "other.key"]) == 2
        assert "other.key belongs to the book" in capsys.readouterr().err
    assert cli.main(["key", "--set", "--why", "a copy was made", "--old-key", "other.key"]) == 0
    told = capsys.readouterr().out
    assert (told.count("(handed over by"), "did not sign" in told) == (1, False)
    assert cli.main(["verify", "--against", "heads.txt"]) == 0
    assert cli.main(["head", "-o", "heads.txt"]) == 0
    assert "ANOTHER KEY" not in capsys.readouterr().err
    # The key that was lost is found again: the head that it signed knows it, and what is open is said.
    shutil.copy("before.txt", "lost.txt")
    with monkeypatch.context() as found_again:
        found_again.setenv("DRIFTBOOK_KEY", written.key_path.name)
        assert cli.main(["key", "--set", "--why", "found again"]) == 0
        assert "This key signed before." in capsys.readouterr().out
        assert cli.main(["verify", "--against", "before.txt", "--json"]) == 0
        assert [one["known_again"] for one in json.loads(capsys.readouterr().out)["keys"]] == [
            False,
            False,
            False,
            True,
        ]
        assert cli.main(["verify", "--against", "before.txt"]) == 0
        assert "they can have named it again" in capsys.readouterr().out
        assert cli.main(["verify", "--against", "heads.txt"]) == 1, "from after it was replaced no head knows it"
        assert "had a copy of it" in capsys.readouterr().out
        assert cli.main(["head", "-o", "heads.txt"]) == 0
        assert "names ANOTHER KEY" in capsys.readouterr().err
        assert cli.main(["head", "-o", "lost.txt"]) == 0
        told = capsys.readouterr().err
        assert ("ANOTHER KEY" in told, "they can have named it again" in told) == (False, True)
    make_site(written, name="Second Yard")
    assert cli.main(["key"]) == 0, "the keys are those of the book, whatever sites it has"


def test_a_key_is_replaced_while_others_write_and_every_head_is_signed(
    sqlite_book: Settings, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    site = make_site(sqlite_book)
    make_site(sqlite_book, name="Second Yard")
    sqlite_book.key_path.chmod(0o640)
    engine, held, old = make_engine(sqlite_book), sqlite_book.key_path.read_bytes(), tmp_path / "old.key"
    set_it = ["key", "--set", "--why", "a copy was made", "--old-key", str(old), "--book", sqlite_book.book]
    seeded.seed(engine, site, tmp_path)
    assert cli.main(["head", "-o", "heads.txt", "--book", sqlite_book.book]) == 0
    for twice in (False, True):
        with monkeypatch.context() as broken:
            if not twice:  # the process ends between the change of the file and the commit

                def ends(_folder: Path) -> None:
                    raise KeyboardInterrupt

                broken.setattr("models.commands.set_key.settle_names", ends)
            assert cli.main(set_it) == (0 if twice else 130)
        assert (old.read_bytes(), stat.S_IMODE(old.stat().st_mode)) == (held, 0o600)
        assert sqlite_book.key_path.read_bytes() != held
    assert f"The old key lies in {old}" in capsys.readouterr().out
    assert stat.S_IMODE(sqlite_book.key_path.stat().st_mode) == 0o640, "whoever signed goes on signing"
    old.rename(tmp_path / "first.key")
    set_it[set_it.index(str(old))] = f"{sqlite_book.key_path}.new"
    ends_of: list[int] = []
    second = threading.Thread(target=lambda: ends_of.append(cli.main(set_it)))

    def meanwhile(_folder: Path) -> None:
        second.start()
        second.join(0.3)

    with monkeypatch.context() as two:  # somebody else types it too, after the change of the file and before the commit
        two.setattr("models.commands.set_key.settle_names", meanwhile)
        assert cli.main(set_it) == 0, "a third one, with the servers as they are"
        second.join()
    assert (ends_of, capsys.readouterr().out.count("(handed over by")) == ([2], 2), "each key is named once"
    record_job(engine, site, replace(job_of(0, 500), tag="P-1"), by="tester", now=NOW, bolts_tight=True)
    engine.dispose()
    assert sorted(tmp_path.glob("**/.*.key.*")) == []
    assert cli.main(["verify", "--strict", "--against", "heads.txt", "--book", sqlite_book.book]) == 0


def test_a_head_is_held_against_the_heads_that_are_kept(sqlite_book: Settings, tmp_path: Path) -> None:
    """Whoever can change the database chooses of how many entries a book of theirs is; and heads come without signatures too."""
    site = make_site(sqlite_book)
    copy = replace(sqlite_book, book=str(tmp_path / "copy.db"), key=tmp_path / "copy.key")
    shutil.copy(sqlite_book.book, copy.book)
    make_site(sqlite_book, name="Second Yard")
    assert set_key(copy, site.site_id, by="somebody", now=NOW, why="a stranger's", old=None)

    def looked(settings: Settings, *kept: Note) -> Beside:
        engine = make_engine(settings)
        with engine.connect() as connection:
            head = last_head(connection)
            assert head is not None
            seen = beside(connection, head, kept)
        engine.dispose()
        return seen

    def notes(settings: Settings) -> list[Note]:
        engine = make_engine(settings)
        with engine.connect() as connection:
            found = [read_note(one.note) for one in read_heads(connection)]
        engine.dispose()
        return found

    true, own = notes(sqlite_book), notes(copy)
    named, last = own[0].checkpoint.size, true[0].checkpoint.size
    common = next(one for one in true if one.checkpoint.size < named)
    at = common.checkpoint.size
    assert last > named
    assert looked(sqlite_book, *true) == Beside(None, None, None, None, (), first=False, size=last)
    seen = looked(copy, common, true[0])
    assert (seen.ahead, seen.other, seen.signer, seen.key and seen.key.entry, seen.size) == (
        last,
        None,
        None,
        named,
        at,
    )
    forked = Checkpoint(true[0].checkpoint.origin, named, bytes(32))
    seen = looked(copy, common, Note(forked, ()))
    assert (seen.ahead, seen.other, seen.key and seen.key.entry, seen.size) == (None, named, named, at)
    seen = looked(copy, Note(common.checkpoint, ()))
    assert (seen.signer, seen.key and seen.key.entry, seen.first) == (None, named, False)
    # The head that names the key without a signature was told: the first that bears one is told once more.
    bare = Note(own[0].checkpoint, ())
    assert (looked(copy, bare).key, looked(copy, common, bare).size) == (None, at)
    assert looked(copy, common, *own).key is None
    stranger = replace(common, signatures=tuple((name, hint, bytes(64)) for name, hint, _ in common.signatures))
    assert looked(copy, stranger).signer == at
    # At a size at which the book kept no head its leaves give the root.
    engine = make_engine(sqlite_book)
    with engine.connect() as connection:
        sizes = {one.checkpoint.size for one in true}
        lone = next(size for size in range(1, last) if size not in sizes)
        tree = Frontier()
        s = StatementRow
        tree.extend(connection.scalars(sa.select(s.leaf).where(s.entry <= lone).order_by(s.entry)).all())
    engine.dispose()
    assert looked(sqlite_book, Note(Checkpoint(forked.origin, lone, tree.root()), ())).other is None
    assert looked(sqlite_book, Note(Checkpoint(forked.origin, lone, bytes(32)), ())).other == lone


@pytest.mark.parametrize("signed", ["since", "by another", "before"])
def test_a_known_key_that_is_named_again_is_known_only_where_it_signed_since(
    signed: str, sqlite_book: Settings, tmp_path: Path
) -> None:
    """Whoever can change the database can name any key again, and put any signature beside it that they have."""
    site = make_site(sqlite_book)
    stranger = replace(sqlite_book, key=tmp_path / "stranger.key")
    for settings in (stranger, sqlite_book):
        assert set_key(settings, site.site_id, by="somebody", now=NOW, why="another", old=None)
    make_site(sqlite_book, name="Second Yard")
    engine = make_engine(sqlite_book)
    with engine.connect().execution_options(write=True) as connection, connection.begin():
        first, other, again = keys = read_keys(connection)
        heads = rows_of(connection, "tree_head")
        early = [row for row in heads if row["key_entry"] == first.entry]
        late = [row for row in heads if row["key_entry"] == again.entry]
        assert [one.entry for one in keys] == sorted({row["key_entry"] for row in heads if row["key_entry"]})
        for row in late if signed != "since" else ():
            change(connection, "tree_head", row, signature=bytes(64) if signed == "by another" else None)
        if signed == "before":
            change(connection, "tree_head", early[-1], key_entry=again.entry)
        assert signed_since(connection, keys, frozenset()) == ({again.entry} if signed == "since" else frozenset())
        head = last_head(connection)
        assert head is not None
        kept = Note(Checkpoint(first.origin, early[0]["size"], bytes(early[0]["root"])), ())
        seen = beside(connection, head, [kept])
        told = (None, [(again.entry, other.entry)]) if signed == "since" else (other.entry, [])
        assert (seen.key and seen.key.entry, [tuple(key.entry for key in pair) for pair in seen.again]) == told
    engine.dispose()


def test_a_head_signed_by_the_key_before_the_one_in_force_is_told(sqlite_book: Settings, tmp_path: Path) -> None:
    """A key that was replaced signs nothing any more: whoever holds an old copy of it could."""
    site = make_site(sqlite_book)
    second = replace(sqlite_book, key=tmp_path / "second.key")
    assert set_key(second, site.site_id, by="somebody", now=NOW, why="old", old=sqlite_book.key_path)
    replaced = read_signer(sqlite_book.key_path)
    assert replaced is not None
    engine = make_engine(second)
    with engine.connect() as connection:
        head = last_head(connection)
        assert head is not None
        true = read_note(head.note)
        body = Checkpoint(head.origin, head.size, true.checkpoint.root)
        forged = read_note(write_note(body, replaced.public_key, replaced.sign(body.body.encode())))
        assert [beside(connection, head, [one]).signer for one in (true, forged)] == [None, head.size]
    engine.dispose()


def test_a_file_of_heads_that_is_ahead_of_the_book_is_told(
    written: Settings, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["head", "-o", "heads.txt"]) == 0
    origin = read_note(capsys.readouterr().out).checkpoint.origin
    with Path("heads.txt").open("a", encoding="utf-8") as file:
        file.write(write_note(Checkpoint(origin, 999, bytes(32)), None, None))
    assert cli.main(["head", "-o", "heads.txt"]) == 0
    told = capsys.readouterr().err
    assert ("stands in heads.txt already" in told, "holds a head of 999 entries, and this book has only" in told) == (
        True,
        True,
    )
    del written


@pytest.mark.parametrize("state", ["right", "missing", "of another book"])
def test_every_command_says_whether_the_key_file_is_that_of_the_book(
    state: str, sqlite_book: Settings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:  # fmt: skip
    make_site(sqlite_book)
    key = tmp_path / "named.key"
    if state == "right":
        key.write_bytes(sqlite_book.key_path.read_bytes())
    elif state == "of another book":
        make_key(key)
    monkeypatch.setenv("DRIFTBOOK_BOOK", sqlite_book.book)
    monkeypatch.setenv("DRIFTBOOK_KEY", str(key))
    monkeypatch.chdir(tmp_path)
    told = {"right": f"{key} is the key of this book", "missing": f"The key file {key} is not there.",
            "of another book": f"The key file {key} is not the key that entry 3 names."}  # fmt: skip
    for words in (["key"], ["verify"], ["backup", "copy.db"], ["restore", "copy.db", "--book", "again.db"]):
        assert cli.main(words) == 0
        said = capsys.readouterr()
        assert [state for state, text in told.items() if text in said.out] == [state], words
        assert ("may be the key of another book" in said.out) == (state == "of another book" and words[0] != "backup")
        assert said.err == "", "nobody keeps a log here"
    assert cli.main(["verify", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["key_file"]["is_the_key"] is (state == "right")


@pytest.mark.parametrize(
    ("how", "opens"),
    [
        ("DELETE FROM alembic_version", True),
        ("DROP TABLE alembic_version", True),
        ("INSERT INTO alembic_version VALUES ('0001_core')", True),
        ("UPDATE alembic_version SET version_num = '0001_core'", False),
    ],
)
def test_a_mark_of_the_revision_that_was_taken_out_or_changed_is_told(
    settings: Settings, how: str, opens: bool, capsys: pytest.CaptureFixture[str]
) -> None:
    site = make_site(settings)
    engine = make_engine(settings)
    with engine.connect().execution_options(write=True) as connection, connection.begin():
        connection.exec_driver_sql(how)
    with engine.connect() as connection:
        assert verify_book(connection).tally.counts[Fault.REVISION] == 1
    engine.dispose()
    if opens:
        assert cli.main(["verify", "--one-process", "--book", settings.book]) == 1
        assert "the mark of the revision is" in capsys.readouterr().out
    if "VALUES" in how:
        return
    for words in (["study"], ["limits"], ["upgrade"], ["init", "--site", "Other", "--zone", site.zone]):
        if opens:  # a book is there, and none is to be made in its place
            assert cli.main([*words, "--book", settings.book]) == 2, words
            assert "bears no mark of its revision" in capsys.readouterr().err


def test_closing_words_name_all_that_no_statement_says() -> None:
    """A table of secrets and the like that is added is named too, or verify would seem to speak for it."""
    words = {
        "sign_in": "log of sign-ins", "credential": "passwords", "login_session": "sessions", "api_token": "tokens",
        "calendar_address": "secret addresses", "answered_request": "answers that are kept for requests",
    }  # fmt: skip
    assert set(words) == {mapped.__tablename__ for mapped in STATE}
    assert [word for word in words.values() if word not in say("verify.covers")] == []


def test_a_package_is_written_and_checks_itself(
    written: Settings, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert cli.main(["head", "-o", "kept.txt"]) == 0
    assert cli.main(["history", "P-1", "--package", "p.zip", "--kept", "kept.txt", "--no-pdf"]) == 0
    from models.ledger import package_verifier

    Path("verify.py").write_bytes(package_verifier.files_of(Path("p.zip").read_bytes())["verify.py"])
    done = subprocess.run(
        [sys.executable, "-I", "-S", "verify.py", "p.zip", "--head", "kept.txt"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "NOT signed" not in capsys.readouterr().out
    with monkeypatch.context() as without:
        without.setenv("DRIFTBOOK_KEY", "nowhere.key")
        assert cli.main(["history", "P-1", "--package", "bare.zip", "--no-pdf"]) == 0
    assert "NOT signed" in capsys.readouterr().out
    capsys.readouterr()
    assert cli.main(["verify", "--package", "p.zip", "--one-process"]) == 0
    assert "leaves nothing out" in capsys.readouterr().out
    files = package_verifier.files_of(Path("p.zip").read_bytes())
    left = {name: files[name].splitlines(keepends=True)[:-1] for name in ("statements.jsonl", "proofs.jsonl")}
    left["jobs.csv"] = [package_verifier.jobs_csv(map(package_verifier.parsed, left["statements.jsonl"]))]
    files |= {name: b"".join(lines) for name, lines in left.items()}
    listed = json.loads(files["manifest.txt"].split(b"\n")[1])
    listed["entries"] = [json.loads(line)["number"] for line in left["statements.jsonl"]]
    listed["files"] |= {name: hashlib.sha256(files[name]).hexdigest() for name in left}
    files["manifest.txt"] = f"{package_verifier.FORMAT}\n{json.dumps(listed)}\n\n".encode()
    Path("less.zip").write_bytes(package_verifier.archive_of(files.items()))
    assert not package_verifier.check(Path("less.zip").read_bytes()).unsigned[1:], "all but the list fits in itself"
    assert cli.main(["verify", "--package", "less.zip", "--one-process"]) == 1
    told = capsys.readouterr().out
    assert "It LEAVES OUT" in told
    assert ": job recorded, by " in told
    assert "Another version of driftbook" not in told
    files["verify.py"] += b"# of before\n"
    listed["files"]["verify.py"] = hashlib.sha256(files["verify.py"]).hexdigest()
    files["manifest.txt"] = f"{package_verifier.FORMAT}\n{json.dumps(listed)}\n\n".encode()
    Path("older.zip").write_bytes(package_verifier.archive_of(files.items()))
    assert cli.main(["verify", "--package", "older.zip", "--one-process"]) == 1, "it is still short of entries"
    told = capsys.readouterr().out
    assert told.count("Another version of driftbook made it") == 1
    assert told.index("It LEAVES OUT") < told.index("Another version")
    strange = (Named(7, "job recorded", "Cleo Marsh"),)
    for whole in (
        PackageSeen("P-1", root_fits=True, other_version=True),
        PackageSeen(strange=strange, other_version=True),
    ):
        tell_package("whole.zip", whole)
        assert "Another version" not in capsys.readouterr().out, "it says why entries may be missing, and none is"
    assert cli.main(["verify", "--package", "less.zip", "--one-process", "--json"]) == 1
    said = json.loads(capsys.readouterr().out)
    assert said["fits"], "the book is whole"
    assert not said["package"]["fits"]
    assert "job recorded" in {one["kind"] for one in said["package"]["left_out"]}
    Path("broken.zip").write_bytes(Path("p.zip").read_bytes()[:-1])
    assert cli.main(["verify", "--package", "broken.zip", "--one-process"]) == 1
    assert "broken.zip DOES NOT FIT" in capsys.readouterr().out
    assert cli.main(["verify", "--package", "none.zip"]) == 2
    assert cli.main(["history", "P-77", "--package", "q.zip"]) == 2
    assert not Path("q.zip").exists()
    alter(written)
    assert cli.main(["history", "P-1", "--package", "q.zip"]) == 2
    assert "the book was altered" in capsys.readouterr().err


@contextmanager
def mail_server(taken: list[bytes]) -> Iterator[int]:
    """Take one message as a mail server does (RFC 5321), without encryption: it never leaves this machine."""

    class Session(socketserver.StreamRequestHandler):
        def handle(self) -> None:
            self.wfile.write(b"220 here\r\n")
            data = False
            for line in self.rfile:
                if data:
                    data = line != b".\r\n"
                    taken.append(line)
                    if not data:
                        self.wfile.write(b"250 taken\r\n")
                    continue
                word = line[:4].upper()
                data = word == b"DATA"
                self.wfile.write(b"354 go on\r\n" if data else b"221 bye\r\n" if word == b"QUIT" else b"250 yes\r\n")
                if word == b"QUIT":
                    return

    with socketserver.TCPServer(("127.0.0.1", 0), Session) as server:
        worker = threading.Thread(target=server.serve_forever, daemon=True)
        worker.start()
        yield server.server_address[1]
        server.shutdown()
        worker.join()


def test_a_head_goes_out_by_mail(written: Settings, capsys: pytest.CaptureFixture[str]) -> None:
    import email
    import email.policy

    taken: list[bytes] = []
    with mail_server(taken) as port:
        words = ["head", "--mail", "audit@example.org", "--smtp", f"127.0.0.1:{port}", "--from", "book@example.org"]
        assert cli.main([*words, "--security", "none"]) == 0
    note = capsys.readouterr().out
    message: Any = email.message_from_bytes(b"".join(taken[:-1]), policy=email.policy.default)
    assert message["To"] == "audit@example.org"
    attached = next(iter(message.iter_attachments()))
    assert attached.get_content_type() == "text/plain"
    assert attached.get_content() == note
    assert note.split("\n")[2] in message.get_body().get_content()
    del written


@pytest.mark.parametrize("fault", Fault)
def test_every_fault_has_its_words(fault: Fault) -> None:
    assert fault_words(Finding(fault, 7, upto=7))
    told = fault_words(Finding(fault, 7, "job", "notes", "a", "b", 9))
    assert "{" not in told
    assert any(part in told for part in ("7", "job", "a", "b"))
    assert fault_words(Finding(fault))
    assert f"fault.{fault}" in WORDS


def test_a_book_without_a_head_says_so(settings: Settings, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["head", "--book", settings.book]) == 2
    assert "no head yet" in capsys.readouterr().err
    assert cli.main(["verify", "--book", settings.book]) == 0
