"""Heads of the tree as one short text that can be kept elsewhere: a checkpoint in a signed note.

Format (open): C2SP tlog-checkpoint in a C2SP signed-note.  Three lines
(origin, number of entries, root in Base64), an empty line, and a line for
each signature: an em dash, the name of the key, and Base64 of four bytes
that name the key followed by the signature (Ed25519, RFC 8032).
"""

from __future__ import annotations

import base64
import binascii
import hashlib
from dataclasses import dataclass

from models.ledger.tree import HASH_BYTES

ED25519 = b"\x01"
"""The note format's mark for an Ed25519 key."""


@dataclass(frozen=True, slots=True)
class Checkpoint:
    """A head: the name of the book, how many entries it covers, and the root of the tree over them."""

    origin: str
    size: int
    root: bytes

    @property
    def body(self) -> str:
        """Give the text that is signed."""
        return f"{self.origin}\n{self.size}\n{base64.b64encode(self.root).decode()}\n"


@dataclass(frozen=True, slots=True)
class Note:
    """A checkpoint with the signatures that stand under it: name, the key's four bytes, signature."""

    checkpoint: Checkpoint
    signatures: tuple[tuple[str, bytes, bytes], ...]


def key_hint(name: str, public_key: bytes) -> bytes:
    """Give the four bytes by which a note names a key.

    Parameters
    ----------
    name : str
        Name of the key; ours is the origin of the book. [unitless]
    public_key : bytes
        Ed25519 public key, 32 bytes. [unitless]
    """
    return hashlib.sha256(name.encode() + b"\n" + ED25519 + public_key).digest()[:4]


def write_note(checkpoint: Checkpoint, public_key: bytes | None, signature: bytes | None) -> str:
    """Write a checkpoint with its signature; without one where the head was never signed.

    Parameters
    ----------
    checkpoint : Checkpoint
        The head. [unitless]
    public_key : bytes or None
        Key that signed, 32 bytes. [unitless]
    signature : bytes or None
        Signature of the body, 64 bytes. [unitless]
    """
    text = checkpoint.body + "\n"
    if public_key is None or signature is None:
        return text
    signed = base64.b64encode(key_hint(checkpoint.origin, public_key) + signature).decode()
    return f"{text}— {checkpoint.origin} {signed}\n"


def read_note(text: str) -> Note:
    """Read a checkpoint back, with whatever signatures it has.

    Lines may end in CR LF, and blank lines around the text are forgiven: it may have come by mail.

    Raises
    ------
    ValueError
        If it is no checkpoint; the message says what is wrong with it.
    """
    lines = text.replace("\r\n", "\n").strip("\n ").split("\n")
    body, marks = [line.rstrip() for line in lines[:3]], [line.strip() for line in lines[3:]]
    if len(body) < 3:
        raise ValueError("a head has three lines: name of the book, number of entries, root")
    origin, size, root = body
    if not size.isascii() or not size.isdigit() or (size != "0" and size.startswith("0")):
        raise ValueError(f"'{size}' in its second line is no number of entries")
    found = _decoded(root)
    if found is None or len(found) != HASH_BYTES:
        raise ValueError("its third line is no root: 32 bytes in Base64 are expected")
    signatures = []
    for mark in marks:
        parts = mark.split(" ")
        if not mark:
            continue
        signed = _decoded(parts[-1])
        if parts[0] != "—" or len(parts) != 3 or signed is None or len(signed) <= 4:
            raise ValueError(f"'{mark[:60]}' is no line of a signature")
        signatures.append((parts[1], signed[:4], signed[4:]))
    return Note(Checkpoint(origin, int(size), found), tuple(signatures))


def read_notes(text: str) -> tuple[Note, ...]:
    """Read all heads of a text, each as a note or in one line.

    Notes may follow one another, as ``driftbook head -o FILE`` adds them.

    Raises
    ------
    ValueError
        If there is none, or something between them is none.
    """
    parts: list[list[str]] = []
    for line in text.replace("\r\n", "\n").split("\n"):
        word = line.strip()
        if not word:
            continue
        if _in_one(word):
            parts.append(_unfolded(word))
        elif word.startswith("— ") and parts:
            parts[-1] += ["", word] if len(parts[-1]) == 3 else [word]
        elif parts and len(parts[-1]) < 3:
            parts[-1].append(word)
        else:
            parts.append([word])
    if not parts:
        raise ValueError("it is empty")
    return tuple(read_note("\n".join(lines)) for lines in parts)


def _in_one(line: str) -> bool:
    words = line.split()
    return len(words) >= 3 and words[0] != "—" and words[1].isascii() and words[1].isdigit()


def _unfolded(line: str) -> list[str]:
    words = line.split()
    marks = words[3:]
    if len(marks) % 3:
        raise ValueError(f"'{line[:60]}' is no head in one line")
    return [*words[:3], "", *(" ".join(marks[at : at + 3]) for at in range(0, len(marks), 3))]


def write_line(note: str) -> str:
    """Write a note in one line: name of the book, number of entries, root, and its signatures.

    Parameters
    ----------
    note : str
        What :func:`write_note` gave. [unitless]
    """
    return " ".join(note.split())


def _decoded(text: str) -> bytes | None:
    try:
        return base64.b64decode(text, validate=True)
    except (binascii.Error, ValueError):
        return None
