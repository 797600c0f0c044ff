"""Keys and heads: what signs, how a key is named in a note, and what is refused."""

from __future__ import annotations

import base64
import json
import os
import stat
from pathlib import Path

import pytest

from models.errors import KeyFileError
from models.ledger.checkpoint import Checkpoint, key_hint, read_note, write_note
from models.ledger.keys import make_key, read_signer, signature_holds

ED25519 = json.loads((Path(__file__).parent / "published" / "rfc8032_ed25519.json").read_text())["vectors"]

# C2SP signed-note: the key of its example, name+hint+Base64 of kind and key; seen in a secondary copy (the tests of another
# implementation), as the second one, which is of the tests of another library for such notes.
NOTE_KEYS = (
    "example.com/foo+530d903a+AekyeRrm56hApGFkyQR4ZCbV54Id2LKaANYcrnKv3U2k",
    "TEST+7997405c+AQcC+FTVKf0jlTdHDY3rbevmnKxxPjigCXlVtGe6RIr6",
)


@pytest.mark.parametrize("vector", ED25519)
def test_signatures_are_the_published_ones(vector: dict[str, str]) -> None:
    """RFC 8032, section 7.1; how the values were come by stands in the file."""
    key, signature, message = (bytes.fromhex(vector[name]) for name in ("public", "signature", "message"))
    assert signature_holds(key, signature, message)
    assert not signature_holds(key, signature, message + b"x")
    assert not signature_holds(key[:31], signature, message)
    assert not signature_holds(key, signature[:63], message)
    assert not signature_holds(b"", b"", message)


@pytest.mark.parametrize("text", NOTE_KEYS)
def test_a_key_is_named_as_other_programs_name_it(text: str) -> None:
    name, hint, key = text.split("+", 2)
    raw = base64.b64decode(key)
    assert raw[0] == 1
    assert key_hint(name, raw[1:]).hex() == hint


def test_a_key_file_is_made_once_whole_and_only_its_owner_reads_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "deep" / "book.key"
    assert read_signer(path) is None
    there: list[bool] = []
    fsync = os.fsync
    with monkeypatch.context() as looked:
        looked.setattr(os, "fsync", lambda handle: (there.append(path.exists()), fsync(handle)))
        first = make_key(path)
    assert not there[0], "a process that is killed at it leaves no half of one under its name"
    assert make_key(path).public_key == first.public_key
    if os.name == "posix":
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
    again = read_signer(path)
    assert again is not None
    assert signature_holds(first.public_key, again.sign(b"head"), b"head")


def test_what_is_no_key_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "book.key"
    path.write_text("no key\n")
    with pytest.raises(KeyFileError, match="no key of a book"):
        read_signer(path)
    from cryptography.hazmat.primitives.asymmetric.ec import SECP256R1, generate_private_key
    from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

    other = generate_private_key(SECP256R1())
    path.write_bytes(other.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()))
    with pytest.raises(KeyFileError, match="Ed25519"):
        read_signer(path)
    (tmp_path / "file").write_text("")
    with pytest.raises(KeyFileError, match="cannot be written"):
        make_key(tmp_path / "file" / "book.key")


def test_a_note_says_what_is_signed() -> None:
    head = Checkpoint("driftbook/x", 7, bytes(range(32)))
    assert head.body == "driftbook/x\n7\nAAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8=\n"
    note = write_note(head, b"\1" * 32, b"\2" * 64)
    assert note.startswith(head.body + "\n— driftbook/x ")
    assert read_note(note).signatures == (("driftbook/x", key_hint("driftbook/x", b"\1" * 32), b"\2" * 64),)
    assert read_note(write_note(head, None, None)).signatures == ()


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("a\n1\n", "three lines"),
        ("a\n-1\nAAAA\n", "no number of entries"),
        ("a\n01\nAAAA\n", "no number of entries"),
        ("a\n1\nAAAA\n", "no root"),
        ("a\n1\n" + base64.b64encode(b"0" * 32).decode() + "\n\nsigned by me\n", "no line of a signature"),
        ("a\n1\n" + base64.b64encode(b"0" * 32).decode() + "\n\n— a !!\n", "no line of a signature"),
    ],
)
def test_what_is_no_note_is_refused(text: str, told: str) -> None:
    with pytest.raises(ValueError, match=told):
        read_note(text)
