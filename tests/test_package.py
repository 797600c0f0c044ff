"""The auditor's package: it verifies with nothing but Python, and no byte of it can be changed unnoticed."""

from __future__ import annotations

import ast
import base64
import csv
import io
import itertools
import json
import random
import subprocess
import sys
import zipfile
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any, NamedTuple

import hypothesis
import pytest
import sqlalchemy as sa
from hypothesis import given
from hypothesis import strategies as st

from dashboard.proofs import package_of
from dashboard.reports import makers
from models.commands.amend_job import void_job
from models.commands.record_job import record_job
from models.commands.set_key import set_key
from models.errors import AlteredBookError, UnknownNameError
from models.ledger import package_verifier as verifier
from models.ledger.canonical import number_text
from models.ledger.checkpoint import Checkpoint, key_hint, read_note, read_notes, write_line, write_note
from models.ledger.keys import Signer, make_key, read_signer
from models.ledger.proofs import Tree
from models.settings import Settings
from models.store.engine import make_engine
from models.store.known import sites
from models.store.package_entries import entries_of, job_versions, records_of
from models.store.proofs import read_heads
from models.store.reader import Reader
from models.store.sealing import BOUND, key_column
from models.store.verify_package import PackageSeen, look_at_package
from models.tables.every import metadata
from models.values.job import Job, Misalignment
from models.values.kinds import Reason
from models.values.story import Site
from tests.conftest import NOW
from tests.kept_book import change, look_past, make_kept_book, rows_of

ED25519 = json.loads((Path(__file__).parent / "published" / "rfc8032_ed25519.json").read_text())["vectors"]
SOURCE = Path(verifier.__file__)


@pytest.fixture
def book(settings: Settings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Settings:
    return make_kept_book(replace(settings, key=tmp_path / "first.key"), tmp_path, monkeypatch)


def make(book: Settings, tag: str = "P-1", **more: Any) -> bytes:
    engine = make_engine(book)
    try:
        with engine.connect() as connection:
            site = sites(connection)[0]
        return package_of(Reader(engine), site, tag, NOW, **more)
    finally:
        engine.dispose()


@pytest.fixture(scope="module")
def package(tmp_path_factory: pytest.TempPathFactory, sqlite_template: Path) -> tuple[bytes, Settings]:
    folder = tmp_path_factory.mktemp("package")
    path = folder / "book.db"
    path.write_bytes(sqlite_template.read_bytes())
    with pytest.MonkeyPatch.context() as monkeypatch:
        settings = make_kept_book(Settings(book=str(path), key=folder / "first.key"), folder, monkeypatch)
    return make(settings, pdf=False), settings


def run(python: str, folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """Run the verifier as an auditor does: alone in a folder, without site packages."""
    return subprocess.run(
        [python, "-I", "-S", "verify.py", *words], cwd=folder, capture_output=True, text=True, check=False, timeout=60
    )


def unpacked(data: bytes, folder: Path) -> dict[str, bytes]:
    (folder / "package.zip").write_bytes(data)
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        assert archive.testzip() is None
        files = {name: archive.read(name) for name in archive.namelist()}
    (folder / "verify.py").write_bytes(files["verify.py"])
    return files


def test_verifies_on_both_engines_with_nothing_but_python(book: Settings, tmp_path: Path) -> None:
    files = unpacked(make(book), tmp_path)
    done = run(sys.executable, tmp_path, "package.zip")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "It fits in itself. Nothing from elsewhere speaks for its key" in done.stdout
    assert " of the 35 are here, each word for word in its place" in done.stdout
    assert "NOT SIGNED" not in done.stdout
    assert set(files) == {
        "README.txt", "verify.py", "head.txt", "keys.txt", "statements.jsonl", "proofs.jsonl", "older_heads.jsonl",
        "jobs.csv", "manifest.txt", "history.pdf",
    }  # fmt: skip
    assert files["history.pdf"].startswith(b"%PDF")
    assert b"P-1" in files["README.txt"]


def test_verifier_is_old_python_and_standard_library_only() -> None:
    tree = ast.parse(SOURCE.read_text(encoding="utf-8"), feature_version=(3, 9))
    modules = {name.name for node in ast.walk(tree) if isinstance(node, ast.Import) for name in node.names}
    modules |= {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert {module.split(".")[0] for module in modules} <= set(sys.stdlib_module_names)


def test_every_flipped_byte_is_noticed(package: tuple[bytes, Settings]) -> None:
    """500 random flips of one byte to any other value, and each of the first and last bytes."""
    data, _ = package
    chance = random.Random(20261125)
    places = [(chance.randrange(len(data)), chance.randrange(1, 256)) for _ in range(500)]
    places += [(at, 1) for at in (*range(60), *range(len(data) - 200, len(data)))]
    for at, by in places:
        flipped = bytearray(data)
        flipped[at] ^= by
        with pytest.raises((verifier.RefusedError, ValueError, KeyError, TypeError)):
            verifier.check(bytes(flipped))


def test_flipped_bytes_are_noticed_by_the_verifier_as_it_is_run(
    package: tuple[bytes, Settings], tmp_path: Path
) -> None:
    data, _ = package
    unpacked(data, tmp_path)
    assert run(sys.executable, tmp_path, "package.zip").returncode == 0
    chance = random.Random(11)
    for _ in range(8):
        flipped = bytearray(data)
        flipped[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
        (tmp_path / "package.zip").write_bytes(flipped)
        done = run(sys.executable, tmp_path, "package.zip")
        assert done.returncode == 1
        assert "DOES NOT FIT" in done.stdout
        assert not done.stderr
    for cut in (0, 3, 40, len(data) - 1):
        (tmp_path / "package.zip").write_bytes(data[:cut])
        assert run(sys.executable, tmp_path, "package.zip").returncode == 1
    (tmp_path / "package.zip").write_bytes(data + b"\0")
    assert run(sys.executable, tmp_path, "package.zip").returncode == 1
    assert run(sys.executable, tmp_path, "missing.zip").returncode == 2


def rebuilt(data: bytes, **changed: bytes) -> bytes:
    """Do as a forger without the key: change files, and make list and archive fit, without a signature."""
    files = verifier.files_of(data)
    names = {"statements": "statements.jsonl", "jobs": "jobs.csv", "head": "head.txt", "keys": "keys.txt", "proofs": "proofs.jsonl",
             "readme": "README.txt", "older": "older_heads.jsonl"}  # fmt: skip
    files |= {names[name]: content for name, content in changed.items()}
    lines = files["manifest.txt"].decode().split("\n")
    listed = json.loads(lines[1])
    listed["files"] = {
        name: verifier.hashlib.sha256(one).hexdigest() for name, one in files.items() if name != "manifest.txt"
    }
    files["manifest.txt"] = f"{lines[0]}\n{json.dumps(listed)}\n\n".encode()
    return verifier.archive_of(files.items())


def test_forger_without_the_key_is_noticed(package: tuple[bytes, Settings]) -> None:
    data, _ = package
    files = verifier.files_of(data)
    said = files["statements.jsonl"].replace(b'"first"', b'"other"')
    assert said != files["statements.jsonl"]
    cases: dict[str, tuple[dict[str, bytes], str]] = {
        "a statement": ({"statements": said}, "is not in the tree of the head"),
        "a line left out": ({"statements": files["statements.jsonl"].split(b"\n", 1)[1]}, "one proof for each"),
        "the table": ({"jobs": files["jobs.csv"].replace(b"0.01", b"0.02", 1)}, "does not say what the statements say"),
        "the head": ({"head": files["head.txt"].replace(b"\n35\n", b"\n36\n")}, "not that of the book's key"),
        "a key": ({"keys": files["keys.txt"].replace(files["keys.txt"][-10:-1], b"000000000")}, "not that of the book's key"),
        "an older head": ({"older": files["older_heads.jsonl"].replace(b'"size":3,', b'"size":4,')}, "does not hold"),
        "the form": ({"statements": files["statements.jsonl"].replace(b'{"at_us"', b'{ "at_us"', 1)}, "canonical form"),
    }  # fmt: skip
    for what, (changed, told) in cases.items():
        with pytest.raises(verifier.RefusedError) as refused:
            verifier.check(rebuilt(data, **changed))
        assert told in str(refused.value), (what, refused.value)


def bare(note: bytes) -> bytes:
    """Take the signatures from a head."""
    return note.split(b"\n\n")[0] + b"\n\n"


def test_what_the_key_of_the_book_did_not_sign_does_not_pass(package: tuple[bytes, Settings], tmp_path: Path) -> None:
    """Who takes signatures away can exchange README and PDF, leave entries out, or make all entries anew."""
    data, settings = package
    assert not verifier.check(data).unsigned
    files = unpacked(data, tmp_path)
    key = verifier.in_force(verifier._keys(files["keys.txt"]), 35)
    assert key is not None
    engine = make_engine(settings)
    with engine.connect() as connection:
        heads = read_heads(connection)
    engine.dispose()
    (tmp_path / "all.txt").write_text(heads[0].note, encoding="utf-8")
    (tmp_path / "some.txt").write_text(heads[3].note, encoding="utf-8")
    (tmp_path / "package.zip").write_bytes(rebuilt(data, readme=b"nothing to see\n"))
    for words in ([], ["--head", "all.txt"], ["--key", key.digits.hex()]):
        done = run(sys.executable, tmp_path, "package.zip", *words)
        assert done.returncode == 1, done.stdout + done.stderr
        assert "Nothing vouches for README.txt, verify.py, nor that all entries" in done.stdout
        assert "NOT VOUCHED FOR" in done.stdout
        assert "Everything fits" not in done.stdout
    (tmp_path / "package.zip").write_bytes(rebuilt(data, head=bare(files["head.txt"])))
    for kept, told in (
        ([], "Nothing vouches for any entry here"),
        (["--head", "some.txt"], f"vouches for the entries up to {heads[3].size}, and nothing for the "),
        (["--head", "all.txt"], "The head that you kept vouches for the entries here."),
        (["--key", key.digits.hex()], "not signed by the key that you gave, but by none"),
    ):
        done = run(sys.executable, tmp_path, "package.zip", *kept)
        assert done.returncode == 1, done.stdout + done.stderr
        assert told in done.stdout
        assert "Everything fits" not in done.stdout


def test_a_key_that_was_replaced_signs_no_longer(package: tuple[bytes, Settings]) -> None:
    """The old key was copied, so another was named: neither a head nor a list of later entries may bear the old one's signature."""
    data, settings = package
    files = verifier.files_of(data)
    keys = verifier._keys(files["keys.txt"])
    old, new = (read_signer(Path(str(settings.key)).with_name(name)) for name in ("first.key", "second.key"))
    assert (verifier.in_force(keys, keys[-1].entry - 1), verifier.in_force(keys, 33)) == (keys[-2], keys[-1])
    assert [old.public_key, new.public_key] == [keys[-2].digits, keys[-1].digits]
    origin = verifier.head_of(files["head.txt"]).origin

    def listed(data: bytes, by: Signer) -> bytes:
        held = verifier.files_of(data)
        return verifier.archive_of((held | {"manifest.txt": signed(held["manifest.txt"][:-1], by, origin)}).items())

    forged = rebuilt(data, readme=b"nothing to see\n")
    assert not verifier.check(listed(forged, new)).unsigned
    with pytest.raises(
        verifier.RefusedError, match=f"the list of files is signed by key {old.public_key.hex()}, which was not"
    ):
        verifier.check(listed(forged, old), key=new.public_key)
    head = bare(files["head.txt"])[:-1]
    with pytest.raises(
        verifier.RefusedError, match=f"the head is signed by key .* the book's key is {new.public_key.hex()}"
    ):
        verifier.check(rebuilt(data, head=signed(head, old, origin)))
    with pytest.raises(verifier.RefusedError, match=f"by this package took its place with entry {keys[-1].entry}"):
        verifier.check(data, key=old.public_key)


def signed(body: bytes, by: Signer, origin: str) -> bytes:
    raw = base64.b64encode(key_hint(origin, by.public_key) + by.sign(body)).decode()
    return body + f"\n\u2014 {origin} {raw}\n".encode()


def forged(data: bytes, by: Signer | None, numbers: Callable[[list[int]], list[int]], other: bytes = b"") -> bytes:
    """Do as whoever holds a key: choose entries of a package, or of two, anew, make all files fit, and sign head and list."""
    files = verifier.files_of(data)
    head = verifier.head_of(files["head.txt"])
    lines = {}
    for some in (verifier.files_of(one) for one in (data, other) if one):
        parts = (some[name].splitlines(keepends=True) for name in ("statements.jsonl", "proofs.jsonl"))
        lines |= {json.loads(said)["number"]: (said, proof) for said, proof in zip(*parts, strict=True)}
    chosen = numbers(list(lines))
    files["statements.jsonl"], files["proofs.jsonl"] = (b"".join(lines[one][at] for one in chosen) for at in (0, 1))
    said = [verifier.parsed(lines[one][0]) for one in chosen]
    files["jobs.csv"] = verifier.jobs_csv(said)
    keys = [(one["number"], key["public_key"]) for one in said for key in one["rows"].get("book_key", [])]
    files["keys.txt"] = "".join(f"{number} {digits}\n" for number, digits in keys).encode()
    files["head.txt"] = head.body + b"\n" if by is None else signed(head.body, by, head.origin)
    listed = json.loads(files["manifest.txt"].split(b"\n")[1]) | {"entries": chosen}
    del files["manifest.txt"]
    listed["files"] = {name: verifier.hashlib.sha256(one).hexdigest() for name, one in files.items()}
    body = f"{verifier.FORMAT}\n{json.dumps(listed)}\n".encode()
    files["manifest.txt"] = body + b"\n" if by is None else signed(body, by, head.origin)
    return verifier.archive_of(files.items())


class Held(NamedTuple):
    """A package, both keys of its book with the entry that named the second, and all heads that somebody kept."""

    data: bytes
    old: Signer
    new: Signer
    named: int
    heads: list[verifier.Head]


@pytest.fixture(scope="module")
def held(package: tuple[bytes, Settings]) -> Held:
    data, settings = package
    old, new = (read_signer(Path(str(settings.key)).with_name(name)) for name in ("first.key", "second.key"))
    assert old is not None
    assert new is not None
    engine = make_engine(settings)
    with engine.connect() as connection:
        heads = verifier.heads_of("\n".join(one.note for one in read_heads(connection)).encode())
    engine.dispose()
    return Held(data, old, new, verifier._keys(verifier.files_of(data)["keys.txt"])[-1].entry, heads)


def without(*numbers: int) -> Callable[[list[int]], list[int]]:
    return lambda all_of_them: [one for one in all_of_them if one not in numbers]


def test_who_holds_a_replaced_key_cannot_hide_that_from_who_kept_a_head(
    held: Held, package: tuple[bytes, Settings]
) -> None:
    """The entry that replaced the key is left out, and an amendment with it: nothing in the package shows it."""
    last = max(number for number in json.loads(verifier.files_of(held.data)["manifest.txt"].split(b"\n")[1])["entries"])
    made = forged(held.data, held.old, without(held.named, last))
    alone = verifier.check(made)
    assert not alone.known
    assert any("Anybody can make this whole package" in line for line in alone.open)
    with pytest.raises(verifier.RefusedError, match="not signed by the key that you gave"):
        verifier.check(made, key=held.new.public_key)
    after = [one for one in held.heads if one.size >= held.named]
    before = [one for one in held.heads if one.size < held.named and one.signatures]
    assert len(after) > 1
    assert len(before) > 1
    for kept in ([after[0]], [after[-1]], held.heads, [before[0], after[-1]]):
        with pytest.raises(
            verifier.RefusedError, match=r"kept \(.* entries\) is signed by no key that this package names"
        ):
            verifier.check(made, kept)
    for one in before:  # from before the change, or without its signature, a head says nothing of that key
        (told,) = (line for line in verifier.check(made, [one]).open if "no other key" in line)
        assert f"after entry {one.size}. " in told
    bare_head = after[0]._replace(signatures=[])
    found = verifier.check(made, [bare_head])
    assert "None has its last line, the signature" in " ".join(found.holds)
    # Its root shows that the older key was named, and that nothing here was changed; not that no other key was named since.
    older = verifier._keys(verifier.files_of(made)["keys.txt"])[-1].entry
    (told,) = (line for line in found.open if "no other key" in line)
    assert f"after entry {older}. " in told
    assert not any("Anybody can make" in line for line in found.open)
    whole = verifier.check(held.data, [held.heads[0]._replace(signatures=[])])
    (told,) = (line for line in whole.open if "no other key" in line)
    assert (whole.known, f"after entry {held.named}. " in told, "said of entries" in told) == (True, True, False)
    # The honest package, held against the same heads, leaves no key open; a head that the old key signed since is refused.
    honest = verifier.check(held.data, held.heads)
    assert honest.known
    assert not any("no other key" in line for line in honest.open)
    body = after[0].body
    late = verifier.head_of(signed(body, held.old, after[0].origin))
    with pytest.raises(verifier.RefusedError, match=r"which was not in force there .* since entry"):
        verifier.check(held.data, [late])
    # Without any key entry and signature it is a book that names no key, until a signed head is given.
    keyless = forged(
        held.data, None, without(*(key.entry for key in verifier._keys(verifier.files_of(held.data)["keys.txt"])))
    )
    assert verifier.check(keyless).key is None
    with pytest.raises(verifier.RefusedError, match="no key that this package names"):
        verifier.check(keyless, [before[0]])
    engine = make_engine(package[1])
    with engine.connect() as connection:
        seen = look_at_package(connection, made)
    engine.dispose()
    assert {held.named, last} <= {one.number for one in seen.left_out}
    assert not seen.fits


def test_who_holds_no_key_at_all_cannot_name_one_of_their_own(
    held: Held, package: tuple[bytes, Settings], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A package gives all nodes of the tree that it takes to append to it: an entry that names a key, and another after it."""
    engine = make_engine(package[1])
    with engine.connect() as connection:
        leaves = [row["leaf"] for row in rows_of(connection, "statement")]
    engine.dispose()
    files = verifier.files_of(held.data)
    head, lines = verifier.head_of(files["head.txt"]), files["statements.jsonl"].splitlines()
    said = [verifier.parsed(line) for line in lines]
    named = next(one for one in said if int(one["number"]) == held.named)
    tried = (make_key(tmp_path / f"{number}.key") for number in itertools.count())
    own = next(
        one for one in tried if one.public_key > held.new.public_key
    )  # of two in an entry the larger was in force

    def appended(size: int, why: str, *keys: bytes) -> bytes:
        """Keep the first entries of a package, and put behind them one that names keys, signed by the last."""
        row = named["rows"]["book_key"][0] | {"entry": size + 1}
        new = named | {"number": size + 1, "subject": size + 1, "why": why}
        new["rows"] = {"book_key": [row | {"public_key": key.hex()} for key in keys]}
        new = json.loads(json.dumps(new), parse_int=verifier._Number)
        tree = Tree([*leaves[:size], verifier.leaf_hash(verifier.canonical(new).encode())])
        kept = [line for line, one in zip(lines, said, strict=True) if int(one["number"]) <= size]
        all_lines = [*kept, verifier.canonical(new).encode()]
        numbers = [int(verifier.parsed(line)["number"]) for line in all_lines]
        made = dict(files)
        made["statements.jsonl"] = b"".join(line + b"\n" for line in all_lines)
        made["proofs.jsonl"] = b"".join(
            json.dumps({"entry": one, "path": [step.hex() for step in tree.inclusion(one - 1)]}).encode() + b"\n"
            for one in numbers
        )
        made["older_heads.jsonl"] = b"".join(
            json.dumps(
                {"size": one, "root": tree.root(one).hex(), "proof": [step.hex() for step in tree.consistency(one)]}
            ).encode()
            + b"\n"
            for one in range(1, size + 1)
        )
        named_here = [(one["number"], key["public_key"]) for one in map(verifier.parsed, all_lines)
                      for key in one["rows"].get("book_key", [])]  # fmt: skip
        made["keys.txt"] = "".join(f"{number} {digits}\n" for number, digits in named_here).encode()
        made["jobs.csv"] = verifier.jobs_csv(map(verifier.parsed, all_lines))
        body = Checkpoint(head.origin, size + 1, tree.root()).body.encode()
        made["head.txt"] = signed(body, own, head.origin)
        listed = json.loads(made.pop("manifest.txt").split(b"\n")[1]) | {"entries": numbers}
        listed["files"] = {name: verifier.hashlib.sha256(one).hexdigest() for name, one in made.items()}
        made["manifest.txt"] = signed(f"{verifier.FORMAT}\n{json.dumps(listed)}\n".encode(), own, head.origin)
        return verifier.archive_of(made.items())

    key, newest = own.public_key, held.heads[0]
    before = [one for one in held.heads if one.size < held.named]
    alone = verifier.check(appended(newest.size, "lost", key))
    assert (alone.known, alone.unvouched) == (False, [])
    copied = named["why"]
    assert "[handed over by the key before it: " in copied
    for size, why, kept in (
        (newest.size, "lost", held.heads),
        (newest.size, copied, held.heads),
        (newest.size, copied, [one._replace(signatures=[]) for one in held.heads]),
        (held.named - 1, copied, before),
    ):
        found = verifier.check(appended(size, why, key), kept)
        assert not found.known
        (told,) = found.unvouched
        assert f"NOT VOUCHED FOR: key {key.hex()}, which entry {size + 1} names" in told
        assert f"entries after {size}" in told
    # With the true hand-over of the second key and, in the same entry, a key of their own.
    with pytest.raises(verifier.RefusedError, match=f"entry {held.named} names more than one key"):
        verifier.check(appended(held.named - 1, copied, held.new.public_key, key), before)
    (tmp_path / "forged.zip").write_bytes(appended(newest.size, "lost", key))
    (tmp_path / "kept.txt").write_bytes(files["head.txt"])
    words = [str(tmp_path / "forged.zip"), "--head", str(tmp_path / "kept.txt")]
    assert verifier.main(words) == 3
    assert "Everything fits" not in capsys.readouterr().out
    # So it looks, too, where a key was lost: whoever knows the new one from elsewhere says so.
    assert verifier.main([*words, "--key", key.hex()]) == 0
    assert verifier.main([*words, "--key", held.new.public_key.hex()]) == 1
    # An honest hand-over leads from a head of before to the key of today.
    honest = verifier.check(held.data, before[:1])
    assert (honest.known, honest.unvouched) == (True, [])
    assert any(
        f"Key of entry {held.named}: the key before it signed that it hands over" in line for line in honest.holds
    )


def test_a_known_key_comes_back_from_behind_one_that_nobody_handed_over_to_and_no_other_does() -> None:
    """By the heads that were kept; one that handed over, or did not sign since, does not come back."""
    old, lost, third = (bytes([number]) * 32 for number in (1, 2, 3))

    def keys(*digits: bytes) -> list[verifier.Key]:
        return [verifier.Key(10 * at + 1, one) for at, one in enumerate(digits)]

    for named, handed, signed, upto, broken, again in (
        (keys(old, lost, old), (), (21,), 5, None, [21]),
        (keys(old, lost, old), (21,), (21,), 5, None, [21]),  # the one of between handing over to it changes nothing
        (keys(old, lost, old), (), (), 5, 11, []),  # anybody can name it
        (keys(old, lost, old), (11,), (21,), 5, 21, []),  # it was replaced, by its own word
        (keys(old, lost, old), (), (21,), 15, 21, []),  # a head of after knows the other one
        (keys(old, lost, third), (21,), (21,), 5, 11, []),
        (keys(old, lost, old, third), (31,), (21,), 5, None, [21]),
        (keys(old, lost, old, third), (21,), (21,), 5, 31, [21]),
        (keys(old, lost, third, lost), (11,), (31,), 5, None, [31]),
        (keys(old), (), (1,), 0, 1, []),
    ):
        found, back = verifier.followed(named, handed, signed, upto)
        assert (found and found.entry, [one.entry for one in back]) == (broken, again), (named, handed, signed, upto)
    head = verifier.Head("book", 5, b"", b"", [])
    (told,), _ = verifier._unvouched([head], keys(old, lost, old), {11})
    assert f"a copy of key {old.hex()}, which entry 1 names" in told
    assert "anybody" not in told
    (told,), _ = verifier._unvouched([head], keys(old, lost), set())
    assert "anybody can have made a key" in told
    _, (told,) = verifier._unvouched([head], keys(old, lost, old), {21})
    assert f"NOT SHOWN: that it was the book which took key {old.hex()} again with entry 21" in told


def test_what_a_package_shows_by_itself_is_looked_at_under_the_right_key_too(held: Held) -> None:
    """Lines that are doubled or in another order, an entry that another names left out, the name of another machine."""
    files = verifier.files_of(held.data)
    signoff = next(json.loads(line) for line in files["statements.jsonl"].splitlines() if b'"signoff"' in line)
    for chosen, told in (
        (lambda numbers: [*numbers, numbers[-1]], "not in order, each once"),
        (lambda numbers: [*numbers[:-2], numbers[-1], numbers[-2]], "not in order, each once"),
        (without(signoff["subject"]), "which was left out here"),
    ):
        with pytest.raises(verifier.RefusedError, match=told):
            verifier.check(forged(held.data, held.new, chosen))
    listed = files["manifest.txt"].replace(b'"tag":"P-1"', b'"tag":"P-2"')
    other = verifier.archive_of(
        (files | {"manifest.txt": signed(listed.split(b"\n\n")[0] + b"\n", held.new, held.heads[0].origin)}).items()
    )
    with pytest.raises(verifier.RefusedError, match="names machine 'P-2' of entry"):
        verifier.check(other)


def test_a_package_of_before_is_held_against_the_book_as_it_was_then(
    held: Held, package: tuple[bytes, Settings], tmp_path: Path
) -> None:
    """What later entries rest on was not left out; a key that was replaced vouches no longer; entries of others are named."""
    own = replace(package[1], book=str(tmp_path / "own.db"))
    Path(own.book).write_bytes(Path(package[1].book).read_bytes())
    engine = make_engine(own)
    site = _site(engine)

    def seen(data: bytes) -> PackageSeen:
        with engine.connect() as connection:
            return look_at_package(connection, data)

    # Numbers that no database can be asked for.
    for number, told in (
        ("1e999", "cannot be read (OverflowError)"),
        (str(10**30), "as no machine 'P-1' of that site"),
    ):
        files = verifier.files_of(held.data)
        files["manifest.txt"] = bare(files["manifest.txt"]).replace(b'"site":1,', f'"site":{number},'.encode())
        assert told in seen(verifier.archive_of(files.items())).refused
    assert b'"D-2"' not in verifier.files_of(held.data)["statements.jsonl"]
    aligned = Misalignment(0.01, 0.1, 0.01, 0.05)
    job = Job(
        ref="J77", tag="P-1", performed_at=NOW, zone=site.zone, reason=Reason.PLANNED, people=("Ana Wick",), instrument="D-2",
        found=aligned, left=aligned,
    )  # fmt: skip
    record_job(engine, site, job, by="tester", now=NOW + timedelta(days=2), bolts_tight=True)
    looked = seen(held.data)
    assert (looked.fits, looked.left_out, looked.strange) == (True, (), ())
    assert looked.newer == 1
    both = seen(forged(held.data, held.new, sorted, make(package[1], tag="P-2", pdf=False)))
    assert {one.kind for one in both.strange} >= {"asset added", "job recorded"}
    assert not both.fits
    third = replace(own, key=tmp_path / "third.key")
    entry = set_key(third, site.site_id, by="tester", now=NOW + timedelta(days=3), why="copied")
    looked = seen(held.data)
    assert (looked.replaced, looked.fits, looked.left_out) == (entry, False, ())
    assert seen(make(third, pdf=False)).fits
    engine.dispose()


def test_every_place_that_names_an_entry_is_looked_at() -> None:
    named = {
        column.name
        for mapped in BOUND
        for column in metadata.tables[mapped.__tablename__].columns
        if column.name != key_column(mapped) and any(key.column.table.name != "site" for key in column.foreign_keys)
    }
    assert named | {"subject", "supersedes", "batch", "job_id"} == set(verifier.NAMING)


def test_sign_offs_under_nearly_the_same_name_are_told() -> None:
    """Names are all that a package has of people: what is compared is said, and what is near is named."""

    def entry(number: int, author: str, **rows: Any) -> dict[str, Any]:
        return {"number": number, "author": author, "rows": rows}

    first = entry(1, "Ana Wick", job=[{"people": '["Bo Tarn","Two, Bette"]'}])
    second = entry(2, "Dee Ray", job=[{"people": '["Ivo Lind"]', "supersedes": 1}])
    lines = [json.dumps(one).encode() for one in (first, second)]

    def told(signer: str, signed: int = 2) -> list[str]:
        leaf = verifier.leaf_hash(lines[signed - 1]).hex()
        signoff = entry(3, signer, signoff=[{"signed_entry": signed, "signed_leaf": leaf}])
        return verifier._signoffs([first, second, signoff], [*lines, json.dumps(signoff).encode()])

    (said,) = told("Cleo Marsh")
    assert "its name is none of those that recorded that version or did its work" in said
    assert "not people" in said
    for signer, other in (("Bette Two", "Two, Bette"), ("ANA WICK", "Ana Wick"), ("Iv\u200bo Lind.", "Ivo Lind")):
        assert [f"'{other}' recorded or did the work" in line for line in told(signer)] == [False, True]
    assert "'Iv\\u200bo Lind.'" in told("Iv\u200bo Lind.")[1], "what nobody sees is written out"
    for signer in ("dee ray", "Ivo Lind"):
        with pytest.raises(verifier.RefusedError, match="does not fit what it signs"):
            told(signer)
    with pytest.raises(verifier.RefusedError, match="does not fit what it signs"):
        told("bo tarn", 1)


def keyless(tag: str = "P-1", origin: str = "driftbook", size: str = "1", marks: str = "", **listed: Any) -> bytes:
    """Make the package of a book that names no key, which anybody can; a list that says more where told so."""
    rows = {"asset": [{"id": verifier._Number("1"), "tag": tag}]}
    said = verifier.canonical({"at_us": 1, "author": "Ana Wick", "number": 1, "rows": rows, "why": ""}).encode()
    root = base64.b64encode(verifier.leaf_hash(said)).decode()
    files = {
        "README.txt": b"", "verify.py": SOURCE.read_bytes(), "head.txt": f"{origin}\n{size}\n{root}\n\n{marks}".encode(),
        "keys.txt": b"",
        "statements.jsonl": said + b"\n", "proofs.jsonl": b'{"entry":1,"path":[]}\n', "older_heads.jsonl": b"",
        "jobs.csv": verifier.jobs_csv([]),
    }  # fmt: skip
    digests = {name: verifier.hashlib.sha256(one).hexdigest() for name, one in files.items()}
    digests |= listed.pop("files", {})
    all_of_it = {"asset": 1, "site": 1, "entries": [1], "files": digests, "tag": tag} | listed
    files["manifest.txt"] = f"{verifier.FORMAT}\n{json.dumps(all_of_it)}\n\n".encode()
    return verifier.archive_of(files.items())


WIPES = "\n\x1b[1A\x1b[2K\rEverything fits.\x1b[8m"


def test_what_a_package_says_is_no_word_of_the_verifier(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing in it wipes a line, imitates one, or ends the check; the last word is the verifier's."""
    for told, made in (
        ("those that the list names: it names more.", keyless(files={WIPES: "0"})),
        ("a line of a signature cannot be read: ", keyless(marks=f"\u2014 {WIPES.strip()}\n")),
        ("Machine: 'P-1\\n\\x1b[1A", keyless(tag=f"P-1{WIPES}")),
        ("'P-1' of entry '\\n\\x1b[1A", keyless(asset=WIPES)),
        ("'P-1' of entry 'inf'", keyless(asset=1e999)),
        ("no book has such a name: 'driftbook,\\xa0signed", keyless(origin="driftbook,\xa0signed by key 00")),
        ("no book has such a name: 'driftbook/", keyless(origin="driftbook/" + "0" * 64)),
        ("a head has three lines", keyless(size="1" + "0" * 30)),
        ("that no package of this form has, or one twice: 'f'", verifier.archive_of([("f", b"")])),
        ("or one twice: 'jobs.csv'", verifier.archive_of([("jobs.csv", b"")] * 9)),
    ):
        (tmp_path / "package.zip").write_bytes(made)
        status = verifier.main([str(tmp_path / "package.zip")])
        seen = capsys.readouterr().out
        assert told in seen
        assert not {"\x1b", "\r", "\xa0"} & set(seen)
        assert not any(line.startswith("Everything") for line in seen.split("\n"))
        assert status == (3 if told.startswith("Machine") else 1), told


def test_a_package_of_a_book_without_a_key_is_told_as_such(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody vouches for it, and it is no fault: 3, for a script to tell apart; also where its words are not those of the terminal."""
    unpacked(keyless(tag="P\u0141-1"), tmp_path)
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(into := io.BytesIO(), encoding="ascii", write_through=True))
    assert verifier.main([str(tmp_path / "package.zip")]) == 3
    assert b"Machine: 'P\\u0141-1'" in into.getvalue()
    monkeypatch.undo()
    done = run(sys.executable, tmp_path, "package.zip")
    assert done.returncode == 3, done.stdout + done.stderr
    assert "the book names no key" in done.stdout
    assert "Everything fits" not in done.stdout


def test_heads_kept_elsewhere(package: tuple[bytes, Settings], tmp_path: Path) -> None:
    data, settings = package
    unpacked(data, tmp_path)
    engine = make_engine(settings)
    with engine.connect() as connection:
        heads = read_heads(connection)
        leaves = [row["leaf"] for row in rows_of(connection, "statement")]
    engine.dispose()
    for head in heads:
        (tmp_path / "kept.txt").write_text(head.note, encoding="utf-8")
        (tmp_path / "line.txt").write_text(write_line(head.note) + "\n", encoding="utf-8")
        for name in ("kept.txt", "line.txt"):
            kept = verifier.head_of((tmp_path / name).read_bytes())
            assert any("book begins as they say" in line for line in verifier.check(data, [kept]).holds)
    assert run(sys.executable, tmp_path, "package.zip", "--head", "line.txt").returncode == 0
    # All in one file, as 'driftbook head -o FILE' adds them; each counts.
    (tmp_path / "all.txt").write_text("\n".join(head.note for head in heads), encoding="utf-8")
    done = run(sys.executable, tmp_path, "package.zip", "--head", "all.txt")
    assert done.returncode == 0, done.stdout
    assert f"Heads that you kept: {len(heads)} (of " in done.stdout
    assert "Everything fits." in done.stdout
    spoilt = replace(heads[3].checkpoint, root=b"\1" * 32)
    notes = [*(head.note for head in heads[:3]), write_note(spoilt, None, None), *(head.note for head in heads[4:])]
    (tmp_path / "all.txt").write_text("\n".join(notes), encoding="utf-8")
    done = run(sys.executable, tmp_path, "package.zip", "--head", "all.txt")
    assert (done.returncode, f"the first {spoilt.size} entries was changed" in done.stdout) == (1, True)
    # What cannot be read of what the auditor brought is no word of the package.
    (tmp_path / "all.txt").write_text(heads[0].note + "\nseen by me\n", encoding="utf-8")
    done = run(sys.executable, tmp_path, "package.zip", "--head", "all.txt")
    assert (done.returncode, "all.txt holds something that is no head" in done.stdout) == (2, True)
    assert run(sys.executable, tmp_path, "package.zip", "--key", "00").returncode == 2
    wrong = replace(heads[2].checkpoint, root=b"\1" * 32)
    (tmp_path / "kept.txt").write_text(write_note(wrong, None, None), encoding="utf-8")
    done = run(sys.executable, tmp_path, "package.zip", "--head", "kept.txt")
    assert done.returncode == 1
    assert "has another root" in done.stdout
    # A size at which no head was kept: the package has to be made for it.
    tree = Tree(leaves)
    odd = next(size for size in range(2, len(leaves)) if size not in {head.size for head in heads})
    kept = verifier.head_of(write_note(Checkpoint(heads[0].origin, odd, tree.root(odd)), None, None).encode())
    with pytest.raises(verifier.RefusedError, match="holds no proof"):
        verifier.check(data, [kept])
    assert any(
        "book begins as they say" in line
        for line in verifier.check(make(settings, pdf=False, kept=[odd]), [kept]).holds
    )
    late = verifier.head_of(write_note(Checkpoint(heads[0].origin, 99, tree.root()), None, None).encode())
    with pytest.raises(verifier.RefusedError, match="Ask for a newer one"):
        verifier.check(data, [verifier.head_of(heads[0].note.encode()), late])
    key = heads[0].key
    assert key is not None
    done = run(sys.executable, tmp_path, "package.zip", "--key", key.public_key.hex())
    assert (done.returncode, "That is the key that you gave." in done.stdout) == (0, True)
    assert run(sys.executable, tmp_path, "package.zip", "--key", "00" * 32).returncode == 1


def test_whole_package_of_a_forger_is_known_by_a_kept_head(package: tuple[bytes, Settings], tmp_path: Path) -> None:
    """Somebody makes a book of their own that fits in itself."""
    data, settings = package
    engine = make_engine(settings)
    with engine.connect() as connection:
        kept = verifier.head_of(read_heads(connection, last=1)[0].note.encode())
    engine.dispose()
    own = replace(settings, book=str(tmp_path / "own.db"), key=tmp_path / "own.key")
    Path(own.book).write_bytes(Path(settings.book).read_bytes())
    engine = make_engine(own, foreign_keys=False)
    with engine.connect().execution_options(write=True) as connection, connection.begin():
        from tests.test_verify import Kept, forge

        forge(Kept(own, connection, tmp_path), tmp_path / "own.key")
    engine.dispose()
    forged = make(own, pdf=False)
    assert verifier.check(forged)
    with pytest.raises(verifier.RefusedError, match="has another root"):
        verifier.check(forged, [kept])
    assert verifier.check(data, [kept])


def test_package_of_an_altered_book_is_refused(package: tuple[bytes, Settings], tmp_path: Path) -> None:
    _, settings = package
    own = replace(settings, book=str(tmp_path / "own.db"))
    Path(own.book).write_bytes(Path(settings.book).read_bytes())
    engine = make_engine(own)
    with engine.connect().execution_options(write=True) as connection, connection.begin():
        change(connection, "job", rows_of(connection, "job")[0], notes="other")
    engine.dispose()
    with pytest.raises(AlteredBookError, match="no longer says"):
        make(own, pdf=False)
    with pytest.raises(AlteredBookError, match="no longer says"):
        make(own)
    with pytest.raises(UnknownNameError):
        make(own, tag="P-99", pdf=False)


HIDES = {
    "ix_job_asset_id_performed_us": "CREATE INDEX {} ON job (asset_id, performed_us) WHERE entry <> {}",
    "uq_job_supersedes": "CREATE UNIQUE INDEX {} ON job (supersedes) WHERE supersedes IS NOT NULL AND entry <> {}",
    "ix_signoff_signed_entry": "CREATE INDEX {} ON signoff (signed_entry) WHERE entry <> {}",
}  # fmt: skip


@pytest.mark.parametrize("index", HIDES)
def test_no_index_hides_an_entry_of_the_machine(package: tuple[bytes, Settings], tmp_path: Path, index: str) -> None:
    """No row is touched: what is signed holds all of it, and what is printed with it is refused where it would not."""
    _, settings = package
    own = replace(settings, book=str(tmp_path / "own.db"))
    Path(own.book).write_bytes(Path(settings.book).read_bytes())
    engine = make_engine(own)
    site = _site(engine)
    jobs = jobs_of_machine(engine)
    version = void_job(engine, site, jobs[0], by="tester", now=NOW + timedelta(days=9), why="twice").entry
    before = make(own, pdf=False)
    with engine.connect().execution_options(write=True) as connection, connection.begin():
        signed = rows_of(connection, "signoff")[0]["entry"]
        entry = {"uq_job_supersedes": version, "ix_signoff_signed_entry": signed}.get(index, jobs[0])
        look_past(connection, index, HIDES[index].format(index, entry))
    engine.dispose()
    assert files_but_made(make(own, pdf=False)) == files_but_made(before)
    if entry == jobs[0]:
        return  # in a book of a few rows the pages do not go by this one
    with pytest.raises(AlteredBookError, match=f"Entry {entry} is in the book and is not found"):
        make(own)
    engine = make_engine(own)
    asking = makers.Asking(Reader(engine), site, site.display, NOW)
    cover = json.dumps(makers.asset_history(asking, "P-1").data["identity"], ensure_ascii=False)
    assert f"not printed, for it does not stand for what is printed here. Entry {entry}" in cover
    assert "with the book's key" not in cover
    engine.dispose()


def _site(engine: sa.Engine) -> Site:
    with engine.connect() as connection:
        return sites(connection)[0]


def jobs_of_machine(engine: sa.Engine) -> list[int]:
    with engine.connect() as connection:
        asset = rows_of(connection, "asset")[0]["id"]
        return [row["entry"] for row in rows_of(connection, "job") if row["asset_id"] == asset]


def files_but_made(data: bytes) -> dict[str, bytes]:
    return {name: text for name, text in verifier.files_of(data).items() if name in {"statements.jsonl", "jobs.csv"}}


def test_holds_all_that_the_history_rests_on(package: tuple[bytes, Settings]) -> None:
    data, settings = package
    files = verifier.files_of(data)
    said = [verifier.parsed(line) for line in files["statements.jsonl"].splitlines()]
    engine = make_engine(settings)
    with engine.connect() as connection:
        job = {row["entry"]: row for row in rows_of(connection, "job")}
        asset = rows_of(connection, "asset")[0]
        assets = records_of(connection, 1, asset["id"])
        found = entries_of(connection, 1, assets, job_versions(connection, assets))
        assert {int(one["number"]) for one in said} == found
        names = {name for row in job.values() if row["asset_id"] == asset["id"] for name in json.loads(row["people"])}
        person = {row["id"] for row in rows_of(connection, "person") if row["name"] in names}
        wanted = {entry for entry, row in job.items() if row["asset_id"] == asset["id"]} | person
        wanted |= {row["entry"] for row in rows_of(connection, "machine_break") if row["asset_id"] == asset["id"]}
        wanted |= {row["entry"] for row in rows_of(connection, "signoff") if row["signed_entry"] in wanted}
        others = {entry for entry, row in job.items() if row["asset_id"] != asset["id"]}
    engine.dispose()
    numbers = {int(one["number"]) for one in said}
    assert wanted <= numbers
    assert not others & numbers
    kinds = {one["kind"] for one in said}
    assert kinds >= {"site set", "key set", "limits adopted", "file imported", "asset added", "person added", "instrument added",
                     "job recorded", "break recorded", "signed off", "account added"}  # fmt: skip
    table = list(csv.DictReader(io.StringIO(files["jobs.csv"].decode())))
    assert [int(row["entry"]) for row in table] == sorted(
        entry for entry, row in job.items() if row["asset_id"] == asset["id"]
    )
    for row in table:
        stored = job[int(row["entry"])]
        for column in ("found_offset_v", "left_ratio", "speed_rpm"):
            assert row[column] == ("" if stored[column] is None else number_text(stored[column]))


@pytest.mark.parametrize("vector", ED25519)
def test_ed25519_is_the_published_one(vector: dict[str, str]) -> None:
    """RFC 8032, section 7.1; how the values were come by stands in the file."""
    key, signature, message = (bytes.fromhex(vector[name]) for name in ("public", "signature", "message"))
    assert verifier.ed25519_holds(key, signature, message)
    assert not verifier.ed25519_holds(key, signature, message + b"x")
    for at in (0, 31, 32, 63):
        other = bytearray(signature)
        other[at] ^= 1
        assert not verifier.ed25519_holds(key, bytes(other), message)


def test_ed25519_refuses_what_is_no_signature() -> None:
    key, signature = (bytes.fromhex(ED25519[0][name]) for name in ("public", "signature"))
    order = verifier.Q
    larger = int.from_bytes(signature[32:], "little") + order
    assert not verifier.ed25519_holds(
        key, signature[:32] + larger.to_bytes(32, "little"), b""
    )  # RFC 8032, 5.1.7: s below the order
    assert not verifier.ed25519_holds(key[:31], signature, b"")
    assert not verifier.ed25519_holds(key, signature[:63], b"")
    assert not verifier.ed25519_holds(b"\xff" * 32, signature, b"")
    assert not verifier.ed25519_holds((2).to_bytes(32, "little"), signature, b"")  # no point has that y


@hypothesis.settings(deadline=None, max_examples=40)
@given(st.binary(max_size=80), st.integers(0, 511))
def test_twin_signs_what_we_verify(data: bytes, flipped: int) -> None:
    """Against the library cryptography."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

    private = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
    key = private.public_key().public_bytes(Encoding.Raw, PublicFormat.Raw)
    signature = private.sign(data)
    assert verifier.ed25519_holds(key, signature, data)
    other = bytearray(signature)
    other[flipped // 8] ^= 1 << flipped % 8
    assert not verifier.ed25519_holds(key, bytes(other), data)


@given(st.floats(allow_nan=False, allow_infinity=False) | st.integers(-(2**53), 2**53))
def test_verifier_writes_numbers_as_the_book_does(value: float) -> None:
    text = number_text(value)
    assert verifier.canonical(verifier.parsed(text.encode())) == text


def test_verifier_reads_no_name_twice() -> None:
    with pytest.raises(verifier.RefusedError, match="twice"):
        verifier.parsed(b'{"a":1,"a":2}')


@given(st.lists(st.tuples(st.integers(0, 99), st.booleans()), min_size=1, max_size=5))
def test_heads_are_read_back_in_every_form(sizes: list[tuple[int, bool]]) -> None:
    notes = []
    for size, signed in sizes:
        root = bytes([size]) * 32
        notes.append(
            write_note(Checkpoint("driftbook/x", size, root), *((b"\2" * 32, b"\3" * 64) if signed else (None, None)))
        )
    read = tuple(read_note(note) for note in notes)
    assert read_notes("\n".join(notes)) == read
    assert read_notes("\n".join(map(write_line, notes))) == read
    assert read_notes("\r\n".join(note.replace("\n", "\r\n") for note in notes)) == read
    for text in ("\n".join(notes), "\n".join(map(write_line, notes)), "\ufeff" + "".join(notes).replace("\n", "\r\n")):
        told = verifier.heads_of(text.encode())
        assert [(head.size, head.root, len(head.signatures)) for head in told] == [
            (one.checkpoint.size, one.checkpoint.root, len(one.signatures)) for one in read
        ]
    for note, one in zip(notes, read, strict=True):
        for text in (note, write_line(note)):
            head = verifier.head_of(text.encode())
            assert (head.origin, head.size, head.root) == (
                one.checkpoint.origin,
                one.checkpoint.size,
                one.checkpoint.root,
            )
            assert head.body.decode() == one.checkpoint.body
            assert [(name, raw) for name, raw in head.signatures] == [
                (name, hint + mark) for name, hint, mark in one.signatures
            ]


@pytest.mark.parametrize(
    "text",
    ["", "\n\n", "one\n", "book\nx\nAAAA\n", "book\n3\nAAAA\n", "book\n03\n" + base64.b64encode(b"0" * 32).decode()],
)
def test_what_is_no_head_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"."):
        read_notes(text)
